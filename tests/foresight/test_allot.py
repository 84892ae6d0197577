"""Covers and allotments against trying everything."""

from __future__ import annotations

from itertools import product

from hypothesis import given
from hypothesis import strategies as st

from chanbridge.foresight.allot import Option, allot, covers

SIZES = st.lists(st.tuples(st.integers(0, 12), st.integers(0, 6)), min_size=1, max_size=3)


def reaches(option: Option, sizes: list[tuple[int, int]], wanted: tuple[int, int]) -> bool:
    return all(
        sum(n * size[at] for n, size in zip(option, sizes, strict=True)) >= wanted[at] for at in (0, 1)
    )


@given(sizes=SIZES, wanted=st.tuples(st.integers(0, 20), st.integers(0, 10)))
def test_covers_are_all_choices_without_a_piece_too_many(
    sizes: list[tuple[int, int]], wanted: tuple[int, int]
) -> None:
    most = max(wanted) + 1  # no size but 0 is below 1, so more of one kind is never needed
    every = {
        option for option in product(range(most + 1), repeat=len(sizes)) if reaches(option, sizes, wanted)
    }
    least = {
        option
        for option in every
        if not any(
            option[at] and (*option[:at], option[at] - 1, *option[at + 1 :]) in every
            for at in range(len(option))
        )
    }
    found = covers(sizes, wanted)
    assert len(found) == len({*found})
    assert {*found} == least


def cost(chosen: tuple[Option, ...], have: list[int], sizes: list[int]) -> tuple[int, int, int]:
    used = [sum(option[kind] for option in chosen) for kind in range(len(have))]
    hired = sum(max(0, count - there) for count, there in zip(used, have, strict=True))
    return hired, sum(used), sum(count * size for count, size in zip(used, sizes, strict=True))


@given(
    wanted=st.lists(st.tuples(st.integers(0, 16), st.integers(0, 8)), min_size=1, max_size=3),
    have=st.lists(st.integers(0, 3), min_size=3, max_size=3),
)
def test_an_allotment_is_the_best_of_all(wanted: list[tuple[int, int]], have: list[int]) -> None:
    """Fewest hired, then fewest pieces, then smallest: the same as the best of every combination."""
    kinds = [(8, 4), (5, 2), (4, 4)]
    sizes = [sum(kind) for kind in kinds]
    demands = [covers(kinds, both) for both in wanted]
    best = min(cost(chosen, have, sizes) for chosen in product(*demands))
    found = tuple(allot(demands, have, sizes))
    assert all(option in options for option, options in zip(found, demands, strict=True))
    assert cost(found, have, sizes) == best


def test_nothing_is_wanted() -> None:
    assert allot([], [1], [1]) == []
    assert covers([(8,)], (0,)) == [(0,)]
    assert covers([], (1,)) == []
    assert covers([(3,)], (10,), most=3) == []
    assert covers([(3,)], (10,), most=4) == [(4,)]
