"""The bits of an AES10 link, each stated once: the subframe, the 4B5B code, the synchronisation symbol, the fill.

Source, unless said otherwise: AES10, also published as Rec. ITU-R BS.1873, as described in the Handbook for
Sound Engineers (Ballou, ed.), chapter 39.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from chanbridge.mode import Mode


class Field(NamedTuple):
    """Bits of a subframe: `width` of them, from bit `first` on, the lowest being the least significant."""

    name: str
    first: int
    width: int

    @property
    def ones(self) -> int:
        """A value with every bit of the field set, at its place in the word."""
        return ((1 << self.width) - 1) << self.first


SUBFRAME = (
    Field("frame_sync", 0, 1),  # 1 in the first channel of a frame only
    Field("active", 1, 1),
    Field("b_subframe", 2, 1),  # 1 in channels 1, 3, 5 … counted from 0
    Field("block_start", 3, 1),  # 1 where a block of 192 channel-status bits begins
    Field("audio", 4, 24),  # two's complement, bit 27 is the most significant
    Field("validity", 28, 1),
    Field("user", 29, 1),
    Field("status", 30, 1),
    Field("parity", 31, 1),  # even over bits 4 to 31
)
"""The 32 bits of a channel in a frame. Bit k of the standard is bit k of the integer."""

FIELDS = {field.name: field for field in SUBFRAME}

PARITY_COVERS = 0xFFFF_FFF0
"""Bits 4 to 31; the four flags in front of the audio are not in the parity."""

BLOCK_FRAMES = 192
"""Frames of a channel-status block (AES3)."""

INACTIVE = 0
"""The word of a channel that is not active: 32 zero bits (from memory; a public HDL implementation does the same)."""

CODE_4B5B = (
    0b11110, 0b01001, 0b10100, 0b10101, 0b01010, 0b01011, 0b01110, 0b01111,
    0b10010, 0b10011, 0b10110, 0b10111, 0b11010, 0b11011, 0b11100, 0b11101,
)  # fmt: skip
"""The five bits sent for 0 to F, left bit first. 0 to 9, A and D from the handbook, the others from memory."""

LOWEST_BIT_LEFT = True
"""Whether the leftmost of four bits is the lowest-numbered bit of the subframe (own reading of the standard)."""

SYNC = 0b11000_10001
"""The synchronisation symbol J K, left bit first: at least once a frame, and wherever capacity is spare."""

SYNC_BITS = 10
WORD_BITS = 40
"""A subframe on the link: 32 bits in 4B5B."""

FILL = int(f"{SYNC:0{SYNC_BITS}b}" * 4, 2)
"""Four synchronisation symbols: as long as a word, and a whole number of bytes."""

LINK_BITS_PER_SECOND = 125_000_000


def field_of(words: NDArray[np.uint32], name: str) -> NDArray[np.uint32]:
    """One field of subframes, its lowest bit as bit 0."""
    field = FIELDS[name]
    return (words >> np.uint32(field.first)) & np.uint32(field.ones >> field.first)


def placed(values: NDArray[np.uint32], name: str) -> NDArray[np.uint32]:
    """Values of a field at its place in the word."""
    field = FIELDS[name]
    return (values << np.uint32(field.first)) & np.uint32(field.ones)


def nibble_in_order(nibble: int) -> int:
    """Four bits of a subframe, lowest-numbered bit 0, as the number that is looked up in the 4B5B table."""
    return int(f"{nibble:04b}"[::-1], 2) if LOWEST_BIT_LEFT else nibble


def link_slots(mode: Mode) -> int:
    """Subframes in one frame on the link: with pairs two for each channel."""
    return mode.slots * (2 if mode.layout == "pairs" else 1)


def link_rate(mode: Mode) -> int:
    """Frames a second on the link in Hz: with pairs half of the sampling rate."""
    return mode.rate_hz // (2 if mode.layout == "pairs" else 1)


def _spare_symbols(mode: Mode) -> int:
    """Symbols a second that are left beside the subframes."""
    return LINK_BITS_PER_SECOND // SYNC_BITS - link_slots(mode) * (WORD_BITS // SYNC_BITS) * link_rate(mode)


def fill_in_fours(mode: Mode) -> bool:
    """Whether there is room for four synchronisation symbols a frame, so that they can be as long as a word."""
    return _spare_symbols(mode) >= link_rate(mode) * (WORD_BITS // SYNC_BITS)


def most_fill(mode: Mode) -> int:
    """Synchronisation symbols in the longest fill of a frame."""
    together = WORD_BITS // SYNC_BITS if fill_in_fours(mode) else 1
    return -(-_spare_symbols(mode) // (link_rate(mode) * together)) * together


def frame_starts(mode: Mode, first: int, count: int) -> NDArray[np.int64]:
    """Where frames begin on the link, in symbols of ten bits: `count` + 1 numbers, from frame `first` on.

    A frame is its fill, then its subframes. The link runs at 125 Mbit/s whatever the sampling rate, so the fill
    is what is left of 12 500 000 symbols a second: never less than one symbol a frame. Where there is room for
    four it is sent four at a time, so that every subframe begins on a byte.
    """
    slots, rate = link_slots(mode), link_rate(mode)
    spare, together = _spare_symbols(mode), WORD_BITS // SYNC_BITS if fill_in_fours(mode) else 1
    frames = np.arange(first, first + count + 1, dtype=np.int64)
    fill = frames * spare // (rate * together) * together
    starts: NDArray[np.int64] = fill + frames * (slots * (WORD_BITS // SYNC_BITS))
    return starts
