"""Blocks onto a feed: straight through where that carries everything, packed where it does not."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from chanbridge.model import Channel, ChannelMap, Patch, Slot
from chanbridge.plan.pack import Unit, give_way, place


class LeftOut(NamedTuple):
    """A channel that a feed does not carry. `gives_way`: it is not for air and made room for one that is."""

    channel: str
    slot: Slot
    reason: str
    gives_way: bool


class Plan(NamedTuple):
    """Which slot of which block goes to which slot of a feed.

    `layout` is "straight" or "packed"; `why` is one sentence for people.
    """

    layout: str
    why: str
    patches: tuple[Patch, ...]
    left_out: tuple[LeftOut, ...]


class _Stand(NamedTuple):
    """A used slot of a block, with the place that it would have straight through."""

    channel: Channel
    slot: Slot
    straight: int


def plan(whole: ChannelMap, blocks: Sequence[str], feed: str, slots: int) -> Plan:
    """Put blocks, in order, onto a feed of `slots` slots.

    Straight: slot n of the first block on slot n, the next block after it, spares in place. Packed: empty
    spares give way, then as few channels not for air as need be; pairs stay together, left on an odd slot.
    Every channel is in the patches or in `left_out`.
    """
    stands, sizes, faults = _stands(whole, blocks)
    last = max((stand.straight for stand in stands), default=0)
    if last <= slots:
        patches = []
        offset = 0
        for block in blocks:
            size = whole.port(block).size
            patches += [
                Patch(Slot(block, number), Slot(feed, offset + number))
                for number in range(1, min(size, slots - offset) + 1)
            ]
            offset += size
        spare = f"; the empty slots from {slots + 1} on are not carried" if sizes > slots else ""
        return Plan(
            "straight",
            f"straight through: the last channel stands on slot {last} of {slots}{spare}",
            tuple(patches),
            tuple(faults),
        )
    units = _units(stands)
    kept, gone = give_way(units, slots)
    by_id = {stand.channel.id: stand for stand in stands}
    patches = [Patch(by_id[name].slot, Slot(feed, number)) for number, name in place(kept, slots).items()]
    taken = {patch.source for patch in patches}
    left_out = list(faults)
    for stand in stands:
        if stand.slot not in taken:
            way = gives_way(stand.channel) and any(stand.channel.id in unit.channels for unit in gone)
            reason = (
                f"not for air: gives way on a feed of {slots} slots"
                if way
                else f"no room: {len(stands)} channels for {slots} slots"
            )
            left_out.append(LeftOut(stand.channel.id, stand.slot, reason, way))
    why = (
        f"packed: straight through would need {last} slots and there are {slots}; "
        f"{len(patches)} of {len(stands)} channels carried, empty spares closed up"
    )
    return Plan("packed", why, tuple(sorted(patches, key=lambda patch: patch.target.number)), tuple(left_out))


def gives_way(channel: Channel) -> bool:
    """Whether a channel makes room on a feed for those that may go on air."""
    return channel.audience.air == "not allowed"


def _stands(whole: ChannelMap, blocks: Sequence[str]) -> tuple[list[_Stand], int, list[LeftOut]]:
    """The used slots of blocks in order, the blocks' size together, and the channels that stand in no slot of them."""
    stands: list[_Stand] = []
    faults: list[LeftOut] = []
    had: dict[str, Slot] = {}
    offset = 0
    for block in blocks:
        size = whole.port(block).size
        holder: dict[int, Channel] = {}
        for row in whole.sheet(block):
            channel, slot = row.channel, Slot(block, row.number)
            if not channel:
                continue
            if row.number > size:
                reason = f"slot {row.number} lies past the end of {block}, which has {size} slots"
            elif row.number in holder:
                reason = f"slot {row.number} of {block} already carries {holder[row.number].name!r}"
            elif channel.id in had:
                continue  # the same channel on a second slot: once on the feed is enough
            else:
                holder[row.number] = channel
                had[channel.id] = slot
                stands.append(_Stand(channel, slot, offset + row.number))
                continue
            faults.append(LeftOut(channel.id, slot, reason, False))
        offset += size
    return stands, offset, [fault for fault in faults if fault.channel not in had]


def _units(stands: list[_Stand]) -> list[Unit]:
    """Channels in order, the two of a pair as one unit where its first one stands, left before right."""
    here = {stand.channel.id: stand.channel for stand in stands}
    done: set[str] = set()
    units = []
    for stand in stands:
        channel = stand.channel
        if channel.id in done:
            continue
        partner = here.get(channel.pair.partner or "") if channel.pair else None
        mutual = partner is not None and partner.pair is not None and partner.pair.partner == channel.id
        both: tuple[Channel, ...] = (channel,)
        alike = partner is not None and gives_way(partner) == gives_way(channel)
        if partner and mutual and alike and partner.id not in done and partner.id != channel.id:
            both = (channel, partner)
            if channel.pair and channel.pair.side in ("right", "side"):
                both = (partner, channel)
        done.update(item.id for item in both)
        way = all(gives_way(item) for item in both)
        units.append(Unit(tuple(item.id for item in both), way))
    return units
