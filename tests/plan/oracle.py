"""The slow and obvious way to pack: every placing of every piece, judged by hand-written rules."""

from __future__ import annotations

from collections.abc import Iterator

from chanbridge.plan.pack import places_in_order
from chanbridge.plan.task import CARRYING, Score, Task


def placings(task: Task, may_leave_out: bool = True) -> Iterator[dict[int, int]]:
    """Every way to put pieces onto slots without overlap; index → first slot, pieces left out are missing."""

    def go(index: int, taken: frozenset[int]) -> Iterator[dict[int, int]]:
        if index == len(task.pieces):
            yield {}
            return
        piece = task.pieces[index]
        fixed = {name: task.fixed[name] for _, name in piece.channels if name in task.fixed}
        first = 1
        for size in task.rooms:
            for start in range(first, first + size, piece.step):
                covered = {*range(start, min(start + piece.width, first + size))}
                inside = len(covered) == piece.width or piece.rigid
                at = {
                    name: start + offset for offset, name in piece.channels if start + offset < first + size
                }
                right = all(at.get(name) == slot for name, slot in fixed.items())
                if inside and right and not covered & taken and not covered & task.barred:
                    for rest in go(index + 1, taken | covered):
                        yield {index: start, **rest}
            first += size
        if may_leave_out and not fixed and piece.channels:
            yield from go(index + 1, taken)

    return go(0, frozenset())


def judged(task: Task, at: dict[int, int], ideal: dict[int, int]) -> Score:
    """The score of a placing, counted channel by channel and slot by slot."""
    where: dict[str, int] = {}
    edges: dict[int, tuple[int, int]] = {}  # slot → the first and last of its feed
    first = 1
    for size in task.rooms:
        edges |= dict.fromkeys(range(first, first + size), (first, first + size - 1))
        first += size
    for index, start in at.items():
        for offset, name in task.pieces[index].channels:
            if start + offset <= edges[start][1]:
                where[name] = start + offset
    rank = {name: piece.rank for piece in task.pieces for _, name in piece.channels}
    last = max(rank.values(), default=0) + 1
    lacking = [name for name in rank if name not in where]
    levels = [task.levels[name] for name in lacking]
    moved = sum(where.get(name) != slot for name, slot in task.issued.items())
    split = 0
    for left, right in task.pairs:
        if left in where and right in where:
            head = edges[where[left]][0]
            couple = where[right] == where[left] + 1 and (where[left] - head) % 2 == 0
            split += not (couple and edges[where[right]] == edges[where[left]])
    held = {start + step: index for index, start in at.items() for step in range(task.pieces[index].width)}
    runs, before = 0, ("", 0)
    for slot in sorted(held):
        group = task.pieces[held[slot]].group
        if slot in edges and group and before != (group, edges[slot][0]):
            runs += 1
        before = (group, edges[slot][0]) if slot in edges else before
    groups = {task.pieces[index].group for index in at} - {""}
    order = sum(task.weight(task.pieces[index]) * abs(start - ideal[index]) for index, start in at.items())
    return Score(
        lost=levels.count(0), moved=moved, split=split, want=levels.count(1), spare=levels.count(2),
        quiet=levels.count(3), early=sum(last - rank[name] for name in lacking),
        early2=sum((last - rank[name]) ** 2 for name in lacking), breaks=runs - len(groups), order=order,
    )  # fmt: skip


def best(task: Task) -> tuple[Score, dict[frozenset[int], Score]] | None:
    """The best first CARRYING fields of all placings, and carried pieces → the best whole score with them."""
    found: dict[frozenset[int], Score] = {}
    ideals: dict[frozenset[int], dict[int, int]] = {}
    for at in placings(task):
        carried = frozenset(at)
        if carried not in ideals:
            ideals[carried] = places_in_order(task, tuple(sorted(carried)))
        score = judged(task, at, ideals[carried])
        found[carried] = min(score, found.get(carried, score))
    if not found:
        return None
    least = min(score[:CARRYING] for score in found.values())
    return Score(*least), {carried: score for carried, score in found.items() if score[:CARRYING] == least}
