"""WAV files read and written in pieces: PCM of 16, 24 and 32 bits and float, plain and with 64-bit sizes.

Sources: RIFF chunks and WAVEFORMATEXTENSIBLE as commonly published; RF64 from EBU Tech 3306, BW64 from Rec. ITU-R
BS.2088. Samples are passed on as bytes wherever nothing is done to them.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from io import BufferedIOBase
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from chanbridge.errors import Location, Problem, ReadError
from chanbridge.ident import labels
from chanbridge.ident.codes import Real

LARGEST_PLAIN = 0xFFFFFFFF
"""Bytes of a file whose sizes have 32 bits."""

LARGEST_KEPT = 64 * 1024 * 1024
"""Bytes of all chunks other than the samples; what is beyond is not kept."""

MOST_CHUNKS = 10_000
"""A file with more is not read to its end."""

_TOGETHER = 65_536  # samples unpacked at a time, small enough for the cache
_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_GUID = bytes.fromhex("000000001000800000AA00389B71")  # what follows the coding in a sub-format


class Format(NamedTuple):
    """How samples are stored. `bits`: of the container, 16, 24, 32 or, if `floating`, 32 or 64; `valid`: those used."""

    channels: int
    rate_hz: int
    bits: int
    floating: bool = False
    valid: int = 0

    @property
    def frame(self) -> int:
        """Bytes of one sample of every channel."""
        return self.channels * self.bits // 8

    def __str__(self) -> str:
        return f"{self.channels} × {self.bits} bit{' float' if self.floating else ''} at {self.rate_hz} Hz"


class Chunk(NamedTuple):
    """A part of a file besides format and samples, as it stands there."""

    name: bytes
    data: bytes


@dataclass(frozen=True)
class Wav:
    """A file's head: its format, where its samples begin, how many frames there are, its other chunks in order."""

    source: str
    format: Format
    begin: int
    frames: int
    chunks: tuple[Chunk, ...]
    problems: tuple[Problem, ...]

    def chunk(self, name: bytes) -> bytes:
        """The first chunk of this name, b"" where there is none."""
        return next((chunk.data for chunk in self.chunks if chunk.name == name), b"")


def read_head(stream: BufferedIOBase, source: str) -> Wav:
    """Read a file up to its end but for the samples. Raises ReadError where it holds no samples that can be read.

    What is wrong but can be lived with (data cut off, a size that was never written) is in `problems`.
    """
    where = Location(source)
    problems: list[Problem] = []
    total = stream.seek(0, os.SEEK_END)
    stream.seek(0)
    start = stream.read(12)
    kind, form = start[:4], start[8:12]
    if kind not in (b"RIFF", b"RF64", b"BW64") or form != b"WAVE":
        raise ReadError(_no_wav(start), where)
    chunks: list[Chunk] = []
    stated: dict[bytes, int] = {}
    format_: Format | None = None
    samples: tuple[int, int] | None = None
    at, count, room = 12, 0, LARGEST_KEPT
    while at + 8 <= total:
        count += 1
        if count > MOST_CHUNKS:
            problems.append(
                Problem(where, "chunk", f"it has more than {MOST_CHUNKS:,} chunks; the others are left out")
            )
            break
        stream.seek(at)
        name, size = struct.unpack("<4sI", stream.read(8))
        if not _is_name(name):
            problems.append(Problem(where, "no-chunk", f"the last {total - at} bytes are no chunk; left out"))
            break
        at += 8
        if size == 0xFFFFFFFF and name in stated:
            size = stated[name]
        if name == b"data" and (size == 0xFFFFFFFF or (size == 0 and _unfinished(stream, total - at))):
            problems.append(Problem(where, "size", "the length of its samples was never written, as after a lost supply; all to the end of the file is taken"))  # fmt: skip
            size = total - at
        there = min(size, total - at)
        if there < size:
            problems.append(Problem(where, "cut-off", _cut(name, size, there, format_)))
        if name == b"data" and samples is None:
            samples = (at, there)
        elif there > room:
            problems.append(
                Problem(where, "chunk", f"the chunk {_shown(name)} has {there:,} bytes; left out")
            )
        else:
            stream.seek(at)
            data = stream.read(there)
            room -= there
            if name == b"fmt ":
                format_ = _format(data, where)
            elif name == b"ds64":
                stated = _long_sizes(data)
            elif name not in (b"JUNK", b"junk", b"PAD ", b"FLLR", b"fact"):
                chunks.append(Chunk(name, data))
        at += size
        if size % 2:
            at += _padding(stream, at)
    if format_ is None or samples is None:
        missing = "format ('fmt ')" if format_ is None else "samples ('data')"
        raise ReadError(
            f"this WAV has no {missing}; was the recording stopped properly? Try another copy", where
        )
    begin, length = samples
    if length % format_.frame:
        problems.append(Problem(where, "cut-off", f"its samples end in the middle of a frame; the last {length % format_.frame} bytes are left out"))  # fmt: skip
    if ixml := next((chunk.data for chunk in chunks if chunk.name == b"iXML"), b""):
        try:
            labels.read_names(ixml)
        except ValueError as error:
            problems.append(Problem(where, "ixml", f"{error}; its channels have no names"))
    return Wav(source, format_, begin, length // format_.frame, tuple(chunks), tuple(problems))


def _no_wav(start: bytes) -> str:
    if len(start) < 12:
        return f"this is no WAV file: it has only {len(start)} bytes"
    if start[:4] == b"RIFX":
        return "this WAV has its bytes the other way round (RIFX); save it as an ordinary WAV"
    return f"this is no WAV file: it begins with {start[:4]!r}; save the recording as WAV"


def _is_name(name: bytes) -> bool:
    return all(32 <= letter < 127 for letter in name)


def _shown(name: bytes) -> str:
    return repr(name.decode("latin-1"))


def _cut(name: bytes, size: int, there: int, format_: Format | None) -> str:
    if name == b"data" and format_:
        wanted, found = (length / format_.frame / format_.rate_hz for length in (size, there))
        return f"its samples are cut off: {found:.1f} s of {wanted:.1f} s are there and used"
    return f"the chunk {_shown(name)} is cut off: {there} of {size} bytes are there"


def _format(data: bytes, where: Location) -> Format:
    if len(data) < 16:
        raise ReadError("its format chunk is too short to say how the samples are stored", where)
    coding, channels, rate, _, frame, bits = struct.unpack_from("<HHIIHH", data)
    valid = bits
    if coding == _EXTENSIBLE and len(data) >= 40:
        valid = struct.unpack_from("<H", data, 18)[0] or bits
        coding = struct.unpack_from("<H", data, 24)[0]
    if coding not in (_PCM, _FLOAT):
        raise ReadError(f"its samples are coded (format {coding:#06x}), not plain; save it as PCM of 16, 24 or 32 bits", where)  # fmt: skip
    if not channels or not rate:
        raise ReadError(f"it states {channels} channels at {rate} Hz, which cannot be", where)
    stored = frame * 8 // channels if frame and not frame % channels else (bits + 7) // 8 * 8
    if stored not in ((32, 64) if coding == _FLOAT else (16, 24, 32)):
        kind = "float" if coding == _FLOAT else "PCM"
        raise ReadError(f"its samples have {stored} bits ({kind}); save it with 16, 24 or 32", where)
    return Format(channels, rate, stored, coding == _FLOAT, min(valid, stored) or stored)


def _long_sizes(data: bytes) -> dict[bytes, int]:
    """The sizes that a ds64 chunk states: of the samples, and of other chunks past 4 GiB."""
    if len(data) < 28:
        return {}
    _, samples, _, count = struct.unpack_from("<QQQI", data)
    table = {}
    for at in range(28, min(len(data) - 11, 28 + 12 * count), 12):
        name, size = struct.unpack_from("<4sQ", data, at)
        table[name] = size
    return {**table, b"data": samples}


def _unfinished(stream: BufferedIOBase, left: int) -> bool:
    """Whether what follows a data chunk of no length is samples; behind an empty recording there are chunks."""
    after = stream.read(8)
    return left > 0 and not (
        len(after) == 8 and _is_name(after[:4]) and int.from_bytes(after[4:], "little") <= left - 8
    )


def _padding(stream: BufferedIOBase, at: int) -> int:
    """1 where a chunk of odd length is followed by the byte that it should be followed by, else 0."""
    stream.seek(at)
    after = stream.read(9)
    padded = len(after) < 9 or after[:1] == b"\0" or _is_name(after[1:5])
    return 1 if padded or not _is_name(after[:4]) else 0


def read_frames(stream: BufferedIOBase, head: Wav, start: int, count: int) -> bytearray:
    """Samples as bytes: so many frames from `start` on, fewer at the end. One unused byte stands before them."""
    count = max(0, min(count, head.frames - start))
    data = bytearray(1 + count * head.format.frame)
    try:
        stream.seek(head.begin + start * head.format.frame)
        got = stream.readinto(memoryview(data)[1:])
    except OSError as error:
        raise ReadError(
            f"cannot be read: {(error.strerror or str(error)).lower()}", Location(head.source)
        ) from None
    if got != len(data) - 1:
        raise ReadError("this file became shorter while it was being read", Location(head.source))
    return data


def decode(data: bytearray, stored: Format) -> Real:
    """What `read_frames` gives as (frames, channels), full scale 1. What is no number becomes silence."""
    count = (len(data) - 1) // (stored.bits // 8)
    out: NDArray[np.float32]
    # Four bytes from one before each sample, without the lowest, which is the last one's.
    if stored.bits == 24:
        wide = np.ndarray((count,), "<i4", buffer=data, offset=0, strides=(3,))
        out = np.empty(count, np.float32)
        for at in range(0, count, _TOGETHER):
            out[at : at + _TOGETHER] = wide[at : at + _TOGETHER] & -256
        out *= np.float32(2**-31)
    elif stored.floating:
        out = np.frombuffer(data, f"<f{stored.bits // 8}", count, 1).astype(np.float32)
        out[~(np.abs(out) < 1e6)] = 0
    else:
        out = np.frombuffer(data, f"<i{stored.bits // 8}", count, 1).astype(np.float32)
        out *= np.float32(2.0 ** (1 - stored.bits))
    return out.reshape(-1, stored.channels)


def encode(samples: Real) -> bytes:
    """Samples as 24-bit PCM; what is beyond full scale is cut to it."""
    whole = np.clip(np.rint(samples.astype(np.float64) * 2**23), -(2**23), 2**23 - 1).astype("<i4")
    return np.ascontiguousarray(whole.reshape(-1, 1).view(np.uint8)[:, :3]).tobytes()


def head_bytes(
    stored: Format, frames: int, chunks: Iterable[Chunk], *, largest: int = LARGEST_PLAIN
) -> bytes:
    """All that stands before the samples. Past `largest` bytes the file gets 64-bit sizes (RF64).

    After the samples belongs one zero byte where their length is odd (`tail_bytes`).
    """
    coding = _FLOAT if stored.floating else _PCM
    valid = stored.valid or stored.bits
    plain = stored.channels <= 2 and stored.bits == 16 and valid == 16
    rate = stored.rate_hz
    fields = (stored.channels, rate, rate * stored.frame, stored.frame, stored.bits)
    if plain or (stored.floating and stored.channels <= 2):
        said = struct.pack("<HHIIHH", coding, *fields) + (b"\0\0" if stored.floating else b"")
    else:
        said = (
            struct.pack("<HHIIHHHHI", _EXTENSIBLE, *fields, 22, valid, 0) + struct.pack("<H", coding) + _GUID
        )
    length = frames * stored.frame
    parts = [Chunk(b"fmt ", said)]
    if stored.floating:
        parts.append(Chunk(b"fact", struct.pack("<I", min(frames, 0xFFFFFFFF))))
    body = b"".join(map(_chunk_bytes, [*parts, *chunks]))
    total = 4 + len(body) + 8 + length + length % 2
    if total + 8 <= largest:
        return struct.pack("<4sI4s", b"RIFF", total, b"WAVE") + body + struct.pack("<4sI", b"data", length)
    sizes = struct.pack("<4sIQQQI", b"ds64", 28, total + 36, length, frames, 0)
    start = struct.pack("<4sI4s", b"RF64", 0xFFFFFFFF, b"WAVE")
    return start + sizes + body + struct.pack("<4sI", b"data", 0xFFFFFFFF)


def tail_bytes(stored: Format, frames: int) -> bytes:
    """What belongs after the samples."""
    return b"\0" * (frames * stored.frame % 2)


def _chunk_bytes(chunk: Chunk) -> bytes:
    return struct.pack("<4sI", chunk.name, len(chunk.data)) + chunk.data + b"\0" * (len(chunk.data) % 2)


def with_names(chunks: Sequence[Chunk], ixml: bytes) -> list[Chunk]:
    """Chunks with this iXML in the place of theirs."""
    return [*(chunk for chunk in chunks if chunk.name != b"iXML"), Chunk(b"iXML", ixml)]
