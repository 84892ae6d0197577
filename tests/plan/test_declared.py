"""Places and ranges as people write them."""

from __future__ import annotations

import pytest

from chanbridge.plan.declared import Place, place_of, slots_of


def test_ranges() -> None:
    assert slots_of("1-4, 9") == (1, 2, 3, 4, 9)
    assert slots_of(" 33 ") == (33,)
    assert slots_of("5–6") == (5, 6)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "cannot read"),
        ("4-1", "backwards"),
        ("0-3", "below 1"),
        ("1-3,2", "twice"),
        ("a", "1-16, 33"),
        ("1-99999", "cannot"),
    ],
)
def test_ranges_that_are_none(text: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        slots_of(text)


def test_places() -> None:
    names = ["A", "Stage 2", "monitors"]
    assert place_of("A 3", names) == place_of("a3", names) == place_of("A-3", names) == Place("A", 3)
    assert place_of("Stage 2", names) == Place("Stage 2", None)
    assert place_of("stage 2 7", names) == Place("Stage 2", 7)
    assert place_of("monitors", names) == Place("monitors", None)
    with pytest.raises(ValueError, match="did you mean 'monitors'"):
        place_of("monitor 1", names)
    with pytest.raises(ValueError, match="there is no"):
        place_of("C 1", names)
    with pytest.raises(ValueError, match="there is no 'A 0'"):
        place_of("A 0", names)
