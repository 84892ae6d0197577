"""Where to walk: what several destinations say together points to one place."""

from __future__ import annotations

import pytest

from chanbridge.model import Slot
from chanbridge.web.walk import where_to_walk

WAYS = {
    "desk": (Slot("A", 3), Slot("stage", 3), Slot("desk", 3)),
    "ears": (Slot("A", 3), Slot("stage", 3), Slot("ears", 3)),
    "truck": (Slot("A", 3), Slot("stage", 3), Slot("feed", 7), Slot("truck", 7)),
}
NAMES = {"desk": "House desk", "ears": "Ears desk", "truck": "Truck"}


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({}, []),
        ({"desk": "arrived", "ears": "arrived"}, []),
        ({"desk": "dead", "ears": "dead", "truck": "dead"}, ["Go to A3", "phantom", "mute"]),
        ({"desk": "dead"}, ["Only House desk has listened", "go to A3"]),
        (
            {"desk": "arrived", "truck": "dead"},
            ["Go to Truck", "House desk has it", "between stage 3 and feed 7"],
        ),
        ({"desk": "arrived", "ears": "dead"}, ["Go to Ears desk", "between stage 3 and ears 3"]),
        ({"desk": "noisy", "ears": "noisy"}, ["Go to A3", "cable"]),
        ({"desk": "wrong", "ears": "wrong"}, ["Go to A3", "another slot"]),
        ({"desk": "swapped", "ears": "swapped"}, ["Go to A3", "Ana (A4)", "crossed"]),
        ({"desk": "arrived", "ears": "swapped"}, ["Go to Ears desk", "Ana (A4)", "patch of that desk"]),
        ({"desk": "conflict", "ears": "arrived"}, ["House desk", "two things", "before anybody walks"]),
    ],
)
def test_one_sentence_says_where(said: dict[str, str], words: list[str]) -> None:
    text = where_to_walk(WAYS, said, NAMES, "Ana (A4)")
    assert bool(text) is bool(words)
    for word in words:
        assert word in text, text
