"""Mixes and who hears them, beside the rules' own examples."""

from __future__ import annotations

from pathlib import Path

import pytest

from chanbridge.check import check
from chanbridge.model import Channel
from tests.check.examples import example, on_slots, said


def test_a_mix_within_a_mix_is_looked_into() -> None:
    click = Channel(id="click", name="Click", audience={"air": "not allowed", "room": "not allowed"})
    inner = Channel(
        id="inner",
        name="Tracks",
        kind="mix",
        contents=("click",),
        audience={"air": "not allowed", "room": "not allowed"},
    )
    outer = Channel(
        id="outer",
        name="Programme",
        kind="mix",
        contents=("inner",),
        audience={"air": "allowed", "room": "not allowed"},
    )
    assert said(on_slots(click, inner, outer)) == [
        ("not-for-air-in-mix", "error", ("Programme", "Tracks", "Click"))
    ]
    assert said(on_slots(click, inner)) == []


def test_a_mix_that_holds_itself_ends() -> None:
    one = Channel(id="one", name="One", kind="mix", contents=("two",))
    two = Channel(id="two", name="Two", kind="mix", contents=("one",))
    assert said(on_slots(one, two)) == [
        ("contents-unknown", "error", ("One",)),
        ("contents-unknown", "error", ("Two",)),
    ]


def test_ambience_is_for_air_but_not_for_the_room() -> None:
    ambience = Channel(id="a", name="Ambience", kind="ambience", audience={"room": "not allowed"})
    for name, rule in (("air", ""), ("room", "ambience-in-room"), ("monitors", "")):
        closed = {"air": "not allowed", "room": "not allowed"} | {name: "allowed"}
        mix = Channel(id="m", name="Mix", kind="mix", contents=("a",), audience=closed)
        assert [item[0] for item in said(on_slots(ambience, mix))] == ([rule] if rule else [])


@pytest.mark.parametrize(
    ("tag", "rules"),
    [("air", ["not-for-air-in-mix"]), ("room", ["not-for-air-in-mix"]), ("monitors", []), ("record", [])],
)
def test_a_return_that_leaves_with_the_click_in_it(tag: str, rules: list[str], tmp_path: Path) -> None:
    text = (
        "Socket,Name,Phantom\n1,Ana,no\n2,Click,no\n"
        '[[box]]\nid = "A"\nsheet = "a.csv"\ninputs = 8\noutputs = 2\nblock = "one"\n'
        f'[[return]]\nid = "mix"\nfrom = "desk"\ncontents = ["Ana", "Click"]\nstereo = true\nto = ["A 1"]\ntags = ["{tag}"]\n'
    )
    found = check(example(text, tmp_path), only=["not-for-air-in-mix", "ambience-in-room"]).findings
    assert [item.rule for item in found] == rules
    assert all(item.channels == ("mix L", "Click") for item in found)


def test_contents_by_name_are_told_their_ids() -> None:
    ana = Channel(id="a-ana", name="Ana")
    mix = Channel(id="mix", name="Mix", kind="mix", contents=("Ana", "nobody"))
    [finding] = check(on_slots(ana, mix)).findings
    assert finding.rule == "contents-unknown"
    assert (
        "holds 'Ana', 'nobody', which nobody sends; name channels by their ids ('a-ana'?)" in finding.message
    )
