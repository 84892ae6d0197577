"""Letters that no font has are spelled out; typst itself is the judge."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge.handover.letters import _KNOWN, Letters
from chanbridge.handover.press import UnprintableError, press


def test_every_letter_taken_for_known_can_be_printed() -> None:
    press("letters.typ", {"text": " ".join(sorted(_KNOWN))})


@pytest.mark.parametrize(
    "name", ["Zoë Ångström", "שלום דנה", "مرحبا", "Ελένη", "Жанна", "naïve ✓ → Ω", "Guzmán 2"]
)
def test_names_that_are_printed_as_they_are(name: str) -> None:
    letters = Letters()
    letters.learn([name])
    assert letters.spelled(name) == name
    press("letters.typ", {"text": letters.spelled(name)})


@pytest.mark.parametrize(
    ("name", "spelled"),
    [
        ("漢字", "[U+6F22 U+5B57]"),
        ("Choir 合唱 L", "Choir [U+5408 U+5531] L"),
        ("ไมค์", "[U+0E44 U+0E21 U+0E04 U+0E4C]"),
        ("Ana\u202egnirts", "Ana[U+202E]gnirts"),  # would turn the rest of the line round
        ("bell\x07", "bell[U+0007]"),
        ("two\nlines\there", "two lines here"),
        ("lone \ud800", "lone [U+D800]"),
    ],
)
def test_names_that_are_spelled_out(name: str, spelled: str) -> None:
    letters = Letters()
    letters.learn([name])
    assert letters.spelled(name) == spelled


def test_a_letter_that_is_missing_is_refused_by_the_press() -> None:
    with pytest.raises(UnprintableError):
        press("letters.typ", {"text": "漢"})


@given(st.text(min_size=1, max_size=12))
def test_what_is_spelled_can_always_be_printed(name: str) -> None:
    letters = Letters()

    def made() -> bytes:
        return press("letters.typ", {"text": letters.spelled(name)})

    assert letters.printed([name], made).startswith(b"%PDF")
