"""Pieces without groups: exact, by a dynamic program over slots and how many of each kind stand before them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import prod
from typing import NamedTuple

from chanbridge.plan.task import Task

MOST_STATES = 300_000
"""Where there could be more, another way is taken; 64 slots with forty singles and a dozen pairs are a tenth of it."""


def in_any_order(
    task: Task, sequence: Sequence[int], ideal: Mapping[int, int], standing: Mapping[int, int]
) -> dict[int, int] | None:
    """Index of a piece → its first slot, as near to the `ideal` places as can be.

    None where no way is found: pieces of a group, told or tied to slots of their own, too many kinds, or no room.
    Two of one width cost the same for each slot of distance, so that some best packing has them in the order of
    their ideal places (exchange them where it has not): only how the kinds mix is open. `standing` as in `row`.
    """
    told = {*task.fixed, *task.issued}
    if any(
        task.pieces[index].group or any(name in told for _, name in task.pieces[index].channels)
        for index in sequence
    ):
        return None
    kinds: dict[tuple[int, int, int], list[int]] = {}
    for index in sorted(sequence, key=lambda index: (ideal[index], index)):
        piece = task.pieces[index]
        kinds.setdefault((piece.width, piece.step, task.weight(piece)), []).append(index)
    rows = [*kinds.values()]
    if task.total * prod(len(row) + 1 for row in rows) > MOST_STATES:
        return None
    closed = {start: task.pieces[index].width for index, start in standing.items()}
    taken = {start + step for start, width in closed.items() for step in range(width)}
    starts = [
        {
            start
            for start in task.starts(task.pieces[row[0]])
            if taken.isdisjoint(range(start, start + task.pieces[row[0]].width))
        }
        for row in rows
    ]
    widths = [task.pieces[row[0]].width for row in rows]
    layers: list[dict[tuple[int, ...], _State]] = [{} for _ in range(task.total + 2)]
    layers[1][(0,) * len(rows)] = _State(0, 0, None)
    for slot in range(1, task.total + 1):
        after = slot + closed.get(slot, 1)
        for done, state in layers[slot].items():
            rest = sum(
                (len(row) - there) * width for row, there, width in zip(rows, done, widths, strict=True)
            )
            if rest > task.total + 1 - slot:
                continue  # there is no room for them behind
            _reach(layers[after], done, _State(state.cost, slot, None))
            for kind, row in enumerate(rows):
                if done[kind] < len(row) and slot in starts[kind]:
                    index = row[done[kind]]
                    piece = task.pieces[index]
                    more = (*done[:kind], done[kind] + 1, *done[kind + 1 :])
                    far = task.weight(piece) * abs(slot - ideal[index])
                    _reach(layers[slot + piece.width], more, _State(state.cost + far, slot, kind))
    done = tuple(map(len, rows))
    if done not in layers[-1]:
        return None
    at, slot = dict(standing), task.total + 1
    while slot > 1:
        state = layers[slot][done]
        slot = state.before
        if state.kind is not None:
            kind = state.kind
            done = (*done[:kind], done[kind] - 1, *done[kind + 1 :])
            at[rows[kind][done[kind]]] = slot
    return at


class _State(NamedTuple):
    """`before`: the slot from which it was reached; `kind`: of what was placed there, None for nothing."""

    cost: int
    before: int
    kind: int | None


def _reach(layer: dict[tuple[int, ...], _State], done: tuple[int, ...], state: _State) -> None:
    known = layer.get(done)
    if known is None or state.cost < known.cost:
        layer[done] = state
