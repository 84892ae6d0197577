"""Bits of the link, at any place, to words; and where the synchronisation symbols are among them."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import as_strided
from numpy.typing import NDArray

from chanbridge.aes10.layout import CODE_4B5B, SYNC, SYNC_BITS, WORD_BITS, nibble_in_order
from chanbridge.aes10.linecode import HALF_WORD_CODES

Bytes = NDArray[np.uint8]
Words = NDArray[np.uint32]
Positions = NDArray[np.int64]

LOAD = 8
"""Bytes read for a word: 40 bits and up to 7 before it."""
_AT_ONCE = 32_768
"""Words looked up at a time, so that what is between bits and words stays in the processor's cache."""

_U = np.uint64
_HALF_BITS = WORD_BITS // 2
_HALF = (1 << _HALF_BITS) - 1

ODD_HALF = 0xA5A9
"""What the table says of 20 bits that are no code groups. Where it says this, the bits are looked at again."""


SYNC_HERE, NO_BYTE = 256, 257
"""What the table of symbols says of ten bits that are a synchronisation symbol, and of those that are nothing."""


def _half_words() -> NDArray[np.uint16]:
    table = np.full(1 << _HALF_BITS, ODD_HALF, np.uint16)
    table[HALF_WORD_CODES] = np.arange(1 << 16)
    return table


def _nibbles() -> NDArray[np.uint32]:
    table = np.zeros(32, np.uint32)
    for nibble in range(16):
        table[CODE_4B5B[nibble_in_order(nibble)]] = nibble
    return table


def _symbols() -> NDArray[np.uint16]:
    table = np.full(1 << SYNC_BITS, NO_BYTE, np.uint16)
    table[HALF_WORD_CODES[:256] >> SYNC_BITS] = np.arange(256)
    table[SYNC] = SYNC_HERE
    return table


HALF_WORDS = _half_words()
NIBBLES = _nibbles()
"""Five bits to four; what is no code group counts as 0."""
SYMBOLS = _symbols()
"""Ten bits to a byte of the word, in the order of the link: SYNC_HERE, or NO_BYTE, for some of them."""


def look_up(cells: NDArray[np.uint64], halves: NDArray[np.uint64], words: Words) -> None:
    """Decode the upper 40 bits of each cell, which are shifted down; `halves` takes them in two, `words` the result."""
    np.right_shift(cells, _U(64 - _HALF_BITS), out=halves[:, 0])
    np.right_shift(cells, _U(64 - WORD_BITS), out=cells)
    np.bitwise_and(cells, _U(_HALF), out=halves[:, 1])
    into = words.view(np.uint16)
    # Nothing wraps; the fastest mode.
    HALF_WORDS.take(halves.reshape(-1).view(np.int64), out=into, mode="wrap")


class Strides:
    """Decodes one word after the other without a symbol search, into room that the next call uses again."""

    def __init__(self, most: int) -> None:
        self._cells = np.empty(most, np.uint64)
        self._words = np.empty(most, np.uint32)
        self._odd = np.empty(most * 2, bool)
        self._halves = np.empty((_AT_ONCE, 2), np.uint64)

    def decode(
        self, buffer: Bytes, at: int, count: int
    ) -> tuple[Words, NDArray[np.uint64], NDArray[np.bool_]]:
        """`count` words from bit `at` on, the 40 bits of each, and whether they may be none."""
        byte, shift = at >> 3, _U(at & 7)
        words, cells, odd = self._words[:count], self._cells[:count], self._odd[: count * 2]
        loads = as_strided(buffer[byte : byte + LOAD].view(">u8"), (count,), (WORD_BITS // 8,))
        for first in range(0, count, _AT_ONCE):
            piece = slice(first, first + _AT_ONCE)
            some = cells[piece]
            np.copyto(some, loads[piece])
            if shift:
                np.left_shift(some, shift, out=some)
            look_up(some, self._halves[: len(some)], words[piece])
        np.equal(words.view(np.uint16), np.uint16(ODD_HALF), out=odd)
        return words, cells, odd.view(np.uint16) != 0


def without(items: Bytes, places: Positions) -> Bytes:
    """What stands before, between and behind these places."""
    counts = np.diff(places, prepend=-1, append=len(items)) - 1
    starts = np.append(0, places + 1)[counts > 0]
    counts = counts[counts > 0]
    if len(counts) < 3 or (counts[1:-1] != counts[1]).any():
        kept = np.ones(len(items), bool)
        kept[places] = False
        return items[kept]
    size = int(counts[1])  # frames, with a part of one at either end
    rows = as_strided(items, (len(items) - size + 1, size), (1, 1))
    ends = items[starts[0] : starts[0] + counts[0]], items[starts[-1] : starts[-1] + counts[-1]]
    return np.concatenate([ends[0], rows[starts[1:-1]].reshape(-1), ends[1]])


def no_words(halves: NDArray[np.uint64]) -> NDArray[np.bool_]:
    """Which words, given as the 20 bits of their halves, hold bits that are no code groups."""
    no_code: NDArray[np.bool_] = (HALF_WORDS[halves] == ODD_HALF) & (halves != HALF_WORD_CODES[ODD_HALF])
    return no_code[:, 0] | no_code[:, 1]


def words_at(buffer: Bytes, positions: Positions) -> tuple[Words, NDArray[np.bool_]]:
    """Words that begin at these bits, and which of them are wrong; their good groups are kept, the others 0."""
    loads = as_strided(buffer[:LOAD].view(">u8"), (len(buffer) - LOAD + 1,), (1,))
    cells = loads[positions >> 3].astype(np.uint64) << (positions & 7).astype(np.uint64)
    halves, words = np.empty((len(cells), 2), np.uint64), np.empty(len(cells), np.uint32)
    look_up(cells, halves, words)
    wrong = np.zeros(len(words), bool)
    odd = words.view(np.uint16) == np.uint16(ODD_HALF)
    doubtful = np.flatnonzero(odd[::2] | odd[1::2])
    wrong[doubtful] = no_words(halves[doubtful])
    at = np.flatnonzero(wrong)
    bits = halves[at, 0] << _U(_HALF_BITS) | halves[at, 1]
    words[at] = 0
    for group in range(8):
        nibble = NIBBLES[bits >> _U(WORD_BITS - 5 * (group + 1)) & _U(31)]
        words[at] |= nibble << np.uint32(4 * group)
    return words, wrong


def syncs_in(buffer: Bytes, begin: int, end: int) -> Positions:
    """Where symbols begin in bits `begin` to `end`, at whatever bit."""
    first = begin // 8
    window = buffer[first : end // 8 + 3].astype(np.uint16)
    pairs = window[:-2] << np.uint16(8) | window[1:-1]
    hits = np.zeros(len(pairs), np.uint8)
    for bit in range(7):
        room = 16 - SYNC_BITS - bit
        found = pairs & np.uint16((1 << SYNC_BITS) - 1 << room) == np.uint16(SYNC << room)
        hits |= found.view(np.uint8) << np.uint8(bit)
    nine = pairs & np.uint16((1 << 9) - 1) == np.uint16(SYNC >> 1)
    hits |= (nine & (window[2:] >> 7 == SYNC & 1)).view(np.uint8) << np.uint8(7)
    at = np.flatnonzero(hits != 0)
    rows, bits = np.nonzero(np.unpackbits(hits[at, None], axis=1, bitorder="little"))
    found_at: Positions = (at[rows] + first) * 8 + bits
    return found_at[(found_at >= begin) & (found_at + SYNC_BITS <= end)]


def nearly_sync(buffer: Bytes, place: int) -> bool:
    """Whether the ten bits at a place are a symbol in which one bit is wrong."""
    ten = int.from_bytes(buffer[place // 8 : place // 8 + 3].tobytes(), "big") >> 24 - SYNC_BITS - place % 8
    return (ten & (1 << SYNC_BITS) - 1 ^ SYNC).bit_count() == 1


def true_syncs(buffer: Bytes, syncs: Positions, step: int | None, end: int, at_end: bool) -> Positions:
    """Symbols without those that wrong bits made: out of step with both neighbours, which agree with each other.

    `step`: where a word or symbol is known to begin before them. The last one, if out of step, is left for the time
    when its neighbour is known; `at_end`, when none will be, it counts if words follow it up to bit `end`.
    """
    if not len(syncs):
        return syncs
    before = np.concatenate([[step - SYNC_BITS if step is not None else syncs[0] - SYNC_BITS], syncs])
    out_of_step = (np.diff(before) - SYNC_BITS) % WORD_BITS != 0
    agree = (before[2:] - before[:-2] - SYNC_BITS) % WORD_BITS == 0
    false = out_of_step.copy()
    false[:-1] &= out_of_step[1:] & agree
    if at_end:
        behind = np.arange(syncs[-1] + SYNC_BITS, end - WORD_BITS + 1, WORD_BITS)[:2]
        false[-1] &= not len(behind) or bool(words_at(buffer, behind)[1].any())
    true: Positions = syncs[~false]
    return true
