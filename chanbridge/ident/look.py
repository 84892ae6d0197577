"""What one window shows of each input: its lines averaged, and how well its strongest signal stands out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from chanbridge.ident.cancel import CLEAR, DOUBTFUL, Peak, exact, held_down, search
from chanbridge.ident.codes import GRID, LINES, WALK, Lines, spectra
from chanbridge.ident.fold import (
    PERIODIC,
    SAME_CLOCK_PPM,
    Recording,
    Stretch,
    Window,
    best_clock,
    clocks,
    fold,
    own_clocks,
)

_ROUNDS = 4  # clocks that are looked for in one window
_WHOLE = 25.0  # how far an ident that is folded at its own clock, and alone, stands out at least
_CERTAIN = 0.5  # of the energy in step: the input's own clock is known well
_DRIFT = 5e-6  # periods in a window, a hundredth of a chip: less is left as it is
_LONGEST_GAP_S = 2.5  # in a visit: a frame or two that a plug's noise spoils


class Look(NamedTuple):
    """An input in a window.

    `peak`: its strongest signal; `quality` grows with how far that stands out and with the frames that show it.
    `lines`: one period, averaged; `period`: in samples; `in_step`: the share of its energy that repeats; `flat`: the
    share of samples at its peak.
    """

    quality: float
    peak: Peak
    lines: Lines
    period: float
    in_step: float
    flat: float
    window: int


class Frame(NamedTuple):
    """How much of the carried signal each input had in a frame, linear; 0 where it did not stand out."""

    begin_s: float
    end_s: float
    gains: NDArray[np.float64]


class Seen(NamedTuple):
    """A window, looked at: each input's look and mean power, and the carried signal's frames."""

    looks: tuple[Look, ...]
    power: NDArray[np.float64]
    frames: tuple[Frame, ...]


class Visit(NamedTuple):
    """The carried signal at one input: the input from 0, seconds from the recording's start."""

    input: int
    begin_s: float
    end_s: float


def look(recording: Recording, stretch: Stretch, known: Lines, number: int) -> Seen:
    """Search a window for these signals. Inputs that run at another clock than most are folded again at theirs."""
    found = clocks(recording, stretch)
    in_step = found.in_step.max(axis=1)
    own = own_clocks(found)
    ppm = best_clock(found, np.ones(recording.inputs, bool)) or 0.0
    window = fold(recording, stretch, ppm)
    looks = [_look(window, at, known, float(in_step[at]), number) for at in range(recording.inputs)]
    power, frames = window.power.mean(axis=0), _carried(window, recording.rate_hz)
    for _ in range(_ROUNDS - 1):
        clear = np.array([each.peak.clear for each in looks])
        doubt = (in_step > PERIODIC) & ((clear < _WHOLE) | (in_step > _CERTAIN))
        left = doubt & (np.abs(own - ppm) > SAME_CLOCK_PPM)
        other = best_clock(found, left)
        if other is None:
            break
        window = fold(recording, stretch, other)
        for at in np.flatnonzero(left):
            again = _look(window, int(at), known, float(in_step[at]), number)
            looks[at] = max(looks[at], again, key=lambda each: each.peak.height)
            own[at] = ppm if abs(own[at] - other) <= SAME_CLOCK_PPM else own[at]  # it had its turn
    return Seen(tuple(looks), power, frames)


def _look(window: Window, at: int, known: Lines, in_step: float, number: int) -> Look:
    """Average the frames in which an input's strongest signal is there, unbroken, and at one delay."""
    lines = np.ascontiguousarray(window.lines[:, at])
    whole = lines.mean(axis=0)
    peak = search(held_down(whole), known)
    good = np.ones(len(lines), bool)
    if peak.clear >= DOUBTFUL and len(lines) > 1:
        count = np.arange(1, LINES + 1)
        gain, delay = exact(whole, known[peak.code], peak.place / GRID)
        wanted = np.conj(known[peak.code]) * _turn(count * delay) * np.float32(np.sign(gain))
        weighted = np.stack([wanted, wanted * count, wanted * count**2]).astype(np.complex64)
        sums = np.einsum("fk,jk->fj", lines, weighted)
        gains = 2 * sums[:, 0].real
        good = gains > 0.9 * np.quantile(gains, 0.75)
        if good.sum() > 2:  # what is left of the clock's error in this input
            late = -sums[:, 1].imag / (2 * np.pi * np.maximum(sums[:, 2].real, 1e-30))
            when = np.flatnonzero(good) - np.flatnonzero(good).mean()
            drift = float(np.sum(when * late[good]) / np.sum(when**2))
            if abs(drift) * len(lines) > _DRIFT:
                lines = np.multiply(lines, _turn(drift * np.outer(np.arange(len(lines)), count)))
        whole = lines[good].mean(axis=0)
        if good.sum() < 0.75 * len(good):  # with fewer left out it would stand out no better
            peak = search(held_down(whole), known)
    quality = min(peak.clear, 45.0) * float(np.sqrt(good.sum()))
    flat = float(window.flat[good, at].mean())
    return Look(quality, peak, whole, window.period, in_step, flat, number)


def _turn(cycles: NDArray[np.floating]) -> Lines:
    return np.asarray(np.exp(2j * np.pi * cycles), np.complex64)


def _carried(window: Window, rate_hz: int) -> tuple[Frame, ...]:
    """The carried signal, frame by frame, as it goes from input to input."""
    walk = spectra([WALK])
    if not any(search(held_down(mine), walk).clear >= DOUBTFUL for mine in window.lines.mean(axis=0)):
        return ()
    length = window.period * window.stretch.periods
    out = []
    for at, lines in enumerate(window.lines):
        gains = np.zeros(len(lines))
        for row, mine in enumerate(lines):
            peak = search(held_down(mine), walk)
            gains[row] = peak.height if peak.clear >= CLEAR else 0.0
        begin = (window.stretch.start + at * length) / rate_hz
        out.append(Frame(begin, begin + length / rate_hz, gains))
    return tuple(out)


def visits(frames: Sequence[Frame]) -> tuple[Visit, ...]:
    """Where the carried signal was, one visit after the other; crosstalk 20 dB below is no visit."""
    open_: dict[int, Visit] = {}
    done: list[Visit] = []
    for frame in frames:
        loudest = frame.gains.max(initial=0.0)
        for at in np.flatnonzero((frame.gains > 0) & (frame.gains > 0.1 * loudest)):
            before = open_.get(int(at))
            if before and frame.begin_s - before.end_s <= _LONGEST_GAP_S:
                open_[int(at)] = before._replace(end_s=frame.end_s)
            else:
                done += [before] if before else []
                open_[int(at)] = Visit(int(at), frame.begin_s, frame.end_s)
    return tuple(sorted([*done, *open_.values()], key=lambda each: (each.begin_s, each.input)))
