"""Faults planted in random shows: found, each once, and nothing else."""

from __future__ import annotations

import itertools
import random

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.compare.faults import FAULTS, Show, compared, plant, show

seeds = st.integers(0, 2**32 - 1)


def made_with(seed: int, names: list[str]) -> Show | None:
    """A show with faults planted, from the first of some seeds that has a place for them."""
    for turn in itertools.count():
        made = show(random.Random(seed + turn))
        if plant(made, names):
            return made
        if turn > 60:
            return None
    return None


def check(made: Show) -> None:
    found = compared(made)
    got = [(change.kind, frozenset(change.channels)) for change in found.changes]
    assert sorted(got, key=repr) == sorted(made.expected, key=repr), [
        change.message for change in found.changes
    ]
    assert found.questions == ()


@pytest.mark.parametrize("name", FAULTS)
@settings(max_examples=settings().max_examples // 8)
@given(seed=seeds)
def test_one_fault_is_one_finding(name: str, seed: int) -> None:
    made = made_with(seed, [name])
    assert made is not None
    check(made)


@given(seed=seeds, names=st.lists(st.sampled_from(sorted(FAULTS)), min_size=3, max_size=3, unique=True))
def test_three_faults_at_a_time(seed: int, names: list[str]) -> None:
    made = made_with(seed, names)
    assume(made is not None)
    assert made is not None
    check(made)


@given(seed=seeds)
def test_two_orders_of_one_list_do_not_differ(seed: int) -> None:
    made = show(random.Random(seed))
    made.expected = set()
    check(made)
