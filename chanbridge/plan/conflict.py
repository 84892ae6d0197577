"""What is asked of a packing and cannot hold together, as a smallest set."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import combinations
from typing import Literal, NamedTuple

from chanbridge.errors import ChanbridgeError
from chanbridge.plan.stands import Stand


class PlanError(ChanbridgeError):
    """What was asked of a plan cannot be."""


class Demand(NamedTuple):
    """One thing asked, with the words for it. `channels` are ids; `slot` is over all feeds; `room` in slots."""

    kind: Literal["fix", "pair", "grain", "spare", "return"]
    text: str
    channels: tuple[str, ...] = ()
    slot: int = 0
    room: int = 0


def smallest(demands: Sequence[Demand], holds: Callable[[Sequence[Demand]], bool]) -> tuple[Demand, ...]:
    """A smallest set of demands that cannot hold together; () if all can.

    Every set of one, two and three is tried; what is larger is made so small that without any one of it the
    rest holds.
    """
    if holds(demands):
        return ()
    for count in (1, 2, 3):
        for some in combinations(demands, count):
            if not holds(some):
                return some
    core = list(demands)
    for demand in demands:
        without = [other for other in core if other is not demand]
        if not holds(without):
            core = without
    return tuple(core)


def can_hold(demands: Sequence[Demand], used: Sequence[Stand], rooms: Sequence[int]) -> bool:
    """Whether fixed places, pairs, a converter's grain, slots of returns and spare slots can be had together.

    Other channels are left out if need be.
    """
    fixed = {demand.channels[0]: demand.slot for demand in demands if demand.kind == "fix"}
    barred = {demand.slot for demand in demands if demand.kind == "return"}
    grain = next((demand.room for demand in demands if demand.kind == "grain"), 0)
    ends = _ends(rooms)
    taken: dict[int, object] = {}
    bodies = _bodies(demands, used, grain, fixed)
    for body, members in bodies.items():
        starts = {fixed[name] - offset for name, offset in members.items() if name in fixed}
        if not starts:
            continue
        start = starts.pop()
        first = max((first for first in ends if first <= start), default=0)
        if starts or not first or start > ends[first]:
            return False
        width = grain or (2 if len(members) > 1 else 1)
        step = grain or width
        if (start - first) % step or (not grain and start + width - 1 > ends[first]):
            return False
        if any(start + offset > ends[first] for name, offset in members.items() if name in fixed):
            return False
        for slot in range(start, min(start + width - 1, ends[first]) + 1):
            if taken.setdefault(slot, body) != body or slot in barred:
                return False
    spare = sum(demand.room for demand in demands if demand.kind == "spare")
    return spare <= sum(rooms) - len(taken) - len(barred - {*taken})


def _ends(rooms: Sequence[int]) -> dict[int, int]:
    ends, first = {}, 1
    for size in rooms:
        ends[first] = first + size - 1
        first += size
    return ends


def _bodies(
    demands: Sequence[Demand], used: Sequence[Stand], grain: int, fixed: Mapping[str, int]
) -> dict[object, dict[str, int]]:
    """What moves as one: a name for it → its channels with their offsets."""
    bodies: dict[object, dict[str, int]] = {}
    if grain:
        for stand in used:
            block, number = stand.slot
            bodies.setdefault((block, (number - 1) // grain), {})[stand.channel.id] = (number - 1) % grain
        return bodies
    for demand in demands:
        if demand.kind == "pair":
            bodies[demand.channels] = {name: offset for offset, name in enumerate(demand.channels)}
    paired = {name for body in bodies.values() for name in body}
    for name in fixed:
        if name not in paired:
            bodies[name] = {name: 0}
    return bodies


def explained(core: Sequence[Demand]) -> str:
    """A set that cannot hold together, in one sentence with what would mend it."""
    if len(core) == 1:
        return f"this cannot be: {core[0].text}"
    return (
        f"these cannot hold together: {'; '.join(demand.text for demand in core)}. Drop or change one of them"
    )
