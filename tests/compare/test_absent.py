"""What one list does not have."""

from __future__ import annotations

from chanbridge.compare.changes import compare
from tests.compare.lists import LIST, kinds, numbered, sheet


def test_cut_at_56_names_eight() -> None:
    found = compare(numbered(LIST), numbered(LIST[:56]))
    assert kinds(found) == ["cut-off"]
    assert list(found.changes[0].channels) == LIST[56:]
    assert "from slot 57 on" in found.changes[0].message
    assert all(repr(name) in found.changes[0].message for name in LIST[56:])


def test_two_missing_at_the_end_are_no_cut() -> None:
    assert kinds(compare(numbered(LIST), numbered(LIST[:62]))) == ["missing", "missing"]


def test_a_box_that_is_not_there_is_one_finding() -> None:
    rows = [f"{box}{socket},{box} chair {socket}" for box in "ABC" for socket in range(1, 17)]
    whole = sheet("Socket,Name\n" + "\n".join(rows))
    without = sheet("Socket,Name\n" + "\n".join(row for row in rows if row[0] != "B"))
    found = compare(whole, without)
    assert kinds(found) == ["block-missing"]
    assert len(found.changes[0].channels) == 16
    assert kinds(compare(without, whole)) == ["extra"]


def test_twice_and_spare() -> None:
    one = sheet("Ch,Name,Notes\n1,Kick,\n2,Bass,\n3,,broken wire\n4,Harp,\n")
    two = sheet("Ch,Name,Notes\n1,Kick,\n2,Bass,\n3,Oboe,\n4,Harp,\n5,Kick,\n")
    found = compare(one, two)
    assert sorted(kinds(found)) == ["doubled", "spare-used"]
    assert any("broken wire" in change.message for change in found.changes)
    back = compare(two, one)  # two of one name in two places may be two channels: the second one is lost
    assert kinds(back) == ["missing", "missing"]
    assert back.changes[1].message == (
        "'Kick' (slot 5) is not on the other list, which has 'Kick' once where two are here"
    )
    gap = sheet("Ch,Name\n1,Kick\n2,Bass\n4,Harp\n")  # no row at all is no spare
    assert sorted(kinds(compare(gap, two, spares=False))) == ["doubled", "extra"]


def test_two_of_one_name_on_one_socket_are_one_too_many() -> None:
    two = sheet("Ch,Name,Socket\n1,Kick,A1\n2,Bass,A2\n3,Kick,A1\n")
    one = sheet("Ch,Name,Socket\n1,Kick,A1\n2,Bass,A2\n")
    assert kinds(compare(two, one)) == ["doubled"]
    apart = sheet("Ch,Name,Socket\n1,Kick,A1\n2,Bass,A2\n3,Kick,A3\n")
    assert kinds(compare(apart, one)) == ["missing"]
    bare = compare(sheet("Name\nKick\nBass\n"), sheet("Name\nKick\nBass\nBass\n"))
    assert [change.message for change in bare.changes] == ["'Bass' is on the other list twice and here once"]


def test_neighbours_make_a_block_from_eight_on() -> None:
    for count, expected in ((7, ["missing"] * 7), (8, ["block-missing"])):
        found = compare(numbered(LIST), sheet("Ch,Name\n" + "".join(
            f"{n},{name}\n" for n, name in enumerate(LIST, 1) if not 20 < n <= 20 + count
        )))  # fmt: skip
        assert kinds(found) == expected
    more = [*LIST, *(f"Sitar {'abcdefg'[n]}y" for n in range(7))]
    assert kinds(compare(numbered(LIST), numbered(more))) == ["extra"] * 7
    assert kinds(compare(numbered(LIST), numbered([*more, "Duduk"]))) == ["extra"]


def test_a_row_that_was_moved_does_not_mark_the_end() -> None:
    rows = [f"{n},{name}\n" for n, name in enumerate(LIST[:56], 1)] + [f"100,{LIST[59]}\n"]
    found = compare(numbered(LIST), sheet("Ch,Name\n" + "".join(rows)))
    assert kinds(found) == ["cut-off", "moved"]
    assert list(found.changes[0].channels) == [*LIST[56:59], *LIST[60:]]
