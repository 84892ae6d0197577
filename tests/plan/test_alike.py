"""Pieces without groups by the dynamic program against the integer program for the same task."""

from __future__ import annotations

import random

import pytest

import chanbridge.plan.alike
from chanbridge.plan import pack as module
from chanbridge.plan.pack import pack
from chanbridge.plan.task import Piece, Task


def task(seed: int) -> Task:
    """Singles and pairs, some not for air, onto one or two feeds with slots that stay empty; some were issued."""
    choose = random.Random(seed)
    pieces: list[Piece] = []
    count = 0
    for rank in range(choose.randint(3, 24)):
        width = choose.choice((1, 1, 2))
        pieces.append(Piece(tuple((at, f"c{count + at}") for at in range(width)), width, width, rank))
        count += width
    rooms = [choose.randint(6, 22) for _ in range(choose.choice((1, 1, 2)))]
    barred = frozenset(choose.sample(range(1, sum(rooms) + 1), choose.choice((0, 0, 2, 3))))
    levels = {f"c{at}": choose.choice((0, 0, 0, 3, 2)) for at in range(count)}
    issued = {
        f"c{at}": choose.randint(1, sum(rooms))
        for at in choose.sample(range(count), choose.choice((0, 0, 2)))
    }
    return Task(pieces, rooms, levels, {}, issued, barred)


def test_no_other_way_finds_better(monkeypatch: pytest.MonkeyPatch) -> None:
    """The integer program is HiGHS's, which knows nothing of the exchange on which the dynamic program rests."""
    used = 0
    real = chanbridge.plan.alike.in_any_order
    for seed in range(60):
        found: list[bool] = []

        def watched(*arguments: object, found: list[bool] = found) -> dict[int, int] | None:
            at = real(*arguments)  # type: ignore[arg-type]
            found.append(at is not None)
            return at

        monkeypatch.setattr(module, "in_any_order", watched)
        mine = pack(task(seed), 20)
        monkeypatch.setattr(module, "in_any_order", lambda *_: None)
        other = pack(task(seed), 20)
        used += any(found)
        assert (mine is None) == (other is None), seed
        if mine and other:
            assert mine.score == other.score, seed
    assert used > 15


def test_who_fills_free_slots_together_keeps_the_order() -> None:
    """Two slots are free at the front and the three last channels have none: they come there as the sheet has them."""
    pieces = [Piece(((0, f"c{at}"),), 1, 1, at) for at in range(6)]
    issued = {f"c{at}": at + 4 for at in range(3)}
    found = pack(Task(pieces, [6], {f"c{at}": 0 for at in range(6)}, {}, issued))
    assert found
    assert found.proved
    assert [found.at[f"c{at}"] for at in range(6)] == [4, 5, 6, 1, 2, 3]
