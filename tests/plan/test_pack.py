"""Packing against exhaustive search, scipy and a shuffled order of asking."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge.plan.pack import casualties, pack, places_in_order
from chanbridge.plan.row import in_a_row
from chanbridge.plan.task import CARRYING, Piece, Task
from tests.plan.oracle import best, judged, placings

optimize: Any = pytest.importorskip("scipy.optimize")


@st.composite
def tasks(draw: st.DrawFn, most: int = 5, rigid: bool = False) -> Task:
    """A few singles and pairs (or a converter's blocks of four), groups, fixed and issued places, closed slots."""
    rooms = draw(st.sampled_from([(6,), (8,), (4, 4), (4, 2), (2, 4, 2)]))
    if rigid:
        rooms = draw(st.sampled_from([(8,), (6,), (4, 4), (4, 8), (6, 4)]))
    pieces, levels, names = [], {}, 0
    for rank in range(draw(st.integers(1, most))):
        width = draw(st.sampled_from((1, 1, 2)))
        count = 4 if rigid else width
        held = [offset for offset in range(count) if not rigid or draw(st.booleans())] or [0]
        channels = tuple((offset, f"c{names + offset}") for offset in held)
        names += count
        for _, name in channels:
            levels[name] = draw(st.sampled_from((0, 0, 0, 1, 2, 3)))
        group = "" if rigid else draw(st.sampled_from(("", "drums", "vocals")))
        pieces.append(Piece(channels, count, count, rank, group, rigid))
    lead = {piece.group: piece.rank for piece in reversed(pieces)}
    pieces.sort(key=lambda piece: lead[piece.group] if piece.group else piece.rank)
    total = sum(rooms)
    slots = st.dictionaries(st.sampled_from(sorted(levels)), st.integers(1, total), max_size=4)
    issued = {name: slot for slot, name in {slot: name for name, slot in draw(slots).items()}.items()}
    fixed = draw(st.dictionaries(st.sampled_from(sorted(levels)), st.integers(1, total), max_size=1))
    barred = draw(st.frozensets(st.integers(1, total), max_size=1))
    pairs = [("c0", "c1"), ("c3", "c4")] if rigid else []
    pairs = [pair for pair in pairs if {*pair} <= {*levels}]
    return Task(pieces, rooms, levels, fixed, issued, barred - {*fixed.values()}, pairs)


@given(task=tasks())
def test_the_best_is_what_an_exhaustive_search_finds(task: Task) -> None:
    made, found = pack(task), best(task)
    if found is None:
        assert made is None
        return
    assert made is not None
    assert made.proved
    least, by_carried = found
    assert made.score[:CARRYING] == least[:CARRYING]
    carried = frozenset(
        index for index, piece in enumerate(task.pieces) if {name for _, name in piece.channels} & {*made.at}
    )
    assert made.score == by_carried[carried]
    gone = casualties(task)
    assert gone is not None
    assert len(gone[0]) == len(task.levels) - len(made.at)


@given(task=tasks(rigid=True, most=3))
def test_a_converter_that_moves_blocks_against_an_exhaustive_search(task: Task) -> None:
    made = pack(task)
    ideal = {index: 1 + index * piece.width for index, piece in enumerate(task.pieces)}
    scores = [judged(task, at, ideal) for at in placings(task)]
    if not scores:
        assert made is None
        return
    assert made is not None
    assert made.score == min(scores)
    assert made.proved


@given(task=tasks())
def test_a_row_that_keeps_the_order_against_an_exhaustive_search(task: Task) -> None:
    free = Task(task.pieces, task.rooms, task.levels, issued=task.issued, barred=task.barred)
    order = sorted(range(len(free.pieces)), key=lambda index: free.pieces[index].rank)
    made = pack(free, keep_order=True)
    ideal = places_in_order(free, tuple(order))
    rows = []
    for at in placings(free):
        starts = [at[index] for index in order if index in at]
        if starts == sorted(starts):
            rows.append(judged(free, at, ideal))
    assert made is not None
    assert made.score == min(rows)


@given(task=tasks())
def test_a_row_stands_in_order_or_there_is_none(task: Task) -> None:
    free = Task(task.pieces, task.rooms, task.levels, barred=task.barred)
    row = in_a_row(free, range(len(free.pieces)))
    rows = [
        list(at.values())
        for at in placings(free, may_leave_out=False)
        if list(at.values()) == sorted(at.values())
    ]
    assert (row is None) == (not rows)
    if row is not None:
        assert list(row) == sorted(row, key=row.__getitem__) or sorted(row.values()) in map(sorted, rows)


@given(
    ranks=st.permutations(range(8)),
    issued=st.lists(st.integers(1, 12), min_size=3, max_size=3, unique=True),
    taken=st.frozensets(st.integers(1, 12), max_size=3),
)
def test_the_places_of_singles_against_an_assignment_by_scipy(
    ranks: list[int], issued: list[int], taken: frozenset[int]
) -> None:
    """With three channels fixed far out the rest is an assignment problem: scipy's solver is the oracle."""
    pieces = [Piece(((0, f"c{rank}"),), 1, 1, rank) for rank in range(8)]
    fixed = {f"c{rank}": slot for rank, slot in zip(ranks, issued, strict=False)}
    barred = taken - {*issued}
    if 12 - len(barred) < 8:
        return
    task = Task(pieces, (12,), {f"c{rank}": 0 for rank in range(8)}, fixed, barred=barred)
    made = pack(task)
    assert made is not None
    assert made.proved
    ideal = places_in_order(task, tuple(range(8)))
    loose = [rank for rank in range(8) if f"c{rank}" not in fixed]
    free = [slot for slot in range(1, 13) if slot not in barred | {*issued}]
    cost = np.array(
        [[task.weight(pieces[rank]) * abs(slot - ideal[rank]) for slot in free] for rank in loose]
    )
    rows, columns = optimize.linear_sum_assignment(cost)
    held = sum(
        task.weight(pieces[rank]) * abs(fixed[f"c{rank}"] - ideal[rank]) for rank in set(range(8)) - {*loose}
    )
    assert made.score.order == cost[rows, columns].sum() + held


def eighty(rooms: tuple[int, ...], groups: bool) -> Task:
    """80 inputs: 20 pairs and 40 singles in eight groups, a quarter not for air, six of them fixed."""
    widths = [2 if at % 3 == 0 else 1 for at in range(60)]
    pieces: list[Piece] = []
    levels: dict[str, int] = {}
    for rank, width in enumerate(widths):
        names = [f"c{rank}-{side}" for side in range(width)]
        levels |= dict.fromkeys(names, 3 if rank % 4 == 3 else 0)
        group = f"group {rank * 8 // 60}" if groups else ""
        pieces.append(Piece(tuple(enumerate(names)), width, width, rank, group))
    fixed = {"c1-0": 5, "c10-0": 20, "c13-0": 2, "c25-0": 31, "c40-0": 44, "c50-0": 60}
    return Task(pieces, rooms, levels, fixed)


SIZES = [(64,), (64, 64), (56, 56, 56), (32, 28, 28)]


@pytest.mark.parametrize("rooms", SIZES)
def test_eighty_inputs_are_proved_best(rooms: tuple[int, ...]) -> None:
    task = eighty(rooms, groups=False)
    made = pack(task, 60)
    assert made is not None
    assert made.proved
    assert len(made.at) == min(80, sum(rooms))
    assert all(made.at[name] == slot for name, slot in task.fixed.items())


@pytest.mark.parametrize("rooms", SIZES[:1])
def test_with_groups_the_gap_is_stated_where_there_is_one(rooms: tuple[int, ...]) -> None:
    task = eighty(rooms, groups=True)
    made = pack(task, 2)
    assert made is not None
    assert made.floor <= made.score
    assert made.score[:CARRYING] == made.floor[:CARRYING]
    at = {
        index: made.at[piece.channels[0][1]]
        for index, piece in enumerate(task.pieces)
        if piece.channels[0][1] in made.at
    }
    assert task.breaks(at) == made.score.breaks
