"""From a few needs to what a show takes: boxes, blocks, ports, feeds, switches, cables, watts and circuits."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence

from chanbridge.foresight.allot import Option, allot, covers
from chanbridge.foresight.needs import Needs, Piece, Store
from chanbridge.foresight.reels import Reels, Way
from chanbridge.foresight.sized import (
    Box,
    Bring,
    Circuit,
    Room,
    Run,
    Size,
    Switch,
    each,
    hears,
    key,
    mix_outputs,
    with_spares,
)
from chanbridge.gear import AT_SOURCE_W


def size(needs: Needs, store: Store) -> Size:
    """Work out what the needs take, from the store as far as it goes."""
    return _Sizing(needs, store).made()


class _Sizing:
    def __init__(self, needs: Needs, store: Store) -> None:
        self.needs, self.store = needs, store
        self.taken: Counter[str] = Counter()
        self.wrong: list[str] = []
        self.unsaid: list[str] = []

    def made(self) -> Size:
        needs = self.needs
        boxes = tuple(self._boxes())
        blocks = tuple(dict.fromkeys(box.block for box in boxes))
        channels = sum(place.inputs for place in needs.place)
        feeds = math.ceil(channels / needs.truck.mode.slots) if needs.truck else 0
        switches = tuple(self._switches(blocks))
        converters = self._converters(feeds)
        reels = Reels(self.store, needs.slack_percent)
        runs = tuple(reels.runs([*self._ways(boxes, blocks, feeds)]))
        self.wrong += reels.wrong
        self.unsaid += reels.unsure
        self.taken.update(key(piece) for run in runs for piece in run.pieces)
        circuits = tuple(self._circuits(boxes, switches, converters))
        ports = tuple((one.id, one.count * len(hears(one, blocks))) for one in needs.listener)
        self._ask()
        rooms = tuple(self._rooms(boxes, blocks, channels, feeds, switches, runs, circuits))
        pieces = [*self.store.box, *self.store.switch, *self.store.converter, *self.store.cable]
        bring = tuple(Bring(piece, self.taken[key(piece)]) for piece in pieces if self.taken[key(piece)])
        return Size(
            needs, boxes, blocks, feeds, ports, switches, len(converters) if self.store.converter else feeds, runs,
            circuits, bring, rooms, tuple(self.wrong), tuple(self.unsaid),
        )  # fmt: skip

    def _boxes(self) -> Iterator[Box]:
        """Boxes for each place, then blocks for the boxes of a place, the largest first."""
        needs, kinds = self.needs, self.store.box
        wanted = {
            place.id: (
                with_spares(place.inputs, needs.spare_percent),
                with_spares(place.outputs + mix_outputs(needs, place), needs.spare_percent),
            )
            for place in needs.place
        }
        options = {
            name: covers([(kind.inputs, kind.outputs) for kind in kinds], both)
            for name, both in wanted.items()
        }
        served = [name for name, ways in options.items() if ways]
        chosen = dict(
            zip(served, allot([options[name] for name in served], [kind.have for kind in kinds],
                              [kind.inputs + kind.outputs for kind in kinds]), strict=True)
        )  # fmt: skip
        number = block = 0
        for place in needs.place:
            inputs, outputs = wanted[place.id]
            if place.id in chosen:
                here = [
                    kind for kind, count in zip(kinds, chosen[place.id], strict=True) for _ in range(count)
                ]
                self.taken.update(key(kind) for kind in here)
                sockets = [(kind.id, kind.inputs, kind.outputs) for kind in here]
            else:
                if kinds and inputs + outputs:
                    self.wrong.append(
                        f"no box of the kit has what {place.id} needs: {inputs} in and {outputs} out"
                    )
                count = math.ceil(max(inputs, outputs) / needs.block_slots)
                sockets = [("", _share(inputs, count, at), _share(outputs, count, at)) for at in range(count)]
            waiting = place.inputs
            room: list[list[int]] = []  # of each block of this place: inputs and outputs taken
            for piece, box_in, box_out in sorted(sockets, key=lambda box: -max(box[1:])):
                fits = [
                    at
                    for at, (used, back) in enumerate(room)
                    if max(used + box_in, back + box_out) <= needs.block_slots
                ]
                at = fits[0] if fits else len(room)
                if not fits:
                    room.append([0, 0])
                used, back = room[at]
                room[at] = [used + box_in, back + box_out]
                number += 1
                live = min(box_in, waiting)
                waiting -= live
                name = f"block-{block + at + 1}"
                yield Box(f"box-{number}", piece, place.id, box_in, box_out, name, used + 1, back + 1, live)
            block += len(room)

    def _switches(self, blocks: Sequence[str]) -> Iterator[Switch]:
        """For each block with more than two ends; each block is kept apart from the others."""
        kinds, needed = self.store.switch, []
        for block in blocks:
            hearing = [one for one in self.needs.listener if block in hears(one, blocks)]
            ends = 1 + sum(one.count for one in hearing) + (1 if self.needs.truck else 0)
            watts = sum(
                one.count * AT_SOURCE_W[one.power_class]
                for one in hearing
                if one.power_class is not None and hears(one, blocks)[0] == block
            )
            if ends > 2 or watts:
                needed.append((block, ends, watts))
        options: list[list[Option]] = [
            [
                tuple(int(other is kind) for other in kinds)
                for kind in kinds
                if kind.ports >= ends and (not watts or (kind.budget_w or 0) >= watts)
            ]
            for _, ends, watts in needed
        ]
        served = [at for at, ways in enumerate(options) if ways]
        chosen = allot(
            [options[at] for at in served], [kind.have for kind in kinds], [kind.ports for kind in kinds]
        )
        found = dict(zip(served, chosen, strict=True))
        for at, (block, ends, watts) in enumerate(needed):
            piece = ""
            if at in found:
                kind = next(kind for kind, count in zip(kinds, found[at], strict=True) if count)
                self.taken[key(kind)] += 1
                piece = kind.id
            elif kinds:
                power = f" and {watts:g} W over cables" if watts else ""
                self.wrong.append(f"no switch of the kit has what {block} needs: {ends} ports{power}")
            yield Switch(block, piece, ends, watts)

    def _converters(self, feeds: int) -> list[Piece]:
        kinds = self.store.converter
        options = covers([(kind.feeds,) for kind in kinds], (feeds,)) if feeds else []
        if not options or not any(options[0]):
            return []
        chosen = allot([options], [kind.have for kind in kinds], [kind.feeds for kind in kinds])[0]
        here = [kind for kind, count in zip(kinds, chosen, strict=True) for _ in range(count)]
        self.taken.update(key(kind) for kind in here)
        return [*here]

    def _ways(self, boxes: Sequence[Box], blocks: Sequence[str], feeds: int) -> Iterator[Way]:
        """The cables wanted: from a box of each block to the first listener, from there to the others and the truck."""
        needs = self.needs
        leader = needs.listener[0]
        places = {place.id: place for place in needs.place}
        for block in blocks:
            box = next(box for box in boxes if box.block == block)
            far = places[box.place].distance_m
            yield Way(f"{block}-run", box.id, leader.id, block, far)
            if needs.backup:
                yield Way(f"{block}-backup", box.id, leader.id, block, far, backup=True)
        for one in needs.listener[1:]:
            for block in hears(one, blocks):
                for name in each(one):
                    yield Way(f"{block}-{name}", leader.id, name, block, one.distance_m)
        if needs.truck:
            media, far = (needs.truck.medium,), needs.truck.distance_m
            for number in range(1, feeds + 1):
                yield Way(f"feed-{number}-run", "converter", "truck", f"feed-{number}", far, media)
            if needs.truck.back:
                yield Way("feed-1-back", "truck", "converter", "feed-1", far, media)

    def _circuits(
        self, boxes: Sequence[Box], switches: Sequence[Switch], converters: Sequence[Piece]
    ) -> Iterator[Circuit]:
        """Supply circuits place by place: the boxes there, and the desks each where it stands, switches with the first."""
        watts = {key(piece): piece.watts for piece in (*self.store.box, *self.store.switch)}
        loads: dict[str, list[tuple[str, float | None]]] = {}
        for box in boxes:
            loads.setdefault(box.place, []).append((box.id, watts.get(f"StoreBox {box.piece}")))
        leader = self.needs.listener[0].id
        for one in self.needs.listener:
            if one.power_class is None or one.watts is not None:
                loads.setdefault(one.id, []).extend([(one.id, one.watts)] * one.count)
        for switch in switches:
            own = watts.get(f"StoreSwitch {switch.piece}")
            total = None if own is None else own + switch.watts
            loads[leader].append((f"switch of {switch.block}", total))
        loads[leader] += [(piece.id, piece.watts) for piece in converters]
        supply = self.needs.supply
        for place, load in loads.items():
            known = sum(value for _, value in load if value is not None)
            unsaid = tuple(dict.fromkeys(name for name, value in load if value is None))
            count = max(1, math.ceil(round(known / supply.watts, 9))) if supply else None
            yield Circuit(place, known, count, unsaid)

    def _ask(self) -> None:
        needs = self.needs
        if needs.spare_percent is None:
            self.unsaid.append("how many sockets stay free: spare_percent (none are kept)")
        if needs.slack_percent is None:
            self.unsaid.append(
                "how much longer a cable is than its way: slack_percent (lengths are bare distances)"
            )
        far = [
            item.id
            for table in (needs.place, needs.listener[1:])
            for item in table
            if item.distance_m is None
        ]
        if needs.truck and needs.truck.distance_m is None:
            far.append("truck")
        if far:
            self.unsaid.append(
                f"how far {', '.join(far)} is from {needs.listener[0].id}: distance_m (no cable is chosen)"
            )
        if needs.truck and needs.truck.mode.rate_hz != needs.rate and not needs.truck.conversion:
            self.unsaid.append(
                f"what converts {needs.rate} Hz to the truck's {needs.truck.mode.rate_hz} Hz: conversion"
            )
        uncounted = [one.id for one in needs.listener if one.inputs is None]
        if uncounted:
            self.unsaid.append(f"how many inputs {', '.join(uncounted)} has: inputs")
        if not needs.supply:
            self.unsaid.append("the supply circuits: [supply] volts, amps, load_percent")

    def _rooms(
        self, boxes: Sequence[Box], blocks: Sequence[str], channels: int, feeds: int, switches: Sequence[Switch],
        runs: Sequence[Run], circuits: Sequence[Circuit],
    ) -> Iterator[Room]:  # fmt: skip
        needs = self.needs
        for place in needs.place:
            here = [box for box in boxes if box.place == place.id]
            bounds = sum(box.inputs for box in here), sum(box.outputs for box in here)
            if not all(box.piece for box in here):  # a box that has to be found can have as much as its block
                bounds = (needs.block_slots * len({box.block for box in here}),) * 2
            outputs = place.outputs + mix_outputs(needs, place)
            for what, need, there in (
                (f"inputs at {place.id}", place.inputs, bounds[0]),
                (f"outputs at {place.id}", outputs, bounds[1]),
            ):
                if need:
                    yield Room(what, need, there, self._more(need, there), need)
        if needs.truck:
            of = feeds * needs.truck.mode.slots
            yield Room(f"channels to the truck ({needs.truck.mode})", channels, of, of - channels, channels)
            if needs.truck.back:
                of, back = needs.truck.mode.slots, needs.truck.back
                yield Room("channels from the truck", back, of, of - back, back)
        for one in needs.listener:
            heard = sum(box.used for box in boxes if box.block in hears(one, blocks))
            if one.inputs is not None:
                if heard > one.inputs and one.kind != "mixers":
                    self.wrong.append(f"{one.id} has {one.inputs} inputs, and {heard} channels come")
                yield Room(
                    f"inputs of {one.id}",
                    min(heard, one.inputs),
                    one.inputs,
                    max(0, one.inputs - heard),
                    heard,
                )
        for block in blocks:
            used = sum(box.inputs for box in boxes if box.block == block)
            yield Room(f"slots of {block}", used, needs.block_slots)
        kinds = {kind.id: kind for kind in self.store.switch}
        for switch in switches:
            if switch.piece:
                kind = kinds[switch.piece]
                yield Room(f"switch ports on {switch.block}", switch.ends, kind.ports)
                if switch.watts:
                    yield Room(f"watts over cables on {switch.block}", switch.watts, kind.budget_w or 0)
        for run in runs:
            if run.limit_m is not None and run.length_m:
                yield Room(f"metres of {run.id} ({run.medium})", run.counted_m, run.limit_m)
        for circuit in circuits:
            if circuit.circuits and needs.supply and not circuit.unsaid:
                yield Room(
                    f"watts of supply at {circuit.place}",
                    circuit.watts,
                    circuit.circuits * needs.supply.watts,
                )

    def _more(self, need: int, of: int) -> int:
        """How many more than needed fit with their spares."""
        more = 0
        while with_spares(need + more + 1, self.needs.spare_percent) <= of:
            more += 1
        return more


def _share(whole: int, parts: int, at: int) -> int:
    """The size of one of several parts as equal as can be."""
    return whole // parts + (at < whole % parts)
