"""What a packing must keep to: fixed places, a list of wants, pairs, a converter's grain, spare room."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from chanbridge.plan import stands as standing
from chanbridge.plan.conflict import Demand, PlanError, can_hold, explained, smallest
from chanbridge.plan.feeds import Asked, Feeds
from chanbridge.plan.stands import Stands
from chanbridge.plan.task import Task


def task_of(here: Stands, feeds: Feeds, asked: Asked, barred: frozenset[int]) -> Task:
    """What is to be packed, as it was asked; `barred`: slots that stay empty.

    Raises PlanError for demands that cannot hold together.
    """
    used = here.used
    ids = {stand.channel.id for stand in used}
    fixed = {name: slot for name, slot in asked.fixed.items() if name in ids}
    pairs = standing.pairs(used)
    _check(here, feeds, asked, fixed, pairs)
    fixed |= _followed(asked, ids, fixed, pairs, feeds)
    rigid = asked.grain > 1
    # What moves in blocks cannot go round single slots; it keeps off those on which something stands.
    if rigid:
        barred = frozenset[int]()
    barred = (barred | asked.held) - {*fixed.values()}
    together = [pair for pair in pairs if _stays(pair, fixed, feeds)]
    levels = {stand.channel.id: standing.level(stand.channel) for stand in used}
    made = standing.bodies(used, asked.grain) if rigid else standing.pieces(used, together, asked.spare)
    return Task(made, feeds.rooms, levels, fixed, asked.issued, barred, pairs if rigid else ())


def _followed(
    asked: Asked, ids: set[str], fixed: Mapping[str, int], pairs: Sequence[tuple[str, str]], feeds: Feeds
) -> dict[str, int]:
    """The slots of a list of wants that can be followed: each once, none that is fixed otherwise."""
    held = {*fixed.values(), *asked.held}
    for pair in pairs:
        for offset, name in enumerate(pair):
            if name in fixed:  # its partner stands beside it
                held |= {fixed[name] - offset, fixed[name] - offset + 1}
    partners = {name for pair in pairs for name in pair if {*pair} & {*fixed}}
    wanted: dict[str, int] = {}
    for name, slot in asked.wants.items():
        if (
            name in ids
            and name not in fixed
            and name not in partners
            and slot not in held
            and asked.grain == 1
        ):
            wanted[name] = slot
            held.add(slot)
    for pair in pairs:  # a pair of which the list has one: the other beside it, if it has nothing else there
        for name, other, step in ((pair[0], pair[1], 1), (pair[1], pair[0], -1)):
            if name in wanted and other not in wanted and _couple(wanted[name], step, feeds):
                beside = wanted[name] + step
                if beside not in held and beside not in asked.ungiven:
                    wanted[other] = beside
                    held.add(beside)
    return wanted


def _couple(slot: int, step: int, feeds: Feeds) -> bool:
    """Whether a slot and the next (1) or last (-1) are an odd slot of a feed and its neighbour."""
    here = feeds.slot(slot)
    return here.number % 2 == (1 if step == 1 else 0) and here.number + step <= dict(feeds.ports)[here.port]


def _stays(pair: tuple[str, str], fixed: Mapping[str, int], feeds: Feeds) -> bool:
    """Whether the two of a pair can stay together: not if a list of wants puts them apart."""
    slots = [fixed.get(name) for name in pair]
    if slots[0] is None and slots[1] is None:
        return True
    if slots[0] is not None and slots[1] is not None:
        return slots[1] == slots[0] + 1 and _couple(slots[0], 1, feeds)
    return _couple(slots[0], 1, feeds) if slots[0] is not None else _couple(slots[1] or 0, -1, feeds)


def _check(
    here: Stands, feeds: Feeds, asked: Asked, fixed: Mapping[str, int], pairs: Sequence[tuple[str, str]]
) -> None:
    """Raise PlanError with a smallest set of demands that cannot hold together."""
    names = {stand.channel.id: stand.channel.name or stand.channel.id for stand in here.used}

    def place(number: int) -> str:
        if not 1 <= number <= sum(feeds.rooms):
            return f"slot {number}, and there are {sum(feeds.rooms)}"
        slot = feeds.slot(number)
        return f"slot {slot.number}" + (f" of {slot.port}" if len(feeds.rooms) > 1 else "")

    demands = [
        Demand("fix", f"{names[name]!r} fixed on {place(slot)}", (name,), slot)
        for name, slot in fixed.items()
    ]
    if asked.grain > 1:
        grain = f"the converter moves channels in blocks of {asked.grain}"
        demands.append(Demand("grain", grain, room=asked.grain))
    else:
        demands += [
            Demand(
                "pair", f"{names[left]!r} and {names[right]!r} are a pair, left on an odd slot", (left, right)
            )
            for left, right in pairs
            if left in fixed or right in fixed
        ]
    if asked.spare:
        count = sum(not piece.channels for piece in standing.pieces(here.used, pairs, asked.spare))
        said = f"{asked.spare} spare after each group, which is {count} slots on {feeds}"
        demands.append(Demand("spare", said, room=count))
    demands += [
        Demand("return", f"a return stands on {place(slot)}", slot=slot) for slot in sorted(asked.held)
    ]
    core = smallest(demands, lambda some: can_hold(some, here.used, feeds.rooms))
    if core:
        raise PlanError(explained(core))
