"""One recording from one file or several: tracks side by side, split recordings joined."""

from __future__ import annotations

import os
from collections.abc import Sequence
from contextlib import ExitStack
from io import BufferedIOBase
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from chanbridge.errors import Location, ReadError
from chanbridge.files import reading
from chanbridge.ident import labels
from chanbridge.ident.codes import Real
from chanbridge.ident.wav import Format, Wav, decode, read_frames, read_head

Raw = NDArray[np.void]
"""Samples as bytes: (frames, channels) of an opaque type as wide as a sample."""


class Part(NamedTuple):
    """An open file and its head."""

    head: Wav
    stream: BufferedIOBase


class Tape:
    """Files that follow each other in time, as one: `parts` have one format."""

    def __init__(self, parts: Sequence[Part]) -> None:
        self.parts = tuple(parts)
        self.format = parts[0].head.format
        self.length = sum(part.head.frames for part in parts)

    def read(self, start: int, count: int) -> list[bytearray]:
        """The pieces of a stretch, as `read_frames` gives them; fewer frames past the end."""
        pieces = []
        for head, stream in self.parts:
            if start < head.frames and count > 0:
                take = min(count, head.frames - start)
                pieces.append(read_frames(stream, head, start, take))
                count -= take
                start += take
            start -= head.frames
        return pieces


class Take:
    """A recording: one tape of many inputs, or tapes of one each, side by side. `remarks` are for people."""

    def __init__(self, tapes: Sequence[Tape], remarks: Sequence[str]) -> None:
        self.tapes = tuple(tapes)
        self.remarks = tuple(remarks)
        self.format = tapes[0].format._replace(channels=sum(tape.format.channels for tape in tapes))
        self.length = max(tape.length for tape in tapes)
        self.rate_hz = self.format.rate_hz
        self.inputs = self.format.channels

    @property
    def heads(self) -> list[Wav]:
        """The head of every file."""
        return [part.head for tape in self.tapes for part in tape.parts]

    def read(self, start: int, count: int) -> Real:
        """Samples as (frames, inputs), full scale 1; silence where a track has ended."""
        count = max(0, min(count, self.length - start))
        first = self.tapes[0]
        pieces = first.read(start, count) if len(self.tapes) == 1 else []
        if len(pieces) == 1:
            return decode(pieces[0], first.format)
        out = np.zeros((count, self.inputs), np.float32)
        column = 0
        for tape in self.tapes:
            row = 0
            for piece in tape.read(start, count):
                samples = decode(piece, tape.format)
                out[row : row + len(samples), column : column + tape.format.channels] = samples
                row += len(samples)
            column += tape.format.channels
        return out

    def raw(self, start: int, count: int) -> Raw:
        """Samples as they are stored; zeros where a track has ended."""
        count = max(0, min(count, self.length - start))
        kind = np.dtype(f"V{self.format.bits // 8}")
        out = np.zeros((count, self.inputs), kind)
        column = 0
        for tape in self.tapes:
            row = 0
            for piece in tape.read(start, count):
                samples = np.frombuffer(piece, kind, offset=1).reshape(-1, tape.format.channels)
                out[row : row + len(samples), column : column + tape.format.channels] = samples
                row += len(samples)
            column += tape.format.channels
        return out


def open_take(stack: ExitStack, names: Sequence[str]) -> Take:
    """Open files for as long as `stack` lives.

    Several files of one channel are tracks side by side; several of more channels follow each other in time; parts of
    a track are joined by a plus: `kick-1.wav+kick-2.wav`. Raises ReadError where they do not fit together.
    """
    remarks: list[str] = []
    tapes = [_tape(stack, name, remarks) for name in names]
    if len(tapes) > 1 and any(tape.format.channels > 1 for tape in tapes):
        if len({tape.format.channels for tape in tapes}) > 1:
            said = ", ".join(
                f"{name} {tape.format.channels}" for name, tape in zip(names, tapes, strict=True)
            )
            raise ReadError(f"files of different numbers of channels do not make one recording ({said}); give files of one track each, or the parts of one recording")  # fmt: skip
        tapes = [Tape([part for tape in tapes for part in tape.parts])]
        remarks.append(f"{len(names)} files of {tapes[0].format.channels} channels are taken as parts that follow each other")  # fmt: skip
    _alike([part.head for tape in tapes for part in tape.parts])
    for tape in tapes:
        remarks += _gaps([part.head for part in tape.parts])
    lengths = {tape.length for tape in tapes}
    if len(lengths) > 1:
        rate = tapes[0].format.rate_hz
        remarks.append(f"the tracks are from {min(lengths) / rate:.2f} to {max(lengths) / rate:.2f} s long; silence is taken where one has ended")  # fmt: skip
    return Take(tapes, remarks)


def _tape(stack: ExitStack, name: str, remarks: list[str]) -> Tape:
    parts = []
    for path in [name] if os.path.exists(name) else name.split("+"):
        stream = stack.enter_context(reading(path))
        head = read_head(stream, path)
        remarks += [str(problem) for problem in head.problems]
        parts.append(Part(head, stream))
    _alike([part.head for part in parts], channels=True)
    return Tape(parts)


def _alike(heads: Sequence[Wav], *, channels: bool = False) -> None:
    """Raise ReadError unless files store their samples in one way."""

    def way(stored: Format) -> Format:
        return stored._replace(valid=0, channels=stored.channels if channels else 1)

    for head in heads[1:]:
        if way(head.format) != way(heads[0].format):
            raise ReadError(
                f"this file has {head.format} and {heads[0].source} has {heads[0].format}; save both alike",
                Location(head.source),
            )


def _gaps(heads: Sequence[Wav]) -> list[str]:
    """What the files' own time of day says against following each other."""
    times = [labels.read_bext(head.chunk(b"bext")) for head in heads]
    out = []
    for at in range(1, len(heads)):
        before, after = times[at - 1], times[at]
        if before and after and (before.time_reference or after.time_reference):
            apart = after.time_reference - before.time_reference - heads[at - 1].frames
            if apart:
                seconds = abs(apart) / heads[at].format.rate_hz
                out.append(f"{heads[at].source} begins {seconds:.3f} s {'after' if apart > 0 else 'before'} the end of {heads[at - 1].source}, by their own time; joined as they are")  # fmt: skip
    return out
