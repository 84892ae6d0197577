"""A place for every piece where the order is free: columns for pieces and slots, solved in HiGHS."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import accumulate
from typing import NamedTuple

from chanbridge.plan.choose import Choice
from chanbridge.plan.program import Clock, Program
from chanbridge.plan.row import in_a_row
from chanbridge.plan.task import CARRYING, Score, Task
from chanbridge.plan.zones import arranged

Places = Mapping[int, int]
"""Index of a piece → its first slot."""


def placed(
    task: Task, ideal: Places, clock: Clock, chosen: Choice | None = None, known: Places | None = None
) -> tuple[Places, Score, Score] | None:
    """Places for pieces, best after `Score`, with their score and the least that is possible; None if there are none.

    `chosen`: what is carried and how much moves, where that is settled; else it is settled here. `known`: places
    that would do.
    """
    model = _Model(task, ideal, clock, chosen)
    best = dict(known) if known is not None else None
    fewest = 0  # breaks that no packing can do without
    if chosen and model.groups:
        zoned, fewest = arranged(task, chosen.carried, chosen.standing, ideal, clock)
        fewest = 0 if chosen.score.moved else max(0, fewest)
        if zoned is not None and (best is None or task.score(zoned, ideal) < task.score(best, ideal)):
            best = zoned
        if best is not None:
            sequence = sorted((index for index in best if index not in chosen.standing), key=best.__getitem__)
            best = in_a_row(task, sequence, ideal, chosen.standing) or best
    floor = list(chosen.floor[:CARRYING]) if chosen else []
    for field in range(len(floor), len(Score._fields)):
        costs, base = model.costs(field)
        if not any(costs.values()):
            floor.append(base)
            continue
        reached = task.score(best, ideal)[field] if best is not None else None
        lowest = fewest if Score._fields[field] == "breaks" else 0
        if chosen and reached == lowest:  # nothing can be better
            floor.append(lowest)
            model.hold(costs, lowest - base)
            continue
        least = model.program.minimise(costs, 0.6 if Score._fields[field] == "breaks" else 1.0)
        if least is None:
            floor += [lowest, *[0] * len(Score._fields)][: len(Score._fields) - len(floor)]
            break
        floor.append(max(lowest, base + least.bound))
        if best is None or reached is None or base + least.value < reached:
            best, reached = model.places(least.values), base + least.value
        model.hold(costs, reached - base)
    return None if best is None else (best, task.score(best, ideal), Score(*floor))


class _Alike(NamedTuple):
    """Pieces that may change places without a difference, in their order; they share columns."""

    pieces: tuple[int, ...]
    starts: dict[int, int]  # slot → column


class _Model:
    def __init__(self, task: Task, ideal: Places, clock: Clock, chosen: Choice | None) -> None:
        self.task, self.ideal, self.chosen = task, ideal, chosen
        self.program = Program(clock)
        indices = chosen.carried if chosen else tuple(range(len(task.pieces)))
        self.groups = sorted({task.pieces[index].group for index in indices} - {""})
        self.over: dict[int, list[tuple[str, int]]] = {}  # slot → (group, column) that would fill it
        self.classes = [self._add(alike) for alike in self._alike(indices)]
        for here in self.over.values():
            self.program.row(((column, 1) for _, column in here), None, 1)
        if chosen:
            self._hold_moves(chosen)

    def _alike(self, indices: tuple[int, ...]) -> list[tuple[int, ...]]:
        """Pieces of one group (or none) and width that stood nowhere and are fixed nowhere; every other one for itself."""
        task = self.task
        alike: dict[tuple[str, int] | int, list[int]] = {}
        for index in indices:
            piece = task.pieces[index]
            told = any(name in task.fixed or name in task.issued for _, name in piece.channels)
            key = (piece.group, piece.width) if not told and self.chosen else index
            alike.setdefault(key, []).append(index)
        return [tuple(members) for members in alike.values()]

    def _add(self, members: tuple[int, ...]) -> _Alike:
        task, piece = self.task, self.task.pieces[members[0]]
        starts = task.starts(piece)
        if self.chosen and not self.chosen.score.moved and members[0] in self.chosen.standing:
            starts = [self.chosen.standing[members[0]]]
        columns = {}
        for start in starts:
            column = columns[start] = self.program.column()
            for slot in range(start, min(start + piece.width - 1, task.last_of_room(start)) + 1):
                self.over.setdefault(slot, []).append((piece.group, column))
        needed = self.chosen or any(name in task.fixed for _, name in piece.channels) or not piece.channels
        count = len(members)
        self.program.row(((column, 1) for column in columns.values()), count if needed else None, count)
        return _Alike(members, columns)

    def _hold_moves(self, chosen: Choice) -> None:
        task, kept = self.task, {*chosen.carried}
        gone = sum(task.moved(piece, None) for index, piece in enumerate(task.pieces) if index not in kept)
        moves = [
            (column, task.moved(task.pieces[alike.pieces[0]], start))
            for alike in self.classes
            for start, column in alike.starts.items()
        ]
        if any(factor for _, factor in moves):
            self.program.row(
                ((column, factor) for column, factor in moves if factor), None, chosen.score.moved - gone
            )

    def places(self, values: list[int]) -> dict[int, int]:
        """The places that columns' values stand for; pieces that are alike keep their order."""
        at: dict[int, int] = {}
        for alike in self.classes:
            taken = sorted(start for start, column in alike.starts.items() if values[column])
            at |= zip(alike.pieces, taken, strict=len(taken) > 0)  # none where it is left out
        return at

    def hold(self, costs: Mapping[int, int], value: int) -> None:
        """Let no later level make this one worse."""
        self.program.row(((column, cost) for column, cost in costs.items() if cost), None, value)

    def costs(self, field: int) -> tuple[dict[int, int], int]:
        """What a field of the score costs in columns, and what it is when all columns are 0."""
        task = self.task
        if Score._fields[field] == "breaks":
            return (self._runs() if self.groups else {}), -len(self.groups)
        if Score._fields[field] == "split":
            return self._split(), 0
        if Score._fields[field] == "order":
            costs: dict[int, int] = {}
            for alike in self.classes:
                costs |= self._distance(alike)
            return costs, 0
        base, costs = 0, {}
        for alike in self.classes:
            piece = task.pieces[alike.pieces[0]]
            lacks = task.left_out(piece, None)[field]
            base += lacks
            costs |= {
                column: task.left_out(piece, start)[field] - lacks for start, column in alike.starts.items()
            }
        return costs, base

    def _distance(self, alike: _Alike) -> dict[int, int]:
        """The weighted distance of pieces from their places: for several, the sum over all edges between slots of
        how many more have begun by there than should have, or fewer."""
        weight = self.task.weight(self.task.pieces[alike.pieces[0]])
        if len(alike.pieces) == 1:
            place = self.ideal[alike.pieces[0]]
            return {column: weight * abs(start - place) for start, column in alike.starts.items()}
        ideal = [self.ideal[index] for index in alike.pieces]
        by_there = list(accumulate(ideal.count(slot) for slot in range(1, self.task.total + 1)))
        slots = sorted(alike.starts)
        costs = {}
        before: int | None = None  # a column for how many have begun so far, as a share of all
        count = len(alike.pieces)
        for at, slot in enumerate(slots):
            begun = self.program.column(whole=False)
            terms = [(begun, float(count)), (alike.starts[slot], -1.0)]
            self.program.row([*terms, (before, -float(count))] if before is not None else terms, 0, 0)
            before = begun
            edges = range(slot, slots[at + 1] if at + 1 < len(slots) else self.task.total + 1)
            for should in sorted({by_there[edge - 1] for edge in edges}):
                times = sum(by_there[edge - 1] == should for edge in edges)
                apart = self.program.column(whole=False)
                costs[apart] = weight * times * count
                self.program.row([(apart, float(count)), (begun, -float(count))], -should, None)
                self.program.row([(apart, float(count)), (begun, float(count))], should, None)
        lead = slots[0] if slots else 1
        missing = sum(by_there[edge - 1] for edge in range(1, lead))
        if missing:  # places before the first slot that is free to them
            always = self.program.column(whole=False)
            self.program.row([(always, 1.0)], 1, 1)
            costs[always] = weight * missing
        return costs

    def _runs(self) -> dict[int, int]:
        """Columns that count runs: every slot is in one group's zone or none, and a zone takes empty slots in."""
        program = self.program
        starts: dict[str, list[int]] = {group: [] for group in self.groups}
        before: dict[str, int] = {}
        for slot in range(1, self.task.total + 1):
            zone = {group: program.column(whole=False) for group in self.groups}
            here = self.over.get(slot, [])
            loose = [(column, 1.0) for group, column in here if not group]
            program.row([*loose, *((column, 1.0) for column in zone.values())], None, 1)
            for group in self.groups:
                own = [(column, -1.0) for other, column in here if other == group]
                if own:
                    program.row([(zone[group], 1.0), *own], 0, None)
                starts[group].append(program.column(whole=False))
                terms = [(starts[group][-1], 1.0), (zone[group], -1.0)]
                if slot not in self.task.ends:
                    terms.append((before[group], 1.0))
                program.row(terms, 0, None)
            before = zone
        for columns in starts.values():  # every group has a run
            program.row(((column, 1) for column in columns), 1, None)
        return {column: 1 for columns in starts.values() for column in columns}

    def _split(self) -> dict[int, int]:
        """Columns that count the pairs which a converter's groups tear apart."""
        task, program = self.task, self.program
        where = {
            name: (alike, offset)
            for alike in self.classes
            for offset, name in task.pieces[alike.pieces[0]].channels
        }
        costs: dict[int, int] = {}
        for left, right in task.pairs:
            if left not in where or right not in where:
                continue
            (one, at), (two, to) = where[left], where[right]
            if one is two:
                for start, column in one.starts.items():
                    last = task.last_of_room(start)
                    if start + max(at, to) <= last and not task.beside(start + at, start + to):
                        costs[column] = costs.get(column, 0) + 1
                continue
            torn = program.column()
            costs[torn] = 1
            apart = {
                other: its for other, its in two.starts.items() if other + to <= task.last_of_room(other)
            }
            for start, column in one.starts.items():
                if start + at <= task.last_of_room(start):
                    wrong = [
                        (its, -1.0) for other, its in apart.items() if not task.beside(start + at, other + to)
                    ]
                    program.row([(torn, 1.0), (column, -1.0), *wrong], -1, None)
        return costs
