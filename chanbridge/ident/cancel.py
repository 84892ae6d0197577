"""Several ident signals in one input, told apart.

The strongest hides the others: any other code is heard in it 30 dB down. So what has been found is taken away with
the path that it came through (its filters and its delay, between samples too; not its distortion), fitted by least
squares, and the rest is searched again. All paths are fitted together, each time one is added.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from chanbridge.ident.codes import GRID, LINES, Lines, Real

MOST_CODES_HEARD = 12
"""Signals that are told apart in one input."""

DOUBTFUL, HEARD, CLEAR = 6.5, 7.5, 9.0
"""How far a signal stands out of the rest, in multiples of the rest's spread, to be asked about, to be heard beside
another, and to be named. Noise alone comes to 6 in sixty-four inputs searched for sixty-four codes."""

FLOOR = 10 ** (-66 / 20)
"""Below the strongest by more than this nothing is reported: no path is fitted better."""

_MAIN = (-24, 136)  # points of a period, of which there are 4096: from 1 ms before to 5.5 ms after
_MINOR = (-10, 22)
_DELAYS = 2048  # tried in a search, about one a chip
_TOGETHER = 16  # codes correlated at a time: small arrays stay in the cache
_STEPS = 60  # of the fit at most
_SOFT = 1e-4  # added to each tap's own weight, as the points lie closer than the band needs


class Peak(NamedTuple):
    """Where a signal stands out: the code's row, the delay in points of `GRID`, how much of it there is, and how far
    that stands out of all that was found, in multiples of its spread."""

    code: int
    place: int
    height: float
    clear: float


class Part(NamedTuple):
    """A signal in an input. `code`: its row in the spectra searched; `gain`: linear, below 0 where reversed; `delay`:
    in periods, from 0 to 1; `clear`: as in the peak."""

    code: int
    gain: float
    delay: float
    clear: float


def held_down(lines: Lines) -> Lines:
    """Lines with tones (hum, notes) brought down to four times the middle line; what an ident has is below that."""
    size = np.abs(lines)
    limit = 4 * np.median(size[..., ::3], axis=-1, keepdims=True)
    return lines * np.minimum(1, limit / np.maximum(size, 1e-30)).astype(np.float32)


def correlate(lines: Lines, spectra: Lines) -> Real:
    """How much of each code there is at each of `_DELAYS` delays, linear; one row a code."""
    product = np.conj(lines) * spectra
    half = _DELAYS // 2
    whole = np.zeros((len(product), half + 1), np.complex64)
    whole[:, 1:] = np.conj(product[:, :half])
    # Lines above the middle fall on those below it, as when every second delay is taken.
    whole[:, _DELAYS - LINES :] += product[:, : half - 2 : -1]
    return np.fft.irfft(whole, _DELAYS, axis=1, norm="forward").astype(np.float32, copy=False)


def search(lines: Lines, spectra: Lines, without: Sequence[int] = ()) -> Peak:
    """Where most of any code is found, other than those `without`, and how far that stands out."""
    best = (0.0, 0, 0)
    sample = []
    left = np.delete(np.arange(len(spectra)), list(without))
    for first in range(0, len(left), _TOGETHER):
        codes = left[first : first + _TOGETHER]
        size = correlate(lines, spectra[codes])
        np.abs(size, out=size)
        sample.append(size[:, :: 16 if len(left) > 8 else 1].copy())  # enough to know the spread by
        row, place = divmod(int(np.argmax(size)), _DELAYS)
        best = max(best, (float(size[row, place]), int(codes[row]), place))
    if not sample:
        return Peak(0, 0, 0.0, 0.0)
    spread = float(np.median(np.concatenate(sample))) / 0.6745  # of a normal distribution, from its middle
    height, code, place = best
    near = place * (GRID // _DELAYS) + np.arange(-1, 2)  # halfway to the next delays it may stand out more
    finer = _at(lines, spectra[code], near)
    height, place = float(finer.max()), int(near[int(np.argmax(finer))]) % GRID
    return Peak(code, place, height, height / max(spread, 1e-30))


def _at(lines: Lines, spectrum: Lines, places: NDArray[np.int64]) -> NDArray[np.float64]:
    """How much of a code there is at a few points of `GRID`."""
    turn = np.exp(2j * np.pi / GRID * np.outer(places, np.arange(1, LINES + 1)))
    return np.asarray(np.abs(2 * np.einsum("pk,k->p", turn, lines * np.conj(spectrum)).real))


def exact(lines: Lines, spectrum: Lines, delay: float) -> tuple[float, float]:
    """Gain (below 0: reversed) and delay in periods, from a delay that is a quarter of a chip off at most."""
    product = (lines * np.conj(spectrum)).astype(np.complex128)
    number = np.arange(1, LINES + 1)
    for _ in range(3):
        turned = product * np.exp(2j * np.pi * number * delay)
        slope = -2 * np.pi * np.sum(number * turned.imag)
        curve = -4 * np.pi**2 * np.sum(number**2 * turned.real)
        step = -slope / curve if abs(curve) > 0 else 0.0
        delay += float(np.clip(step, -0.5 / GRID, 0.5 / GRID))
    turned = product * np.exp(2j * np.pi * number * delay)
    return float(2 * np.sum(turned.real)), float(delay % 1)


def parts(lines: Lines, spectra: Lines, first: Peak) -> list[Part]:
    """The signals in an input, in the order in which they are found.

    `lines`: one period, (`LINES`); `first`: the strongest, which is found already.
    """
    lines = held_down(lines)
    peaks = [first]
    while True:
        places = [(peak.code, peak.place) for peak in peaks]
        fitted = _fit(lines, spectra, places)
        rest = (lines - np.sum(fitted, axis=0)).astype(np.complex64)
        peak = search(held_down(rest), spectra, [code for code, _ in places])
        if peak.clear < HEARD or peak.height < first.height * FLOOR or len(peaks) == MOST_CODES_HEARD:
            break
        peaks.append(peak)
    out = []
    for peak, own in zip(peaks, fitted, strict=True):
        gain, when = exact((rest + own).astype(np.complex64), spectra[peak.code], peak.place / GRID)
        out.append(Part(peak.code, gain, when, peak.clear))
    return out


def _fit(lines: Lines, spectra: Lines, places: Sequence[tuple[int, int]]) -> list[Lines]:
    """What each signal brings to the lines: a short path for each, all fitted together by least squares."""
    own = [spectra[code].astype(np.complex128) for code, _ in places]
    taps = [
        delay + np.arange(*(_MAIN if at == 0 else _MINOR), dtype=int) for at, (_, delay) in enumerate(places)
    ]
    ends = np.cumsum([0, *map(len, taps)])
    normal = np.empty((ends[-1], ends[-1]))
    wanted = np.empty(ends[-1])
    for one, (mine, here) in enumerate(zip(own, taps, strict=True)):
        rows = slice(ends[one], ends[one + 1])
        wanted[rows] = _lags(np.conj(mine) * lines)[here % GRID]
        for two in range(one, len(own)):
            columns = slice(ends[two], ends[two + 1])
            apart = _lags(np.conj(mine) * own[two])
            normal[rows, columns] = apart[(here[:, None] - taps[two][None, :]) % GRID]
            normal[columns, rows] = normal[rows, columns].T
    normal[np.diag_indices_from(normal)] += _SOFT
    solved = _solved(normal, wanted)
    out = []
    for one, (mine, here) in enumerate(zip(own, taps, strict=True)):
        path = np.zeros(GRID)
        np.add.at(path, here % GRID, solved[ends[one] : ends[one + 1]])
        out.append((mine * np.fft.rfft(path)[1 : LINES + 1]).astype(np.complex64))
    return out


def _solved(normal: NDArray[np.float64], wanted: NDArray[np.float64]) -> NDArray[np.float64]:
    """Solve by conjugate gradients, to 100 dB: what lies outside the band would take far longer, and is not needed.

    `einsum` instead of the matrix product here and elsewhere: libraries of linear algebra start threads for matrices
    of this size, and wait for them longer than the work takes.
    """
    found = np.zeros_like(wanted)
    rest = wanted.copy()
    way = rest.copy()
    size = float(np.einsum("i,i->", rest, rest))
    enough = size * 1e-10
    for _ in range(_STEPS):
        if size <= enough:
            break
        turned = np.einsum("ij,j->i", normal, way)
        step = size / float(np.einsum("i,i->", way, turned))
        found += step * way
        rest -= step * turned
        before, size = size, float(np.einsum("i,i->", rest, rest))
        way = rest + (size / before) * way
    return found


def _lags(product: NDArray[np.complex128]) -> NDArray[np.float64]:
    whole = np.zeros(GRID // 2 + 1, np.complex128)
    whole[1 : LINES + 1] = product
    return np.asarray(np.fft.irfft(whole, GRID) * GRID)
