"""Subframes to the bits of the link: 4B5B, synchronisation symbols, fill, and NRZI where it is asked for."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import as_strided
from numpy.typing import ArrayLike, NDArray

from chanbridge.aes10.layout import (
    CODE_4B5B,
    FILL,
    SYNC,
    SYNC_BITS,
    WORD_BITS,
    fill_in_fours,
    frame_starts,
    link_slots,
    most_fill,
    nibble_in_order,
)
from chanbridge.mode import Mode

Bytes = NDArray[np.uint8]

PIECE_WORDS = 32_768
"""Words worked on at a time: enough to make the calls cheap, few enough for the processor's cache."""

_U = np.uint64
_WORD_BYTES = WORD_BITS // 8
_FILL_BYTES = FILL.to_bytes(_WORD_BYTES, "big") * 4096
_WORD = _U((1 << WORD_BITS) - 1 << 64 - WORD_BITS)
"""The upper bits of a cell, where the word is."""
_FILL_ON = _U(int(f"{SYNC:0{SYNC_BITS}b}" * 7, 2) >> 6)
"""64 bits of fill from the beginning of a symbol on."""


def half_word_codes() -> NDArray[np.uint32]:
    """The 20 bits sent for 16 bits of a subframe, for every value of them."""
    half = np.arange(1 << 16)
    groups = np.array([CODE_4B5B[nibble_in_order(nibble)] for nibble in range(16)])
    code = np.zeros(1 << 16, np.int64)
    for at in range(4):
        code = code << 5 | groups[half >> 4 * at & 15]
    return code.astype(np.uint32)


HALF_WORD_CODES = half_word_codes()


class LineEncoder:
    """Subframes to the link's bytes, piece after piece; the fill and the level of NRZI go on where they were."""

    def __init__(self, mode: Mode, *, nrzi: bool = False) -> None:
        self.mode = mode
        self._slots = link_slots(mode)
        self._frame = 0
        self._held = np.zeros(0, np.uint8)  # the byte that was begun and is not full yet
        self._nrzi = _Transitions() if nrzi else None
        self._rows = rows = max(1, PIECE_WORDS // self._slots)
        self._halves = np.empty(rows * self._slots * 2, np.int64)
        self._codes = np.empty(rows * self._slots * 2, np.uint32)
        self._cells = np.empty((rows, self._slots), np.uint64)
        self._room = np.empty(0, np.uint8)
        self._most_fill = most_fill(mode) * SYNC_BITS // 8 if fill_in_fours(mode) else 0

    def feed(self, words: ArrayLike) -> bytes:
        """The bytes of some more frames, (frames, slots). Raises ValueError for another number of slots."""
        frames = np.ascontiguousarray(words, np.uint32)
        if frames.ndim != 2 or frames.shape[1] != self._slots:
            raise ValueError(
                f"the words have the shape {frames.shape}; a frame of {self.mode} has {self._slots} subframes"
            )
        if not len(frames):
            return b""
        starts = frame_starts(self.mode, self._frame, len(frames)) * SYNC_BITS
        self._frame += len(frames)
        base = int(starts[0]) // 8
        places = starts[1:] - (self._slots * WORD_BITS + base * 8)  # of each frame's first word, in bits
        whole, left = divmod(int(starts[-1]) - base * 8, 8)
        bytes_at, shifts = places >> 3, (places & 7).astype(np.uint64)
        out = self._filled(whole + 8, base % _WORD_BYTES, bytes_at)
        out[: len(self._held)] = self._held
        # Row b: the words of a frame that begins in byte b, with what is in the same 64 bits after each.
        cells_at = as_strided(
            out[:8].view(">u8"), (whole - self._slots * _WORD_BYTES + 1, self._slots), (1, _WORD_BYTES)
        )
        for at in range(0, len(frames), self._rows):
            piece = slice(at, at + self._rows)
            cells_at[bytes_at[piece]] = self._shifted(frames[piece], shifts[piece])
        self._held = out[whole : whole + 1].copy() if left else out[:0]
        return self._sent(out[:whole])

    def finish(self) -> bytes:
        """The byte that is not full yet, filled up with the beginning of a synchronisation symbol."""
        return self._sent(self._held) if len(self._held) else b""

    def _shifted(self, words: NDArray[np.uint32], shifts: NDArray[np.uint64]) -> NDArray[np.uint64]:
        """Each word's 40 bits, `shifts` bits below the top of 64; above stand the bits that come before it.

        What stands below is overwritten by the next word, but after a frame's last word it is fill.
        """
        count, slots = words.shape
        halves, codes = self._halves[: words.size * 2], self._codes[: words.size * 2]
        cells = self._cells[:count]
        np.copyto(halves, words.reshape(-1).view(np.uint16))
        HALF_WORD_CODES.take(halves, out=codes, mode="wrap")  # nothing wraps; it is the mode that is fastest
        both = codes.view(np.uint64).reshape(count, slots)  # first half in the low bits
        np.left_shift(both, _U(44), out=cells)
        if not shifts.any():
            both >>= _U(8)
            cells |= both
            cells[:, -1] &= _WORD
            cells[:, -1] |= _FILL_ON >> _U(WORD_BITS)
            return cells
        shift = shifts[:, None]
        both >>= _U(32)
        both <<= _U(24)
        cells |= both
        cells >>= shift
        both <<= _U(40) - shift  # what falls out of a cell at its end stands above the next word
        cells[:, 1:] |= both[:, :-1]
        cells[:, 0] |= _U(SYNC) << (_U(64) - shifts)  # a shift by all 64 leaves nothing
        cells[:, -1] |= _FILL_ON >> (_U(WORD_BITS) + shifts)
        return cells

    def _filled(self, size: int, phase: int, frames_at: NDArray[np.int64]) -> Bytes:
        """Room for bytes, used again by the next call, with fill that goes on from `phase` bytes into its pattern.

        `frames_at`: where frames' words begin. Where fill is as long as words, only what is before these is written.
        """
        lead = self._most_fill or phase
        if len(self._room) < lead + size:
            self._room = np.empty(lead + size, np.uint8)
        if self._most_fill:
            before = as_strided(self._room[:lead].view(f"V{lead}"), (size,), (1,))
            before[frames_at] = np.frombuffer(_FILL_BYTES, f"V{lead}", 1)
        else:
            wanted = self._room[: lead + size]
            for at in range(0, len(wanted), len(_FILL_BYTES)):
                some = wanted[at : at + len(_FILL_BYTES)]
                some[:] = np.frombuffer(_FILL_BYTES, np.uint8, len(some))
        return self._room[lead : lead + size]

    def _sent(self, data: Bytes) -> bytes:
        return self._nrzi.levels(data) if self._nrzi else data.tobytes()


class _Transitions:
    """NRZI: a 1 changes the level, a 0 leaves it; before the first bit the level is low."""

    def __init__(self) -> None:
        self._high = False

    def levels(self, data: Bytes) -> bytes:
        """The levels of some more bytes."""
        cells = np.zeros(-(-len(data) // 8), np.uint64)
        cells.view(np.uint8)[: len(data)] = data
        cells.byteswap(inplace=True)  # the first bit on top
        for shift in (1, 2, 4, 8, 16, 32):
            cells ^= cells >> _U(shift)  # each bit: how many ones there are up to it, modulo 2
        ends = np.bitwise_xor.accumulate(np.append(_U(self._high), cells & _U(1)))
        cells ^= np.negative(ends[:-1])  # all ones where the level before is high
        levels = cells.byteswap(inplace=True).view(np.uint8)[: len(data)].tobytes()
        self._high = bool(levels[-1] & 1) if levels else self._high
        return levels


def encode_line(words: ArrayLike, *, mode: Mode, nrzi: bool = False) -> bytes:
    """The link's bits for whole frames (frames, slots); the first is the most significant of the first byte.

    Each frame is led by its synchronisation symbols, as many as fill the link to 125 Mbit/s at the mode's
    sampling rate. Bits that are left in the last byte begin the next symbol. `nrzi`: levels, of which every 1 is
    a change, from low on. Raises ValueError for another number of slots than the mode's.
    """
    encoder = LineEncoder(mode, nrzi=nrzi)
    return encoder.feed(words) + encoder.finish()
