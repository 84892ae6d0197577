"""Late changes as people say them."""

from __future__ import annotations

import pytest

from chanbridge.evening.words import FORMS, AmendError, Asked, help_text, understand


@pytest.mark.parametrize(
    ("said", "asked"),
    [
        ("Ana to B12", Asked("move", "Ana", "B12")),
        ("move Ana to B12", Asked("move", "Ana", "B12")),
        ("  Ana  ->  B 12 ", Asked("move", "Ana", "B 12")),
        ("Choir alto L to BX2-01", Asked("move", "Choir alto L", "BX2-01")),
        ('"Intro to Act 2" to A3', Asked("move", "Intro to Act 2", "A3")),
        ("rename Oboe to Flute", Asked("rename", "Oboe", "Flute")),
        ("RENAME Oboe as English horn", Asked("rename", "Oboe", "English horn")),
        ("add Harp at A12", Asked("add", "Harp", "A12")),
        ("add Harp at A12 with small condenser", Asked("add", "Harp", "A12", "small condenser")),
        ("remove Oboe", Asked("remove", "Oboe")),
        ("drop “Ana FX”", Asked("remove", "Ana FX")),
        ("swap Ana and Jonas", Asked("swap", "Ana", "Jonas")),
        ("phantom off for Ana", Asked("phantom", "Ana", "off")),
        ("48V ON at A21", Asked("phantom", "A21", "ON")),
        ("note Ana: second cable: at the riser", Asked("note", "Ana", "second cable: at the riser")),
    ],
)
def test_what_is_understood(said: str, asked: Asked) -> None:
    assert understand(said) == asked


@pytest.mark.parametrize(
    ("said", "advice"),
    [
        ("rename Jonas Ana", "rename NAME to NEW"),
        ("renam Oboe", "rename NAME to NEW"),
        ("swap Ana", "swap NAME and NAME"),
        ("phantom Ana", "phantom on|off for NAME"),
        ("note Ana spare cable", "note NAME: TEXT"),
        ("add Harp", "add NAME at SOCKET"),
        ("Ana in B12", "NAME to SOCKET"),
        ("", "one of"),
        ("hello", "one of"),
    ],
)
def test_what_is_not_is_answered_with_the_nearest_form(said: str, advice: str) -> None:
    with pytest.raises(AmendError) as error:
        understand(said)
    assert advice in str(error.value)


def test_every_example_in_the_help_is_understood() -> None:
    for form in FORMS:
        assert understand(form.example).what == form.what
        assert form.example in help_text()
