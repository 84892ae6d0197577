"""What the page shows of a show: sheets, ways, changes and a search, as plain data."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from chanbridge.assemble import Delivery, Planned
from chanbridge.assemble.acts import changeover
from chanbridge.evening.revisions import Issued, Revision
from chanbridge.evening.steps import socket_text
from chanbridge.model import Channel, Slot
from chanbridge.names import fold
from chanbridge.system import CREW, ShowFile
from chanbridge.web.linecheck import Ticks, summed

if TYPE_CHECKING:
    from chanbridge.handover.changes import Changed


class Place(NamedTuple):
    """A port that can be looked at as a sheet. `group`: what it is, for the list of sheets."""

    id: str
    name: str
    group: str


class Line(NamedTuple):
    """One row of a sheet: a slot with its channel (id and name, "" for a spare) and what people ask about it.

    `marks`: warnings that must be seen. `text`: a remark.
    """

    slot: int
    id: str
    name: str
    socket: str
    transducer: str
    phantom: str
    marks: tuple[str, ...]
    text: str
    group: str


class Stop(NamedTuple):
    """Where a channel comes out: at whom, the slots on the way, and why not where it does not arrive."""

    recipient: str
    name: str
    way: tuple[Slot, ...]
    missing: str
    wanted: bool


def places(file: ShowFile) -> list[Place]:
    """Every port with a sheet, those who listen first."""
    return [
        *(Place(item.id, item.name or item.id, "Who listens") for item in file.recipient),
        *(Place(item.id, f"Box {item.id}", "Stage boxes") for item in file.box),
        *(Place(item.id, item.id, "On the way") for item in file.block),
        *(Place(item.id, item.id, "On the way") for item in file.feed),
    ]


def names_of(file: ShowFile) -> dict[str, str]:
    """Who can be told something: id → name, the crew first."""
    ids = {recipient.id: recipient.name or recipient.id for recipient in file.recipient}
    return {CREW: "Stage crew"} | ids


def sheet(planned: Planned, port: str) -> list[Line]:
    """A port as rows, in slot order; KeyError where there is none."""
    planned.map.port(port)
    delivered = next((one.delivered for one in planned.deliveries if one.recipient.id == port), None)
    sockets = {item.id for item in planned.map.ports if item.kind == "sockets"}
    out = []
    for row in planned.map.sheet(port):
        channel = row.channel
        if channel and delivered is not None and row.number not in delivered.get(channel.id, ()):
            continue  # another channel has the slot
        entry = row.entry if row.entry and row.entry.port in sockets and row.entry.port != port else None
        where = socket_text(entry) if entry else ""
        if channel is None:
            out.append(Line(row.number, "", "", where, "", "", (), row.text, ""))
            continue
        out.append(
            Line(
                row.number, channel.id, channel.name or channel.id, where, channel.transducer, phantom(channel),
                tuple(_marks(channel)), channel.notes, channel.group,
            )
        )  # fmt: skip
    return out


def phantom(channel: Channel) -> str:
    """What a sheet says of phantom, "" where it says nothing."""
    return "" if channel.phantom == "unknown" else channel.phantom


def _marks(channel: Channel) -> Iterator[str]:
    if channel.audience.air == "not allowed":
        yield "not for air"
    if channel.polarity == "reversed":
        yield "polarity reversed"
    if channel.pair:
        yield f"pair, {channel.pair.side}"
    if channel.priority == "spare":
        yield "spare"


def entry_of(planned: Planned, channel: str) -> Slot | None:
    """Where a channel comes in: its first socket, else its first slot."""
    found = [slot for name, slot in planned.map.entries if name == channel]
    sockets = [slot for slot in found if planned.map.port(slot.port).kind == "sockets"]
    return next(iter(sockets or found), None)


def way(planned: Planned, end: Slot) -> tuple[Slot, ...]:
    """The slots from where a signal comes in to a slot, that slot last."""
    return (*reversed(planned.map.trace(end).back), end)


def ways(planned: Planned, channel: str) -> dict[str, tuple[Slot, ...]]:
    """Recipient → the slots from a channel's entry to where it stands there first."""
    return {
        one.recipient.id: way(planned, Slot(one.recipient.id, one.delivered[channel][0]))
        for one in planned.deliveries
        if channel in one.delivered
    }


def stops(planned: Planned, channel: str) -> list[Stop]:
    """Everyone who might get a channel, with its way there or the reason why not."""
    out = []
    for one in planned.deliveries:
        name = one.recipient.name or one.recipient.id
        slots = one.delivered.get(channel, ())
        for number in slots:
            out.append(Stop(one.recipient.id, name, way(planned, Slot(one.recipient.id, number)), "", True))
        absent = next((item for item in one.missing if item.channel.id == channel), None)
        if absent and not slots:
            out.append(Stop(one.recipient.id, name, (), absent.reason, absent.wanted))
    return out


def touched(planned: Planned, channel: str) -> frozenset[tuple[str, str]]:
    """Every step from one port to the next that a channel takes."""
    steps: set[tuple[str, str]] = set()
    for slots in (stop.way for stop in stops(planned, channel)):
        steps.update((one.port, two.port) for one, two in pairwise(slots))
    return frozenset(steps)


def tick_place(planned: Planned, delivery: Delivery, channel: str) -> str:
    """Where a channel comes from and stands at a destination, as a tick notes it: `A12 > 14`."""
    entry = entry_of(planned, channel)
    return f"{socket_text(entry) if entry else ''} > {delivery.delivered[channel][0]}"


def line_check(ticks: Ticks, planned: Planned) -> tuple[str, ...]:
    """The line check of all acts in a few lines, for the cover of a hand-over; () where nothing was ever ticked."""
    places: dict[str, dict[str, set[str]]] = {}
    names: dict[str, str] = {}
    for act in (planned, *(one.planned for one in planned.acts)):
        for channel in act.map.channels:
            names.setdefault(channel.id, channel.name or channel.id)
        for one in act.deliveries:
            names[one.recipient.id] = one.recipient.name or one.recipient.id
            stands = places.setdefault(one.recipient.id, {})
            for name in one.delivered:
                stands.setdefault(name, set()).add(tick_place(act, one, name))
    return summed(ticks, places, names)


class Hit(NamedTuple):
    """A channel that was found, and where: its socket, and where it stands at each who listens."""

    id: str
    name: str
    socket: str
    stands: tuple[tuple[str, int], ...]


def search(planned: Planned, said: str, most: int = 60) -> list[Hit]:
    """Channels by name, short label, id, note, socket (`A12`, `A 12`) or slot (`14`, `monitors 14`)."""
    wanted = fold(said)
    if not wanted:
        return []
    close = wanted.replace(" ", "")
    found: list[tuple[int, int, Hit]] = []
    stands: dict[str, list[tuple[str, int]]] = {}
    for one in planned.deliveries:
        for name, where in one.delivered.items():
            stands.setdefault(name, []).extend((one.recipient.id, number) for number in where)
    for at, channel in enumerate(planned.map.channels):
        entry = entry_of(planned, channel.id)
        socket = socket_text(entry) if entry else ""
        mine = tuple(stands.get(channel.id, ()))
        numbers = {str(number) for _, number in mine}
        slots = {fold(f"{port} {number}").replace(" ", "") for port, number in mine}
        if close in (fold(socket).replace(" ", ""), fold(channel.name).replace(" ", "")) or close in slots:
            rank = 0
        elif close in numbers or any(
            word.startswith(wanted) for word in (fold(channel.name), fold(channel.short))
        ):
            rank = 1
        elif any(wanted in fold(text) for text in (channel.name, channel.short, channel.id, channel.notes)):
            rank = 2
        else:
            continue
        found.append((rank, at, Hit(channel.id, channel.name or channel.id, socket, mine)))
    return [hit for _, _, hit in sorted(found)[:most]]


class Since(NamedTuple):
    """What changed for one recipient."""

    recipient: str
    name: str
    changed: list[Changed]


def since(planned: Planned, before: Revision, act: str = "") -> list[Since]:
    """What changed for each recipient in an act since a revision was issued; [] where that had no such act."""
    issued = before.parts.get(f"acts/{act}/" if act else "")
    return _since(planned, issued) if issued else []


def between(old: Planned, new: Planned) -> list[Since]:
    """What changed for each recipient from one plan to another."""
    return _since(new, Issued(old.map, {one.recipient.id: one.delivered for one in old.deliveries}))


def _since(planned: Planned, before: Issued) -> list[Since]:
    from chanbridge.handover.issue import changes_since

    return [Since(one.id, one.name or one.id, found) for one, found in changes_since(planned, before)]


class Repatch(NamedTuple):
    """A socket in a changeover, what to do there, and what becomes of phantom."""

    socket: str
    do: str
    phantom: str


def repatched(before: Planned, after: Planned) -> tuple[list[Repatch], int]:
    """What to repatch between two acts, and how many channels stay where they are."""
    changes, stays = changeover(before.map, after.map)
    out = []
    for change in changes:
        was, then = (one.name or one.id if one else "" for one in (change.before, change.after))
        do = [f"unplug {was}"] if was else []
        if then and change.came_from:
            do.append(f"move {then} here from {socket_text(change.came_from)}")
        elif then:
            do.append(f"plug in {then}")
        power = [phantom(one) if one else "" for one in (change.before, change.after)]
        said = power[1] if power[0] == power[1] else f"{power[0] or '?'} > {power[1] or '?'}"
        out.append(Repatch(socket_text(change.socket), ", ".join(do), said))
    return out, stays


def changed_rows(before: Planned, after: Planned) -> dict[str, frozenset[int]]:
    """Port → the slots whose rows are not as they were."""
    there = {port.id for port in before.map.ports}
    out = {}
    for port in after.map.ports:
        if port.id not in there:
            continue
        was = {line.slot: line for line in sheet(before, port.id)}
        now = {line.slot: line for line in sheet(after, port.id)}
        odd = {slot for slot in {*was, *now} if was.get(slot) != now.get(slot)}
        if odd:
            out[port.id] = frozenset(odd)
    return out
