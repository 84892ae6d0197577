"""Blocks onto feeds: everything delivered or named, whatever the blocks hold."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge.mode import Mode
from chanbridge.model import Audience, Channel, ChannelMap, Entry, Pair, Port, Slot
from chanbridge.plan.pack import Unit, give_way, place
from chanbridge.plan.straight import gives_way, plan

MODES = ("64@48000", "56@48000", "32@96000", "28@96000")


@st.composite
def blocks(draw: st.DrawFn, size: int = 40) -> ChannelMap:
    """Two blocks with singles, pairs, channels not for air, doubled slots and slots past the end."""
    channels: list[Channel] = []
    entries: list[Entry] = []
    for block in ("one", "two"):
        at = 1
        while at <= size + 3:
            what = draw(st.sampled_from(("single", "single", "single", "pair", "spare", "quiet", "double")))
            name = f"{block}-{at}"
            heard = Audience(air="not allowed") if what == "quiet" else Audience()
            if what == "pair":
                sides = draw(st.permutations(("left", "right")))
                for step in (0, 1):
                    other = f"{block}-{at + 1 - step}"
                    channels.append(
                        Channel(id=f"{block}-{at + step}", pair=Pair(partner=other, side=sides[step]))
                    )
                    entries.append(Entry(f"{block}-{at + step}", Slot(block, at + step)))
                at += 2
                continue
            if what != "spare":
                channels.append(Channel(id=name, audience=heard))
                entries.append(Entry(name, Slot(block, at)))
            if what == "double":
                channels.append(Channel(id=f"{name}-again"))
                entries.append(Entry(f"{name}-again", Slot(block, at)))
            at += draw(st.sampled_from((1, 1, 1, 5, 30)))
    return ChannelMap(
        channels=tuple(channels),
        entries=tuple(entries),
        ports=(Port(id="one", size=size), Port(id="two", size=size)),
    )


@pytest.mark.parametrize("mode", MODES)
@given(whole=blocks())
def test_every_channel_is_delivered_once_or_named(mode: str, whole: ChannelMap) -> None:
    slots = Mode.parse(mode).slots
    made = plan(whole, ["one", "two"], "feed", slots)
    fed = whole.changed(ports=(*whole.ports, Port(id="feed", kind="feed", size=slots)), patches=made.patches)
    named = [out.channel for out in made.left_out]
    at: dict[str, list[int]] = {}
    for row in fed.sheet("feed"):
        assert 1 <= row.number <= slots
        if row.channel and row.channel.id not in named:
            at.setdefault(row.channel.id, []).append(row.number)
    assert sorted([*at, *named]) == sorted(channel.id for channel in whole.channels)
    assert all(len(places) == 1 for places in at.values())
    for out in made.left_out:
        channel = whole.channel(out.channel)
        assert channel
        assert out.reason
        assert out.gives_way <= gives_way(channel)
    if made.layout == "straight":
        for (block, number), target in made.patches:
            assert target.number == number + (40 if block == "two" else 0)
        return
    faulty = {out.channel for out in made.left_out if "past the end" in out.reason}
    for channel in whole.channels:
        if channel.pair and channel.id in at and channel.pair.partner in at:
            mine, other = at[channel.id][0], at[channel.pair.partner][0]
            assert abs(mine - other) == 1
            assert min(mine, other) % 2 == 1
            assert (mine < other) == (channel.pair.side == "left")
        if channel.pair and channel.pair.partner and whole.channel(channel.pair.partner):
            assert (channel.id in at) == (channel.pair.partner in at) or faulty & {
                channel.id,
                channel.pair.partner,
            }
    air_left_out = [out for out in made.left_out if out.reason.startswith("no room") and not out.gives_way]
    if air_left_out:
        carried = [whole.channel(name) for name in at]
        free = slots - len(at)
        quiet = [channel for channel in carried if channel and gives_way(channel)]
        smallest = min(
            2 if (whole.channel(out.channel) or Channel(id="x")).pair else 1 for out in air_left_out
        )
        assert free + len(quiet) < smallest or (smallest == 2 and free + len(quiet) < 2)


def test_the_fewest_give_way() -> None:
    """Against every subset, for small cases."""
    for sizes in ((1, 1, 2, 2, 1), (2, 2, 2), (1, 2, 1, 2, 1, 1)):
        units = [Unit(tuple(f"{at}.{n}" for n in range(size)), True) for at, size in enumerate(sizes)]
        for slots in range(sum(sizes) + 1):
            kept, gone = give_way(units, slots)
            most = max(
                sum(map(len, (unit.channels for unit in chosen)))
                for count in range(len(units) + 1)
                for chosen in combinations(units, count)
                if sum(len(unit.channels) for unit in chosen) <= slots
            )
            assert sum(len(unit.channels) for unit in kept) == most
            assert sorted([*kept, *gone]) == sorted(units)


@given(st.lists(st.integers(1, 2), max_size=40), st.integers(0, 4))
def test_place_fits_any_run_without_a_gap_if_need_be(sizes: list[int], room: int) -> None:
    units = [Unit(tuple(f"{at}.{n}" for n in range(size)), False) for at, size in enumerate(sizes)]
    slots = sum(sizes) + sum(sizes) % 2 + 2 * room
    placed = place(units, slots)
    assert sorted(placed.values()) == sorted(name for unit in units for name in unit.channels)
    assert all(1 <= slot <= slots for slot in placed)
    where = {name: slot for slot, name in placed.items()}
    for unit in units:
        if len(unit.channels) == 2:
            assert where[unit.channels[0]] % 2 == 1
            assert where[unit.channels[1]] == where[unit.channels[0]] + 1


def test_straight_keeps_spares_in_place() -> None:
    whole = ChannelMap(
        channels=(Channel(id="a"), Channel(id="b")),
        entries=(Entry("a", Slot("one", 3)), Entry("b", Slot("two", 24))),
        ports=(Port(id="one", size=40), Port(id="two", size=40)),
    )
    made = plan(whole, ["one", "two"], "feed", 64)
    assert made.layout == "straight"
    assert len(made.patches) == 64
    assert "slot 64 of 64" in made.why


def test_a_slot_past_the_block_and_a_doubled_slot_are_named() -> None:
    whole = ChannelMap(
        channels=(Channel(id="a", name="Ana"), Channel(id="b"), Channel(id="c")),
        entries=(Entry("a", Slot("one", 1)), Entry("b", Slot("one", 1)), Entry("c", Slot("one", 41))),
        ports=(Port(id="one", size=40),),
    )
    made = plan(whole, ["one"], "feed", 64)
    assert [(out.channel, out.reason) for out in made.left_out] == [
        ("b", "slot 1 of one already carries 'Ana'"),
        ("c", "slot 41 lies past the end of one, which has 40 slots"),
    ]
