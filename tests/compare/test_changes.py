"""Two lists side by side."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge.compare.changes import compare
from chanbridge.formats import named, read_data
from chanbridge.model import ChannelMap

HEAD = "Ch,Name,Box,Socket,48V,Polarity,Pair\n"
FOH = """\
1,Kick,A,1,on,normal,
2,Snare,A,2,off,reversed,
3,Keys L,A,3,,,L with 4
4,Keys R,A,4,,,R with 3
5,Ana,A,5,,,
6,Oboe,B,1,on,,
"""


def sheet(text: str) -> ChannelMap:
    return read_data(text.encode(), "sheet.csv", named("csv")).map


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("5,Ana,A,5,,,", "7,Ana,A,5,,,", [("moved", ("Ana",))]),
        ("5,Ana,A,5,,,", "5,Ana,A,7,,,", [("resourced", ("Ana",))]),
        ("5,Ana,A,5,,,", "7,Ana,A,7,,,", [("resourced", ("Ana",))]),
        ("5,Ana,A,5,,,", "5,Ana,B,5,,,", [("resourced", ("Ana",))]),
        ("5,Ana,A,5,,,", "5,Anna,A,5,,,", [("renamed", ("Ana", "Anna"))]),
        ("5,Ana,A,5,,,\n", "", [("missing", ("Ana",))]),
        ("5,Ana,A,5,,,", "5,Ana,A,5,,,\n9,Bells,B,9,,,", [("extra", ("Bells",))]),
        ("1,Kick,A,1,on", "1,Kick,A,1,off", [("phantom", ("Kick",))]),
        ("2,Snare,A,2,off,reversed", "2,Snare,A,2,off,normal", [("polarity", ("Snare",))]),
        ("3,Keys L,A,3,,,L with 4\n4,Keys R,A,4,,,R with 3", "3,Keys L,A,3,,,R with 4\n4,Keys R,A,4,,,L with 3",
         [("pair", ("Keys L",)), ("pair", ("Keys R",))]),
        ("1,Kick,A,1,on", "1,Kick,A,1,", []),
        ("5,Ana,A,5", ",Ana,A,5", [("moved", ("Ana",))]),
        ("5,Ana,A,5", "5,Ana,,", [("resourced", ("Ana",))]),
        ("5,Ana,A,5", "5,ANA ,a,5", []),
        ("5,Ana,A,5,,,\n6,Oboe,B,1,on,,\n", "6,Oboe,B,1,on,,\n5,Ana,A,5,,,\n", []),
    ],
)  # fmt: skip
def test_one_change(old: str, new: str, expected: list[tuple[str, tuple[str, ...]]]) -> None:
    assert old in FOH
    found = compare(sheet(HEAD + FOH), sheet(HEAD + FOH.replace(old, new)))
    assert [(change.kind, change.channels) for change in found.changes] == expected
    touched = {change.channels[0] for change in found.changes if change.kind != "extra"}
    assert found.same == 6 - len(touched)
    for change in found.changes:
        assert (change.reference is None) == (change.kind == "extra")
        assert (change.other is None) == (change.kind == "missing")
        assert all(repr(name) in change.message for name in change.channels)


def test_a_column_that_one_sheet_lacks_is_no_difference() -> None:
    full, bare = sheet(HEAD + FOH), sheet("Name\nKick\nSnare\nKeys L\nKeys R\nAna\nOboe\n")
    assert compare(full, bare) == (6, ())
    assert compare(bare, full) == (6, ())


def test_without_sockets_the_slot_tells() -> None:
    found = compare(sheet("Ch,Name\n1,Kick\n2,Harp\n"), sheet("Ch,Name\n1,Kick\n2,Celtic harp\n"))
    assert [change.kind for change in found.changes] == ["renamed"]


def test_a_role_gathered_from_a_name_is_no_difference() -> None:
    one, two = sheet("Ch,Name,Air\n1,Click,yes\n"), sheet("Ch,Name\n1,Click\n")
    assert compare(one, two, heard=()).changes == ()
    assert [change.kind for change in compare(one, two, heard=("air",)).changes] == ["audience"]


def test_ids_find_a_rename_even_when_it_moved() -> None:
    one = sheet("Slot,Name,Short,Box,Socket,Id\n1,Oboe,,A,1,oboe\n")
    two = sheet("Slot,Name,Short,Box,Socket,Id\n4,Flute,,A,2,oboe\n")
    assert [change.kind for change in compare(one, two, by_id=True).changes] == ["renamed", "resourced"]


def test_one_name_twice_goes_by_its_socket() -> None:
    one = sheet("Ch,Name,Box,Socket\n1,Vox,A,1\n2,Vox,A,2\n")
    two = sheet("Ch,Name,Box,Socket\n2,Vox,A,2\n1,Vox,A,1\n")
    assert compare(one, two) == (2, ())


@given(
    st.lists(
        st.tuples(st.sampled_from(("Vox", "Gtr", "Keys L", "Keys R", "Bass")), st.integers(1, 40)),
        max_size=20,
        unique_by=lambda row: row[1],
    ),
    st.randoms(),
)
def test_two_orders_of_one_list_do_not_differ(rows: list[tuple[str, int]], shuffle: random.Random) -> None:
    if not rows:
        return
    lines = [f"{number},{name},A,{number}" for name, number in rows]
    one = sheet("Ch,Name,Box,Socket\n" + "\n".join(lines))
    shuffle.shuffle(lines)
    assert compare(one, sheet("Ch,Name,Box,Socket\n" + "\n".join(lines))) == (len(rows), ())
