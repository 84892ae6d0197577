"""Words of the trade, and short labels that fit a display."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, NamedTuple


@cache
def fold(text: str) -> str:
    """A word as it is compared: no case, accents, outer blanks or closing full stop; single spaces."""
    if text.isascii() and text.isalnum():
        return text.casefold()
    plain = unicodedata.normalize("NFKD", text.casefold())
    # Accents, not the voicing marks of kana.
    plain = "".join(letter for letter in plain if not "\u0300" <= letter <= "\u036f")
    return " ".join(plain.split()).rstrip(".:").strip() or " ".join(plain.split())


@cache
def any_of(words: frozenset[str]) -> re.Pattern[str]:
    """A pattern for any of these folded words as a whole word of a folded text, the longest first."""
    ordered = sorted(words, key=lambda word: (-len(word), word))
    return re.compile(rf"(?<![^\W_])(?:{'|'.join(map(re.escape, ordered))})(?![^\W_])")


class Vocabulary(NamedTuple):
    """The words that sheets use.

    `headings`: folded heading → the fields it may mean, the likeliest first. `values` and `roles`: topic →
    its folded words. `kinds`: folded word → kind of channel. `short`: folded word → its abbreviation. `labels`:
    what a user's file adds to the tables of compare/abbreviations.toml.
    """

    headings: Mapping[str, tuple[str, ...]]
    values: Mapping[str, frozenset[str]]
    kinds: Mapping[str, str]
    roles: Mapping[str, frozenset[str]]
    short: Mapping[str, str]
    labels: Mapping[str, Mapping[str, Sequence[str]]] = MappingProxyType({})


LABEL_TABLES = ("abbreviations", "contrasts", "fillers")
"""The tables of compare/abbreviations.toml, to which a user's file may add lines of its own."""


def vocabulary_from(data: Mapping[str, Any]) -> Vocabulary:
    """Build a vocabulary from the tables of a vocabulary file (headings, values, kinds, roles, short)."""
    headings: dict[str, list[str]] = {}
    for field, names in data["headings"].items():
        for name in names:
            fields = headings.setdefault(fold(name), [])
            if field not in fields:
                fields.append(field)
    return Vocabulary(
        {name: tuple(fields) for name, fields in headings.items()},
        {topic: frozenset(map(fold, names)) for topic, names in data["values"].items()},
        {fold(name): kind for kind, names in data["kinds"].items() for name in names},
        {topic: frozenset(map(fold, names)) for topic, names in data["roles"].items()},
        {fold(name): text for name, text in data["short"].items()},
        {table: data[table] for table in LABEL_TABLES if table in data},
    )


def _packaged() -> dict[str, Any]:
    return tomllib.loads(files("chanbridge").joinpath("vocabulary.toml").read_text("utf-8"))


@cache
def vocabulary() -> Vocabulary:
    """The vocabulary that comes with the package (vocabulary.toml)."""
    return vocabulary_from(_packaged())


def counted(number: int, thing: str) -> str:
    """`1 channel`, `2 channels`."""
    return f"{number} {thing}{'' if number == 1 else 's'}"


def extended(text: str) -> Vocabulary:
    """The package's vocabulary with the words of a user's file added; its tables are the same, all optional.

    Raises ValueError for a text that is no such file, naming the table or field that does not exist.
    """
    data = _packaged()
    for table, topics in tomllib.loads(text).items():
        if (table not in data and table not in LABEL_TABLES) or not isinstance(topics, dict):
            known = dict.fromkeys((*data, *LABEL_TABLES))
            raise ValueError(
                f"there is no table [{table}]; there are {', '.join(f'[{name}]' for name in known)}"
            )
        for topic, added in topics.items():
            if table == "short":
                data[table][topic] = added
            elif table not in LABEL_TABLES and topic not in data[table]:
                raise ValueError(f"[{table}] has no {topic!r}; there are {', '.join(data[table])}")
            elif not isinstance(added, list) or not all(isinstance(word, str) for word in added):
                raise ValueError(f"[{table}] {topic} must be a list of words in quotes")
            else:
                topics_so_far = data.setdefault(table, {})
                topics_so_far[topic] = [*topics_so_far.get(topic, []), *added]
    return vocabulary_from(data)


SPELLED: dict[str, str] = {
    "ß": "ss", "æ": "ae", "Æ": "Ae", "œ": "oe", "Œ": "Oe", "ø": "o", "Ø": "O", "ł": "l", "Ł": "L", "đ": "d", "Đ": "D",
}  # fmt: skip
"""Letters that do not come apart into a plain one and an accent, as they are spelled without."""


def slug(*texts: str) -> str:
    """An id made from texts: lower case, letters and digits of any script, joined by hyphens."""
    return "-".join(part for text in texts for part in re.findall(r"[^\W_]+", text.casefold()))


def unique(wanted: str, taken: Iterable[str]) -> str:
    """`wanted`, or `wanted-2`, `wanted-3` … where that is taken. `taken` should be a set or a dict."""
    name, number = wanted, 1
    while name in taken:
        number += 1
        name = f"{wanted}-{number}"
    return name


def shorten(name: str, width: int) -> str:
    """A label of at most `width` characters that keeps the name's last side and number.

    Words with a usual abbreviation get it; the rest lose vowels, then letters from the longest word.
    """
    known = vocabulary().short
    if len(name) <= width:
        return " ".join(name.split())
    parts = [known.get(fold(part), part) for part in re.findall(r"[^\W\d_]+|\d+", name)]
    ending = 1 if len(parts) > 1 and (parts[-1].isdigit() or len(parts[-1]) == 1) else 0

    tail = "".join(parts[len(parts) - ending :])

    def body() -> str:
        return "".join(part[:1].upper() + part[1:] for part in parts[: len(parts) - ending])

    for squeeze in (_without_vowels, _one_letter_less):
        while len(body()) + len(tail) > width:
            longest = max(
                range(len(parts) - ending),
                key=lambda at: (len(squeeze(parts[at])) < len(parts[at]), len(parts[at])),
            )
            less = squeeze(parts[longest])
            if less == parts[longest]:
                break
            parts[longest] = less
    blank = " " if ending and len(body()) + 1 + len(tail) <= width else ""
    return (body()[: max(0, width - len(tail))] + blank + tail)[:width]


def _without_vowels(word: str) -> str:
    return word[:1] + "".join(letter for letter in word[1:] if fold(letter) not in "aeiou")


def _one_letter_less(word: str) -> str:
    return word[:-1] if len(word) > 1 else word


def short_labels(names: Iterable[str], width: int = 8) -> list[str]:
    """A short label for each name, no two alike, each at most `width` characters; "" stays ""."""
    taken: set[str] = {""}
    labels = []
    for name in names:
        label = shorten(name, width)
        number = 1
        while name and label.casefold() in taken:
            number += 1
            mark = f"/{number}"
            label = shorten(name, width - len(mark)) + mark
        taken.add(label.casefold())
        labels.append(label)
    return labels


_FIRST = "dfklmnrstvz"
_VOWELS = "aeiou"


def spoken(digits: str) -> str:
    """A word of three syllables made from a hash; two people who compare it compare 166 000 possibilities."""
    value = int(digits[:16], 16)
    word = ""
    for _ in range(3):
        value, first = divmod(value, len(_FIRST))
        value, vowel = divmod(value, len(_VOWELS))
        word += _FIRST[first] + _VOWELS[vowel]
    return word
