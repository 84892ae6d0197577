"""Labels that fit, and revisions."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge.check.naming import offered, shown
from chanbridge.check.paper import older
from chanbridge.model import Channel

NAMES = st.lists(
    st.builds(
        lambda stem, number, side: " ".join(part for part in (stem, number, side) if part),
        st.sampled_from(["Choir soprano", "Backing vocal", "Overhead", "Tom", "Keys", "Talkback", "Ana", "Björn", "Æther"]),
        st.sampled_from(["", "1", "2", "12"]),
        st.sampled_from(["", "L", "R"]),
    ),
    unique=True, max_size=60,
)  # fmt: skip


@given(
    names=NAMES,
    width=st.sampled_from([4, 6, 8, 12, 16]),
    letters=st.sampled_from(["ascii", "latin-1", "any"]),
)
def test_labels_offered_fit_keep_sides_and_numbers_and_never_collide(
    names: list[str], width: int, letters: str
) -> None:
    channels = [Channel(id=str(at), name=name) for at, name in enumerate(names)]
    made = offered(channels, width, letters)
    assert len({label.casefold() for label in made}) == len(made)
    for name, label in zip(names, made, strict=True):
        assert 0 < len(label) <= width
        assert shown(label, letters)
        stem = label.partition("/")[0]  # a mark that tells two of one label apart comes last
        if name[-2:] in (" L", " R"):
            assert stem.endswith(name[-1])
            name = name[:-2]
        number = name.rpartition(" ")[2]
        if number.isdigit():
            assert number in stem


def test_a_name_that_cannot_be_shown_is_called_by_its_place() -> None:
    assert offered([Channel(id="a", name="Kick"), Channel(id="b", name="Жанна")], 6, "ascii") == [
        "Kick",
        "Ch 2",
    ]


@pytest.mark.parametrize(
    ("one", "other", "before"),
    [("A", "B", True), ("B", "A", False), ("Z", "AA", True), ("9", "10", True), ("A", "1", False), ("", "B", False), ("b", "B", False)],
)  # fmt: skip
def test_revisions(one: str, other: str, before: bool) -> None:
    assert older(one, other) == before
