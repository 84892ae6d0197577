"""Which pieces are carried and what moves: settled exactly before anyone asks where the others stand.

Pieces of one slot fill any free slots; pairs need a free couple, an odd slot and the next. So only the pieces
that stand on issued or fixed slots need to be told apart by place, the rest is counted.
"""

from __future__ import annotations

from typing import NamedTuple

from chanbridge.plan.program import Clock, Program
from chanbridge.plan.task import CARRYING, Piece, Score, Task


class Choice(NamedTuple):
    """Indices of the pieces that are carried, where the standing ones stand, and the score of that.

    `floor`: the least that the first CARRYING fields can be; `score` is it, unless time ran out.
    """

    carried: tuple[int, ...]
    standing: dict[int, int]
    score: Score
    floor: Score


def choose(task: Task, clock: Clock) -> Choice | None:
    """The best choice after the first CARRYING fields of `Score`; None if what is fixed cannot be.

    For pieces of one slot and pairs; a converter's groups need places at once (`places.placed`).
    """
    anchors = [_anchors(task, piece) for piece in task.pieces]
    return _all_stay(task, anchors) or _solved(task, anchors, clock)


def _anchors(task: Task, piece: Piece) -> list[int]:
    """Starts that put a channel of a piece on its issued or fixed slot."""
    wanted = {
        slot - offset
        for offset, name in piece.channels
        for slot in (task.issued.get(name), task.fixed.get(name))
        if slot is not None
    }
    return [start for start in task.starts(piece) if start in wanted] if wanted else []


def _is_fixed(task: Task, piece: Piece) -> bool:
    return any(name in task.fixed for _, name in piece.channels)


def _couples(task: Task) -> list[tuple[int, int]]:
    return [(slot, slot + 1) for first, last in task.ends.items() for slot in range(first, last, 2)]


def _all_stay(task: Task, anchors: list[list[int]]) -> Choice | None:
    """Everything carried and nothing moved, if that is plain to see."""
    standing: dict[int, int] = {}
    taken: set[int] = set()
    for index, piece in enumerate(task.pieces):
        if _is_fixed(task, piece) or any(name in task.issued for _, name in piece.channels):
            start = next((at for at in anchors[index] if not task.moved(piece, at)), None)
            if start is None or taken & {*range(start, start + piece.width)}:
                return None
            taken |= {*range(start, start + piece.width)}
            standing[index] = start
    rest = [piece for index, piece in enumerate(task.pieces) if index not in standing]
    taken |= task.barred
    pairs = sum(piece.width == 2 for piece in rest)
    couples = sum(not {*couple} & taken for couple in _couples(task))
    if pairs > couples or sum(piece.width for piece in rest) > task.total - len(taken):
        return None
    return Choice(tuple(range(len(task.pieces))), standing, Score(), Score())


def _solved(task: Task, anchors: list[list[int]], clock: Clock) -> Choice | None:
    program = Program(clock)
    at: dict[int, dict[int, int]] = {}  # piece → start → column
    elsewhere: dict[int, int] = {}
    over: dict[int, list[int]] = {}  # slot → columns of pieces that stand over it
    for index, piece in enumerate(task.pieces):
        at[index] = {start: program.column() for start in anchors[index]}
        for start, column in at[index].items():
            for slot in range(start, start + piece.width):
                over.setdefault(slot, []).append(column)
        columns = [*at[index].values()]
        if not _is_fixed(task, piece):
            elsewhere[index] = program.column()
            columns.append(elsewhere[index])
        needed = _is_fixed(task, piece) or not piece.channels
        program.row(((column, 1) for column in columns), 1 if needed else None, 1)
    couples = []
    for couple in _couples(task):
        if {*couple} & task.barred:
            continue
        couples.append(program.column())
        for slot in couple:
            if slot in over:
                program.row([(couples[-1], 1), *((column, 1) for column in over[slot])], None, 1)
    for columns in over.values():
        program.row(((column, 1) for column in columns), None, 1)
    widths = [piece.width for piece in task.pieces]
    pairs = [(column, 1.0) for index, column in elsewhere.items() if widths[index] == 2]
    program.row([*pairs, *((column, -1) for column in couples)], None, 0)
    filled = [(column, widths[index]) for index in at for column in at[index].values()]
    filled += [(column, widths[index]) for index, column in elsewhere.items()]
    program.row(filled, None, task.total - len(task.barred))
    return _levels(task, program, at, elsewhere)


def _levels(
    task: Task, program: Program, at: dict[int, dict[int, int]], elsewhere: dict[int, int]
) -> Choice | None:
    """The fields of the score one after the other, each held where it is before the next."""
    none = {index: task.left_out(piece, None) for index, piece in enumerate(task.pieces)}
    columns: list[tuple[int, Score, Score]] = []  # column, score with it, score without its piece
    for index, piece in enumerate(task.pieces):
        columns += [(column, task.left_out(piece, start), none[index]) for start, column in at[index].items()]
        if index in elsewhere:
            moved = sum(name in task.issued for _, name in piece.channels)
            columns.append((elsewhere[index], Score(moved=moved), none[index]))
    found, floor = [], []
    values: list[int] | None = None
    for field in range(CARRYING):
        base = sum(score[field] for score in none.values())
        costs = {column: has[field] - lacks[field] for column, has, lacks in columns}
        if values is None or any(costs.values()):
            least = program.minimise(costs)
            if least is None:
                if values is None:
                    return None
                least_value = sum(costs[column] * values[column] for column in costs)
                found.append(base + least_value)
                floor.append(0)
            else:
                values = least.values
                found.append(base + least.value)
                floor.append(base + least.bound)
            held = found[-1] - base
            program.row(((column, cost) for column, cost in costs.items() if cost), None, held)
        else:
            found.append(base)
            floor.append(base)
    chosen = values or []
    standing = {index: start for index in at for start, column in at[index].items() if chosen[column]}
    carried = {*standing, *(index for index, column in elsewhere.items() if chosen[column])}
    return Choice(tuple(sorted(carried)), standing, Score(*found), Score(*floor))
