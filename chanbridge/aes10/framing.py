"""Words of the link to whole frames: a frame begins where bit 0 says so."""

from __future__ import annotations

from bisect import bisect_left
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from chanbridge.aes10.layout import FIELDS

Words = NDArray[np.uint32]
Places = NDArray[np.int64]

_BEGINS = np.uint32(FIELDS["frame_sync"].ones)


class Place(NamedTuple):
    """A subframe: `frame` counts from 0, `slot` from 1."""

    frame: int
    slot: int


class Framer:
    """Collects words in the order of the link and gives out whole frames of `slots`.

    `frames`: given out so far. `code_errors`: places in them whose bits were no code groups. `dropped`: words that
    belong to no whole frame.
    """

    def __init__(self, slots: int) -> None:
        self.slots = slots
        self.frames = 0
        self.dropped = 0
        self.code_errors: list[Place] = []
        self.none = np.zeros((0, slots), np.uint32)
        self._waiting = np.zeros(0, np.uint32)
        self._wrong = np.zeros(0, np.int64)
        self._in_step = False  # whether a frame is due where the waiting words begin

    def add(self, words: Words, wrong: Places) -> list[Words]:
        """Some more words, `wrong` the places among them whose bits were no code groups."""
        if len(self._waiting):
            wrong = np.concatenate([self._wrong, wrong + len(self._waiting)])
            words = np.concatenate([self._waiting, words])
        return self._framed(words, wrong, False)

    def cut(self) -> list[Words]:
        """Say that words are missing here: what waits for the rest of its frame is dropped."""
        frames = self._framed(self._waiting, self._wrong, True)
        self.dropped += len(self._waiting)
        self._waiting, self._wrong, self._in_step = self._waiting[:0], self._wrong[:0], False
        return frames

    def _framed(self, words: Words, wrong: Places, last: bool) -> list[Words]:
        count = len(words) // self.slots
        used = count * self.slots
        rows = words[:used].reshape(count, self.slots)
        if not count or ((rows[:, 0] & _BEGINS).all() and not (rows[-1, 1:] & _BEGINS).any()):
            self._in_step = self._in_step or count > 0
            starts = np.arange(count, dtype=np.int64) * self.slots
        else:
            found, used = self._starts(words, last)
            starts = np.array(found, np.int64)
            rows = words[starts[:, None] + np.arange(self.slots)]
        if len(wrong):
            at = np.searchsorted(starts, wrong, "right") - 1
            for frame, place in zip(at.tolist(), wrong.tolist(), strict=True):
                if frame >= 0 and place < starts[frame] + self.slots:
                    self.code_errors.append(Place(self.frames + frame, int(place - starts[frame]) + 1))
        self._waiting, self._wrong = words[used:].copy(), wrong[wrong >= used] - used
        self.frames += len(rows)
        self.dropped += used - rows.size
        return [rows] if len(rows) else []

    def _starts(self, words: Words, last: bool) -> tuple[list[int], int]:
        """Where whole frames begin although not every mark is where it should be, and how many words that settles.

        A frame is whole if the next mark stands where it ends, or, that one missing, the mark after it; a mark of
        its own may be missing if it is due. What cannot be told yet waits for more words, unless these are the last.
        """
        marks = np.flatnonzero(words & _BEGINS).tolist()
        marked = set(marks)
        starts: list[int] = []
        at = 0
        if marks and not self._in_step and marks[0] >= self.slots:
            at = marks[0] - self.slots  # before a first mark is room for a whole frame that lost its own
            self._in_step = True
        while at + self.slots <= len(words):
            end = at + self.slots
            inside = next(iter(marks[bisect_left(marks, at + 1) :][:1]), len(words))
            here, waits = at in marked, False
            if end in marked:
                good = here or self._in_step
            elif inside < end:  # a mark within: here is a frame only if the data end with it
                good = here and end == len(words)
                waits = good
            elif end == len(words):
                good = here or self._in_step
                waits = not here
            else:
                good = here and (end + self.slots in marked or end + self.slots >= len(words))
                waits = good and end + self.slots >= len(words)
            if waits and not last:
                break
            self._in_step = good
            if good:
                starts.append(at)
            at = end if good else inside
        return starts, at
