"""Words and short labels."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge.names import fold, short_labels, shorten


@pytest.mark.parametrize(
    ("name", "width", "label"),
    [
        ("Kick in", 8, "Kick in"),
        ("Overhead L", 8, "OH L"),
        ("Backing vocal 2", 8, "BVVox 2"),
        ("Choir soprano R", 8, "ChrSop R"),
        ("Accordion L", 8, "Accrdn L"),
        ("one two three four five six seven eight nine L", 8, "OTTFFSSL"),
        ("Presenter handheld 12", 4, "PH12"),
        ("Ø" * 30, 8, "Ø" * 8),
        ("****************", 8, ""),
        ("1234567890", 4, "1234"),
    ],
)
def test_shorten_keeps_side_and_number(name: str, width: int, label: str) -> None:
    assert shorten(name, width) == label


@given(st.lists(st.text(max_size=40), max_size=30), st.integers(4, 16))
def test_labels_fit_and_differ(names: list[str], width: int) -> None:
    labels = short_labels(names, width)
    given_one = [label for name, label in zip(names, labels, strict=True) if name]
    assert all(len(label) <= width for label in labels)
    assert all(given_one)
    assert len({label.casefold() for label in given_one}) == len(given_one)


def test_fold_takes_accents_and_keeps_voicing_marks() -> None:
    assert fold("  Größe  ") == fold("GRÖSSE") == "grosse"
    assert fold("カ") != fold("ガ")
