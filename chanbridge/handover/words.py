"""The printed words of the papers: English, German, French, Spanish, Italian, Dutch, all from words.toml."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from chanbridge.said import Listed, Said

LANGUAGES = {
    "en": "English", "de": "German", "fr": "French", "es": "Spanish", "it": "Italian", "nl": "Dutch",
}  # fmt: skip
"""Code (ISO 639-1) → the language's English name."""


@cache
def _table() -> Mapping[str, Any]:
    return tomllib.loads(files("chanbridge.handover").joinpath("words.toml").read_text("utf-8"))


class Words:
    """Words in one language, by their keys in words.toml; KeyError for a key or a language that is not there."""

    def __init__(self, language: str = "en") -> None:
        self.language = language
        table = dict(_table())
        sentences = table.pop("sentences")
        self._said: dict[str, str] = {key: texts[language] for key, texts in table.items()}
        self._patterns: dict[str, str] = (
            {} if language == "en" else {key: texts[language] for key, texts in sentences.items()}
        )

    def __call__(self, key: str, **filled: object) -> str:
        """The words for a key, with what stands in {braces} filled in."""
        said = self._said[key]
        return said.format(**filled) if filled else said

    def say(self, text: str) -> str:
        """A sentence in this language, where it is one that has a pattern; any other text as it is."""
        if isinstance(text, Listed):
            return text.between.join(map(self.say, text.items))
        if not isinstance(text, Said):
            return text
        filled = {
            key: self.say(value) if isinstance(value, str) else value for key, value in text.filled.items()
        }
        return self._patterns.get(text.pattern, text.pattern).format(**filled)
