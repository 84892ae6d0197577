"""The pull list: what has to be on the van, each thing traced to the channels or cables that need it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Literal, NamedTuple

from chanbridge.foresight.paper import ranges
from chanbridge.foresight.wiring import spoken
from chanbridge.gear import SubBox
from chanbridge.model import Channel, ChannelMap, Slot
from chanbridge.names import fold, vocabulary
from chanbridge.system import ShowFile

Section = Literal[
    "Microphones", "DI boxes", "Wireless", "Stands and clips", "Cables to sockets", "Adaptors", "Sub-boxes",
    "Cable runs", "Boxes and devices",
]  # fmt: skip
SECTIONS: tuple[Section, ...] = (
    "Microphones", "DI boxes", "Wireless", "Stands and clips", "Cables to sockets", "Adaptors", "Sub-boxes",
    "Cable runs", "Boxes and devices",
)  # fmt: skip
WITHOUT_SPARES = ("Sub-boxes", "Boxes and devices")

ADAPTOR_HEADINGS = ("adaptor", "adapter", "adaptateur", "adaptador", "adattatore")
"""Headings of a column that says what a source needs between its plug and the box (from memory)."""


class Used(NamedTuple):
    """A socket with the channel that is plugged there, for the first time in the show or an act."""

    socket: Slot
    channel: Channel


class Item(NamedTuple):
    """Something to bring: `need` of it, for these sockets, or for these cables or devices by id."""

    section: Section
    what: str
    sockets: tuple[Used, ...] = ()
    others: tuple[str, ...] = ()

    @property
    def need(self) -> int:
        """How many are needed, spares left out."""
        return len(self.sockets) + len(self.others)

    def spare(self, percent: float | None) -> int:
        """How many go along unused: `percent` of those needed, rounded up; none of boxes and devices."""
        if percent is None or self.section in WITHOUT_SPARES:
            return 0
        return math.ceil(round(self.need * percent / 100, 9))

    @property
    def places(self) -> str:
        """Where it goes, drawn together: `A 4-5, 8; B 1`."""
        boxes: dict[str, list[int]] = {}
        for socket, _ in self.sockets:
            boxes.setdefault(socket.port, []).append(socket.number)
        parts = [f"{box} {ranges(numbers)}" for box, numbers in boxes.items()]
        return "; ".join([*parts, *([", ".join(self.others)] if self.others else [])])


class Pull(NamedTuple):
    """The list, and what the show does not say, each with the names that it concerns."""

    items: tuple[Item, ...]
    unsaid: tuple[str, ...]


def used_sockets(maps: Sequence[ChannelMap]) -> tuple[Used, ...]:
    """Every socket with what is plugged there in the show or in one of its acts; of two channels on one the first."""
    found: dict[tuple[Slot, str], Used] = {}
    for whole in maps:
        first: dict[Slot, Channel] = {}
        for name, slot in whole.entries:
            channel = whole.channel(name)
            if channel and whole.port(slot.port).kind == "sockets":
                first.setdefault(slot, channel)
        for slot, channel in first.items():
            found.setdefault((slot, channel.id), Used(slot, channel))
    return tuple(found.values())


def pull(file: ShowFile, maps: Sequence[ChannelMap]) -> Pull:
    """What to bring for a show and its acts."""
    used = used_sockets(maps)
    gathered: dict[tuple[Section, str], list[Used]] = {}
    others: dict[tuple[Section, str], list[str]] = {}
    same = {fold(word): listed for word, listed in file.kit.same.items()}
    unsaid: dict[str, list[Channel]] = {}
    boxes_unsaid: dict[str, None] = {}
    transduced: dict[str, None] = {}  # a channel that moves between acts keeps its microphone and stand
    for one in used:
        channel = one.channel
        if channel.id not in transduced:
            transduced[channel.id] = None
            for section, what in _worn(channel):
                gathered.setdefault((section, same.get(fold(what), what)), []).append(one)
            for text in _lacking(channel):
                unsaid.setdefault(text, []).append(channel)
        length, asked = cable_to(file, one.socket)
        if length is None:
            boxes_unsaid[asked] = None
        what = f"{length:g} m" if length is not None else "length not said"
        gathered.setdefault(("Cables to sockets", what), []).append(one)
        adaptor = file.kit.adaptors.get(str(one.socket), _adaptor(channel))
        if adaptor:
            gathered.setdefault(("Adaptors", adaptor), []).append(one)
        elif _is_line(channel) and str(one.socket) not in file.kit.adaptors:
            unsaid.setdefault("by which adaptor or DI these come in", []).append(channel)
    for section, what, name in _wired(file):
        others.setdefault((section, what), []).append(name)
    items = [Item(section, what, sockets=tuple(all_used)) for (section, what), all_used in gathered.items()]
    items += [Item(section, what, others=tuple(names)) for (section, what), names in others.items()]
    items.sort(key=lambda item: (SECTIONS.index(item.section), -item.need, item.what))
    said = [f"{text}: {', '.join(spoken(channels))}" for text, channels in unsaid.items()]
    return Pull(tuple(items), (*said, *_asked(file, [*boxes_unsaid], used)))


def _kind(channel: Channel) -> str:
    return vocabulary().kinds.get(fold(channel.transducer)) or channel.kind


def _is_line(channel: Channel) -> bool:
    return _kind(channel) in ("line", "playback", "digital")


def _worn(channel: Channel) -> Iterator[tuple[Section, str]]:
    """What stands at a source: microphone, DI or wireless, and a stand."""
    kind = _kind(channel)
    if kind == "di":
        yield "DI boxes", _named(channel.transducer) or "DI"
    elif kind == "wireless":
        yield "Wireless", _named(channel.transducer) or "wireless"
    elif not _is_line(channel) and _named(channel.transducer):
        yield "Microphones", channel.transducer
    if _named(channel.stand):
        yield "Stands and clips", channel.stand


def _named(text: str) -> str:
    """What a cell names; "" for one that says that there is none: `-`, `n/c`, `none`."""
    words = vocabulary().values
    return "" if fold(text) in words["nothing"] or fold(text) in words["no"] else text


def _lacking(channel: Channel) -> Iterator[str]:
    kind = _kind(channel)
    if kind in ("line", "playback", "digital", "di", "wireless"):
        return
    if not _named(channel.transducer):
        yield "no microphone or DI is named for these"
    elif not channel.stand:
        yield "no stand or clip is named for these"


def _adaptor(channel: Channel) -> str:
    return next(
        (extra.text for extra in channel.extras if extra.text and fold(extra.heading) in ADAPTOR_HEADINGS), ""
    )


def subbox_of(file: ShowFile, socket: Slot) -> tuple[SubBox, int] | None:
    """The sub-box whose tail is plugged into a socket, and the number of that tail."""
    for sub in file.subbox:
        if sub.box == socket.port and sub.first <= socket.number < sub.first + sub.sockets:
            return sub, socket.number - sub.first + 1
    return None


def cable_to(file: ShowFile, socket: Slot) -> tuple[float | None, str]:
    """The length in m of the cable from a source to a socket, or to the sub-box before it, and whose length that is."""
    lengths = file.kit.cable_m
    sub = subbox_of(file, socket)
    name = sub[0].id if sub else socket.port
    return lengths.get(str(socket), lengths.get(name)), name


def _wired(file: ShowFile) -> Iterator[tuple[Section, str, str]]:
    """Sub-boxes, the pieces of every cable run, the boxes and the devices that are nobody's own."""
    for sub in file.subbox:
        length = f", {sub.length_m:g} m" if sub.length_m else ""
        yield "Sub-boxes", f"{sub.sockets} sockets with tails{length}", sub.id
    for link in file.link:
        for segment in link.segments:
            gauge = f", stranded {segment.stranded_awg} AWG" if segment.stranded_awg else ""
            yield "Cable runs", f"{link.medium or 'medium not said'} {segment.length_m:g} m{gauge}", link.id
        for _ in range(link.joints):
            yield "Cable runs", f"coupler, {link.medium or 'medium not said'}", link.id
    for box in file.box:
        if not box.desk:
            yield "Boxes and devices", f"box, {box.inputs} in, {box.outputs} out", box.id
    places = {item.id for table in (file.box, file.recipient) for item in table}
    for device in file.device:
        if device.id not in places:
            yield "Boxes and devices", device.name or device.id, device.id


def _asked(file: ShowFile, lengths: Sequence[str], used: Iterable[Used]) -> Iterator[str]:
    if lengths:
        yield f"how long the cables to {', '.join(lengths)} are: [kit] cable_m = {{ {lengths[0]} = … }}"
    bare = [link.id for link in file.link if not link.segments or not link.medium]
    if bare:
        yield f"medium or length of {', '.join(bare)}: medium, segments"
    unmeasured = [sub.id for sub in file.subbox if sub.length_m is None]
    if unmeasured:
        yield f"how long the multicore of {', '.join(unmeasured)} is: length_m"
    if file.kit.spares_percent is None:
        yield "how much goes along as spares: [kit] spares_percent = …"
    taken = {str(one.socket) for one in used}
    idle = [name for name in file.kit.adaptors if name not in taken]
    if idle:
        yield f"an adaptor is declared where nothing is plugged: {', '.join(idle)}"
    if any(_kind(one.channel) == "di" for one in used):
        yield "who brings the leads from the instruments to the DI boxes"
