"""The bits of the link back to subframes: finding the synchronisation symbols, and what to do when bits are wrong.

Between two symbols of a sound link lies a whole number of 40-bit words, and no symbol appears across groups of
the 4B5B code. So every symbol says where words begin. While every 40 bits are words or four symbols, they are
decoded in long strides (`_stride`); wherever they are not, symbols are searched for at every bit (`_search`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from chanbridge.aes10.cells import (
    LOAD,
    NO_BYTE,
    SYMBOLS,
    SYNC_HERE,
    Bytes,
    Positions,
    Strides,
    Words,
    nearly_sync,
    syncs_in,
    true_syncs,
    without,
    words_at,
)
from chanbridge.aes10.framing import Framer, Place
from chanbridge.aes10.layout import FILL, SYNC_BITS, WORD_BITS, fill_in_fours, link_slots
from chanbridge.aes10.linecode import PIECE_WORDS
from chanbridge.mode import Mode

_NOWHERE = np.zeros(0, np.int64)
_NONE, _NEVER = np.zeros(0, np.uint32), np.zeros(0, bool)
_WRONG_SYMBOLS = (SYNC_BITS, 2 * SYNC_BITS, 3 * SYNC_BITS)
"""Bits that are lost where one, two or three symbols are wrong and no word is missing."""

_U = np.uint64
_SHIFTS = np.arange(WORD_BITS - SYNC_BITS, -1, -SYNC_BITS).astype(_U)
"""How far each of a word's four symbols is above bit 0."""

_LONGEST = 4 * PIECE_WORDS
"""Words in the longest stride."""
_FIRST = 256
"""Words tried in the first stride after a search. Strides grow from there, and so do searches with no long stride between."""


def _symbols(cells: NDArray[np.uint64]) -> NDArray[np.uint16]:
    """What the four symbols of each of these 40 bits are."""
    tens = cells[:, None] >> _SHIFTS & _U((1 << SYNC_BITS) - 1)
    return SYMBOLS.take(tens.view(np.int64), mode="wrap")


class Break(NamedTuple):
    """Bits in the midst of the data that made no words: `bits` of them from bit `at` on, before frame `frame`."""

    at: int
    bits: int
    frame: int


class LineReport(NamedTuple):
    """What was met on the way from bits to frames.

    `bits`: received. `first_sync`: the bit at which the first synchronisation symbol begins, None if there is
    none. `syncs`: symbols found. `frames`: whole frames. `code_errors`: subframes, by frame from 0 and slot from
    1, in which bits were no code groups; those count as 0. `breaks`: where bits made no words. `before` and
    `after`: bits in front of the first word and behind the last. `unframed`: words that belong to no whole frame,
    as at the ends of a recording.
    """

    bits: int = 0
    first_sync: int | None = None
    syncs: int = 0
    frames: int = 0
    code_errors: tuple[Place, ...] = ()
    breaks: tuple[Break, ...] = ()
    before: int = 0
    after: int = 0
    unframed: int = 0


@dataclass(frozen=True, eq=False)
class Line:
    """Whole frames, uint32 (frames, slots), and what was met on the way to them."""

    words: Words
    report: LineReport


def decode_line(data: bytes | bytearray | memoryview, *, mode: Mode, nrzi: bool = False) -> Line:
    """The frames in the bits of a link, from whatever bit they begin at; bad bits raise nothing.

    Words stay in step through wrong bits; where the step is lost, they go on at the next synchronisation symbol,
    and what is left of a frame is dropped and reported. `nrzi`: the data are levels, of either polarity; what came
    before them is not known, so the first bit may be wrong.
    """
    decoder = LineDecoder(mode, nrzi=nrzi)
    pieces = [decoder.feed(data), decoder.finish()]
    words = next((piece for piece, other in (pieces, pieces[::-1]) if not len(other)), None)
    return Line(np.concatenate(pieces) if words is None else words, decoder.report)


class LineDecoder:
    """Bytes of the link to frames, piece after piece; memory holds what is not decoded yet and no more."""

    def __init__(self, mode: Mode, *, nrzi: bool = False) -> None:
        self._framer = Framer(link_slots(mode))
        self._in_fours = fill_in_fours(mode)
        self._nrzi = nrzi
        self._level = 0
        self._kept = np.zeros(0, np.uint8)  # bytes that are not done with; the first of them holds bit `_at`
        self._at = 0
        self._in_step = False  # whether a symbol or a word begins at bit `_at`
        self._passed = 0  # bits that are no longer kept
        self._received = 0
        self._first_sync: int | None = None
        self._syncs = 0
        # Bits of which nothing came, from the first to after the last.
        self._lost: tuple[int, int] | None = None
        self._before: int | None = None  # None until there are words
        self._breaks: list[Break] = []
        self._stride_words = self._search_words = _FIRST
        self._strides = Strides(_LONGEST)

    def feed(self, data: bytes | bytearray | memoryview) -> Words:
        """Some more bytes; the frames that are whole now."""
        new = np.frombuffer(data, np.uint8)
        self._received += len(new) * 8
        if self._nrzi and len(new):
            last, self._level = self._level, int(new[-1])
            changes = new >> np.uint8(1)
            changes ^= new
            changes[1:] ^= new[:-1] << np.uint8(7)
            changes[0] ^= (last & 1) << 7
            new = changes
        return self._decode(np.concatenate([self._kept, new]) if len(self._kept) else new, False)

    def finish(self) -> Words:
        """The frames in what is left, to be called once after the last bytes."""
        words = self._decode(self._kept, True)
        rest = self._framer.cut()
        return np.concatenate([words, *rest]) if rest else words

    @property
    def report(self) -> LineReport:
        """What was met so far; complete after `finish`."""
        begin, end = self._lost or (0, 0)
        return LineReport(
            self._received, self._first_sync, self._syncs, self._framer.frames, tuple(self._framer.code_errors),
            tuple(self._breaks), end - begin if self._before is None else self._before,
            0 if self._before is None else end - begin, self._framer.dropped,
        )  # fmt: skip

    def _decode(self, buffer: Bytes, last: bool) -> Words:
        """Decode a buffer; what is not decided yet is kept, unless nothing will follow."""
        out: list[Words] = []
        self._run(buffer, (len(buffer) - LOAD) * 8, False, out)  # where it is safe to read ahead
        rest = self._passing(buffer)
        padded = np.concatenate([rest, np.zeros(LOAD, np.uint8)])
        self._run(padded, len(rest) * 8, last, out)
        self._kept = self._passing(padded)[:-LOAD].copy()
        return out[0] if len(out) == 1 else np.concatenate([self._framer.none, *out])

    def _run(self, buffer: Bytes, limit: int, last: bool, out: list[Words]) -> None:
        """Decode the bits up to `limit`, behind which 8 more bytes are."""
        going = True
        while going:
            fits = (limit - self._at) // WORD_BITS if self._in_step else 0
            going = (fits > 0 and self._stride(buffer, fits, out)) or self._search(buffer, limit, last, out)

    def _passing(self, buffer: Bytes) -> Bytes:
        """What of a buffer is not done with, from the byte on that holds the next bit."""
        done = self._at // 8
        self._passed += done * 8
        self._at -= done * 8
        return buffer[done:]

    def _give(self, words: Words, wrong: NDArray[np.bool_] | None, out: list[Words]) -> None:
        """Hand words to the framer, telling it where any before them are missing."""
        if not len(words):
            return
        if self._before is None:
            begin, end = self._lost or (0, 0)
            self._before = end - begin
        elif self._lost:
            begin, end = self._lost
            self._breaks.append(Break(begin, end - begin, self._framer.frames))
            if end - begin not in _WRONG_SYMBOLS:
                out.extend(self._framer.cut())
        self._lost = None
        out.extend(self._framer.add(words, np.flatnonzero(wrong) if wrong is not None else _NOWHERE))

    def _lose(self, begin: int, end: int) -> None:
        """Note that nothing came of these bits."""
        if end > begin:
            self._lost = (self._lost[0] if self._lost else self._passed + begin, self._passed + end)

    # -- in step: every 40 bits are a word or four symbols

    def _stride(self, buffer: Bytes, fits: int, out: list[Words]) -> bool:
        """Decode some of the `fits` words that there may be; False where it cannot be told how far they are sound."""
        count = min(fits, self._stride_words)
        words, cells, is_fill = self._strides.decode(buffer, self._at, count)
        fills = np.flatnonzero(is_fill)  # or may be; hardly any are not, so they are looked at again
        stop = count
        doubtful = cells[fills]
        known = doubtful == FILL
        if not known.all():
            symbols = _symbols(doubtful)
            if not self._in_fours and (symbols[~known] == SYNC_HERE).any():
                return self._uneven(words, fills, symbols, out)
            is_fill[fills[~known]] = False
            wrong = fills[~known & (symbols >= SYNC_HERE).any(axis=1)]
            stop = int(wrong[0]) if len(wrong) else count
            fills = np.flatnonzero(is_fill[:stop])
        self._went_well(stop == count, count)
        if stop == count < fits and len(fills) and fills[-1] > count // 2:
            stop = int(fills[-1]) + 1  # whole frames, likely; what comes after is decoded again
        if len(fills):
            self._met(self._at + int(fills[0]) * WORD_BITS, 4 * len(fills))
        self._at += stop * WORD_BITS
        self._give(words[:stop][~is_fill[:stop]], None, out)
        return stop > 0

    def _uneven(
        self, words: Words, doubtful: Positions, symbols: NDArray[np.uint16], out: list[Words]
    ) -> bool:
        """Decode a stride in which synchronisation symbols do not come in fours, so that words are not 40 bits apart.

        Taken are words up to a symbol that is where it should be, as long as whole words lie between the symbols.
        """
        places = 4 * doubtful[:, None] + np.arange(4)
        data, is_data = words.view(np.uint8), symbols < SYNC_HERE
        data[places[is_data]] = symbols[is_data]  # beside a symbol in the same half of a word
        syncs = places[symbols == SYNC_HERE]
        counts = np.diff(syncs, prepend=-1) - 1
        sound = counts % 4 == 0
        broken = np.searchsorted(syncs, places[symbols == NO_BYTE])
        sound[broken[broken < len(syncs)]] = False
        ends = np.flatnonzero(counts[: len(syncs) if sound.all() else int(np.argmin(sound))])
        self._went_well(bool(sound.all()), len(words))
        if not len(ends):
            return False
        last = int(ends[-1])
        if last:
            self._met(self._at + int(syncs[0]) * SYNC_BITS, last)
        stop = int(syncs[last])
        self._at += stop * SYNC_BITS
        self._give(without(data[:stop], syncs[:last]).view(np.uint32), None, out)
        return True

    def _went_well(self, well: bool, count: int) -> None:
        """Make the next stride longer after a sound one, short after one that was not."""
        self._stride_words = min(self._stride_words * 4, _LONGEST) if well else _FIRST
        if well and count > _FIRST:
            self._search_words = _FIRST

    def _met(self, at: int, count: int) -> None:
        """Count symbols, the first of them at bit `at`."""
        self._syncs += count
        if self._first_sync is None:
            self._first_sync = self._passed + at

    # -- out of step, or symbols in other numbers than four

    def _search(self, buffer: Bytes, limit: int, last: bool, out: list[Words]) -> bool:
        """Decode from symbol to symbol in the next stretch of bits; False if there is nothing more to do now."""
        end = min(limit, self._at + self._search_words * WORD_BITS)
        at_end = last and end == limit
        if end <= self._at or (self._in_step and not at_end and end - self._at < WORD_BITS):
            return False
        step = self._at if self._in_step else None
        syncs = true_syncs(buffer, syncs_in(buffer, self._at, end), step, end, at_end)
        if len(syncs):
            self._search_words = min(self._search_words * 2, PIECE_WORDS)
            self._met(int(syncs[0]), len(syncs))
            self._gaps(buffer, syncs, out)
            self._at, self._in_step = int(syncs[-1]) + SYNC_BITS, True
            return True
        if not at_end:
            end -= SYNC_BITS - 1  # a symbol may begin there
            if end <= self._at or (self._in_step and end + SYNC_BITS > limit):
                return False  # the next symbol will tell
        self._open(buffer, self._at, end, out) if self._in_step else self._lose(self._at, end)
        self._at, self._in_step = end, False
        return not at_end

    def _gaps(self, buffer: Bytes, syncs: Positions, out: list[Words]) -> None:
        """Decode what lies before each of these symbols."""
        begins = np.concatenate([[self._at], syncs[:-1] + SYNC_BITS])
        lengths = syncs - begins
        whole = (lengths >= 0) & (lengths % WORD_BITS == 0)
        whole[0] &= self._in_step
        counts = np.where(whole, lengths // WORD_BITS, 0)
        owner = np.repeat(np.arange(len(counts)), counts)
        within = np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts)
        words, wrong = words_at(buffer, begins[owner] + within * WORD_BITS)
        bad = np.bincount(owner[wrong], minlength=len(counts))
        whole &= bad * 2 <= counts + 2  # noise may have any length
        broken = np.flatnonzero(~whole)
        known = (broken > 0) | self._in_step
        fits = lengths[broken] >= WORD_BITS
        hope = np.zeros(len(broken), bool)  # a word at either end; in noise there is hardly ever one
        hope[fits] = ~words_at(buffer, syncs[broken[fits]] - WORD_BITS)[1]
        hope[fits] |= known[fits] & ~words_at(buffer, begins[broken[fits]])[1]
        runs = np.searchsorted(owner, [np.append(0, broken + 1), np.append(broken, len(whole))]).T
        for run, at in zip(runs.tolist(), [*range(len(broken)), None], strict=True):
            self._give(words[slice(*run)], wrong[slice(*run)], out)
            if at is not None:
                begin, end = int(begins[broken[at]]), int(syncs[broken[at]])
                if hope[at]:
                    self._broken(buffer, begin, end, bool(known[at]), out)
                else:
                    self._lose(begin, end)

    def _broken(self, buffer: Bytes, begin: int, end: int, left: bool, out: list[Words]) -> None:
        """Decode a gap that is no whole number of words: from its left if the step is known there, and its right.

        If all of it reads as words, and what is left over is no symbol with a wrong bit, then bits were lost or added
        at a place unknown, and none of it is given.
        """
        words, wrong = (
            words_at(buffer, np.arange(begin, end - WORD_BITS + 1, WORD_BITS)) if left else (_NONE, _NEVER)
        )
        head = int(np.argmax(np.append(wrong, True)))
        over = range(begin + len(words) * WORD_BITS, end, SYNC_BITS)
        if left and head == len(words) and not all(nearly_sync(buffer, place) for place in over):
            self._lose(begin, end)
            return
        self._give(words[:head], None, out)
        done = begin + head * WORD_BITS
        words, wrong = words_at(buffer, end - WORD_BITS * np.arange(1, (end - done) // WORD_BITS + 1))
        tail = int(np.argmax(np.append(wrong, True)))
        self._lose(done, end - tail * WORD_BITS)
        self._give(words[:tail][::-1], None, out)

    def _open(self, buffer: Bytes, begin: int, end: int, out: list[Words]) -> None:
        """Decode from a known step on to where no symbol can tell how words stand.

        A wrong word alone is kept, two together end the words. Ten bits that are a symbol but for one bit are passed
        over if then the bits that are left come out even.
        """
        words, wrong = words_at(buffer, np.arange(begin, end - WORD_BITS + 1, WORD_BITS))
        ending = wrong[:-1] & wrong[1:]
        sound = int(np.argmax(ending)) if ending.any() else len(words)
        for at in np.flatnonzero(wrong).tolist():
            place = begin + at * WORD_BITS
            left = (end - place) % WORD_BITS
            if SYNC_BITS <= left < 2 * SYNC_BITS and nearly_sync(buffer, place):
                self._give(words[:at], wrong[:at], out)
                self._lose(place, place + SYNC_BITS)
                self._open(buffer, place + SYNC_BITS, end, out)
                return
        self._give(words[:sound], wrong[:sound], out)
        self._lose(begin + sound * WORD_BITS, end)
