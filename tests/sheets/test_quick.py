"""The short way through a row says exactly what the long way says."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from chanbridge.formats import named, read_data, write
from chanbridge.model import ChannelMap
from chanbridge.sheets.ledger import Reading
from chanbridge.sheets.quick import Quick
from tests.strategies import lists

HEADINGS = (
    "Ch",
    "Name",
    "Box",
    "Socket",
    "Mic",
    "48V",
    "Polarity",
    "Gain",
    "Pair",
    "Notes",
    "Colour",
    "Colour",
    "Id",
)
names = st.sampled_from(
    ("Kick", "Snare top", "Keys L", "Keys R", "Choir Left", "Click", "Spare", "NA", "total", "Vox 1", "Q4", "Ambience", "",
     "Gain", "Stereo Mix", " Kick", "Two  blanks", "Ølund", "L Keys", "Mid", "Backup keys", "Left")
)  # fmt: skip
rows = st.lists(
    st.tuples(
        st.sampled_from(("1", "2", "3", "7", "07", "7.0", "", "x", "12", "200001", "²")),
        names,
        st.sampled_from(("", "A", "b", " A", "-")),
        st.sampled_from(("", "1", "A3", "BX2-01", "0", "x", "1 ", "-")),
        st.sampled_from(("", "DI", "large dynamic")),
        st.sampled_from(("", "yes", "no", "optional", "perhaps", " ")),
        st.sampled_from(("", "Ø", "normal", "odd")),
        st.sampled_from(("", "12", "17,5 dB", "loud")),
        st.sampled_from(("", "", "", "L", "2")),
        st.sampled_from(("", "", "own", "pair with 2", " ")),
        st.sampled_from(("", "red")),
        st.sampled_from(("", "blue")),
        st.sampled_from(("", "", "k1", "k2", " k3 ", "kick", "a-kick")),
    ),
    min_size=1,
    max_size=8,
)


def reading(columns: list[int], table: list[tuple[str, ...]]) -> Reading:
    out = io.StringIO(newline="")
    csv.writer(out).writerows([[row[at] for at in columns] for row in (HEADINGS, *table)])
    return read_data(out.getvalue().encode(), "sheet.csv", named("csv"))


CLASH = [
    (number, name, "", "", "", "", "", "", "", "", "", "", given)
    for number, name, given in (("1", "Kick", ""), ("2", "Snare top", "kick"))
]
"""An id made from a name, and the same id given to another row."""


@given(st.sets(st.sampled_from(range(2, len(HEADINGS)))), rows)
@example({12}, CLASH)
def test_both_ways_agree(chosen: set[int], table: list[tuple[str, ...]]) -> None:
    columns = [0, 1, *sorted(chosen)]
    short = reading(columns, table)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Quick, "open", lambda self, row: False)
        long = reading(columns, table)
    assert short == long


@given(lists())
def test_both_ways_agree_on_lists_of_ours(whole: ChannelMap) -> None:
    data = write(whole, named("csv"))
    short = read_data(data, "sheet.csv", named("csv"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Quick, "open", lambda self, row: False)
        long = read_data(data, "sheet.csv", named("csv"))
    assert short == long


def test_the_short_way_is_taken() -> None:
    taken = []
    real = Quick.run

    def watched(self: Quick, start: int, stop: int) -> object:
        taken.append((start, stop))
        return real(self, start, stop)

    plain, pair = ("1", "Kick", "A", "1", "", "yes"), ("2", "Keys L", "A", "2", "", "no")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Quick, "run", watched)
        reading([0, 1, 2, 3, 5], [plain, pair, plain, plain])
    assert taken == [(0, 1), (2, 4)]
