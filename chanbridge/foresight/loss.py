"""What falls silent at whom when one thing is lost."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from itertools import pairwise
from typing import NamedTuple

from chanbridge.foresight.things import Thing, thing_named, things
from chanbridge.foresight.wiring import Heard, Route, Wiring, heard
from chanbridge.model import Channel, ChannelMap
from chanbridge.system import Device, ShowFile


class Lost(NamedTuple):
    """What one recipient, or a box's outputs, loses. `unled`: still carried, with its clock or leader gone.

    `still`: how many go on; of these `unsure`: no declared cable explains how they come, so that nobody can know.
    """

    recipient: str
    silent: tuple[Channel, ...]
    unled: tuple[Channel, ...]
    still: int
    unsure: int = 0


class Backup(NamedTuple):
    """A cable that lies ready, and what it gives back to each recipient that lost it."""

    link: str
    gives_back: Mapping[str, int]


class Loss(NamedTuple):
    """What the loss of a thing does.

    `dark`: other devices that lose their supply with it; `followers`: those that lose their clock. `copper`: who
    keeps a lost box's sockets by a copper split. `declared`: what the show file says to do.
    """

    thing: Thing
    at: tuple[Lost, ...]
    dark: tuple[str, ...]
    followers: tuple[str, ...]
    backups: tuple[Backup, ...]
    copper: tuple[str, ...]
    declared: tuple[str, ...]

    @property
    def silent(self) -> int:
        """How many channels fall silent, counted at every recipient."""
        return sum(len(lost.silent) for lost in self.at)

    @property
    def unled(self) -> int:
        """How many channels are carried on without clock or leader, counted at every recipient."""
        return sum(len(lost.unled) for lost in self.at)


class Supply(NamedTuple):
    """What a device hangs on: a circuit, or a plugged cable with the device that powers it."""

    circuit: str = ""
    link: str = ""
    giver: str = ""


def _supplies(file: ShowFile, device: Device) -> Iterable[Supply]:
    if device.circuit:
        yield Supply(circuit=device.circuit)
    for link in file.link:
        for end in (0, 1):
            taker, giver = file.port_at(link, end), file.port_at(link, 1 - end)
            if (
                link.devices[end] == device.id
                and taker
                and taker.takes
                and giver
                and giver.gives
                and link.in_use
            ):
                yield Supply(link=link.id, giver=link.devices[1 - end])


class Foresight:
    """A show whose things can be lost one by one."""

    def __init__(self, file: ShowFile, whole: ChannelMap, delivered: Mapping[str, Collection[str]]) -> None:
        """`delivered`: recipient → the ids of the channels that it gets."""
        self.file = file
        self.channels = {channel.id: channel for channel in whole.channels}
        self.heard: Heard = heard(whole, delivered)
        self.routes = dict.fromkeys(
            route
            for by_channel in self.heard.values()
            for routes in by_channel.values()
            for route in sorted(routes)
        )
        self.plugged = frozenset(link.id for link in file.link if link.in_use)
        self.all = Wiring.declared(file)
        self.now = self.all.left(self.plugged)
        self.judged = frozenset(route for route in self.routes if route.over and self.now.reaches(route))
        self.unexplained = frozenset(
            route for route in self.routes if file.device and route.over and route not in self.judged
        )
        self.supplies = {device.id: frozenset(_supplies(file, device)) for device in file.device}
        self.fallbacks = [(thing_named(file, item.id), item.do) for item in file.fallback]
        self.clocks = {device.id: device.clock for device in file.device}
        self.clocked = {name: self.now.joined(name) for name in {*self.clocks.values()}}

    def lose(self, thing: Thing) -> Loss:
        """What the loss of one thing does."""
        gone, links, names = self._gone(thing)
        unled_devices, unled_names = self._unled(gone, links)
        silent = self._silent(gone, links, names)
        unsteady = self._silent(gone | unled_devices, links, names | unled_names)
        at = []
        for recipient, by_channel in self.heard.items():
            quiet = [name for name, routes in by_channel.items() if routes <= silent]
            adrift = [name for name, routes in by_channel.items() if name not in quiet and routes <= unsteady]
            left = [routes - silent for name, routes in by_channel.items() if name not in {*quiet, *adrift}]
            unsure = sum(routes <= self.unexplained for routes in left)
            at.append(Lost(recipient, self._named(quiet), self._named(adrift), len(left), unsure))
        return Loss(
            thing,
            tuple(at),
            tuple(sorted(gone - {thing.id} if thing.kind != "circuit" else gone)),
            tuple(sorted(unled_devices)),
            tuple(self._backups(gone, links, names, silent)),
            tuple(
                name
                for device in self.file.device
                if device.split and device.split.box in gone and device.id not in gone
                for name in (*device.split.direct, *device.split.isolated)
                if name not in gone
            ),
            tuple(do for declared, do in self.fallbacks if declared == thing),
        )

    def each(self) -> list[Loss]:
        """The loss of every single thing, the worst first: the most channels silent at the most recipients.

        Blocks and feeds are left out where a declared cable carries them: then the cable is the thing.
        """
        cabled = {name for route in self.judged for name in route.over}
        losses = [
            self.lose(thing)
            for thing in things(self.file)
            if thing.id not in cabled or thing.kind not in ("block", "feed")
        ]
        return sorted(losses, key=lambda loss: (-loss.silent, -loss.unled))

    def unjudged(self) -> list[str]:
        """Routes that no declared cable explains, said for people; a lost cable or device on them stays unnoticed."""
        devices = {device.id for device in self.file.device}
        if not devices:
            return ["no [[device]] is declared: cables, supplies and clocks cannot be judged"]
        said: dict[tuple[str, str], list[str]] = {}
        for route in self.routes:
            if route in self.judged or not route.over:
                continue
            for name in (route.source, route.target):
                if name not in devices:
                    said.setdefault((name, ""), [])
            if {route.source, route.target} <= devices:
                said.setdefault((route.source, route.target), []).append(" and ".join(route.over))
        return [
            f"no plugged [[link]] brings {', '.join(dict.fromkeys(over))} from {source} to {target}"
            if target
            else f"{source}: write a [[device]] and the [[link]]s that lead there"
            for (source, target), over in said.items()
        ]

    def unsaid(self) -> list[str]:
        """What the show file does not say about cables and supplies, by name."""
        said = []
        silent = [link.id for link in self.file.link if not self._carries(link.id)]
        if silent:
            said.append(
                f"what runs on {', '.join(silent)}; it is taken to be everything: write carries = […]"
            )
        bare = [name for name, supplies in self.supplies.items() if not supplies]
        if bare:
            said.append(f'the supply of {", ".join(bare)}: write circuit = "…"')
        return said

    def _carries(self, link_id: str) -> bool:
        """Whether a link, or a port at one of its ends, says what runs on it, be it only power."""
        link = next(link for link in self.file.link if link.id == link_id)
        ports = [self.file.port_at(link, end) for end in (0, 1)]
        return bool(link.carries) or any(
            port and (port.carries or port.gives or port.takes) for port in ports
        )

    def _named(self, ids: Iterable[str]) -> tuple[Channel, ...]:
        """Channels by id, in the order of the map."""
        wanted = {*ids}
        return tuple(channel for name, channel in self.channels.items() if name in wanted)

    def _gone(self, thing: Thing) -> tuple[frozenset[str], frozenset[str], frozenset[str]]:
        """Devices, links, and blocks and feeds that go with a thing; what they power goes too."""
        names = frozenset({thing.id} if thing.kind in ("block", "feed") else ())
        links = frozenset({thing.id} if thing.kind == "link" else ())
        gone = frozenset({thing.id} if thing.kind in ("box", "recipient", "device") else ())
        circuit = thing.id if thing.kind == "circuit" else ""
        dark = self._powered(frozenset(), frozenset(), "") - self._powered(gone, links, circuit)
        return gone | dark, links, names

    def _powered(self, gone: frozenset[str], links: frozenset[str], circuit: str) -> frozenset[str]:
        """The devices that have a supply left, without these devices, cables and circuit; one that names none has."""
        powered: set[str] = set()
        before = -1
        while len(powered) > before:
            before = len(powered)
            for name, supplies in self.supplies.items():
                if name not in gone and (
                    not supplies
                    or any(
                        supply.circuit != circuit
                        if supply.circuit
                        else supply.giver in powered and supply.link not in links
                        for supply in supplies
                    )
                ):
                    powered.add(name)
        return frozenset(powered)

    def _unled(self, gone: frozenset[str], links: frozenset[str]) -> tuple[frozenset[str], frozenset[str]]:
        """Devices whose clock is gone or does not reach them any more, and blocks and feeds whose leaders all are."""
        left = self.now.left(self.plugged - links, gone)
        clocked = {name: left.joined(name) for name in self.clocked}
        unled = set()
        for name in self.clocks.keys() - gone:
            chain = [name]
            while (leader := self.clocks[chain[-1]]) in self.clocks and leader not in chain:
                chain.append(leader)
            if any(
                leader in gone or here in self.clocked[leader] - clocked[leader]
                for here, leader in pairwise(chain)
            ):
                unled.add(name)
        leaders: dict[str, set[str]] = {}
        for device in self.file.device:
            for port in device.ports:
                if port.role == "leads":
                    for name in port.carries:
                        leaders.setdefault(name, set()).add(device.id)
        return frozenset(unled), frozenset(name for name, devices in leaders.items() if devices <= gone)

    def _silent(self, gone: frozenset[str], links: frozenset[str], names: frozenset[str]) -> set[Route]:
        """The routes that carry nothing any more, with these devices, cables, and blocks and feeds gone."""
        left = self.all.left(self.plugged - links, gone)
        dead = self._dead(gone, names)
        return dead | {route for route in self.judged - dead if not left.reaches(route)}

    def _dead(self, gone: frozenset[str], names: frozenset[str]) -> set[Route]:
        """The routes that no cable can mend: an end of theirs is gone, the split before it, or what carries them."""
        unsplit = {device.split.box for device in self.file.device if device.split and device.id in gone}
        return {
            route
            for route in self.routes
            if gone & {route.source, route.target} or route.source in unsplit or names & {*route.over}
        }

    def _backups(
        self, gone: frozenset[str], links: frozenset[str], names: frozenset[str], silent: set[Route]
    ) -> Iterator[Backup]:
        """The unplugged cables that would give back something of what is silent."""
        wanting = silent - self._dead(gone, names)
        ready = [link for link in self.file.link if link.id not in self.plugged | links] if wanting else []
        for link in ready:
            left = self.all.left((self.plugged | {link.id}) - links, gone)
            again = {route for route in wanting if left.reaches(route)}
            back = {
                recipient: sum(routes <= silent and bool(routes & again) for routes in by_channel.values())
                for recipient, by_channel in self.heard.items()
                if again
            }
            if any(back.values()):
                yield Backup(link.id, {name: count for name, count in back.items() if count})
