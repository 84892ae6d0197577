"""Labels for the ends of every cable, and where the tails of sub-boxes go."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from chanbridge.foresight.pull import Used, cable_to, subbox_of, used_sockets
from chanbridge.model import ChannelMap
from chanbridge.system import ShowFile


class Label(NamedTuple):
    """A cable with what to write at both ends. `length_m`: None where it is not said."""

    text: str
    start: str
    end: str
    length_m: float | None


def labels(file: ShowFile, maps: Sequence[ChannelMap]) -> Iterator[Label]:
    """Every cable: sources to sockets or sub-boxes, tails of sub-boxes, runs between devices."""
    for one in used_sockets(maps):
        yield _source(file, one)
    for sub in file.subbox:
        for tail in range(1, sub.sockets + 1):
            socket = f"{sub.box} {sub.first + tail - 1}"
            yield Label(f"{sub.id} tail {tail}", f"{sub.id} {tail}", socket, sub.length_m)
    for link in file.link:
        length = sum(segment.length_m for segment in link.segments) or None
        ready = "" if link.in_use else ", BACKUP: leave unplugged"
        yield Label(f"{link.id}{ready}", link.ends[0], link.ends[1], length)


def _source(file: ShowFile, one: Used) -> Label:
    name = one.channel.name or one.channel.id
    sub = subbox_of(file, one.socket)
    end = f"{sub[0].id} {sub[1]}" if sub else str(one.socket)
    through = f" ({one.socket})" if sub else ""
    return Label(f"{end}{through} {name}", name, end, cable_to(file, one.socket)[0])
