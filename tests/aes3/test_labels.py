"""Labels of four characters: of ISO 646, unlike each other, sides and numbers kept."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge.aes3.labels import labels

NAMES = st.lists(
    st.one_of(
        st.sampled_from(
            ["Kick in", "Choir 1 L", "Choir 1 R", "Vox", "Vox 2", "Große Trommel", "12", "歌", ""]
        ),
        st.text(max_size=12),
    ),
    max_size=64,
)


@given(NAMES)
def test_every_label_fits_and_is_unlike_the_others(names: list[str]) -> None:
    made = labels(names)
    assert made == labels(names)
    assert all(len(label) <= 4 and all(" " < letter <= "~" for letter in label) for label in made)
    given_out = [label.casefold() for label in made if label]
    assert len(set(given_out)) == len(given_out)
    assert [bool(label) for label in made] == [bool(name.strip()) for name in names]


@pytest.mark.parametrize(
    ("name", "ending"),
    [
        ("Overhead L", "L"), ("Overhead right", "R"), ("Tom 12", "12"), ("Choir 3 L", "3L"), ("Klavier links", "L"),
        ("Room mid", "M"), ("Strings 103", "103"), ("Mic12R", "12R"), ("Film sound S", "S"), ("7", "7"),
    ],
)  # fmt: skip
def test_sides_and_numbers_are_kept(name: str, ending: str) -> None:
    assert labels([name])[0].endswith(ending)
    twice = labels([name, name])
    assert twice[1].endswith(ending)
    assert twice[0] != twice[1]


def test_sides_of_many_pairs_stay_with_their_pairs() -> None:
    names = [
        f"{name} {side}"
        for name in ("Choir", "Choir soprano", "Choir alto", "Chorus", "Chimes")
        for side in "LR"
    ]
    made = labels(names)
    assert [label[-1] for label in made] == list("LR" * 5)
    assert len(set(made)) == 10


def test_many_of_one_name_are_told_apart() -> None:
    made = labels(["Choir"] * 1024)
    assert len(set(made)) == 1024
    assert all(re.fullmatch(r"[Cc]\w{1,3}", label) for label in made)


def test_letters_with_accents_become_plain() -> None:
    assert labels(["Käse", "Łódź", "Ære"]) == ["Kase", "Lodz", "Aere"]


def test_a_side_alone_is_a_name() -> None:
    assert labels(["L", "R"]) == ["L", "R"]
