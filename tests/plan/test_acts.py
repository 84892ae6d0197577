"""One place for every channel over all acts, against every way to choose places."""

from __future__ import annotations

from itertools import product

from hypothesis import given
from hypothesis import strategies as st

from chanbridge.plan.acts import one_place_each
from chanbridge.plan.task import Piece, Task


@st.composite
def shows(draw: st.DrawFn) -> list[Task]:
    """Two or three acts that share some of six pieces, onto six or eight slots."""
    room = draw(st.sampled_from((4, 6, 8)))
    widths = draw(st.lists(st.sampled_from((1, 2)), min_size=2, max_size=6))
    every = [
        Piece(tuple((step, f"c{rank}-{step}") for step in range(width)), width, width, rank)
        for rank, width in enumerate(widths)
    ]
    acts = []
    for _ in range(draw(st.integers(2, 3))):
        some = [piece for piece in every if draw(st.booleans())]
        levels = {name: 0 for piece in some for _, name in piece.channels}
        acts.append(Task(some, (room,), levels))
    return acts


@given(acts=shows())
def test_there_are_places_exactly_where_a_search_finds_some(acts: list[Task]) -> None:
    pieces = {piece.rank: piece for task in acts for piece in task.pieces}
    room = acts[0].rooms[0]

    def meets(starts: dict[int, int]) -> bool:
        for task in acts:
            slots = [starts[piece.rank] + step for piece in task.pieces for step in range(piece.width)]
            if len({*slots}) < len(slots):
                return True
        return False

    choices = [range(1, room - piece.width + 2, piece.width) for piece in pieces.values()]
    possible = any(not meets(dict(zip(pieces, starts, strict=True))) for starts in product(*choices))
    joint = one_place_each(acts)
    assert (joint.at is not None) == possible
    assert joint.proved
    if joint.at is not None:
        assert not meets({rank: joint.at[piece.channels[0][1]] for rank, piece in pieces.items()})
