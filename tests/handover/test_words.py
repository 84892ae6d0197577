"""The printed words: every language has every word, with the same fields to fill in."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

import chanbridge.handover.words as module
from chanbridge.handover.words import LANGUAGES, Words
from chanbridge.model import AUDIENCES

TABLE = tomllib.loads(Path(module.__file__).with_name("words.toml").read_text("utf-8"))


@pytest.mark.parametrize("key", TABLE)
def test_a_word_is_there_in_every_language(key: str) -> None:
    assert set(TABLE[key]) == set(LANGUAGES)
    fields = {language: sorted(re.findall(r"{(\w+)}", text)) for language, text in TABLE[key].items()}
    assert len({*map(tuple, fields.values())}) == 1, fields
    assert all(text.strip() == text and text for text in TABLE[key].values() if key != "wanted")


def test_no_word_is_there_in_vain() -> None:
    code = "".join(
        path.read_text("utf-8")
        for path in Path(module.__file__).parent.iterdir()
        if path.suffix in (".py", ".html") and path.name != "words.py"
    )
    built = {*AUDIENCES, "on", "off", "optional", "before_fader", "after_fader", "error", "warning", "note"}
    for key in TABLE.keys() - built:
        spoken = f'"{key}"' in code or f"'{key}'" in code
        assert spoken or key.startswith("medium_"), key


def test_fields_are_filled_in() -> None:
    assert Words("de")("used_of", used=3, size=8) == "3 von 8"
    assert Words("nl")("no_to", who="zaal") == "NIET voor zaal"


def test_cautions_speak_of_what_hurts() -> None:
    for language in LANGUAGES:
        words = Words(language)
        assert words("care_phantom") != words("care_sound")
        assert any(
            sign in words("care_mains").lower()
            for sign in ("earth", "schutz", "terre", "tierra", "terra", "aarde")
        )
