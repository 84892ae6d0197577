"""A multitrack recording put into the order of another port."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from typing import BinaryIO, NamedTuple

import numpy as np

from chanbridge.ident import labels
from chanbridge.ident.places import Place
from chanbridge.ident.recording import Take
from chanbridge.ident.wav import Chunk, Format, head_bytes, tail_bytes, with_names
from chanbridge.model import ChannelMap, Slot

Open = Callable[[Sequence[str]], AbstractContextManager[list[BinaryIO]]]
"""Opens files by their names, all of which appear when the block ends well."""

TERABYTE = 10**12

_BLOCK = 4_000_000  # bytes that are held at once
_BY_POSITION = (b"PEAK", b"chna", b"axml", b"LEVL", b"levl")  # chunks that speak of channels by their number


class Track(NamedTuple):
    """One channel of what is written: the recording's input that it takes, from 0, None for silence; its name."""

    input: int | None
    name: str


class Order(NamedTuple):
    """What goes where. `tracks`: in the order of the target port; `left`: names of recorded channels for which the
    target has no place; `absent`: names of channels of the target that are not in the recording."""

    tracks: tuple[Track, ...]
    left: tuple[str, ...]
    absent: tuple[str, ...]


def order(whole: ChannelMap, recorded: Sequence[Place], wanted: Sequence[Place], inputs: int) -> Order:
    """Find for each wanted place the recorded one that carries the same signal, from the socket it enters at.

    `inputs`: how many of the recorded places there are in the recording.
    """
    at: dict[Slot, int] = {}
    for number, place in enumerate(recorded[:inputs]):
        for source in _sources(whole, place):
            at.setdefault(source, number)
    tracks, absent = [], []
    for place in wanted:
        found = next((at[source] for source in _sources(whole, place) if source in at), None)
        tracks.append(Track(found, place.name))
        if found is None and place.occupants:
            absent.append(place.name)
    used = {track.input for track in tracks}
    left = [
        place.name for number, place in enumerate(recorded[:inputs]) if place.occupants and number not in used
    ]
    return Order(tuple(tracks), tuple(left), tuple(absent))


def _sources(whole: ChannelMap, place: Place) -> Iterator[Slot]:
    """Where a place's signals come from: of its channels first, then whatever is patched to it."""
    yield from (each.source for each in place.occupants)
    yield place.source
    if place.slot is not None:
        yield place.slot
        yield from whole.trace(place.slot).back


def hours_per_terabyte(stored: Format) -> float:
    """How long a recording of this format fills 10^12 bytes, in hours."""
    return TERABYTE / (stored.frame * stored.rate_hz) / 3600


def write_one(take: Take, found: Order, open_: Open, name: str, title: str) -> list[str]:
    """Write one file of many channels. Returns remarks on what could not be kept."""
    stored = take.format._replace(channels=len(found.tracks))
    chunks, remarks = _kept(take)
    names = [track.name for track in found.tracks]
    head = head_bytes(stored, take.length, _named(chunks, names, title))
    with open_([name]) as (stream,):
        stream.write(head)
        for block in _blocks(take, found.tracks):
            stream.write(block.tobytes())
        stream.write(tail_bytes(stored, take.length))
    return remarks


def write_tracks(take: Take, found: Order, open_: Open, title: str) -> list[str]:
    """Write one mono file for each track, named by its number and name. Returns remarks on what could not be kept."""
    stored = take.format._replace(channels=1)
    chunks, remarks = _kept(take)
    names = track_names(found.tracks)
    with open_(names) as streams:
        for stream, track in zip(streams, found.tracks, strict=True):
            stream.write(head_bytes(stored, take.length, _named(chunks, [track.name], title)))
        for block in _blocks(take, found.tracks):
            columns = np.ascontiguousarray(block.T)
            for stream, column in zip(streams, columns, strict=True):
                stream.write(column.tobytes())
        for stream in streams:
            stream.write(tail_bytes(stored, take.length))
    return remarks


def track_names(tracks: Sequence[Track]) -> list[str]:
    """File names that any disk takes: `07 Tom low.wav`."""
    digits = max(2, len(str(len(tracks))))
    plain = [re.sub(r'[\x00-\x1f\x7f/\\:*?"<>|]+', " ", track.name) for track in tracks]
    cut = [" ".join(name.encode()[:96].decode(errors="ignore").split()).rstrip(". ") for name in plain]
    return [f"{at:0{digits}d} {name}".rstrip() + ".wav" for at, name in enumerate(cut, 1)]


def _blocks(take: Take, tracks: Sequence[Track]) -> Iterator[np.ndarray[tuple[int, ...], np.dtype[np.void]]]:
    rows = max(1, _BLOCK // max(take.format.frame, len(tracks) * take.format.bits // 8))
    source = np.array([track.input or 0 for track in tracks])
    silent = np.array([track.input is None for track in tracks])
    for start in range(0, take.length, rows):
        block = np.take(take.raw(start, rows), source, axis=1)
        block[:, silent] = np.zeros((), block.dtype)
        yield block


def _kept(take: Take) -> tuple[list[Chunk], list[str]]:
    """The chunks of the first file that still hold for another order, and remarks on the others."""
    first, *others = take.heads
    kept = [chunk for chunk in first.chunks if chunk.name not in _BY_POSITION]
    lost = [chunk.name for chunk in first.chunks if chunk.name in _BY_POSITION]
    remarks = [f"{first.source}: the chunk {name.decode('latin-1')!r} speaks of channels by their number; left out" for name in dict.fromkeys(lost)]  # fmt: skip
    known = {(chunk.name, chunk.data) for chunk in first.chunks} | {(b"bext", b""), (b"iXML", b"")}
    differing = dict.fromkeys(
        chunk.name.decode("latin-1")
        for head in others
        for chunk in head.chunks
        if (chunk.name, chunk.data) not in known and chunk.name not in (b"bext", b"iXML")
    )
    if differing:
        remarks.append(f"chunks that only later files have are left out: {', '.join(map(repr, differing))}")
    return kept, remarks


def _named(chunks: Sequence[Chunk], names: Sequence[str], title: str) -> list[Chunk]:
    before = next((chunk.data for chunk in chunks if chunk.name == b"iXML"), b"")
    try:
        ixml = labels.write_names(names, before, project=title)
    except ValueError:  # reported when the file was opened
        ixml = labels.write_names(names, project=title)
    return with_names(chunks, ixml)
