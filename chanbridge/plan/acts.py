"""One place for every channel over all acts of a show, if there is one."""

from __future__ import annotations

from collections.abc import Sequence, Set
from typing import NamedTuple

from chanbridge.plan.pack import places_in_order
from chanbridge.plan.program import Clock, Program
from chanbridge.plan.task import Piece, Task


class Joint(NamedTuple):
    """Channel → the slot that it can have in every act; None where there are no such places.

    `proved`: whether that is certain, where there are none.
    """

    at: dict[str, int] | None
    proved: bool


def without(task: Task, gone: Set[str]) -> Task:
    """A task without the pieces of which no channel is carried."""
    if not gone:
        return task
    pieces = [piece for piece in task.pieces if not all(name in gone for _, name in piece.channels)]
    pairs = [pair for pair in task.pairs if not gone & {*pair}]
    return Task(pieces, task.rooms, task.levels, task.fixed, task.issued, task.barred, pairs)


def one_place_each(tasks: Sequence[Task], seconds: float = 4.0) -> Joint:
    """Places such that all channels of all acts are carried and none ever moves; channels that never meet may share.

    `tasks`: one for each act, onto the same feeds. Of all such places those that move
    the fewest of what was issued, and then those nearest to the order of the sheets.
    """
    pieces: dict[tuple[tuple[int, str], ...], Piece] = {}
    inside: dict[tuple[tuple[int, str], ...], list[int]] = {}
    owner: dict[str, tuple[tuple[int, str], ...]] = {}
    ideal: dict[tuple[tuple[int, str], ...], int] = {}
    for act, task in enumerate(tasks):
        places = places_in_order(task, tuple(range(len(task.pieces))))
        for index, piece in enumerate(task.pieces):
            key = piece.channels
            if any(owner.setdefault(name, key) != key for _, name in key):
                return Joint(None, False)  # single in one act and one of a pair in another
            pieces.setdefault(key, piece)
            inside.setdefault(key, []).append(act)
            ideal.setdefault(key, places[index])
    program = Program(Clock(seconds))
    costs: dict[int, int] = {}
    moves: dict[int, int] = {}
    over: dict[tuple[int, int], list[int]] = {}
    columns: dict[tuple[tuple[tuple[int, str], ...], int], int] = {}
    for key, piece in pieces.items():
        starts = set.intersection(*({*tasks[act].starts(piece)} for act in inside[key]))
        for start in sorted(starts):
            column = columns[key, start] = program.column()
            costs[column] = tasks[inside[key][0]].weight(piece) * abs(start - ideal[key])
            moves[column] = tasks[inside[key][0]].moved(piece, start)
            for slot in range(start, start + piece.width):
                for act in inside[key]:
                    over.setdefault((act, slot), []).append(column)
        program.row(((columns[key, start], 1) for start in sorted(starts)), 1, 1)
    for here in over.values():
        program.row(((column, 1) for column in here), None, 1)
    fewest = program.minimise(moves)
    if fewest is None:
        return Joint(None, program.clock.left() > 0)
    program.row(moves.items(), None, fewest.value)
    least = program.minimise(costs) or fewest
    at = {
        name: start + offset
        for (key, start), column in columns.items()
        if least.values[column]
        for offset, name in key
    }
    return Joint(at, True)
