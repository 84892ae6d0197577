"""The best assignment, against another implementation of it."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from chanbridge.compare.assign import best_assignment

scores = st.lists(st.dictionaries(st.integers(0, 9), st.integers(1, 30), max_size=8), max_size=12)


@given(scores)
def test_as_good_as_scipy(rows: list[dict[int, int]]) -> None:
    found = best_assignment(rows)
    assert len({*found.values()}) == len(found)
    assert all(column in rows[row] for row, column in found.items())
    dense = np.zeros((len(rows), 10))
    for row, columns in enumerate(rows):
        for column, score in columns.items():
            dense[row, column] = score
    best = dense[linear_sum_assignment(dense, maximize=True)].sum()
    assert sum(rows[row][column] for row, column in found.items()) == best


def test_a_row_gives_way_where_the_whole_is_better() -> None:
    assert best_assignment([{0: 10, 1: 9}, {0: 10}]) == {0: 1, 1: 0}
    assert best_assignment([{0: 3}, {0: 5}]) == {1: 0}
    assert best_assignment([]) == {}
