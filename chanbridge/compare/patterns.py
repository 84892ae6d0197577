"""One cause behind many moves: a shift of a range, two that have changed places, one that others closed up behind.

Everything here is about numbers: rows at a place on one list and at a place on the other.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from chanbridge.compare.places import FEWEST


class Shift(NamedTuple):
    """Rows (indexes, in order) that all stand `offset` further on the other list."""

    offset: int
    rows: tuple[int, ...]


class Arranged(NamedTuple):
    """What explains the moves of a list.

    `swaps`: groups of rows that have changed places, two by two in each group. `jumps`: a row that moved, and those
    between its two places that closed up by one. `single`: rows that moved alone.
    """

    shifts: tuple[Shift, ...]
    swaps: tuple[tuple[tuple[int, int], ...], ...]
    jumps: tuple[tuple[int, tuple[int, ...]], ...]
    single: tuple[int, ...]


def arrange(moves: Sequence[tuple[int, int]]) -> Arranged:
    """Explain the moves of rows from a place (the first number) to another (the second), both unique on their list.

    A shift is at least `FEWEST` neighbouring rows out by one amount: two rows that happen to agree are two moves.
    Rows among them that are out by another amount do not end it, they are looked at against it: a swap in the
    middle of a shift is a swap and a shift.
    """
    order = sorted(range(len(moves)), key=lambda row: moves[row])
    here = [moves[row][0] for row in order]
    there = [moves[row][1] for row in order]
    offsets = [other - one for one, other in zip(here, there, strict=True)]
    taken: set[int] = set()
    jumps = _jumps(here, offsets, taken)
    base = _base(offsets)
    swaps: list[tuple[tuple[int, int], ...]] = []
    for usual in ([place + offset for place, offset in zip(here, base, strict=True)], here):
        holder = {place: at for at, place in enumerate(usual)}
        for at, place in enumerate(there):
            other = holder.get(place, at)
            odd = offsets[at] != base[at] and offsets[other] != base[other]
            if other > at and odd and there[other] == usual[at] and taken.isdisjoint((at, other)):
                swaps.append(((at, other),))
                taken |= {at, other}
    shifts = _shifts(offsets, base, taken)
    whole: list[Shift] = []
    while shifts:
        first = shifts.pop(0)
        mirror = next((other for other in shifts if _exchange(first, other, here)), None)
        if mirror:
            shifts.remove(mirror)
            swaps.append(tuple(zip(first.rows, mirror.rows, strict=True)))
        else:
            whole.append(first)
    explained = taken | {at for shift in whole for at in shift.rows}
    explained |= {at for group in swaps for pair in group for at in pair}
    single = [at for at, offset in enumerate(offsets) if offset and at not in explained]
    return Arranged(
        tuple(Shift(shift.offset, tuple(order[at] for at in shift.rows)) for shift in whole),
        tuple(tuple((order[one], order[two]) for one, two in group) for group in swaps),
        tuple((order[at], tuple(order[row] for row in rows)) for at, rows in jumps),
        tuple(order[at] for at in single),
    )


def _jumps(here: Sequence[int], offsets: list[int], taken: set[int]) -> list[tuple[int, tuple[int, ...]]]:
    """Rows that moved past others, which closed up by one; `offsets` become those without the jump."""
    found = []
    count = len(here)
    for at in range(count):
        for step in (1, -1):
            rows = []
            before, row = at - step, at + step
            outside = offsets[before] if 0 <= before < count and before not in taken else None
            while 0 <= row < count and row not in taken:
                calm = offsets[row] + step  # the offset that the rows around have, if this one closed up
                distance = (here[row] - here[at]) * step
                if distance > (offsets[at] - calm) * step:
                    break
                rows.append(row)
                row += step
            if not rows or at in taken:
                continue
            calm = offsets[rows[0]] + step
            jump = (offsets[at] - calm) * step
            after = offsets[row] if 0 <= row < count and row not in taken else None
            if jump < 2 or any(offsets[row] + step != calm for row in rows):
                continue
            if {outside, after} - {None} != {calm} and not (outside is after is None and calm == 0):
                continue
            found.append((at, tuple(rows)))
            taken |= {at, *rows}
            for row in (at, *rows):
                offsets[row] = calm
    return found


def _base(offsets: Sequence[int]) -> list[int]:
    """For each row the offset that its neighbourhood has."""
    anchor: list[int | None] = [None] * len(offsets)
    start = 0
    for at in range(1, len(offsets) + 1):
        if at == len(offsets) or offsets[at] != offsets[start]:
            if at - start >= FEWEST:
                anchor[start:at] = offsets[start:at]
            start = at
    following: list[int | None] = [None] * len(offsets)
    last: int | None = None
    for at in reversed(range(len(offsets))):
        last = anchor[at] if anchor[at] is not None else last
        following[at] = last
    out: list[int] = []
    last = None
    for at, offset in enumerate(offsets):
        last = anchor[at] if anchor[at] is not None else last
        around = [value for value in (last, following[at]) if value is not None]
        near = out[-1] if out and out[-1] in around else around[0] if around else 0
        out.append(offset if offset in around else near)
    return out


def _shifts(offsets: Sequence[int], base: Sequence[int], taken: set[int]) -> list[Shift]:
    """Ranges of rows with one offset other than none; what does not fit in between does not end a range."""
    out: list[Shift] = []
    rows: list[int] = []
    current = 0
    for at, offset in enumerate(offsets):
        if base[at] != current:
            if current and rows:
                out.append(Shift(current, tuple(rows)))
            rows, current = [], base[at]
        if current and offset == current and at not in taken:
            rows.append(at)
    if current and rows:
        out.append(Shift(current, tuple(rows)))
    return out


def _exchange(one: Shift, other: Shift, here: Sequence[int]) -> bool:
    """Whether two shifted ranges have changed places as a whole."""
    return (
        one.offset == -other.offset
        and len(one.rows) == len(other.rows)
        and all(here[a] + one.offset == here[b] for a, b in zip(one.rows, other.rows, strict=True))
    )
