"""One cause behind many moves."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge.compare.patterns import arrange


def said(move: Callable[[int], int], rows: int = 64) -> dict[str, object]:
    """What was found when row n of a list stands at move(n), in the list's own numbers."""
    found = arrange([(place, move(place)) for place in range(1, rows + 1)])
    return {
        "shifts": [(shift.offset, shift.rows[0] + 1, shift.rows[-1] + 1) for shift in found.shifts],
        "swaps": [[(one + 1, two + 1) for one, two in group] for group in found.swaps],
        "jumps": [(row + 1, [other + 1 for other in closed]) for row, closed in found.jumps],
        "single": [row + 1 for row in found.single],
    }


def expect(**parts: object) -> dict[str, object]:
    return {"shifts": [], "swaps": [], "jumps": [], "single": []} | parts


@pytest.mark.parametrize(
    ("move", "expected"),
    [
        (lambda n: n, expect()),
        (lambda n: n + 2 * (n >= 41), expect(shifts=[(2, 41, 64)])),
        (lambda n: n + 2 * (n >= 62), expect(shifts=[(2, 62, 64)])),
        (lambda n: n + 2 * (n >= 63), expect(single=[63, 64])),  # two that agree are no shift
        (lambda n: n + 100 * (n in (30, 31)), expect(single=[30, 31])),
        (lambda n: {5: 6, 6: 5}.get(n, n), expect(swaps=[[(5, 6)]])),
        (lambda n: {5: 60, 60: 5}.get(n, n), expect(swaps=[[(5, 60)]])),
        (lambda n: {50: 53, 51: 52}.get(n, n + 2 * (n >= 41)), expect(shifts=[(2, 41, 64)], swaps=[[(50, 51)]])),
        (lambda n: {57: 90}.get(n, n + 2 * (n >= 41)), expect(shifts=[(2, 41, 64)], single=[57])),
        (lambda n: {10: 13, 11: 10, 12: 11, 13: 12}.get(n, n), expect(jumps=[(10, [11, 12, 13])])),
        (lambda n: {13: 10, 10: 11, 11: 12, 12: 13}.get(n, n), expect(jumps=[(13, [12, 11, 10])])),
        (lambda n: n + 8 if n <= 8 else n - 8 if n <= 16 else n,
         expect(swaps=[[(n, n + 8) for n in range(1, 9)]])),
        (lambda n: n + (n > 20) + 2 * (n > 40), expect(shifts=[(1, 21, 40), (3, 41, 64)])),
    ],
)  # fmt: skip
def test_patterns(move: Callable[[int], int], expected: dict[str, object]) -> None:
    assert said(move) == expected


@given(st.permutations(range(12)))
def test_every_move_is_explained_once(order: list[int]) -> None:
    found = arrange(list(enumerate(order)))
    told = [row for shift in found.shifts for row in shift.rows]
    told += [row for group in found.swaps for pair in group for row in pair]
    told += [row for row, closed in found.jumps for row in (row, *closed)]
    told += found.single
    assert len(told) == len(set(told))
    assert {row for row, place in enumerate(order) if row != place} <= set(told)
