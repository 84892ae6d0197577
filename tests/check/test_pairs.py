"""Pairs, beside the rules' own examples."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from chanbridge.check import check
from chanbridge.check.rule import Facts
from chanbridge.model import Channel, ChannelMap, Entry, Pair, Port, Slot
from tests.check.examples import example, on_slots, said


def side(name: str, side: Any, partner: str | None, **more: Any) -> Channel:
    return Channel(id=name, name=name, pair=Pair(partner=partner, side=side), **more)


def test_pairs_that_only_a_map_can_hold() -> None:
    assert said(on_slots(side("a", "left", "b"), side("b", "left", "a"))) == [
        ("pair-doubled", "warning", ("a", "b"))
    ]
    assert said(on_slots(side("a", "left", "b"), Channel(id="b", name="b"))) == [
        ("pair-half", "warning", ("a", "b"))
    ]
    chain = on_slots(side("a", "left", "b"), side("b", "right", "c"), side("c", "left", None))
    assert [item[0] for item in said(chain)] == ["pair-half"] * 3
    assert said(on_slots(side("a", "left", "a"))) == [("pair-half", "warning", ("a",))]
    assert said(on_slots(side("a", "left", "gone"))) == [("pair-half", "warning", ("a",))]
    found = said(on_slots(side("a", "left", "b"), side("b", "right", "a"), side("c", "left", "b")))
    assert ("pair-doubled", "warning", ("b", "a", "c")) in found
    assert said(on_slots(side("a", "side", "b"), side("b", "mid", "a"))) == [
        ("pair-reversed", "error", ("b", "a"))
    ]


def test_mid_and_side_may_be_unlike() -> None:
    assert said(on_slots(side("a", "mid", "b", phantom="on"), side("b", "side", "a", phantom="off"))) == []


@pytest.mark.parametrize(
    ("one", "two", "words"),
    [
        ({"phantom": "on"}, {"phantom": "off"}, "phantom on and off"),
        ({"phantom": "on"}, {}, "phantom on and not stated"),
        ({"polarity": "normal"}, {"polarity": "reversed"}, "polarity normal and reversed"),
        ({"gain_db": 12}, {"gain_db": 30.5}, "gain 12 and 30.5 dB"),
        ({"pad_db": 0}, {"pad_db": -20}, "pad 0 and -20 dB"),
        ({"phantom": "optional"}, {"phantom": "on"}, ""),
        ({"gain_db": 12}, {}, ""),
    ],
)
def test_unlike_sides(one: dict[str, Any], two: dict[str, Any], words: str) -> None:
    found = check(
        on_slots(side("a", "left", "b", **one), side("b", "right", "a", **two)), only=["pair-unlike"]
    ).findings
    assert [words in item.message for item in found] == ([True] if words else [])


def test_sides_apart_in_one_port() -> None:
    whole = on_slots(side("a", "left", "b"), Channel(id="x", name="x"), side("b", "right", "a"))
    assert said(whole) == [("pair-split", "note", ("a", "b"))]


def test_a_pair_over_a_grain_edge(tmp_path: Path) -> None:
    text = (
        'Socket,Name\n7,Bass\n8,Keys L\n9,Keys R\n[[box]]\nid = "A"\nsheet = "a.csv"\ninputs = 16\nblock = "one"\n'
        '[[block]]\nid = "one"\n[[device]]\nid = "desk"\ngrain = 8\nports = [{id = "in", carries = ["one"]}]\n'
    )
    found = check(example(text, tmp_path), only=["pair-split"]).findings
    assert [item.channels for item in found] == [("Keys L", "Keys R")]
    assert "slots 8 and 9 of one, and desk moves channels in groups of 8" in found[0].message


def test_a_pair_of_which_a_feed_carries_one_side(tmp_path: Path) -> None:
    text = (
        'Socket,Name\n1,Keys L\n2,Keys R\n[[feed]]\nid = "feed"\nmode = "56@48000"\nblocks = ["one"]\n'
        'parts = {one = "1"}\n[[recipient]]\nid = "truck"\ntakes = ["feed"]\n'
    )
    found = check(example(text, tmp_path), only=["pair-split"]).findings
    assert [(item.where, item.channels) for item in found] == [("feed", ("Keys L", "Keys R"))]
    assert "'Keys L' is on feed and 'Keys R' is on none" in found[0].message


def test_a_feed_without_room_is_said_once(tmp_path: Path) -> None:
    rows = "".join(f"{at},Vox {at}\n" for at in range(1, 31))
    text = (
        f'Socket,Name\n{rows}[[box]]\nid = "A"\nsheet = "a.csv"\nblock = "one"\n'
        '[[block]]\nid = "one"\nrate = 96000\n[[feed]]\nid = "feed"\nmode = "28@96000"\nblocks = ["one"]\n'
        '[[recipient]]\nid = "truck"\ntakes = ["feed"]\n[[recipient]]\nid = "recorder"\ntakes = ["feed"]\n'
    )
    found = check(example(text, tmp_path), only=["over-capacity", "must-have-missing"]).findings
    assert [(item.rule, item.severity, len(item.channels)) for item in found] == [
        ("over-capacity", "error", 2)
    ]
    assert "28@96000 holds 28 of 30 channels, without " in found[0].message


def test_whoever_is_wanted_on_air_and_left_out_is_named_first(tmp_path: Path) -> None:
    names = [*(f"Click {at}" for at in range(1, 7)), *(f"Vox {at}" for at in range(1, 31))]
    rows = "".join(f"{at},{name}\n" for at, name in enumerate(names, 1))
    text = (
        f'Socket,Name\n{rows}[[box]]\nid = "A"\nsheet = "a.csv"\nblock = "one"\n'
        '[[block]]\nid = "one"\nrate = 96000\n[[feed]]\nid = "feed"\nmode = "28@96000"\nblocks = ["one"]\n'
        '[[recipient]]\nid = "truck"\ntakes = ["feed"]\n'
    )
    found = check(example(text, tmp_path), only=["over-capacity"]).findings
    assert re.search(r"without 'Vox \d+', 'Vox \d+', 'Click \d' and 5 more", found[0].message)


def on_two(first: tuple[int, int], second: tuple[int, int]) -> list[tuple[str, str]]:
    """What is found on a pair on two feeds: the slots of left and right on each."""
    sides = (side("a", "left", "b"), side("b", "right", "a"))
    entries = [Entry(one.id, Slot("f", at)) for one, at in zip(sides, first, strict=True)]
    patches = [(Slot("f", here), Slot("g", there)) for here, there in zip(first, second, strict=True)]
    ports = tuple(Port(id=name, kind="feed", size=8) for name in "fg")
    whole = ChannelMap(channels=sides, entries=tuple(entries), ports=ports, patches=tuple(patches))
    return [(item.rule, item.message) for item in check(Facts(whole)).findings]


def test_a_pair_is_looked_at_wherever_it_stands() -> None:
    assert on_two((1, 2), (3, 4)) == []
    [(rule, message)] = on_two((1, 2), (4, 3))
    assert (rule, "slot 3 of g before 4" in message) == ("pair-reversed", True)
    [(rule, message)] = on_two((1, 2), (3, 5))
    assert (rule, "slot 3 of g and 5" in message) == ("pair-split", True)
