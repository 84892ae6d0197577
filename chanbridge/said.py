"""Sentences that can be said again in another language."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Self


class Said(str):
    """A text in English that keeps its pattern and what was filled in: `Said("no room on {feed}", feed="truck-feed")`.

    It is a `str` like any other; whoever prints in another language looks the pattern up.
    """

    pattern: str
    filled: dict[str, object]

    def __new__(cls, pattern: str, **filled: object) -> Self:
        """Fill the pattern in, as `str.format` does."""
        made = super().__new__(cls, pattern.format(**filled))
        made.pattern, made.filled = pattern, filled
        return made

    def __reduce__(self) -> tuple[object, ...]:
        return _again, (self.pattern, self.filled)


class Listed(str):
    """Several texts with something between them, each of which may be said in another language."""

    between: str
    items: tuple[str, ...]

    def __new__(cls, between: str, items: Iterable[str]) -> Self:
        """Join the items."""
        items = tuple(items)
        made = super().__new__(cls, between.join(items))
        made.between, made.items = between, items
        return made

    def __reduce__(self) -> tuple[object, ...]:
        return Listed, (self.between, self.items)


def _again(pattern: str, filled: dict[str, object]) -> Said:
    return Said(pattern, **filled)
