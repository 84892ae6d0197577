"""The tick store: whatever order ticks come in, and however often, the same is said."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge.journal import Entry
from chanbridge.web.linecheck import (
    HEADING,
    KIND,
    RESULTS,
    Kept,
    Tick,
    TickError,
    Ticks,
    as_csv,
    summed,
    understood,
)

CHANNELS, PLACES = ("kick", "ana"), ("desk", "ears")


def kept(number: int, tick: Tick) -> Kept:
    return Kept(tick, number, f"2026-12-12T18:{number // 60:02}:{number % 60:02}Z")


@st.composite
def stories(draw: st.DrawFn) -> list[Kept]:
    """Ticks by people who see some of what others have ticked, and some of what nobody has."""
    story: list[Kept] = []
    for number in range(draw(st.integers(0, 14))):
        channel, at = draw(st.sampled_from(CHANNELS)), draw(st.sampled_from(PLACES))
        there = [one.tick.id for one in story if one.tick.cell == (channel, at)]
        sees = draw(st.lists(st.sampled_from(there), unique=True)) if there else []
        result = draw(st.sampled_from(list(RESULTS)))
        story.append(kept(number, Tick(f"tick-{number:04}", channel, at, result, sees=tuple(sees))))
    return story


def cells(ticks: Ticks) -> dict[tuple[str, str], tuple[object, ...]]:
    return {
        (channel, at): (ticks.result(channel, at), {one.tick.id for one in ticks.standing(channel, at)})
        for channel in CHANNELS
        for at in PLACES
    }


def of(story: list[Kept]) -> Ticks:
    made = Ticks()
    for one in story:
        made.add(one)
    return made


@given(stories(), st.randoms(use_true_random=False))
def test_order_and_repeats_change_nothing(story: list[Kept], chance: Any) -> None:
    mixed = [*story, *chance.sample(story, len(story) // 2)]
    chance.shuffle(mixed)
    assert cells(of(mixed)) == cells(of(story))


@given(stories())
def test_nothing_is_overruled_that_nobody_has_seen(story: list[Kept]) -> None:
    ticks = of(story)
    for one in story:
        answered = any(one.tick.id in other.tick.sees and other.tick.cell == one.tick.cell for other in story)
        assert (one in ticks.standing(*one.tick.cell)) is not answered


@given(stories())
def test_a_tick_that_has_seen_all_settles_its_cell(story: list[Kept]) -> None:
    ticks = of(story)
    for channel, at in [*ticks.cells()]:
        seen = tuple(one.tick.id for one in ticks.standing(channel, at))
        ticks.add(kept(99, Tick(f"last-{channel}-{at}", channel, at, "arrived", sees=seen)))
        assert ticks.result(channel, at) == "arrived"
        assert len(ticks.standing(channel, at)) == 1


@given(stories())
def test_the_journal_gives_back_what_was_ticked(story: list[Kept]) -> None:
    entries = [
        Entry(one.number, one.when, "", KIND, json.loads(json.dumps({"ticks": [one.tick.data()]})))
        for one in story
    ]
    assert Ticks.of(entries).all() == of(story).all()


def test_two_who_have_not_seen_each_other_are_in_conflict_until_somebody_has() -> None:
    one = kept(1, Tick("tick-0001", "kick", "desk", "dead", who="Ana"))
    two = kept(2, Tick("tick-0002", "kick", "desk", "arrived", who="Jonas"))
    ticks = of([one, two])
    assert ticks.result("kick", "desk") == "conflict"
    ticks.add(kept(3, Tick("tick-0003", "kick", "desk", "arrived", sees=("tick-0001", "tick-0002"))))
    assert ticks.result("kick", "desk") == "arrived"
    assert len(ticks.all()) == 3


def test_two_who_say_the_same_are_in_none() -> None:
    ticks = of([kept(at, Tick(f"tick-000{at}", "kick", "desk", "dead")) for at in (1, 2)])
    assert ticks.result("kick", "desk") == "dead"


GOOD = {"id": "0123456789abcdef", "channel": "kick", "at": "desk", "result": "dead"}


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ([], "no tick"),
        (None, "no tick"),
        (GOOD | {"more": 1}, "no tick"),
        (GOOD | {"id": "short"}, "id of its own"),
        (GOOD | {"id": "../../../etc/passwd"}, "id of its own"),
        (GOOD | {"channel": ""}, "a channel"),
        (GOOD | {"result": "fine"}, "there are arrived, dead"),
        (GOOD | {"note": "x" * 201}, "at most 200"),
        (GOOD | {"note": "two\nlines"}, "one line"),
        (GOOD | {"note": "\u202egnp.exe"}, "one line"),
        (GOOD | {"who": 7}, "who: write a text"),
        (GOOD | {"made": "yesterday"}, "made: write a time"),
        (GOOD | {"sees": "0123456789abcdef"}, "sees"),
        (GOOD | {"sees": ["0123456789abcdef"] * 33}, "at most 32"),
    ],
)
def test_what_is_no_tick_is_refused_in_words(wrong: object, said: str) -> None:
    with pytest.raises(TickError, match=said):
        understood(wrong)


@given(st.recursive(st.none() | st.booleans() | st.integers() | st.text(), lambda inner: st.lists(inner) | st.dictionaries(st.sampled_from([*Tick._fields, "x"]), inner)))  # fmt: skip
def test_whatever_is_sent_is_a_tick_or_refused(said: object) -> None:
    try:
        tick = understood(said)
    except TickError:
        return
    assert understood(json.loads(json.dumps(tick.data()))) == tick


def test_csv_has_a_row_for_every_tick_and_runs_nothing() -> None:
    # RFC 4180 section 2 for the shape; that spreadsheets run cells that begin with = is common practice
    ticks = of(
        [
            kept(1, Tick("tick-0001", "kick", "desk", "swapped", other="ana", note='=1+1 "so"', who="Ana")),
            kept(2, Tick("tick-0002", "kick", "desk", "arrived", sees=("tick-0001",))),
        ]
    )
    rows = list(
        csv.reader(
            io.StringIO(as_csv(ticks, {"kick": "Kick", "ana": "Ana's voice"}), newline=""), strict=True
        )
    )
    assert rows[0] == list(HEADING)
    assert rows[1][3:11] == ["kick", "Kick", "desk", "swapped", "Ana's voice", '\'=1+1 "so"', "", "no"]
    assert [row[10] for row in rows[1:]] == ["no", "yes"]


def test_the_cover_says_what_is_open_and_what_is_wrong() -> None:
    names = {"desk": "House desk", "kick": "Kick", "ana": "Ana"}
    assert summed(Ticks(), {"desk": {"kick": ["A1 > 1"]}}, names) == ()
    ticks = of([kept(1, Tick("tick-0001", "kick", "desk", "dead", who="Jonas"))])
    stands = {"desk": {"kick": ["A1 > 1"], "ana": ["A2 > 2"]}}
    lines = summed(ticks, stands, names)
    assert lines == (
        "House desk: 0 of 2 arrived, 1 not ticked; Kick dead",
        "Last tick: 2026-12-12T18:00:01Z, Jonas",
    )
