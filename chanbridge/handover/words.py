"""The printed words of the papers: English, German, French, Spanish, Italian, Dutch, all from words.toml."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files

LANGUAGES = {
    "en": "English", "de": "German", "fr": "French", "es": "Spanish", "it": "Italian", "nl": "Dutch",
}  # fmt: skip
"""Code (ISO 639-1) → the language's English name."""


@cache
def _table() -> Mapping[str, Mapping[str, str]]:
    return tomllib.loads(files("chanbridge.handover").joinpath("words.toml").read_text("utf-8"))


class Words:
    """Words in one language, by their keys in words.toml; KeyError for a key or a language that is not there."""

    def __init__(self, language: str = "en") -> None:
        self.language = language
        self._said = {key: texts[language] for key, texts in _table().items()}

    def __call__(self, key: str, **filled: object) -> str:
        """The words for a key, with what stands in {braces} filled in."""
        said = self._said[key]
        return said.format(**filled) if filled else said
