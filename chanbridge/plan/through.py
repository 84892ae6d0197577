"""Straight layouts: slot numbers kept, the next block after the first, or each block on a feed of its own."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from chanbridge.model import Patch, Slot
from chanbridge.plan.feeds import COUNTED, NOTHING, Asked, Feeds, Plan, moved_from
from chanbridge.plan.stands import LeftOut, Stands, gives_way
from chanbridge.said import Listed, Said


def straight(here: Stands, feeds: Feeds) -> Plan | None:
    """The straight layout, if it carries every channel that may go on air."""
    found = offsets(here, feeds)
    return found.plan(here, feeds) if found and found.carries_all else None


class Offsets(NamedTuple):
    """A straight layout. `at`: block → (feed, slots before its first) for the blocks that begin on a feed."""

    at: Mapping[str, tuple[int, int]]
    carries_all: bool

    def place(self, feeds: Feeds, block: str, line: int) -> Slot | None:
        """Where the line-th slot of a block comes, None past the end of its feed."""
        if block not in self.at:
            return None
        feed, offset = self.at[block]
        port, size = feeds.ports[feed]
        return Slot(port, offset + line) if offset + line <= size else None

    def plan(self, here: Stands, feeds: Feeds, asked: Asked = NOTHING) -> Plan:
        """The plan that it is."""
        patches, where = [], {}
        for block, numbers in here.lines.items():
            for line, number in enumerate(numbers, 1):
                target = self.place(feeds, block, line)
                if target and feeds.number(target) not in asked.held:
                    patches.append(Patch(Slot(block, number), target))
                    where[Slot(block, number)] = target
        out = list(here.faults)
        for stand in here.used:
            if stand.slot not in where:
                way = gives_way(stand.channel)
                reason = Said(
                    "not for air: stands past the end, straight through on {feeds}"
                    if way
                    else "no room: stands past the end, straight through on {feeds}",
                    feeds=feeds.said(),
                )
                out.append(LeftOut(stand.channel.id, stand.slot, reason, way))
        at = {stand.channel.id: where[stand.slot] for stand in here.used if stand.slot in where}
        used = {feed for feed, _ in self.at.values()}
        if len(used) == 1:
            size = feeds.rooms[0]
            last = max((slot.number for slot in at.values()), default=0)
            layout = "straight"
            why = Said(
                "straight through: no channel stands on any slot that it carries"
                if not at
                else "straight through: the last channel stands on slot {last} of {size}; the empty slots from {next} on are not carried"
                if here.total > size
                else "straight through: the last channel stands on slot {last} of {size}",
                last=last, size=size, next=size + 1,
            )  # fmt: skip
        else:
            layout = f"straight on {COUNTED.get(len(used), len(used))} feeds"
            where_each = [
                Said("{block} on {feed}", block=block, feed=feeds.ports[feed][0])
                for block, (feed, _) in self.at.items()
            ]
            why = Said(
                "straight through on {count} feeds: {where}",
                count=COUNTED.get(len(used), len(used)),
                where=Listed(", ", where_each),
            )
        return Plan(
            layout, why, tuple(patches), tuple(out),
            moved_from(feeds.slots(asked.issued), at),
        )  # fmt: skip


def offsets(here: Stands, feeds: Feeds, asked: Asked = NOTHING) -> Offsets | None:
    """The straight layout, on one feed where that will do; None where it is not what was asked.

    One in which every channel is carried comes before one that leaves out channels not for air.
    """
    before, offset = {}, 0
    for block, numbers in here.lines.items():
        before[block] = offset
        offset += len(numbers)
    one = {block: (0, before[block]) for block in here.lines if before[block] < feeds.rooms[0]}
    found = Offsets(one, False)
    for needs in (_needs(here, before, every) for every in (True, False)):
        if all(not need or before[block] + need <= feeds.rooms[0] for block, need in needs.items()):
            found = Offsets(one, True)
            break
        several = _several(here, feeds, needs)
        if several:
            found = Offsets(several, True)
            break
    return found if _as_asked(found, here, feeds, asked) else None


def _needs(here: Stands, before: Mapping[str, int], every: bool) -> dict[str, int]:
    """How many slots of each block must be carried: for every channel, or for those that may go on air."""
    needs = dict.fromkeys(here.lines, 0)
    for stand in here.used:
        if every or not gives_way(stand.channel):
            needs[stand.slot.port] = max(needs[stand.slot.port], stand.straight - before[stand.slot.port])
    return needs


def _several(here: Stands, feeds: Feeds, needs: Mapping[str, int]) -> dict[str, tuple[int, int]]:
    """Where each block begins when feed after feed is filled with whole blocks; {} where they do not fit."""
    at: dict[str, tuple[int, int]] = {}
    feed, offset = 0, 0
    for block, numbers in here.lines.items():
        if offset + needs[block] > feeds.rooms[feed] and offset:
            feed, offset = feed + 1, 0
        if feed == len(feeds.rooms) or offset + needs[block] > feeds.rooms[feed]:
            return {}
        at[block] = (feed, offset)
        offset += len(numbers)
    return at


def _as_asked(found: Offsets, here: Stands, feeds: Feeds, asked: Asked) -> bool:
    if asked.spare or any(offset % asked.grain for _, offset in found.at.values()):
        return False
    if asked.grain > 1 and any(tuple(line) != tuple(range(1, len(line) + 1)) for line in here.lines.values()):
        return False
    told = {**asked.wants, **asked.fixed}
    for stand in here.used:
        line = here.lines[stand.slot.port].index(stand.slot.number) + 1
        place = found.place(feeds, stand.slot.port, line)
        number = feeds.number(place) if place else None
        if number in asked.held or told.get(stand.channel.id, number) != number:
            return False
    return not asked.ungiven or not asked.wants
