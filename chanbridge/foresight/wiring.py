"""The ways that channels take through a show: on paper from port to port, and over the cables that are plugged."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import NamedTuple

from chanbridge.model import Channel, ChannelMap, Port, Slot
from chanbridge.system import ShowFile


class Route(NamedTuple):
    """From a box or a desk, over blocks and feeds in this order, to a recipient or a box with outputs."""

    source: str
    over: tuple[str, ...]
    target: str


Heard = Mapping[str, Mapping[str, frozenset[Route]]]
"""Recipient, or `outputs of A` → channel id → the routes by which it is heard there."""


def heard(whole: ChannelMap, delivered: Mapping[str, Collection[str]]) -> Heard:
    """Who hears which channel by which routes. `delivered`: recipient → the ids of the channels that it gets."""
    sources: dict[Slot, list[Slot]] = {}
    for source, target in whole.patches:
        sources.setdefault(target, []).append(source)
    ends = {name: (whole.port(name), {*ids}) for name, ids in delivered.items()}
    for port in whole.ports:
        if port.kind == "outputs" and port.device:
            ids = {row.channel.id for row in whole.sheet(port.id) if row.channel}
            ends[f"outputs of {port.device}"] = port, ids
    found: dict[str, dict[str, frozenset[Route]]] = {}
    for name, (port, ids) in ends.items():
        by_channel: dict[str, frozenset[Route]] = {}
        for row in whole.sheet(port.id):
            if row.channel and row.entry and row.channel.id in ids:
                way = _way(sources, Slot(port.id, row.number), row.entry)
                ports = [whole.port(slot.port) for slot in way]
                route = Route(_place(ports[0]), tuple(map(_place, ports[1:-1])), _place(ports[-1]))
                by_channel[row.channel.id] = by_channel.get(row.channel.id, frozenset()) | {route}
        found[name] = by_channel
    return found


def _way(sources: Mapping[Slot, list[Slot]], end: Slot, entry: Slot) -> list[Slot]:
    """The shortest way from where a channel enters to a slot, both included."""
    onward: dict[Slot, Slot | None] = {end: None}
    queue = [end]
    for slot in queue:
        for before in sources.get(slot, ()):
            if before not in onward:
                onward[before] = slot
                queue.append(before)
    way, at = [], onward[entry] if entry != end else None
    way.append(entry)
    while at is not None:
        way.append(at)
        at = onward[at]
    return way


def _place(port: Port) -> str:
    """The box, desk, block or feed whose port this is; the way back is its block's or feed's."""
    if port.direction == "out":
        return port.device or port.id.removesuffix(" back")
    return port.device or port.id


class Edge(NamedTuple):
    """A cable in one direction. `carries`: blocks and feeds on it, empty where nothing is said: then all."""

    link: str
    here: str
    there: str
    carries: frozenset[str]


def edges(file: ShowFile) -> Iterator[Edge]:
    """Every cable in each direction in which it carries sound; a port that listens sends nothing.

    A cable that carries power and names no block or feed carries none.
    """
    for link in file.link:
        ports = [file.port_at(link, end) for end in (0, 1)]
        carries = frozenset(link.carries or [name for port in ports if port for name in port.carries])
        if not carries and any(port and (port.gives or port.takes) for port in ports):
            continue
        for here in (0, 1) if link.direction == "both" else (0,):
            port = ports[here]
            if not (port and port.role == "listens"):
                yield Edge(link.id, link.devices[here], link.devices[1 - here], carries)


class Wiring:
    """Devices and the cables between them."""

    def __init__(self, on: Mapping[str, frozenset[str]], cables: Iterable[Edge]) -> None:
        """`on`: device → the blocks and feeds that it has to do with; `cables`: those between these devices."""
        self.on = on
        self.out: dict[str, list[Edge]] = {name: [] for name in on}
        for edge in cables:
            self.out[edge.here].append(edge)

    @classmethod
    def declared(cls, file: ShowFile) -> Wiring:
        """All devices of a show and all cables, plugged or not.

        A device has to do with what is on its ports and cables, and does not forget it when a cable is pulled.
        """
        cables = [*edges(file)]
        everything = frozenset(item.id for table in (file.block, file.feed) for item in table)
        on = {
            device.id: frozenset(name for port in device.ports for name in port.carries)
            for device in file.device
        }
        for edge in cables:
            for name in (edge.here, edge.there):
                on[name] |= edge.carries or everything
        return cls(on, cables)

    def left(self, links: Collection[str], without: Collection[str] = ()) -> Wiring:
        """What is left with these cables plugged, by their ids, and without these devices."""
        on = {name: carried for name, carried in self.on.items() if name not in without}
        cables = (edge for out in self.out.values() for edge in out)
        return Wiring(
            on, (edge for edge in cables if edge.link in links and edge.here in on and edge.there in on)
        )

    def reaches(self, route: Route) -> bool:
        """Whether a route's signal arrives: over cables that carry each block and feed in turn.

        From one block or feed to the next it goes in a device that has both.
        """
        if route.source not in self.on or route.target not in self.on:
            return False
        seen = {(route.source, 0): None}
        queue = [*seen]
        for device, step in queue:
            if device == route.target and step >= len(route.over) - 1:
                return True
            name = route.over[step] if route.over else ""
            onward = [
                (edge.there, step) for edge in self.out[device] if not edge.carries or name in edge.carries
            ]
            if step + 1 < len(route.over):
                following = route.over[step + 1]
                if following in self.on[device]:
                    onward.append((device, step + 1))
            for state in onward:
                if state not in seen:
                    seen[state] = None
                    queue.append(state)
        return False

    def joined(self, start: str) -> set[str]:
        """The devices to which any cable leads from a device, itself included."""
        seen = {start: None} if start in self.on else {}
        queue = [*seen]
        for device in queue:
            for edge in self.out[device]:
                if edge.there not in seen:
                    seen[edge.there] = None
                    queue.append(edge.there)
        return {*seen}


def spoken(channels: Collection[Channel]) -> list[str]:
    """The names of channels; the two sides of a pair as one: `Overhead L/R`."""
    here = {channel.id: channel for channel in channels}
    said: dict[str, None] = {}
    for channel in channels:
        partner = here.get(channel.pair.partner or "") if channel.pair else None
        name = channel.name or channel.id
        stem, blank, _ = name.rpartition(" ")
        if partner and blank and (partner.name or partner.id).rpartition(" ")[0] == stem:
            first, second = sorted(
                (channel, partner), key=lambda one: one.pair is None or one.pair.side not in ("left", "mid")
            )
            name = f"{stem} {first.name.rpartition(' ')[2]}/{second.name.rpartition(' ')[2]}"
        said[name] = None
    return [*said]
