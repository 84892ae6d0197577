"""What labels say, and which of them say the same."""

from __future__ import annotations

import itertools
import random
import tomllib
from collections.abc import Callable, Sequence
from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge.compare.labels import Dictionary, is_abbreviation
from chanbridge.compare.match import DOUBTFUL, SURE, match
from chanbridge.compare.places import Item
from chanbridge.model import Channel, Line
from chanbridge.names import extended, shorten, vocabulary
from tests.compare import held_out, met

WORDS = Dictionary(vocabulary())


def items(names: Sequence[str]) -> list[Item]:
    """Channels that have nothing but a name."""
    channels = [Channel(id=f"c{at}", name=name) for at, name in enumerate(names)]
    return [Item(channel, Line(None, channel, "", None, ""), None, "", None) for channel in channels]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("KIK IN", "Kick in"),
        ("OH L", "Overhead left"),
        ("LdVox", "Lead vocal"),
        ("SnTop", "Snare top"),
        ("OHL", "Overhead L"),
        ("Vln II", "Violin 2"),
        ("2nd violin", "Violin 2"),
        ("BV 1", "Backing vocal 1"),
        ("Keys (R)", "KEYS right"),
        ("Accrdn L", "Accordion L"),
        ("Kick (gain 17.5)", "kick"),
        ("HH", "Hi-hat"),
        ("HH", "Handheld"),
        ("Violoncelli", "Violoncelli"),
        # French and German, from memory
        ("Kick in", "GC in"),
        ("Snare bottom", "CC dessous"),
        ("Floor tom", "Standtom"),
        ("Acoustic guitar", "Gt sèche"),
        ("Double bass", "Ctb"),
        ("Oboe", "Htb"),
        ("Backing vocal 1", "Chœurs 1"),
        ("Lead vocal", "Lead Ges"),
        ("Choir tenor L", "Chor Tenöre li"),
        ("Wireless 2", "Funke 2"),
        ("Accordion L", "Akko L"),
    ],
)
def test_the_same(one: str, other: str) -> None:
    assert WORDS.likeness(one, other) >= SURE
    assert WORDS.likeness(other, one) == WORDS.likeness(one, other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Keys L", "Keys R"),
        ("Vox 1", "Vox 2"),
        ("CC dessus", "CC dessous"),
        ("Vox 1", "Vox 11"),
        ("Kick in", "Kick out"),
        ("Snare top", "SnBot"),
        ("Tom high", "Tom low"),
        ("Choir A", "Choir B"),
        ("Bass DI", "Bass mic"),
        ("Choir soprano L", "Choir soprano R"),
        ("Lead vocal", "Backing vocal"),
        ("Overhead centre", "Overhead L"),
    ],
)
def test_siblings_are_never_alike(one: str, other: str) -> None:
    assert WORDS.siblings(one, other)
    assert WORDS.likeness(one, other) == 0


@pytest.mark.parametrize(
    ("one", "other"), [("Viola", "Violin"), ("Oboe", "Flute"), ("Bass", "Bassoon"), ("", "")]
)
def test_known_words_that_differ_are_no_slip(one: str, other: str) -> None:
    assert WORDS.likeness(one, other) < DOUBTFUL or one == other


def test_unknown_words_may_be_slips_but_are_not_sure() -> None:
    assert DOUBTFUL <= WORDS.likeness("Ana", "Anna") < SURE
    assert DOUBTFUL <= WORDS.likeness("Harp", "Celtic harp") < SURE
    assert is_abbreviation("prcssn", "percussion")
    assert not is_abbreviation("pn", "percussion")


def test_every_abbreviation_is_understood() -> None:
    text = files("chanbridge.compare").joinpath("abbreviations.toml").read_text("utf-8")
    for word, spellings in tomllib.loads(text)["abbreviations"].items():
        for spelling in spellings:
            assert WORDS.likeness(f"{spelling} 7", f"{word} 7") == 1 or word.isdigit(), (word, spelling)


def test_a_users_words_are_added() -> None:
    words = Dictionary(
        extended(
            '[abbreviations]\ntheremin = ["thr"]\nkick = ["bum"]\n[contrasts]\ncolour = ["red", "blue"]\n'
            '[fillers]\nmore = ["rented"]\n'
        )
    )
    assert words.likeness("Thr", "Theremin") == 1
    assert words.likeness("Bum in", "KIK IN") == 1
    assert words.likeness("Vox red", "Vox blue") == 0
    assert words.likeness("Rented theremin", "Thr") > SURE
    assert WORDS.likeness("Thr", "Theremin") < SURE


def test_what_is_alike_is_found_in_long_lists_as_in_short() -> None:
    names = [
        "".join(letters)
        for letters in itertools.islice(itertools.product("aeiou", "lmnrst", "aeiou", "kpt", "aeo"), 1350)
    ]
    here, there = sorted(names[::7]), sorted({name[:-1] for name in names[::5]} | {*names[::11]})
    assert len(here) * len(there) > 20_000
    slowly = {(a, b) for a in here for b in there if a != b and WORDS.word_likeness(a, b)}
    assert slowly
    assert set(WORDS.near(here, there)) == slowly


@given(st.text(max_size=30), st.text(max_size=30))
def test_likeness_is_between_0_and_1_and_the_same_both_ways(one: str, other: str) -> None:
    assert 0 <= WORDS.likeness(one, other) <= 1
    assert WORDS.likeness(one, other) == pytest.approx(WORDS.likeness(other, one))
    assert WORDS.likeness(one, one) == 1


def matched(
    pairs: Sequence[tuple[str, str]], alone: Sequence[str], others: Sequence[str]
) -> tuple[int, list[str]]:
    """How many pairs of two shuffled lists were matched rightly, and every wrong match."""
    left, right = [one for one, _ in pairs] + list(alone), [other for _, other in pairs] + list(others)
    random.Random(7).shuffle(left)
    random.Random(8).shuffle(right)
    found = {
        pair.reference.channel.name: pair.other.channel.name
        for pair in match(items(left), items(right), WORDS).matches
    }
    wanted = dict(pairs)
    wrong = [f"{one} as {other}" for one, other in found.items() if wanted.get(one) != other]
    return sum(found.get(one) == other for one, other in pairs), wrong


def test_held_out_labels(record_property: Callable[[str, object], None]) -> None:
    right, wrong = matched(held_out.PAIRS, held_out.ALONE, held_out.OTHERS)
    share = right / len(held_out.PAIRS)
    record_property(
        "figure",
        f"labels held out: {right} of {len(held_out.PAIRS)} matched ({share:.1%}), {len(wrong)} wrong",
    )
    assert wrong == []
    assert share >= 0.95


def test_labels_met_before(record_property: Callable[[str, object], None]) -> None:
    right, wrong = matched(met.PAIRS, met.ALONE, met.OTHERS)
    record_property("figure", f"labels met before: {right} of {len(met.PAIRS)} matched, {len(wrong)} wrong")
    assert wrong == []
    assert right == len(met.PAIRS)


@given(st.sampled_from([one for one, _ in held_out.PAIRS]), st.integers(5, 10))
def test_our_own_short_labels_are_no_siblings(name: str, width: int) -> None:
    short = shorten(name, width)
    assert not WORDS.siblings(name, short) or any(letter.isdigit() for letter in name)
