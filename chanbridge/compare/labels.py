"""What a label says: its words without abbreviations, its side, its numbers."""

from __future__ import annotations

import itertools
import re
import tomllib
from collections.abc import Iterator, Sequence
from functools import cached_property
from importlib.resources import files
from typing import NamedTuple

from chanbridge.names import LABEL_TABLES, Vocabulary, fold

MOST_READINGS = 8
"""A label is read in at most so many ways."""

LONGEST = 120
"""Characters of a label that are looked at."""


class Reading(NamedTuple):
    """One way to understand a label: `words` in full, `sides` among them apart, `marks`: numbers and letters.

    Numbers and letters tell siblings apart (Vox 1 and Vox 2, Choir A and Choir B).
    """

    words: frozenset[str]
    sides: frozenset[str]
    marks: tuple[str, ...]


class _Words(NamedTuple):
    """A dictionary in the form in which it is asked.

    `meanings`: a way of writing → what it may mean; `known`: every word of a meaning; `groups`: word → the contrasts
    that it belongs to; `sides`: the words of the contrast side; `fillers`: words that hardly count.
    """

    meanings: dict[str, dict[str, None]]
    known: frozenset[str]
    groups: dict[str, set[str]]
    sides: frozenset[str]
    fillers: frozenset[str]


def _load(words: Vocabulary) -> _Words:
    """The words of compare/abbreviations.toml with a user's own and with those that short labels are made of."""
    tables = tomllib.loads(files("chanbridge.compare").joinpath("abbreviations.toml").read_text("utf-8"))
    for table in LABEL_TABLES:
        for topic, added in words.labels.get(table, {}).items():
            tables[table][topic] = [*tables[table].get(topic, []), *added]
    meanings: dict[str, dict[str, None]] = {}

    def add(spelling: str, word: str) -> None:
        meanings.setdefault(" ".join(_tokens(spelling)), {})[word] = None

    for word, spellings in tables["abbreviations"].items():
        for spelling in (word, *spellings):
            add(spelling, fold(word))
    for word, short in words.short.items():  # what we abbreviate, we understand
        if word not in meanings or word in meanings[word]:
            add(word, word)
            add(short, word)
    groups: dict[str, set[str]] = {}
    for name, members in tables["contrasts"].items():
        for member in members:
            groups.setdefault(fold(member), set()).add(name)
    return _Words(
        meanings,
        frozenset(part for each in meanings.values() for word in each for part in word.split()),
        groups,
        frozenset(map(fold, tables["contrasts"]["side"])),
        frozenset(fold(word) for each in tables["fillers"].values() for word in each),
    )


class Dictionary:
    """Reads labels with the words of a vocabulary, and remembers what it read."""

    def __init__(self, vocabulary: Vocabulary) -> None:
        self._vocabulary = vocabulary
        self._read: dict[str, tuple[Reading, ...]] = {}
        self._alike: dict[tuple[str, str], float] = {}
        self._endings: dict[str, str] = {}

    @cached_property
    def _words(self) -> _Words:
        return _load(self._vocabulary)  # on use: lists with equal names need none of it

    def readings(self, label: str) -> tuple[Reading, ...]:
        """The ways to understand a label, the likeliest first; () for one without letters and digits."""
        found = self._read.get(label)
        if found is None:
            found = self._read[label] = self._understand(label)
        return found

    def _understand(self, label: str) -> tuple[Reading, ...]:
        tokens = _tokens(label[:LONGEST])
        if not tokens:
            return ()
        choices: list[list[str]] = []
        at = 0
        while at < len(tokens):
            taken, meanings = self._meaning(tokens, at)
            choices.append(meanings)
            at += taken
        ways = itertools.islice(itertools.product(*choices), MOST_READINGS)
        return tuple(dict.fromkeys(self._reading(way) for way in ways))

    def _meaning(self, tokens: Sequence[str], at: int) -> tuple[int, list[str]]:
        """How many tokens from `at` on belong together, and what they may mean."""
        for length in (3, 2, 1):
            phrase = " ".join(tokens[at : at + length])
            meanings = self._words.meanings.get(phrase)
            if meanings and at + length <= len(tokens):
                own = [phrase] if len(phrase) == 1 and phrase not in ("l", "r") else []
                return length, [*meanings, *own]  # a single letter may be just that letter: Vox B
        token = tokens[at]
        singular = self._words.meanings.get(token[:-1]) if len(token) > 2 and token.endswith("s") else None
        return 1, [*singular] if singular else self._glued(token)

    def _glued(self, token: str) -> list[str]:
        """The meanings of words written together (`sntop`, `ohl`, `ldvox`); the token itself where it is none."""
        ways: list[list[tuple[str, ...]]] = [[()], *([] for _ in token)]
        for end in range(1, len(token) + 1):
            for start in range(max(0, end - 12), end):
                part = token[start:end]
                short = end - start < 2
                if (
                    short and (part not in ("l", "r") or end < len(token))
                ) or part not in self._words.meanings:
                    continue
                ways[end] += [(*before, part) for before in ways[start] if len(before) < 3]
        full = [way for way in ways[-1] if len(way) > 1]
        if not full:
            return [token]
        fewest = min(map(len, full))
        return list(
            dict.fromkeys(
                " ".join(words)
                for way in full
                if len(way) == fewest
                for words in itertools.product(*(self._words.meanings[part] for part in way))
            )
        )[:4]

    def _reading(self, way: Sequence[str]) -> Reading:
        parts = [part for meaning in way for part in meaning.split()]
        marks = tuple(sorted(part.lstrip("0") or "0" for part in parts if part.isdigit() or len(part) == 1))
        words = frozenset(part for part in parts if len(part) > 1 and not part.isdigit())
        return Reading(words - self._words.sides, words & self._words.sides, marks)

    # Likeness

    def likeness(self, one: str, other: str) -> float:
        """How far two labels say the same, from 0 to 1; 0 where they are siblings or sides of one thing."""
        if fold(one) == fold(other):
            return 1.0
        if self._lettered_apart(one, other):
            return 0.0
        return max(
            (
                self._reading_likeness(mine, theirs)
                for mine in self.readings(one)
                for theirs in self.readings(other)
            ),
            default=0.0,
        )

    def siblings(self, one: str, other: str) -> bool:
        """Whether two labels are of one family and of different members in every reading: Vox 1 and Vox 2."""
        mine, theirs = self.readings(one), self.readings(other)
        apart = all(self._exclude(a, b) for a in mine for b in theirs)
        return bool(mine and theirs) and (apart or self._lettered_apart(one, other))

    def changed_word(self, one: str, other: str) -> tuple[str, str] | None:
        """The word that one label has and the one that the other has in its place, where all else is the same."""
        for mine in self.readings(one):
            for theirs in self.readings(other):
                here, there = mine.words - theirs.words, theirs.words - mine.words
                same = mine._replace(words=mine.words - here) == theirs._replace(words=theirs.words - there)
                if same and len(here) == len(there) == 1 and mine.words & theirs.words:
                    (a,), (b,) = here, there
                    if not (a in self._words.known and b in self._words.known):
                        return a, b
        return None

    def _lettered_apart(self, one: str, other: str) -> bool:
        """Whether two labels end in different single letters, whatever these stand for: Choir A and Choir B."""
        mine, theirs = self._ending(one), self._ending(other)
        return bool(mine and theirs) and mine != theirs

    def _ending(self, label: str) -> str:
        found = self._endings.get(label)
        if found is None:
            last = _tokens(label[:LONGEST])[-1:]
            found = self._endings[label] = last[0] if last and len(last[0]) == 1 and last[0].isalpha() else ""
        return found

    def _exclude(self, one: Reading, other: Reading) -> bool:
        if one.marks and other.marks and one.marks != other.marks:
            return True
        if one.sides and other.sides and one.sides != other.sides:
            return True
        mine, theirs = (
            {group for word in words for group in self._words.groups.get(word, ())}
            for words in (one.words - other.words, other.words - one.words)
        )
        return not mine.isdisjoint(theirs)

    def _reading_likeness(self, one: Reading, other: Reading) -> float:
        if self._exclude(one, other):
            return 0.0
        if not one.words and not other.words:
            return float(bool(one.marks or one.sides) and one == other)
        total = sum(map(self._weight, (*one.words, *other.words)))
        common = sum(2 * self._weight(word) for word in one.words & other.words)
        mine, theirs = one.words - other.words, other.words - one.words
        if mine and theirs:
            near = sorted(
                ((self.word_likeness(a, b), a, b) for a in mine for b in theirs),
                key=lambda row: (-row[0], row),
            )
            left, right = set(mine), set(theirs)
            for value, a, b in near:
                if value and a in left and b in right:
                    common += value * (self._weight(a) + self._weight(b))
                    left.discard(a)
                    right.discard(b)
        half = 0.85  # one says a number or a side and the other does not
        unsaid = (bool(one.marks) != bool(other.marks)) + (bool(one.sides) != bool(other.sides))
        return common / total * half**unsaid

    def _weight(self, word: str) -> float:
        return 0.1 if word in self._words.fillers else 1.0

    def word_likeness(self, one: str, other: str) -> float:
        """How far one word is an abbreviation or a slip of the other; 0 for two known words.

        A word that begins like a known one and has its consonants in order is nearly sure (`accrdn`).
        """
        if one in self._words.known and other in self._words.known:
            return 0.0
        key = (one, other) if one < other else (other, one)
        value = self._alike.get(key)
        if value is None:
            short, long = sorted(key, key=len)
            value = self._abbreviation(short, long)
            if not value:
                from rapidfuzz.distance import Indel

                slip = Indel.normalized_similarity(one, other)
                value = slip if slip >= 0.75 else 0.0
            self._alike[key] = value
        return value

    def near(self, here: Sequence[str], there: Sequence[str]) -> Iterator[tuple[str, str]]:
        """The pairs of different words of two lists that are alike; a library looks through long lists first."""
        if len(here) * len(there) <= 20_000:
            yield from (
                (one, other)
                for one in here
                for other in there
                if one != other and self.word_likeness(one, other)
            )
            return
        import numpy as np
        from rapidfuzz.distance import Indel
        from rapidfuzz.process import cdist

        heads: dict[str, list[str]] = {}
        for word in there:
            heads.setdefault(word[0], []).append(word)
        for start in range(0, len(here), 512):
            some = here[start : start + 512]
            close = cdist(
                some, there, scorer=Indel.normalized_similarity, score_cutoff=0.75, dtype=np.float32
            )
            for row, column in zip(*np.nonzero(close), strict=True):
                if some[row] != there[column] and self.word_likeness(some[row], there[column]):
                    yield some[row], there[column]
            for one in some:
                for other in heads.get(one[0], ()):
                    short, long = (one, other) if len(one) < len(other) else (other, one)
                    if self._abbreviation(short, long) and self.word_likeness(one, other):
                        yield one, other

    def _abbreviation(self, short: str, long: str) -> float:
        if len(short) < 2 or len(short) > 0.75 * len(long) or short[0] != long[0]:
            return 0.0
        if long.startswith(short):
            certainty = 0.95 if len(short) > 2 else 0.8
        elif is_abbreviation(short, long):
            certainty = 0.95
        else:
            return 0.0
        return certainty if long in self._words.known else certainty - 0.1


def is_abbreviation(short: str, long: str) -> bool:
    """Whether `short` is `long` with letters left out, at least half of its consonants kept in order."""
    letters = iter(long)
    if not all(letter in letters for letter in short):
        return False
    consonants = [letter for letter in long[1:] if letter not in "aeiou"]
    kept = [letter for letter in short[1:] if letter not in "aeiou"]
    return len(kept) * 2 >= len(consonants) and len(kept) > 0


_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z]{2})")
_GAIN = re.compile(r"[(\[]?\bgain\s*:?\s*[+\-−]?\d+(?:[.,]\d+)?(?:\s*db)?[)\]]?", re.IGNORECASE)
_ORDINAL = re.compile(r"(?<=\d)(?:st|nd|rd|th)\b", re.IGNORECASE)


def _tokens(label: str) -> list[str]:
    """The words and numbers of a label, folded: `LdVox-2` is ld, vox, 2."""
    if label.isascii() and label.isalpha() and (label.islower() or label.isupper()):
        return [label.lower()]
    plain = _ORDINAL.sub("", _GAIN.sub(" ", label))
    plain = _CAMEL.sub(" ", plain)
    return re.findall(r"[^\W\d_]+|\d+", fold(plain).replace("'", "").replace("œ", "oe"))
