"""The printed words: every language has every word, with the same fields to fill in."""

from __future__ import annotations

import ast
import copy
import pickle
import re
import tomllib
from pathlib import Path

import pytest

import chanbridge
import chanbridge.handover.words as module
from chanbridge.check.rule import CARE
from chanbridge.handover.words import LANGUAGES, Words
from chanbridge.model import AUDIENCES
from chanbridge.said import Listed, Said

TABLE = tomllib.loads(Path(module.__file__).with_name("words.toml").read_text("utf-8"))
SENTENCES = TABLE.pop("sentences")


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
    built |= {f"care_{subject}" for subject in CARE if subject}
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


FIELD = re.compile(r"{[^{}]*}")


def patterns() -> set[str]:
    """The pattern of every sentence in the package: what is written as the first argument of Said(…)."""
    found = set()
    for path in Path(chanbridge.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Said":
                first = node.args[0]
                assert path.name == "said.py" or not isinstance(first, ast.Name | ast.JoinedStr), (
                    f"{path}:{node.lineno}"
                )
                found |= {one.value for one in _written(first) if isinstance(one.value, str)}
    return found


def _written(first: ast.expr) -> list[ast.Constant]:
    """The texts that an expression may be: not what decides between them."""
    if isinstance(first, ast.IfExp):
        return [*_written(first.body), *_written(first.orelse)]
    return [first] if isinstance(first, ast.Constant) else []


def test_every_sentence_of_a_plan_is_there_in_every_language() -> None:
    assert set(SENTENCES) == patterns()
    for pattern, texts in SENTENCES.items():
        assert set(texts) == set(LANGUAGES) - {"en"}
        for text in texts.values():
            assert sorted(FIELD.findall(text)) == sorted(FIELD.findall(pattern)), pattern


def test_a_sentence_is_said_in_another_language() -> None:
    feeds = Said("a feed of {size} slots", size=64)
    why = Said("not for air: gives way on {feeds}", feeds=feeds)
    assert why == "not for air: gives way on a feed of 64 slots"
    assert Words("en").say(why) == str(why)
    assert Words("de").say(why) == "nicht zu senden: macht Platz auf einer Leitung mit 64 Slots"
    both = Listed(
        "; ", [Said("set up {name}: new", name="{Oboe} on"), Said("phantom {value}", value=Said("on"))]
    )
    assert Words("fr").say(both) == "préparer {Oboe} on : nouveau; alimentation fantôme activée"
    assert Words("fr").say("a text of the user") == "a text of the user"
    for again in (pickle.loads(pickle.dumps(both)), copy.deepcopy(both)):
        assert again == both
        assert Words("nl").say(again) == Words("nl").say(both)
