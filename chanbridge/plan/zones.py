"""Groups between what stands fast: in which stretches of slots each group is, with the fewest breaks.

A stretch lies between two standing pieces, or a feed's end. How much of which group is in which stretch is a
small program whose least number of runs no packing can beat; laying the pieces out in each stretch then shows
whether it can be reached.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import chain, islice, permutations
from typing import NamedTuple

from chanbridge.plan.program import Clock, Program
from chanbridge.plan.task import Task

_TRIES = 500
"""Orders of the groups in one stretch that are tried before giving up."""
_RETRIES = 6
"""How often the pieces are shared out anew."""


class _Stretch(NamedTuple):
    """Free slots in a row; `left`, `right`: the groups of the standing pieces at its ends, None at a feed's end."""

    slots: tuple[int, ...]
    couples: int
    left: str | None
    right: str | None


def arranged(
    task: Task, carried: Sequence[int], standing: Mapping[int, int], ideal: Mapping[int, int], clock: Clock
) -> tuple[dict[int, int] | None, int]:
    """Places for the pieces that stand nowhere yet, None if laying them out fails; and the fewest breaks there can be."""
    stretches = _stretches(task, standing)
    loose = [index for index in carried if index not in standing]
    kinds: dict[tuple[str, int], list[int]] = {}
    for index in loose:
        kinds.setdefault((task.pieces[index].group, task.pieces[index].width), []).append(index)
    groups = {task.pieces[index].group for index in carried} - {""}
    lowest: int | None = None
    room = [len(stretch.slots) for stretch in stretches]
    for _ in range(_RETRIES):
        found = _amounts(task, stretches, room, kinds, standing, ideal, clock)
        if found is None:
            break
        amounts, runs = found
        lowest = runs - len(groups) if lowest is None else lowest
        waiting = {kind: list(members) for kind, members in kinds.items()}
        at, failed = dict(standing), False
        for number, stretch in enumerate(stretches):
            blocks: dict[str, list[int]] = {}
            for kind, members in waiting.items():
                take = amounts.get((number, *kind), 0)
                blocks.setdefault(kind[0], []).extend(members[:take])
                del members[:take]
            laid = _laid_out(task, stretch, blocks, ideal)
            if laid is None:  # a pair needs a gap somewhere: leave one, and share out anew
                room[number] -= 1
                failed = True
            else:
                at |= laid
        if not failed:
            return at, lowest
    return None, lowest or 0


def _stretches(task: Task, standing: Mapping[int, int]) -> list[_Stretch]:
    fast = {start: task.pieces[index] for index, start in standing.items()}
    out = []
    for first, last in task.ends.items():
        free: list[int] = []
        left: str | None = None
        slot = first
        while slot <= last:
            if piece := fast.get(slot):
                out.append(_stretch(task, free, left, piece.group))
                free, left = [], piece.group
                slot += piece.width
                continue
            if slot not in task.barred:
                free.append(slot)
            slot += 1
        out.append(_stretch(task, free, left, None))
    return out


def _stretch(task: Task, free: list[int], left: str | None, right: str | None) -> _Stretch:
    couples = sum(task.beside(slot, slot + 1) and slot + 1 in free for slot in free)
    return _Stretch(tuple(free), couples, left, right)


def _amounts(
    task: Task,
    stretches: Sequence[_Stretch],
    room: Sequence[int],
    kinds: Mapping[tuple[str, int], list[int]],
    standing: Mapping[int, int],
    ideal: Mapping[int, int],
    clock: Clock,
) -> tuple[dict[tuple[int, str, int], int], int] | None:
    """(stretch, group, width) → how many pieces, with the fewest runs, then near to their places; and the runs."""
    program = Program(clock)
    groups = sorted(({group for group, _ in kinds} | {task.pieces[index].group for index in standing}) - {""})
    amount: dict[tuple[int, str, int], int] = {}
    runs: dict[int, int] = {}
    far: dict[int, int] = {}
    for at, stretch in enumerate(stretches):
        size = max(0, room[at])
        middle = sum(stretch.slots) // len(stretch.slots) if stretch.slots else 0
        here: dict[str, int] = {}
        for group in groups:
            here[group] = program.column()
            runs[here[group]] = 1
        for (group, width), members in kinds.items():
            column = amount[at, group, width] = program.column(most=len(members))
            far[column] = width * abs(sum(ideal[index] for index in members) // len(members) - middle)
            if group:
                program.row([(column, 1), (here[group], -len(members))], None, 0)
        filled = [(amount[at, *kind], kind[1]) for kind in kinds]
        program.row(filled, None, size)
        program.row([(column, 1) for column, width in filled if width == 2], None, stretch.couples)
        joins: dict[str, list[int]] = {}
        for side in (stretch.left, stretch.right):
            if side:
                joins.setdefault(side, []).append(program.column())
                runs[joins[side][-1]] = -1
                program.row([(joins[side][-1], 1), (here[side], -1)], None, 0)
        for side, columns in joins.items():
            if len(columns) == 2:  # one run from end to end: nothing else is in between
                both = [(column, 1.0) for column in columns]
                for other in here:
                    if other != side:
                        program.row([*both, (here[other], 1)], None, 2)
                loose = [(amount[at, *kind], kind[1]) for kind in kinds if not kind[0]]
                program.row([*loose, *((column, size) for column in columns)], None, 2 * size)
    for kind, members in kinds.items():
        program.row([(amount[at, *kind], 1) for at in range(len(stretches))], len(members), len(members))
    fewest = program.minimise(runs, 0.5)
    if fewest is None:
        return None
    program.row(runs.items(), None, fewest.value)
    nearest = program.minimise(far, 0.2, near=0.1) or fewest
    alone = sum(bool(task.pieces[index].group) for index in standing)
    return {key: nearest.values[column] for key, column in amount.items()}, fewest.bound + alone


def _laid_out(
    task: Task, stretch: _Stretch, blocks: Mapping[str, list[int]], ideal: Mapping[int, int]
) -> dict[int, int] | None:
    """Pieces laid out in a stretch, each group in one run, those that go on from its ends there; None if no order fits."""
    singles = [[index] for index in sorted(blocks.get("", ()), key=ideal.__getitem__)]
    runs = [sorted(members) for group, members in blocks.items() if group and members]

    def place(run: list[int]) -> tuple[int, int]:
        group = task.pieces[run[0]].group
        side = -1 if group == stretch.left else 1 if group == stretch.right else 0
        return side, min(ideal[index] for index in run)

    head, inner, tail = (
        [run for run in sorted(runs, key=place) if place(run)[0] == side] for side in (-1, 0, 1)
    )
    near = sorted([*inner, *singles], key=lambda run: ideal[run[0]])
    rows = chain([near], ([*order, *singles] for order in islice(permutations(inner), _TRIES)))
    tried = (_in_row(task, stretch, [*head, *row, *tail], {run[0] for run in singles}) for row in rows)
    return next((at for at in tried if at is not None), None)


def _in_row(
    task: Task, stretch: _Stretch, runs: Sequence[Sequence[int]], loose: set[int]
) -> dict[int, int] | None:
    """Runs one after the other; None if they do not fit. `loose`: pieces of no group.

    Where a pair comes to stand on an even slot a single of its run goes first, or a slot stays empty, or a loose
    single is taken out of turn.
    """
    free = list(stretch.slots)
    spare = len(free) - sum(task.pieces[index].width for run in runs for index in run)
    waiting = [list(run) for run in runs]
    at: dict[int, int] = {}
    while waiting:
        run = waiting[0]
        if not run:
            waiting.pop(0)
            continue
        if not free:
            return None
        couple = len(free) > 1 and free[1] == free[0] + 1 and task.beside(free[0], free[1])
        singles = [other for other in run if task.pieces[other].width == 1]
        doubles = [other for other in run if task.pieces[other].width == 2]
        index = run[0]
        if couple and len(singles) == 1 and doubles:
            index = doubles[0]  # the last single of a run is kept for where no pair can stand
        if task.pieces[index].width == 2 and not couple:
            begun = any(task.pieces[other].group == task.pieces[index].group for other in at)
            outside = [
                other
                for other in waiting[1:]
                if other and other[0] in loose and task.pieces[other[0]].width == 1
            ]
            if singles:
                index = singles[0]
            elif spare > 0:
                spare -= 1
                free.pop(0)
                continue
            elif outside and (index in loose or not begun):
                run = outside[0]
                index = run[0]
            else:
                return None
        run.remove(index)
        at[index] = free[0]
        del free[: task.pieces[index].width]
    return at
