"""The ident signals: one band-limited Gold code a channel.

A Gold code of length 2047 is the sum of two sequences of greatest length; any two of a family correlate, at any
shift, to one of -65, -1 and 63 of 2047 (Gold, 1967), so that each is told from the others 30 dB down. A code runs
at 12 000 chips a second whatever the sampling rate, over and over: its spectrum is lines, 12 000 / 2047 Hz apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from itertools import combinations
from math import gcd

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float32]
Lines = NDArray[np.complex64]

LENGTH = 2047
CHIPS_HZ = 12_000
PERIOD_S = LENGTH / CHIPS_HZ
"""Seconds in which a code runs once, about 0.17."""

LINES = 1535
"""Lines of the spectrum that are sent; the last lies just below 9 kHz."""

GRID = 4096
"""Points of a period wherever one is analysed; above twice `LINES`."""

MOST_CODES = 2047
WALK = 2047
"""The code of the signal that is carried from socket to socket; never a channel's."""

_FIRST, _SECOND = (2,), (8, 5, 2)
"""Middle feedback taps of the two sequences: (11,2) and (11,8,5,2), a preferred pair."""

_SOFT_EDGES_HZ = (60.0, 120.0, 3_000.0, 9_000.0)
"""Silent below the first and above the last, flat between the middle ones: a root-raised-cosine slope above."""

_NEAR_SHIFTS = 5
"""Chips over which a distorting input still mixes a code with itself."""


@cache
def greatest_length(taps: tuple[int, ...]) -> NDArray[np.int8]:
    """2047 bits of the sequence s[n+11] = s[n] + s[n+tap] + …, begun with ones."""
    bits = [1] * 11
    for at in range(LENGTH - 11):
        bits.append((bits[at] + sum(bits[at + tap] for tap in taps)) % 2)
    return np.array(bits, np.int8)


@cache
def gold(number: int) -> NDArray[np.int8]:
    """2047 chips of +1 and -1. `number` from 0 to 2046 is the second sequence's shift; `WALK` is the first alone."""
    if not 0 <= number <= WALK:
        raise ValueError(f"there is no code {number}; there are 0 to {WALK}")
    bits = greatest_length(_FIRST)
    if number != WALK:
        bits = bits ^ np.roll(greatest_length(_SECOND), -number)
    return (1 - 2 * bits).astype(np.int8)


@cache
def numbers() -> tuple[int, ...]:
    """All codes, in the order in which channels get them.

    An input that distorts multiplies a code with itself a few chips away, and such a product of two or three is
    another code of the family. The first codes of this order are such that none is a near product of another.
    """
    forbidden = _near_products()
    first: list[int] = []
    for number in range(LENGTH):
        if all((number - other) % LENGTH not in forbidden for other in first):
            first.append(number)
    taken = set(first)
    return (*first, *(number for number in range(LENGTH) if number not in taken))


def _near_products() -> set[int]:
    """How far apart, in the family's order, a code and a product of it with itself nearby can be."""
    shifts = [_shifts(taps) for taps in (_FIRST, _SECOND)]
    found = set()
    for more in (1, 2):
        for offsets in combinations(range(1, _NEAR_SHIFTS + 1), more):
            one, two = (
                _product(greatest_length(taps), index, offsets)
                for taps, index in zip((_FIRST, _SECOND), shifts, strict=True)
            )
            found |= {(two - one) % LENGTH, (one - two) % LENGTH}
    return found


def _shifts(taps: tuple[int, ...]) -> dict[bytes, int]:
    """The first eleven bits of a sequence → the shift at which they begin it."""
    twice = np.tile(greatest_length(taps), 2)
    return {twice[at : at + 11].tobytes(): at for at in range(LENGTH)}


def _product(bits: NDArray[np.int8], shifts: dict[bytes, int], offsets: tuple[int, ...]) -> int:
    """The shift of the sequence that a sequence times itself, moved by each offset, is."""
    mixed = bits.copy()
    for offset in offsets:
        mixed ^= np.roll(bits, -offset)
    return shifts[mixed[:11].tobytes()]


@cache
def _weights() -> NDArray[np.float64]:
    hz = np.arange(1, LINES + 1) / PERIOD_S
    low, flat, slope, high = _SOFT_EDGES_HZ
    rise = np.sin(np.pi / 2 * np.clip((hz - low) / (flat - low), 0, 1))
    return np.asarray(rise * np.cos(np.pi / 2 * np.clip((hz - slope) / (high - slope), 0, 1)))


def spectra(codes: Sequence[int]) -> Lines:
    """Codes as lines 1 to `LINES` of their spectra, one row each; the signal that they make has an RMS of 1."""
    which = np.arange(1, LINES + 1) % LENGTH
    chips = np.array([gold(number) for number in codes], np.float64).reshape(-1, LENGTH)
    lines = np.fft.fft(chips, axis=1)[:, which] * _weights()
    lines /= np.sqrt(2 * np.sum(np.abs(lines) ** 2, axis=1, keepdims=True))
    return lines.astype(np.complex64)


def waves(codes: Sequence[int], rate_hz: int) -> Real:
    """The signals as samples, one row each, RMS 1: as many periods as make a whole number of samples.

    That is one period at 48 and 96 kHz, 40 at 44.1 kHz (300 909 samples).
    """
    periods = CHIPS_HZ // gcd(CHIPS_HZ, rate_hz)
    length = LENGTH * rate_hz // gcd(CHIPS_HZ, rate_hz)
    out = np.empty((len(codes), length), np.float32)
    for row, lines in zip(out, spectra(codes), strict=True):
        whole = np.zeros(length // 2 + 1, np.complex128)
        whole[periods : periods * LINES + 1 : periods] = lines
        row[:] = np.fft.irfft(whole, length) * length
    return out
