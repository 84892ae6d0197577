"""Packing: pieces onto feeds, proved best after `Score`, or the best found with how far it may be from that."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from chanbridge.plan.alike import in_any_order
from chanbridge.plan.choose import choose
from chanbridge.plan.places import placed
from chanbridge.plan.program import Clock
from chanbridge.plan.row import in_a_row
from chanbridge.plan.task import CARRYING, Score, Task


class Packing(NamedTuple):
    """Where channels stand. `at`: channel → slot over all feeds. `score` is its worth, `floor` the least possible.

    It is proved best where the two are the same.
    """

    at: Mapping[str, int]
    score: Score
    floor: Score

    @property
    def proved(self) -> bool:
        """Whether no packing is better."""
        return self.score == self.floor


def pack(task: Task, seconds: float = 5.0, *, keep_order: bool = False) -> Packing | None:
    """The best packing, at the latest after about `seconds`; None if what is fixed cannot be.

    `keep_order`: all pieces but the fixed ones stay in the order of the sheets; groups are not gathered, and
    who does not fit in that order is left out.
    """
    clock = Clock(seconds)
    if keep_order:
        return _kept(task)
    if any(piece.rigid for piece in task.pieces):  # few pieces: all goes through the program at once
        ideal = {index: 1 + index * piece.width for index, piece in enumerate(task.pieces)}
        found = placed(task, ideal, clock)
        return found and _packing(task, *found)
    chosen = choose(task, clock)
    if chosen is None:
        return None
    ideal = places_in_order(task, chosen.carried)
    sequence = [index for index in chosen.carried if index not in chosen.standing]
    row = (
        ideal
        if not chosen.standing and _fits(task, ideal)
        else in_a_row(task, sequence, ideal, chosen.standing)
    )
    known = task.score(row, ideal) if row is not None else None
    floor = Score(*chosen.floor[:CARRYING])
    if row is not None and known == floor:
        return _packing(task, row, floor, floor)
    free = None if chosen.score.moved else in_any_order(task, sequence, ideal, chosen.standing)
    if free is not None and chosen.score == chosen.floor and not any(task.pieces[at].group for at in free):
        best = task.score(free, ideal)
        return _packing(task, free, best, best)
    found = placed(task, ideal, clock, chosen, row)
    return found and _packing(task, *found)


def casualties(task: Task, seconds: float = 5.0) -> tuple[list[str], bool] | None:
    """The channels that the best packing leaves out, and whether that is proved; for pieces without a grain."""
    chosen = choose(task, Clock(seconds))
    if chosen is None:
        return None
    kept = {*chosen.carried}
    gone = [name for at, piece in enumerate(task.pieces) if at not in kept for _, name in piece.channels]
    return gone, chosen.score == chosen.floor


def places_in_order(task: Task, carried: tuple[int, ...]) -> dict[int, int]:
    """Where pieces would stand in their order if nothing were fixed or issued: the places to be near to.

    As far to the front as can be with the fewest groups broken. Where the gaps before pairs leave no room for
    that: one after the other without gaps, which not all can have.
    """
    free = Task(task.pieces, task.rooms, task.levels, barred=task.barred)
    row = in_a_row(free, carried)
    if row is not None:
        return row
    at, slot = {}, 1
    for index in carried:
        at[index] = slot
        slot += task.pieces[index].width
    return at


def _fits(task: Task, at: Mapping[int, int]) -> bool:
    """Whether pieces can begin on these slots without meeting."""
    taken: set[int] = set()
    for index, start in at.items():
        piece = task.pieces[index]
        covered = {*range(start, start + piece.width)}
        if covered & taken or start not in task.starts(piece):
            return False
        taken |= covered
    return True


def _kept(task: Task) -> Packing | None:
    fixed = {}
    for index, piece in enumerate(task.pieces):
        if any(name in task.fixed for _, name in piece.channels):
            starts = task.starts(piece)
            if not starts:
                return None
            fixed[index] = starts[0]
    order = sorted(range(len(task.pieces)), key=lambda index: task.pieces[index].rank)
    sequence = [index for index in order if index not in fixed]
    ideal = places_in_order(task, tuple(order))
    row = in_a_row(task, sequence, ideal, fixed, may_drop=True)
    if row is None:
        return None
    score = task.score(row, ideal)
    return _packing(task, row, score, score)


def _packing(task: Task, at: Mapping[int, int], score: Score, floor: Score) -> Packing:
    channels = {
        name: slot for index, start in at.items() for name, slot in task.carried(task.pieces[index], start)
    }
    return Packing(channels, score, floor)
