"""A comparison for people and for programs."""

from __future__ import annotations

import datetime
import json
import re
from typing import Any, get_args

import pytest

from chanbridge.compare.change import Kind
from chanbridge.compare.changes import compare
from chanbridge.compare.page import page
from chanbridge.compare.report import GROUPS, Sheet, about, data, newer, places, text
from chanbridge.formats import named, read_data
from chanbridge.model import ChannelMap

ONE = "Ch,Name,Box,Socket,48V,Air\n1,Kick,A,1,on,yes\n2,Bass,A,2,on,yes\n3,Harp,A,3,on,yes\n4,Click,A,4,on,no\n5,Oboe,A,5,on,yes\n"
TWO = "Ch,Name,Box,Socket,48V,Air\n1,Kick,A,1,off,yes\n2,Bass,A,7,on,yes\n3,Hrp,A,3,on,yes\n4,Click,A,4,on,yes\n6,Drone,A,6,on,yes\n"


def sheet(said: str, source: str, **more: Any) -> Sheet:
    reading = read_data(said.encode(), source, named("csv"))
    return Sheet(source, reading.map.changed(**more), reading.origins)


def test_worst_first_and_both_places() -> None:
    one, two = sheet(ONE, "folder/one.csv"), sheet(TWO, "folder/two.csv")
    lines = text(compare(one.map, two.map), one, two)
    titles = [
        line.split(" (")[0]
        for line in lines
        if line[:2].strip() and line.endswith(("first", "live", "plug", "gain", "out", "otherwise"))
    ]
    assert titles == [
        "!! LOST",
        "!! WHO MAY HEAR IT",
        "-> PATCH",
        "! PREAMPS",
        "+ ONLY ON THE OTHER LIST",
        "= NAMES",
    ]
    said = "\n".join(lines)
    assert "missing       'Oboe' (slot 5, socket A5) is not on the other list" in said
    assert "[one.csv:6  two.csv:-]" in said
    assert "[one.csv:-  two.csv:6]" in said
    assert "[one.csv:2  two.csv:2]" in said
    assert (
        lines[-1]
        == "Compared: folder/two.csv with the reference folder/one.csv; which is newer is not known."
    )
    assert all(len(line) <= 96 for line in lines[:-1])


def test_a_clean_show_is_two_lines() -> None:
    one, two = sheet(ONE, "a/one.csv"), sheet(ONE, "b/one.csv")
    assert text(compare(one.map, two.map), one, two) == [
        "5 channels the same; no difference",
        "Compared: b/one.csv with the reference a/one.csv; which is newer is not known.",
    ]


def test_two_other_files_are_said_to_be() -> None:
    one, two = sheet("Name\nKick\nBass\n", "one.csv"), sheet("Name\nDrone\nSitar\n", "two.csv")
    assert any("right files?" in line for line in text(compare(one.map, two.map), one, two))


def test_every_kind_has_a_group() -> None:
    assert sorted(kind for group in GROUPS for kind in group.kinds) == sorted(get_args(Kind))


DAY, NEXT = datetime.date(2026, 12, 5), datetime.date(2026, 12, 12)


@pytest.mark.parametrize(
    ("mine", "theirs", "expected"),
    [
        ({}, {}, None),
        ({"revision": "B"}, {"revision": "C"}, "other"),
        ({"revision": "C"}, {"revision": "B"}, "reference"),
        ({"revision": "Z"}, {"revision": "AA"}, "other"),
        ({"revision": "9"}, {"revision": "10"}, "other"),
        ({"revision": "2"}, {"revision": "B"}, None),
        ({"revision": "2a"}, {"revision": "2b"}, None),
        ({"date": DAY}, {"date": NEXT}, "other"),
        ({"date": DAY}, {}, None),
        ({"date": DAY, "revision": "B"}, {"date": DAY, "revision": "C"}, "other"),
        ({"date": NEXT, "revision": "B"}, {"date": DAY, "revision": "C"}, None),
        ({"date": DAY, "revision": "B"}, {"date": DAY, "revision": "B"}, "same"),
    ],
)
def test_which_is_newer(mine: dict[str, Any], theirs: dict[str, Any], expected: str | None) -> None:
    one, two = sheet(ONE, "one.csv", **mine), sheet(ONE, "two.csv", **theirs)
    assert newer(one, two) == expected
    assert ("OLDER" in about(one, two)) == (expected == "reference")


def test_the_data_is_plain() -> None:
    one, two = sheet(ONE, "one.csv"), sheet(TWO, "two.csv", revision="C")
    plain = json.loads(json.dumps(data(compare(one.map, two.map), one, two)))
    assert {change["kind"] for change in plain["changes"]} == {
        "missing", "extra", "phantom", "audience", "resourced", "renamed"
    }  # fmt: skip
    assert plain["other"] == {"file": "two.csv", "revision": "C", "date": None}
    assert {pair["by"] for pair in plain["matches"]} == {"box and name", "socket"}
    for change in plain["changes"]:
        assert change["rows"][0] == {"reference": change["reference"], "other": change["other"]}
    missing = next(change for change in plain["changes"] if change["kind"] == "missing")
    assert missing["reference"]["row"] == 6
    assert missing["other"] is None


def test_a_range_of_rows_is_said_as_one() -> None:
    rows = [f"{n},Chair {n}x" for n in range(1, 65)]
    one = sheet("Ch,Name\n" + "\n".join(rows), "one.csv")
    two = sheet("Ch,Name\n" + "\n".join(rows[:56]), "two.csv")
    found = compare(one.map, two.map)
    assert places(found.changes[0].lines(), one, two) == "one.csv:58-65  two.csv:-"


def test_the_page_holds_everything_and_needs_nothing() -> None:
    evil = ONE.replace("Oboe", "<script>alert(1)</script> & Co")
    one, two = sheet(evil, "one.csv"), sheet(TWO, "two<b>.csv")
    found = compare(one.map, two.map)
    html = page(found, one, two).decode()
    assert "<script" not in html
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; Co" in html
    assert "two&lt;b&gt;.csv" in html
    for outside in ("http://", "https://", "src=", "url(", "@import", "<link"):
        assert outside not in html
    for name in ("Kick", "Bass", "Harp", "Hrp", "Click", "Drone"):
        assert f">{name}</td>" in html
    for change in found.changes:
        assert change.kind in html
    assert html.count('class="differs"') == len({line for change in found.changes for line in change.lines()})
    assert page(found, one, two) == page(compare(one.map, two.map), one, two)


def test_every_link_of_the_page_leads_somewhere() -> None:
    one, two = sheet(ONE, "one.csv"), sheet(TWO.replace("Hrp", "Celtic harp thing"), "two.csv")
    html = page(compare(one.map, two.map), one, two).decode()
    ids = re.findall(r' id="([^"]+)"', html)
    assert len(ids) == len(set(ids))
    targets = re.findall(r' href="#([^"]+)"', html)
    assert len(targets) > 5
    assert set(targets) <= set(ids)
    assert html.count(" href=") == len(targets)


def test_an_empty_list_is_a_page_too() -> None:
    empty = Sheet("none.json", ChannelMap(), {})
    one = sheet(ONE, "one.csv")
    assert b"Kick" in page(compare(one.map, empty.map), one, empty)
    assert text(compare(empty.map, empty.map), empty, empty)[0].startswith("Not one channel")
