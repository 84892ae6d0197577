"""A recording folded to the period of the ident signals: the lines of one period, second by second.

The signals repeat exactly, and everything else does not. So the recorder's clock is found first, from how one
period differs from the next; then the periods of about a second are laid on each other and become one frame of
lines. Nothing here knows the codes. Times are in samples of the recording unless they say otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from chanbridge.ident.codes import GRID, LENGTH, LINES, PERIOD_S, Lines, Real

FRAME_PERIODS = 6
"""Periods in a frame of about a second; fewer where the recording is short or has very many inputs."""

WINDOW_FRAMES = 20
"""Frames that are looked at together, fewer of very many inputs; a longer recording is looked at window by window."""

MOST_PPM = 350.0
"""How far two clocks may be apart, in parts per million, with room above the 200 that are promised."""

SHORTEST_PERIODS = 4
"""Periods that a recording must hold to be read at all, 0.7 s."""

PERIODIC = 0.05
"""A share of energy in step with the last period that noise does not show: five times its spread."""

SAME_CLOCK_PPM = 15.0
"""Inputs whose clocks seem further apart than this are folded apart."""

_BLOCK = 8_000_000  # samples of all inputs that are held at once
_MOST_LINES = 5120  # frames of all inputs that are held at once
_LOOKS = 5  # places of a window at which the clock is looked for
_TAPS = 12  # of the kernel between samples: flat to 14 kHz at 44.1 kHz
_ROWS = 512  # of even points made at a time
_SMEARED_PPM = 6.0  # a clock found to be further off than this smears a frame: it is folded again
_STEP_PPM = 25.0  # of the clocks that are tried; what is between them is found from the curve's top


class Recording(Protocol):
    """Samples of several inputs. `read` gives `count` rows from `start` on, one column an input, full scale 1."""

    @property
    def rate_hz(self) -> int: ...
    @property
    def inputs(self) -> int: ...
    @property
    def length(self) -> int: ...
    def read(self, start: int, count: int) -> Real: ...


class Stretch(NamedTuple):
    """A part of a recording: its first sample, how many frames, and the periods in each."""

    start: int
    frames: int
    periods: int


class Clocks(NamedTuple):
    """How far the recorder's clock is off the player's. `ppm`: the clocks tried; `in_step`: the share of each input's
    energy that repeats at that clock, (inputs, clocks), from -1 to 1."""

    ppm: NDArray[np.float64]
    in_step: NDArray[np.float64]


@dataclass(frozen=True)
class Window:
    """A stretch, folded.

    `period`: of the signal, in samples; `lines`: (frames, inputs, `LINES`), every frame as if it began the window;
    `power`: mean square, (frames, inputs); `flat`: the share of samples that lie at an input's own peak, (frames,
    inputs).
    """

    stretch: Stretch
    period: float
    lines: Lines
    power: NDArray[np.float64]
    flat: NDArray[np.float64]


def stretches(recording: Recording) -> list[Stretch]:
    """The windows of a recording; a rest shorter than a frame is left out."""
    slowest = PERIOD_S * recording.rate_hz * (1 + MOST_PPM * 1e-6)
    usable = int((recording.length - 2 * _TAPS) / slowest)
    periods = FRAME_PERIODS
    while periods > 1 and (usable < 3 * periods or periods * slowest * recording.inputs > _BLOCK):
        periods -= 1
    frames = usable // periods
    together = max(5, min(WINDOW_FRAMES, _MOST_LINES // recording.inputs))
    return [
        Stretch(int(first * periods * slowest), min(together, frames - first), periods)
        for first in range(0, frames, together)
    ]


def clocks(recording: Recording, stretch: Stretch) -> Clocks:
    """Compare each period with the next at a few places of a stretch, between 300 Hz and 9 kHz."""
    period = PERIOD_S * recording.rate_hz
    size = 1 << int(np.ceil(np.log2(period)))
    ppm = np.arange(-MOST_PPM, MOST_PPM + _STEP_PPM / 2, _STEP_PPM)
    bins = np.arange(int(300 / recording.rate_hz * size), int(9_000 / recording.rate_hz * size))
    turn = np.exp(2j * np.pi / size * period * 1e-6 * np.outer(bins, ppm)).astype(np.complex64)
    last = stretch.start + stretch.frames * stretch.periods * period
    room = min(last, recording.length - size - 1) - stretch.start - 2 * period
    count = max(1, min(_LOOKS, int(room / period) + 1))
    total = np.zeros((recording.inputs, len(bins)), np.complex64)
    for look in range(count):
        begin = stretch.start + max(0.0, room) * (look + 0.5) / count
        before: Lines | None = None
        for step in range(3):
            at = round(begin + step * period)
            moved = at - (begin + step * period)
            piece = np.ascontiguousarray(recording.read(at, size).T)
            lines = np.fft.rfft(piece, size, axis=1)[:, bins]
            lines = (lines * np.exp(-2j * np.pi / size * moved * bins)).astype(np.complex64)
            if before is not None:
                total += _levelled(lines * np.conj(before)) / np.float32(2 * count)
            before = lines
    return Clocks(ppm, np.einsum("ib,bp->ip", total, turn).real.astype(np.float64))


def _levelled(products: Lines) -> Lines:
    """Products of lines with tones held down to four times the middle, each input's sum of sizes brought to 1."""
    size = np.abs(products)
    middle = np.median(size[:, ::3], axis=1, keepdims=True)
    size_held = np.minimum(size, 4 * middle)
    whole = np.sum(size_held, axis=1, keepdims=True)
    return np.where(whole > 0, products * (size_held / np.maximum(size * whole, 1e-30)), 0)


def own_clocks(found: Clocks) -> NDArray[np.float64]:
    """Each input's own clock, in ppm; of one that is not in step with itself whatever came out."""
    return np.array([_top(found.ppm, curve) for curve in found.in_step])


def best_clock(found: Clocks, inputs: NDArray[np.bool_]) -> float | None:
    """The clock, in ppm, that most of these inputs share; None where none is in step with itself.

    The curve of one input is far wider than two clocks may be apart, so that only those near each other are added.
    """
    live = np.flatnonzero(inputs & (found.in_step.max(axis=1) > PERIODIC))
    if not len(live):
        return None
    own = own_clocks(found)[live]
    near = np.abs(own[:, None] - own) < SAME_CLOCK_PPM
    members = live[near[int(np.argmax(near @ found.in_step[live].max(axis=1)))]]
    return _top(found.ppm, np.sum(np.maximum(found.in_step[members], 0) ** 2, axis=0))


def _top(places: NDArray[np.float64], curve: NDArray[np.float64]) -> float:
    """Where a curve is highest, between the even places at which it is known."""
    top = int(np.argmax(curve))
    if not 0 < top < len(curve) - 1:
        return float(places[top])
    left, middle, right = curve[top - 1 : top + 2]
    bend = left - 2 * middle + right
    return float(places[top] + (0.5 * (left - right) / bend * (places[1] - places[0]) if bend < 0 else 0.0))


def fold(recording: Recording, stretch: Stretch, ppm: float) -> Window:
    """Lay the periods of each frame on each other, as they come at about this clock, and find it exactly."""
    found = _fold(recording, stretch, ppm)
    exact = (found.period / (PERIOD_S * recording.rate_hz) - 1) * 1e6
    return found if abs(exact - ppm) < _SMEARED_PPM else _fold(recording, stretch, exact)


def _fold(recording: Recording, stretch: Stretch, ppm: float) -> Window:
    period = PERIOD_S * recording.rate_hz * (1 + ppm * 1e-6)
    rows = int(np.ceil(period)) + 2 * _TAPS
    lines = np.empty((stretch.frames, recording.inputs, LINES), np.complex64)
    power = np.zeros((stretch.frames, recording.inputs))
    flat = np.zeros((stretch.frames, recording.inputs))
    number = np.arange(1, LINES + 1)
    places, kernel = _between(period)
    for frame in range(stretch.frames):
        exact = stretch.start + period * (frame * stretch.periods + np.arange(stretch.periods))
        starts = np.round(exact).astype(int)
        folded = np.zeros((rows, recording.inputs), np.float32)
        for start in starts:
            block = recording.read(int(start), rows)
            folded += block
            power[frame] += np.einsum("ij,ij->j", block, block) / (rows * stretch.periods)
            peak = np.maximum(block.max(axis=0), -block.min(axis=0))
            flat[frame] += np.mean(np.abs(block[::5]) >= 0.995 * peak, axis=0) / stretch.periods
        moved = np.exp(2j * np.pi / period * np.outer(starts - exact, number)).mean(axis=0)
        spectrum = np.fft.rfft(_even(folded, places, kernel), axis=1)[:, 1 : LINES + 1]
        shift = np.exp(-2j * np.pi / period * (_TAPS // 2) * number)
        lines[frame] = spectrum * (shift / (moved * GRID * stretch.periods)).astype(np.complex64)
    return _in_step(Window(stretch, period, lines, power, flat))


def _between(period: float) -> tuple[NDArray[np.int64], Real]:
    """The samples around each of `GRID` even points of a period, and their weights: (taps, points) both."""
    place = np.arange(GRID) * (period / GRID) + _TAPS // 2
    whole = np.floor(place).astype(np.int64)
    taps = np.arange(1 - _TAPS // 2, 1 + _TAPS // 2)[:, None]
    away = place - whole - taps
    inside = np.clip(1 - (away / (_TAPS / 2)) ** 2, 0, None)
    kernel = np.sinc(away) * np.i0(7.0 * np.sqrt(inside)) / np.i0(7.0)  # Kaiser window, 70 dB
    return whole + taps, kernel.astype(np.float32)


def _even(folded: Real, places: NDArray[np.int64], kernel: Real) -> Real:
    """One period at `GRID` even points, one row an input."""
    out = np.empty((folded.shape[1], GRID), np.float32)
    for first in range(0, GRID, _ROWS):
        rows = slice(first, first + _ROWS)
        total = np.zeros((_ROWS, folded.shape[1]), np.float32)
        for at, weight in zip(places[:, rows], kernel[:, rows], strict=True):
            total += np.take(folded, at, axis=0) * weight[:, None]
        out[:, rows] = total.T
    return out


def _in_step(window: Window) -> Window:
    """Find what is left of the clock's error from how the frames differ, more finely at each distance, and undo it."""
    lines, error = window.lines, 0.0  # in periods, from frame to frame
    first = 0.0
    number = np.arange(1, LINES + 1)
    for apart in (1, 2, 4, 8):
        if apart >= len(lines):
            break
        product = _levelled(np.einsum("fik,fik->ik", lines[apart:], np.conj(lines[:-apart])))
        # At the first distance the error is below a chip; then each result is twice as fine.
        tried = np.linspace(-1, 1, 65 if apart == 1 else 33) / (LENGTH * (1 if apart == 1 else 4 * apart))
        turn = np.exp(2j * np.pi * apart * np.outer(number, error + tried)).astype(np.complex64)
        in_step = np.maximum(np.einsum("ik,kt->it", product, turn).real, 0)
        curve = np.sum(in_step**2, axis=0)
        first = first or float(curve.max())
        if curve.max() < 0.25 * first:  # the signal is in too few frames that are so far apart
            break
        error += _top(tried, curve)
    turn = np.exp(2j * np.pi * error * np.outer(np.arange(len(lines)), number))
    period = window.period * (1 + error / window.stretch.periods)
    return Window(
        window.stretch, period, lines * turn[:, None, :].astype(np.complex64), window.power, window.flat
    )
