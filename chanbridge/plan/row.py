"""Pieces in a row, in a given order: exact, by a dynamic program over pieces and slots."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from chanbridge.plan.task import Score, Task

_BASE = 10**15
"""Above any sum that one field of a score can reach, so that a whole score is one number."""


class _State(NamedTuple):
    cost: int
    before: tuple[int, int, str] | None  # slot, pieces done, open group
    placed: bool


def in_a_row(
    task: Task,
    sequence: Sequence[int],
    ideal: Mapping[int, int] | None = None,
    standing: Mapping[int, int] = {},
    *,
    may_drop: bool = False,
) -> dict[int, int] | None:
    """Index of a piece → its first slot, best among all rows that keep an order; None if none fits.

    `sequence`: indices of `task.pieces` in the order to keep. `standing`: pieces that stand where they are,
    anywhere among the others. Best after `Score`; without `ideal` places, first after what is left out and the
    breaks of groups and then after how far to the front all stand. `may_drop`: pieces may be left out.
    """
    obstacles = {start: task.pieces[index] for index, start in standing.items()}
    closed = {start + step for start, piece in obstacles.items() for step in range(piece.width)}
    starts = {
        index: {
            start
            for start in task.starts(task.pieces[index])
            if closed.isdisjoint(range(start, start + task.pieces[index].width))
        }
        for index in sequence
    }
    first_slots = set(task.ends)
    layers: list[dict[int, dict[str, _State]]] = [{} for _ in range(task.total + 2)]
    layers[1][0] = {"": _State(0, None, False)}
    run = _number(Score(breaks=1))
    cost = _costs(task, sequence, ideal)

    def reach(slot: int, done: int, group: str, state: _State) -> None:
        if slot in first_slots:  # a new feed: no group goes on over its edge
            group = ""
        here = layers[slot].setdefault(done, {})
        known = here.get(group)
        if known is None or state.cost < known.cost:
            here[group] = state

    for slot in range(1, task.total + 1):
        obstacle = obstacles.get(slot)
        for done in range(len(sequence) + 1):  # leaving out leads on within the slot, so in this order
            for open_group, state in layers[slot].get(done, {}).items():
                came = (slot, done, open_group)
                if obstacle:
                    more = run if obstacle.group and obstacle.group != open_group else 0
                    after = _State(state.cost + more, came, False)
                    reach(slot + obstacle.width, done, obstacle.group, after)
                    continue
                reach(slot + 1, done, open_group, _State(state.cost, came, False))
                if done == len(sequence):
                    continue
                index = sequence[done]
                piece = task.pieces[index]
                if may_drop:
                    reach(slot, done + 1, open_group, _State(state.cost + cost(index, None), came, False))
                if slot in starts[index]:
                    more = run if piece.group and piece.group != open_group else 0
                    after = _State(state.cost + cost(index, slot) + more, came, True)
                    reach(slot + piece.width, done + 1, piece.group, after)
    return _way_back(layers, task.total + 1, sequence, standing, may_drop, cost)


def _number(score: Score) -> int:
    total = 0
    for field in score:
        total = total * _BASE + field
    return total


def _costs(
    task: Task, sequence: Sequence[int], ideal: Mapping[int, int] | None
) -> Callable[[int, int | None], int]:
    away = {index: _number(task.left_out(task.pieces[index], None)) for index in sequence}
    move, step = _number(Score(moved=1)), _number(Score(order=1))

    def cost(index: int, start: int | None) -> int:
        if start is None:
            return away[index]
        piece = task.pieces[index]
        far = task.weight(piece) * abs(start - ideal[index]) if ideal is not None else start
        return move * task.moved(piece, start) + step * far

    return cost


def _way_back(
    layers: list[dict[int, dict[str, _State]]],
    end: int,
    sequence: Sequence[int],
    standing: Mapping[int, int],
    may_drop: bool,
    cost: Callable[[int, int | None], int],
) -> dict[int, int] | None:
    finals = []
    for done, states in layers[end].items():
        rest = sequence[done:]
        if not rest or may_drop:
            left_out = sum(cost(index, None) for index in rest)
            finals += [(state.cost + left_out, done, group) for group, state in states.items()]
    if not finals:
        return None
    at, slot = dict(standing), end
    _, done, group = min(finals)
    while (state := layers[slot][done][group]).before is not None:
        placed = state.placed
        slot, done, group = state.before
        if placed:
            at[sequence[done]] = slot
    return at
