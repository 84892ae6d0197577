"""Blocks onto feeds: everything delivered or named, whatever the blocks hold and whatever is asked."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chanbridge.mode import Mode
from chanbridge.model import Audience, Channel, ChannelMap, Entry, Pair, Port, Slot
from chanbridge.plan.conflict import PlanError
from chanbridge.plan.straight import Asked, Feeds, gives_way, plan_feeds

FEW = settings(max_examples=max(8, settings.default.max_examples // 5) if settings.default else 8)
"""A fifth of the profile's examples, for what takes long."""

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
            group = draw(st.sampled_from(("", "", "Drums", "Vocals")))
            if what == "pair":
                sides = draw(st.permutations(("left", "right")))
                for step in (0, 1):
                    other = f"{block}-{at + 1 - step}"
                    channels.append(
                        Channel(
                            id=f"{block}-{at + step}",
                            group=group,
                            pair=Pair(partner=other, side=sides[step]),
                        )
                    )
                    entries.append(Entry(f"{block}-{at + step}", Slot(block, at + step)))
                at += 2
                continue
            if what != "spare":
                channels.append(Channel(id=name, group=group, audience=heard))
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


def where(whole: ChannelMap, made_patches: tuple[object, ...], feeds: Feeds) -> dict[str, list[Slot]]:
    """Channel → every slot of a feed on which it is heard."""
    fed = whole.changed(
        ports=(*whole.ports, *(Port(id=name, kind="feed", size=size) for name, size in feeds.ports)),
        patches=made_patches,
    )
    at: dict[str, list[Slot]] = {}
    for name, size in feeds.ports:
        for row in fed.sheet(name):
            assert 1 <= row.number <= size
            if row.channel:
                at.setdefault(row.channel.id, []).append(Slot(name, row.number))
    return at


@given(mode=st.sampled_from(MODES), whole=blocks())
def test_every_channel_is_delivered_once_or_named(mode: str, whole: ChannelMap) -> None:
    slots = Mode.parse(mode).slots
    made = plan_feeds(whole, ["one", "two"], Feeds((("feed", slots),)))
    named = [out.channel for out in made.left_out]
    found = where(whole, made.patches, Feeds((("feed", slots),)))
    at = {name: [slot.number for slot in places] for name, places in found.items() if name not in named}
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
    assert made.proved
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
        assert free + len(quiet) < smallest


@FEW
@given(whole=blocks(size=12), data=st.data())
def test_onto_several_feeds_with_whatever_is_asked(whole: ChannelMap, data: st.DataObject) -> None:
    """Once or named, pairs never torn, fixed places kept, or an error that says what cannot be."""
    sizes = data.draw(st.sampled_from([(16,), (8, 8), (16, 8), (8, 4, 8)]))
    feeds = Feeds(tuple((f"f{at}", size) for at, size in enumerate(sizes)))
    names = st.sampled_from([channel.id for channel in whole.channels] or ["none"])
    places = st.dictionaries(names, st.integers(1, sum(sizes)), max_size=2)
    asked = Asked(
        layout=data.draw(st.sampled_from([None, None, "packed"])),
        fixed=data.draw(places),
        wants=data.draw(places),
        issued=data.draw(places),
        grain=data.draw(st.sampled_from([1, 1, 1, 4])),
        spare=data.draw(st.sampled_from([0, 0, 1])),
        keep_order=data.draw(st.booleans()) and False,
        seconds=0.5,
    )
    try:
        made = plan_feeds(whole, ["one", "two"], feeds, asked)
    except PlanError as error:
        assert "cannot" in error.message
        return
    named = [out.channel for out in made.left_out]
    found = where(whole, made.patches, feeds)
    at = {name: places for name, places in found.items() if name not in named}
    assert sorted([*at, *named]) == sorted(channel.id for channel in whole.channels)
    assert all(len(places) == 1 for places in at.values())
    for name, number in asked.fixed.items():
        if name in at:
            assert at[name] == [feeds.slot(number)]
    for moved in made.moved:
        assert moved.was == feeds.slot(asked.issued[moved.channel])
        assert at.get(moved.channel) != [moved.was]
    assert {name for name, number in asked.issued.items() if at.get(name) != [feeds.slot(number)]} == {
        moved.channel for moved in made.moved
    }


def two(*numbers: tuple[str, int]) -> ChannelMap:
    """Two blocks of 40 with a channel on each of the slots named."""
    return ChannelMap(
        channels=tuple(Channel(id=f"{block}{number}") for block, number in numbers),
        entries=tuple(Entry(f"{block}{number}", Slot(block, number)) for block, number in numbers),
        ports=(Port(id="one", size=40), Port(id="two", size=40)),
    )


def test_straight_keeps_spares_in_place() -> None:
    made = plan_feeds(two(("one", 3), ("two", 24)), ["one", "two"], Feeds((("feed", 64),)))
    assert made.layout == "straight"
    assert len(made.patches) == 64
    assert "slot 64 of 64" in made.why


def test_the_layouts_in_the_order_that_engineers_prefer() -> None:
    feeds = Feeds((("a", 64), ("b", 64)))
    one = plan_feeds(two(("one", 3), ("two", 24)), ["one", "two"], feeds)
    assert one.layout == "straight"
    assert {patch.target.port for patch in one.patches} == {"a"}
    both = plan_feeds(two(("one", 3), ("two", 25)), ["one", "two"], feeds)
    assert both.layout == "straight on two feeds"
    assert {(patch.source.port, patch.target.port) for patch in both.patches} == {("one", "a"), ("two", "b")}
    assert all(patch.source.number == patch.target.number for patch in both.patches)
    small = Feeds((("a", 28), ("b", 28)))
    packed = plan_feeds(two(("one", 40), ("two", 25)), ["one", "two"], small)
    assert packed.layout == "packed"
    assert packed.left_out == ()


def test_a_second_feed_carries_what_is_not_for_air_too() -> None:
    """On one feed the talkback would stand on slot 66 of 64; on the second there is room for it."""
    whole = two(("one", 3), ("two", 24), ("two", 26))
    talkback = whole.channels[-1].model_copy(update={"audience": Audience(air="not allowed")})
    whole = whole.model_copy(update={"channels": (*whole.channels[:-1], talkback)})
    one = plan_feeds(whole, ["one", "two"], Feeds((("a", 64),)))
    assert [out.channel for out in one.left_out] == [talkback.id]
    both = plan_feeds(whole, ["one", "two"], Feeds((("a", 64), ("b", 64))))
    assert both.layout == "straight on two feeds"
    assert both.left_out == ()


def test_a_feed_carries_parts_of_two_blocks() -> None:
    whole = two(("one", 3), ("one", 30), ("two", 7), ("two", 9))
    asked = Asked(parts={"one": range(25, 41), "two": (9, 7)})
    made = plan_feeds(whole, ["one", "two"], Feeds((("feed", 28),)), asked)
    assert made.layout == "straight"
    at = {patch.source: patch.target.number for patch in made.patches}
    assert at[Slot("one", 30)] == 6
    assert (at[Slot("two", 9)], at[Slot("two", 7)]) == (17, 18)
    assert [(out.channel, out.reason) for out in made.left_out] == [
        ("one3", "slot 3 of one is not among those that go")
    ]


def test_a_slot_past_the_block_and_a_doubled_slot_are_named() -> None:
    whole = ChannelMap(
        channels=(Channel(id="a", name="Ana"), Channel(id="b"), Channel(id="c")),
        entries=(Entry("a", Slot("one", 1)), Entry("b", Slot("one", 1)), Entry("c", Slot("one", 41))),
        ports=(Port(id="one", size=40),),
    )
    made = plan_feeds(whole, ["one"], Feeds((("feed", 64),)))
    assert [(out.channel, out.reason) for out in made.left_out] == [
        ("b", "slot 1 of one already carries 'Ana'"),
        ("c", "slot 41 lies past the end of one, which has 40 slots"),
    ]
    packed = plan_feeds(whole, ["one"], Feeds((("feed", 64),)), Asked(layout="packed"))
    assert packed.why == "packed: as was asked; 1 of 3 channels carried"
    part = Asked(layout="packed", parts={"one": (1, 2)})  # what is not to go is not counted
    assert plan_feeds(two(("one", 1), ("one", 9)), ["one"], Feeds((("feed", 64),)), part).why.endswith(
        "1 of 1 channels carried"
    )
    none = plan_feeds(two(), ["one"], Feeds((("feed", 64),)))
    assert none.why == "straight through: no channel stands on any slot that it carries"


def test_groups_are_gathered_and_spare_room_is_left_after_each() -> None:
    channels = tuple(
        Channel(id=f"c{at}", group=group) for at, group in enumerate(("Drums", "Vocals", "drums", "Vocals"))
    )
    whole = ChannelMap(
        channels=channels,
        entries=tuple(Entry(channel.id, Slot("one", 10 + at)) for at, channel in enumerate(channels)),
        ports=(Port(id="one", size=40),),
    )
    made = plan_feeds(whole, ["one"], Feeds((("feed", 8),)), Asked(spare=2))
    assert {patch.source.number - 10: patch.target.number for patch in made.patches} == {
        0: 1,
        2: 2,
        1: 5,
        3: 6,
    }
    with pytest.raises(PlanError, match=r"3 spare after each group, which is 6 slots on a feed of 4 slots"):
        plan_feeds(whole, ["one"], Feeds((("feed", 4),)), Asked(spare=3))


def test_what_a_list_asks_and_the_show_cannot_give_stays_empty_while_there_is_room() -> None:
    whole = two(*(("one", at) for at in (1, 2, 3)))
    asked = Asked(wants={"one3": 1}, ungiven={2: "Steel drum"})
    made = plan_feeds(whole, ["one"], Feeds((("feed", 4),)), asked)
    assert {patch.source.number: patch.target.number for patch in made.patches} == {3: 1, 1: 3, 2: 4}
    assert [(item.slot.number, item.text) for item in made.reserved] == [(2, "asked for: Steel drum")]
    tight = plan_feeds(whole, ["one"], Feeds((("feed", 3),)), asked)
    assert len(tight.patches) == 3
    assert tight.reserved == ()
