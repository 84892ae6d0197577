"""Acts: the stage as it is in each part of the show, and what a changeover does to the sockets."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from chanbridge.model import Channel, ChannelMap, Entry, Reserved, Slot
from chanbridge.names import fold, slug, unique
from chanbridge.plan.declared import place_of
from chanbridge.show import Show
from chanbridge.system import Act


class Stage(NamedTuple):
    """The boxes and blocks in an act, before anything is planned; `problems`: what the overlay has that clashes."""

    act: Act
    map: ChannelMap
    problems: tuple[str, ...]


class Change(NamedTuple):
    """What becomes of one socket in a changeover; None where nothing is plugged in. `came_from`: its socket before."""

    socket: Slot
    before: Channel | None
    after: Channel | None
    came_from: Slot | None


def stages(show: Show, base: ChannelMap) -> list[Stage]:
    """The stage in every act, in running order. Raises ShowError for a socket or box that does not exist.

    A channel that is named on another socket moves there: one that was in any act before is the same channel.
    """
    made: dict[str, ChannelMap] = {"": base}
    known: dict[str, Channel] = {channel.id: channel for channel in base.channels}
    out = []
    for at, act in enumerate(show.file.act):
        overlay = _Overlay(show, at, act, made[act.over], known)
        stage = overlay.stage()
        known |= {channel.id: channel for channel in stage.map.channels}
        made[act.id] = stage.map
        out.append(stage)
    return out


class _Overlay:
    def __init__(
        self, show: Show, at: int, act: Act, under: ChannelMap, known: Mapping[str, Channel]
    ) -> None:
        self.show, self.at, self.act, self.under = show, at, act, under
        self.known = dict(known)
        self.on: dict[Slot, list[Channel]] = {}
        self.problems: list[str] = []
        for name, slot in under.entries:
            if held := under.channel(name):
                self.on.setdefault(slot, []).append(held)
        self.remarks = dict(under.reserved)

    def stage(self) -> Stage:
        """The stage with the sheet laid over it, then the sockets of the show file."""
        placed: dict[str, Slot] = {}
        changes = [*self._from_sheet(), *self._from_file()]
        taken: set[Slot] = set()
        for slot, _, _ in changes:
            if slot in taken:
                self.problems.append(f"socket {slot} is named twice; what stands last counts")
            taken.add(slot)
            self.on.pop(slot, None)
            self.remarks.pop(slot, None)
        last = {slot: (channel, text) for slot, channel, text in changes}
        for slot, (channel, text) in last.items():
            if channel is None:
                if text:
                    self.remarks[slot] = text
                continue
            if channel.id in placed:
                self.problems.append(
                    f"{channel.name!r} is named on {placed[channel.id]} and on {slot}; it stays on the first"
                )
                continue
            placed[channel.id] = slot
            for other in [
                other
                for other, held in self.on.items()
                if other not in last and channel.id in {one.id for one in held}
            ]:
                self.on[other] = [one for one in self.on[other] if one.id != channel.id]
            self.on.setdefault(slot, []).append(channel)
        return Stage(self.act, self._map(), tuple(self.problems))

    def _from_file(self) -> Iterable[tuple[Slot, Channel | None, str]]:
        boxes = [box.id for box in self.show.file.box]
        for text, name in self.act.sockets.items():
            place = place_of(text, boxes)
            slot = Slot(place.name, place.number or 1)
            yield slot, self._same(Channel(id="x", name=name), slot, False) if name.strip() else None, ""

    def _from_sheet(self) -> Iterable[tuple[Slot, Channel | None, str]]:
        reading = self.show.acts.get(self.act.id)
        if not reading:
            return
        boxes = {fold(box.id): box for box in self.show.file.box}
        only = next(iter(boxes.values())) if len(boxes) == 1 else None
        for line in reading.map.lines(reading.map.listed_port()):
            box = boxes.get(fold(line.box)) or (only if not line.box else None)
            name = line.channel.name if line.channel else ""
            number = line.socket or (line.number if only else None)
            if not box or number is None:
                if line.channel:
                    self._fail(f"{self.act.sheet}: {name!r} names no box and socket of the show; write both")
                continue
            if number > box.inputs:
                self._fail(
                    f"{self.act.sheet}: {name!r} is on socket {number}, and box {box.id} has {box.inputs} inputs"
                )
            slot = Slot(box.id, number)
            yield (
                slot,
                self._same(line.channel, slot, "id" in reading.layout) if line.channel else None,
                line.text,
            )

    def _fail(self, message: str) -> None:
        raise self.show.mistake(message, "act", self.at, "sheet")

    def _same(self, said: Channel, slot: Slot, by_id: bool) -> Channel:
        """The channel that a line means: one of the acts before with its id or name, else a new one."""
        if by_id and said.id in self.known:
            return self.known[said.id]
        same = [one for one in self.known.values() if fold(one.name) == fold(said.name)]
        if len(same) > 1:  # of several with one name, the one that stands on that very socket
            here = [one for one in same if one in self.on.get(slot, [])]
            if not here:
                self.problems.append(
                    f"{len(same)} channels are called {said.name!r}; the one with id {same[0].id} comes to {slot}"
                )
            same = here or same
        if same:
            return same[0]
        name = unique(slug(slot.port, said.name) or slug(slot.port, str(slot.number)), self.known)
        owner = said.gain_owner or self.show.file.gain_owner
        made = said.changed(id=name, pair=None, gain_owner=owner)
        self.known[name] = made
        return made

    def _map(self) -> ChannelMap:
        channels = {channel.id: channel for held in self.on.values() for channel in held}
        order = {name: at for at, name in enumerate(self.known)}
        entries = [Entry(channel.id, slot) for slot, held in self.on.items() for channel in held]
        paired = _with_pairs([channels[name] for name in sorted(channels, key=order.__getitem__)])
        place = {port.id: at for at, port in enumerate(self.under.ports)}
        return self.under.changed(
            channels=tuple(paired),
            entries=tuple(sorted(entries, key=lambda entry: (place[entry.slot.port], entry.slot.number))),
            reserved=tuple(Reserved(slot, text) for slot, text in self.remarks.items()),
        )


def _with_pairs(channels: list[Channel]) -> list[Channel]:
    """New channels called `… L` and `… R` become pairs; a partner that is not there is forgotten."""
    by_name = {fold(channel.name): channel for channel in channels}
    here = {channel.id for channel in channels}
    out = []
    for channel in channels:
        pair = channel.pair
        if pair and pair.partner and pair.partner not in here:
            channel = channel.changed(pair={"side": pair.side})
        elif not pair and channel.name[-2:] in (" L", " R"):
            left = channel.name.endswith("L")
            other = by_name.get(fold(channel.name[:-1] + ("R" if left else "L")))
            if other and not other.pair:
                channel = channel.changed(pair={"with": other.id, "side": "left" if left else "right"})
        out.append(channel)
    return out


def changeover(before: ChannelMap, after: ChannelMap) -> tuple[list[Change], int]:
    """What to repatch between two acts, box by box and socket by socket, and how many channels stay as they are."""
    ones, twos = _plugged(before), _plugged(after)
    was = {channel.id: slot for slot, channel in ones.items()}
    order = {port.id: at for at, port in enumerate(after.ports)}
    changes, stays = [], 0
    for slot in sorted({*ones, *twos}, key=lambda slot: (order[slot.port], slot.number)):
        one, two = ones.get(slot), twos.get(slot)
        if one and two and one.id == two.id:
            stays += 1
            continue
        changes.append(Change(slot, one, two, was.get(two.id) if two else None))
    return changes, stays


def _plugged(whole: ChannelMap) -> dict[Slot, Channel]:
    boxes = {port.id for port in whole.ports if port.kind == "sockets"}
    found: dict[Slot, Channel] = {}
    for name, slot in whole.entries:
        channel = whole.channel(name)
        if channel and slot.port in boxes:
            found.setdefault(slot, channel)
    return found
