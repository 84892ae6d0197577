"""Two lists side by side."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge.compare.changes import compare
from tests.compare.lists import LIST, kinds, sheet

HEAD = "Ch,Name,Box,Socket,48V,Polarity,Pair\n"
FOH = """\
1,Kick,A,1,on,normal,
2,Snare,A,2,off,reversed,
3,Keys L,A,3,,,L with 4
4,Keys R,A,4,,,R with 3
5,Ana,A,5,,,
6,Oboe,B,1,on,,
"""


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
         [("pair", ("Keys L", "Keys R"))]),
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
    touched = {
        name
        for change in found.changes
        if change.kind != "extra"
        for name in change.channels[: 1 + (change.kind == "pair")]
    }
    assert found.same == 6 - len(touched)
    for change in found.changes:
        assert (change.reference is None) == (change.kind == "extra")
        assert (change.other is None) == (change.kind == "missing")
        assert all(repr(name) in change.message for name in change.channels)


def test_a_column_that_one_sheet_lacks_is_no_difference() -> None:
    full, bare = sheet(HEAD + FOH), sheet("Name\nKick\nSnare\nKeys L\nKeys R\nAna\nOboe\n")
    assert compare(full, bare)[:3] == (6, (), ())
    assert compare(bare, full)[:3] == (6, (), ())


def test_without_sockets_the_slot_tells() -> None:
    found = compare(sheet("Ch,Name\n1,Kick\n2,Harp\n"), sheet("Ch,Name\n1,Kick\n2,Celtic harp\n"))
    assert [change.kind for change in found.changes] == ["renamed"]


def test_a_role_gathered_from_a_name_is_no_difference() -> None:
    one, two = sheet("Ch,Name,Air\n1,Click,yes\n"), sheet("Ch,Name\n1,Click\n")
    assert compare(one, two, heard=()).changes == ()
    assert [change.kind for change in compare(one, two, heard=("air",)).changes] == ["audience"]


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
    assert compare(one, sheet("Ch,Name,Box,Socket\n" + "\n".join(lines)))[:2] == (len(rows), ())


def test_pairs_by_column() -> None:
    head = "Ch,Name,Pair\n"
    pair = head + "1,Kick in,L with 2\n2,Kick out,R with 1\n3,Tom,\n"
    broken = compare(sheet(pair), sheet(head + "1,Kick in,\n2,Kick out,\n3,Tom,\n"), columns=("pair",))
    assert kinds(broken) == ["pair"]
    assert compare(sheet(pair), sheet("Ch,Name\n1,Kick in\n2,Kick out\n3,Tom\n")).changes == ()
    other = compare(
        sheet(pair), sheet(head + "1,Kick in,L with 3\n2,Kick out,\n3,Tom,R with 1\n"), columns=("pair",)
    )
    assert kinds(other) == ["pair"]


def test_one_new_owner_of_many_preamps_is_one_change() -> None:
    head = "Ch,Name,Gain owner\n"
    one = sheet(head + "".join(f"{n},{name},front-of-house\n" for n, name in enumerate(LIST, 1)))
    two = sheet(head + "".join(f"{n},{name},monitors\n" for n, name in enumerate(LIST, 1)))
    found = compare(one, two)
    assert kinds(found) == ["gain-owner"]
    assert len(found.changes[0].channels) == 64
