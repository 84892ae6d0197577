"""Blocks onto feeds: straight through where that carries everything, packed where it does not."""

from __future__ import annotations

from collections.abc import Sequence

from chanbridge.model import ChannelMap, Patch, Reserved
from chanbridge.plan.conflict import PlanError
from chanbridge.plan.demands import task_of
from chanbridge.plan.feeds import NOTHING, Asked, Feeds, Moved, Plan, moved_from, moves
from chanbridge.plan.pack import Packing, pack
from chanbridge.plan.stands import LeftOut, Stand, Stands, gives_way, stands
from chanbridge.plan.task import Score
from chanbridge.plan.through import offsets, straight
from chanbridge.said import Said

__all__ = [
    "Asked",
    "Feeds",
    "LeftOut",
    "Moved",
    "Plan",
    "gives_way",
    "moves",
    "plan_feeds",
    "straight",
]


def plan_feeds(whole: ChannelMap, blocks: Sequence[str], feeds: Feeds, asked: Asked = NOTHING) -> Plan:
    """Put blocks, in order, onto feeds. Every channel is in the patches once, or in `left_out`.

    Straight: slot n of the first block on slot n, the next block after it, or each block on a feed of its own;
    spares in place. Packed: empty spares give way, then as few channels as need be; pairs stay together, left on
    an odd slot. The first of these that carries every channel that may go on air and is what was asked.
    Raises PlanError for demands that cannot hold together.
    """
    here = stands(whole, blocks, asked.parts)
    through = None if asked.layout == "packed" else offsets(here, feeds, asked)
    if through and (asked.layout == "straight" or through.carries_all):
        made = through.plan(here, feeds, asked)
        if not made.moved or asked.layout == "straight":
            return made
        packed = _packed(here, feeds, asked)
        better = len(packed.moved) < len(made.moved) or any(not out.gives_way for out in packed.left_out)
        return packed if better else made
    if asked.layout == "straight":
        raise PlanError(
            f"straight through is not possible with what else was asked on {feeds}; leave the layout open"
        )
    return _packed(here, feeds, asked)


def _packed(here: Stands, feeds: Feeds, asked: Asked) -> Plan:
    """The best packing; slots for what a list asks and the show cannot give stay empty where there is room for that."""
    packing, barred = _with_most_left_empty(here, feeds, asked)
    at = {name: feeds.slot(number) for name, number in packing.at.items()}
    patches = sorted(
        (feeds.number(at[stand.channel.id]), Patch(stand.slot, at[stand.channel.id]))
        for stand in here.used
        if stand.channel.id in at
    )
    left_out = [
        *here.faults,
        *(_crowded_out(stand, here, feeds) for stand in here.used if stand.channel.id not in at),
    ]
    taken = {*packing.at.values()}
    reserved = tuple(
        Reserved(feeds.slot(number), f"asked for: {text}")
        for number, text in sorted(asked.ungiven.items())
        if number in barred and number not in taken
    )
    return Plan(
        "packed", _why(here, feeds, asked, len(patches)), tuple(patch for _, patch in patches), tuple(left_out),
        moved_from(feeds.slots(asked.issued), at), reserved, _proof(packing, asked), packing.proved,
    )  # fmt: skip


def _crowded_out(stand: Stand, here: Stands, feeds: Feeds) -> LeftOut:
    """A channel that a packing leaves out, with the reason."""
    many, slots = len(here.used), sum(feeds.rooms)
    if gives_way(stand.channel):
        reason = Said("not for air: gives way on {feeds}", feeds=feeds.said())
    elif many > slots:
        reason = Said("no room: {many} channels for {slots} slots", many=many, slots=slots)
    else:
        reason = Said(
            "no room beside pairs, returns and what else must hold: {many} channels for {slots} slots",
            many=many, slots=slots,
        )  # fmt: skip
    return LeftOut(stand.channel.id, stand.slot, reason, gives_way(stand.channel))


def _with_most_left_empty(here: Stands, feeds: Feeds, asked: Asked) -> tuple[Packing, frozenset[int]]:
    """The best packing, and the slots that were left empty for it: as many as cost no channel its place."""
    wishes = (asked.avoid | {*asked.ungiven}, frozenset(asked.ungiven), frozenset[int]())
    for barred in dict.fromkeys(wishes):
        task = task_of(here, feeds, asked, barred)
        packing = pack(task, asked.seconds, keep_order=asked.keep_order)
        if packing is None:
            raise PlanError(f"what was asked cannot be done on {feeds}")
        if not barred or (all(name in packing.at for name in task.levels) and not packing.score.moved):
            return packing, barred
    raise AssertionError("the last wish is none")


def _why(here: Stands, feeds: Feeds, asked: Asked, carried: int) -> str:
    last = max((stand.straight for stand in here.used), default=0)
    slots = sum(feeds.rooms)
    if asked.layout == "packed":
        cause = Said("as was asked")
    elif asked.wants:
        cause = Said("as the list of wants has it")
    elif last > slots:
        cause = Said("straight through would need {last} slots and there are {slots}", last=last, slots=slots)
    elif last > feeds.rooms[0]:
        cause = Said(
            "straight through would need {last} slots on one feed, and {feeds} carry no whole blocks",
            last=last, feeds=feeds.said(),
        )  # fmt: skip
    elif any(stand.straight in asked.held for stand in here.used):
        cause = Said("straight through would put a channel on the slot of a return")
    elif asked.issued:
        cause = Said("straight through would move what was issued")
    else:
        cause = Said("straight through is not what was asked")
    out = sum(not asked.parts.get(fault.slot.port) for fault in here.faults)  # not those that are not to go
    return Said(
        "packed: {cause}; {carried} of {all} channels carried",
        cause=cause,
        carried=carried,
        all=len(here.used) + out,
    )


_FIELDS = {
    "lost": Said("channels left out"), "moved": Said("channels moved"), "split": Said("pairs split"),
    "want": Said("wanted channels left out"), "spare": Said("spares left out"),
    "quiet": Said("channels not for air left out"), "breaks": Said("group breaks"), "order": Said("steps out of order"),
}  # fmt: skip


def _proof(packing: Packing, asked: Asked) -> str:
    if packing.proved and asked.keep_order:
        return Said("proved: no packing that keeps the order is better")
    if packing.proved:
        return Said("proved: no packing is better")
    for name, value, least in zip(Score._fields, packing.score, packing.floor, strict=True):
        if value != least:
            return Said(
                "the best found in {seconds:g} s, not proved: {value} {what}, "
                "and {least} could not be ruled out; all that counts for more is proved",
                seconds=asked.seconds, value=value, what=_FIELDS[name], least=least,
            )  # fmt: skip
    raise AssertionError("a packing that is not proved differs from its floor")
