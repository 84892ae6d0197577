"""Packing: units of one or two channels into a row of slots, pairs on odd slots."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple


class Unit(NamedTuple):
    """One channel, or the two of a pair, that stay together. `gives_way`: leaves first when room is short."""

    channels: tuple[str, ...]
    gives_way: bool


def give_way(units: Sequence[Unit], slots: int) -> tuple[list[Unit], list[Unit]]:
    """Which units fit into `slots` slots and which do not; both in their order.

    Units that give way leave first: as few channels as will do, the later ones before the earlier. If all
    of those are gone and it is still too much, the first units that fit stay. Any order of singles and
    pairs can be placed without a gap (`place`), so only the number of channels counts.
    """
    excess = sum(len(unit.channels) for unit in units) - slots
    if excess <= 0:
        return list(units), []
    able = [at for at, unit in enumerate(units) if unit.gives_way]
    if sum(len(units[at].channels) for at in able) >= excess:
        gone = _fewest(able, units, excess)
    else:
        gone = set(able)
        room = slots
        for at, unit in enumerate(units):
            if at in gone:
                continue
            if len(unit.channels) <= room:
                room -= len(unit.channels)
            else:
                gone.add(at)
        for at in able:  # a slot left beside a pair that did not fit
            if len(units[at].channels) <= room:
                room -= len(units[at].channels)
                gone.discard(at)
    return [unit for at, unit in enumerate(units) if at not in gone], [units[at] for at in sorted(gone)]


def _fewest(able: list[int], units: Sequence[Unit], excess: int) -> set[int]:
    """The fewest channels that make `excess` room; of equals the later units. Sizes are 1 or 2."""
    singles = [at for at in able if len(units[at].channels) == 1]
    pairs = [at for at in able if len(units[at].channels) == 2]
    choices = []
    for count in range(len(pairs) + 1):
        alone = max(0, excess - 2 * count)
        if alone <= len(singles):
            gone = set(pairs[len(pairs) - count :]) | set(singles[len(singles) - alone :])
            choices.append((2 * count + alone, [-at for at in sorted(gone, reverse=True)], gone))
    return min(choices)[2]


def place(units: Sequence[Unit], slots: int) -> dict[int, str]:
    """Slot → channel id, slots from 1: the order of the units, pairs with their first on an odd slot.

    The gap before a pair stays empty where there is room for all gaps; where there is not, the next single
    fills it, so that a run of units of `slots` channels always fits.
    """
    spare = slots - sum(len(unit.channels) for unit in units)
    waiting = list(units)
    placed: dict[int, str] = {}
    at = 1
    gaps = _gaps(waiting)
    while waiting:
        unit = waiting[0]
        if len(unit.channels) == 2 and at % 2 == 0:
            later = next((index for index, other in enumerate(waiting) if len(other.channels) == 1), None)
            if gaps > spare and later is not None:
                placed[at] = waiting.pop(later).channels[0]
                at += 1
                gaps = _gaps(waiting)
                continue
            at += 1
            spare -= 1
            gaps -= 1
        for channel in waiting.pop(0).channels:
            placed[at] = channel
            at += 1
    return placed


def _gaps(units: Sequence[Unit]) -> int:
    """Empty slots that keeping the order would cost, starting on an odd slot."""
    at, gaps = 1, 0
    for unit in units:
        if len(unit.channels) == 2 and at % 2 == 0:
            at += 1
            gaps += 1
        at += len(unit.channels)
    return gaps
