"""The feeds of a show, each planned as its show file asks."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

from chanbridge.assemble.lists import Listed, listed, named
from chanbridge.model import ChannelMap, Slot
from chanbridge.plan.acts import one_place_each, without
from chanbridge.plan.conflict import PlanError
from chanbridge.plan.declared import feed_group, place_of, slots_of
from chanbridge.plan.demands import task_of
from chanbridge.plan.stands import stands
from chanbridge.plan.straight import Asked, Feeds, Plan, moves, plan_feeds
from chanbridge.show import Show
from chanbridge.system import Feed

Ways = dict[str, dict[str, int]]
"""Where every channel stood on the feeds in the acts before: first feed → channel → slot over its group."""

SECONDS = 4.0
"""How long a proof may take for each feed and act."""


def settle(
    show: Show, acts: Sequence[ChannelMap], made: Sequence[Mapping[str, Plan]], moving: Collection[str]
) -> tuple[Ways, dict[str, str]]:
    """Places for feeds on which channels move between acts, so that none does; and what is known where there are none.

    `acts`: the boxes and blocks in every act, `made`: feed id → the plan that each has alone; what that leaves out needs no
    place. `moving`: the first feed of each group that is concerned.
    """
    ways: Ways = {}
    said = {}
    for feed in show.file.feed:
        if feed.id in moving:
            group = feed_group(show.file, feed)
            feeds = Feeds(tuple((one.id, one.mode.slots) for one in group))
            parts = {name: slots_of(text) for name, text in feed.parts.items()}
            shows = [show, *(in_act(show, act.id) for act in show.file.act)]
            asked = [_asked(one, whole, group, feeds, {}) for one, whole in zip(shows, acts, strict=True)]
            if asked[0].grain > 1:
                said[feed.id] = (
                    "a converter that moves channels in blocks keeps blocks, not channels, in place"
                )
                continue
            left_out = [{out.channel for out in plans[feed.id].left_out} for plans in made]
            # What cannot be given stays empty if it can.
            for empty in (frozenset(asked[0].ungiven), frozenset[int]()):
                tasks = [
                    without(task_of(stands(whole, feed.blocks, parts), feeds, wish, empty), gone)
                    for whole, wish, gone in zip(acts, asked, left_out, strict=True)
                ]
                joint = one_place_each(tasks, SECONDS)
                if joint.at is not None:
                    break
            if joint.at is not None:
                ways[feed.id] = joint.at
            elif joint.proved and not any(left_out):
                said[feed.id] = "no plan lets every channel keep one slot in all acts; that is proved"
            else:
                said[feed.id] = "no plan was found that lets every channel keep one slot in all acts"
    return ways, said


def in_act(show: Show, act: str) -> Show:
    """The show with what was issued for an act, where anything was, in the place of what was issued for the show."""
    own = {
        key.removeprefix(f"{act}/"): sheet for key, sheet in show.issued.items() if key.startswith(f"{act}/")
    }
    return replace(show, issued={**show.issued, **own}) if own else show


def plan_all(show: Show, whole: ChannelMap, ways: Ways, *, first: bool) -> dict[str, Plan]:
    """Feed id → its plan; feeds that continue another share one, each with its own patches.

    `first`: nothing was played before, so only what was issued can have moved. Channels that stood on a feed in an
    act before stay there as far as can be. Raises ShowError where the show file asks for what cannot be.
    """
    plans: dict[str, Plan] = {}
    for at, feed in enumerate(show.file.feed):
        if feed.continues:
            continue
        group = feed_group(show.file, feed)
        feeds = Feeds(tuple((one.id, one.mode.slots) for one in group))
        asked = _asked(show, whole, group, feeds, ways)
        try:
            made = plan_feeds(whole, feed.blocks, feeds, asked)
        except PlanError as error:
            key = next(
                (key for key in ("fix", "spare", "grain", "layout") if key in feed.model_fields_set), "fix"
            )
            raise show.mistake(error.message, "feed", at, key) from None
        if first:
            made = made._replace(moved=moves(whole, _issued(show, whole, group), made))
        stood = ways.setdefault(feed.id, {})
        for source, target in made.patches:
            for channel in whole.occupants(source)[:1]:
                stood.setdefault(channel.id, feeds.number(target))
        for one in group:
            own = tuple(patch for patch in made.patches if patch.target.port == one.id)
            plans[one.id] = made._replace(patches=own)
    return plans


def _asked(show: Show, whole: ChannelMap, group: tuple[Feed, ...], feeds: Feeds, ways: Ways) -> Asked:
    first = group[0]
    before, offset = {}, 0
    for feed in group:
        before[feed.id] = offset
        offset += feed.mode.slots
    fixed: dict[str, int] = {}
    for feed in group:
        for text, slot in feed.fix.items():
            try:
                name = named(whole, text).id
            except ValueError:
                continue  # it plays in another act: `check_fixes` has seen to that
            if name in fixed:
                at = show.file.feed.index(feed)
                raise show.mistake(f"{text!r} is fixed already, under another name", "feed", at, "fix")
            fixed[name] = before[feed.id] + slot
    stood = ways.get(first.id, {})
    sizes = {feed.id: feed.mode.slots for feed in group}
    issued = {
        name: feeds.number(slot)
        for name, slot in _issued(show, whole, group).items()
        if slot.number <= sizes[slot.port]
    }
    issued |= {name: slot for name, slot in stood.items() if whole.channel(name)}
    wants, ungiven = _wants(show, whole, group, before)
    held = {
        before[feed.id] + number
        for feed in group
        for sent in show.file.returns
        for text in sent.to
        if (place := place_of(text, _places(show))).name == feed.id and place.number
        for number in sent.numbers(place.number)
    }
    here = {*issued, *(channel.id for channel in whole.channels)}
    avoid = frozenset(slot for name, slot in stood.items() if name not in here)
    return Asked(
        seconds=SECONDS, layout=first.layout, fixed=fixed, wants=wants, ungiven=ungiven, held=frozenset(held), issued=issued, avoid=avoid,
        parts={name: slots_of(text) for name, text in first.parts.items()},
        grain=max(first.grain, _device_grain(show, group)), spare=first.spare,
    )  # fmt: skip


def _issued(show: Show, whole: ChannelMap, group: tuple[Feed, ...]) -> dict[str, Slot]:
    """What the sheets that were issued say: channel → slot, which may lie past the end of a feed that is smaller now."""
    slots: dict[str, Slot] = {}
    for feed in group:
        if feed.id in show.issued:
            for name, number in listed(show.issued[feed.id], whole).slots.items():
                slots.setdefault(name, Slot(feed.id, number))
    return slots


def _places(show: Show) -> list[str]:
    file = show.file
    return [item.id for table in (file.box, file.feed, file.recipient) for item in table]


def check_fixes(show: Show, acts: Sequence[ChannelMap]) -> None:
    """Raise ShowError for a fixed channel that is in no act; `acts`: the boxes and blocks in every act."""
    for at, feed in enumerate(show.file.feed):
        for text in feed.fix:
            wrong = []
            for whole in acts:
                try:
                    named(whole, text)
                except ValueError as error:
                    wrong.append(error)
            if len(wrong) == len(acts):
                raise show.mistake(str(wrong[0]), "feed", at, "fix")


def _device_grain(show: Show, group: tuple[Feed, ...]) -> int:
    """The grain of what puts the blocks onto the feeds, where it is declared as a device."""
    names, blocks = {feed.id for feed in group}, {*group[0].blocks}
    grains = [1]
    for device in show.file.device:
        carries = {name for port in device.ports for name in port.carries}
        if carries & names and carries & blocks:
            grains.append(device.grain)
    return max(grains)


def _wants(
    show: Show, whole: ChannelMap, group: tuple[Feed, ...], before: dict[str, int]
) -> tuple[dict[str, int], dict[int, str]]:
    """What the recipients of feeds ask for: channel → slot, and slot → what the show cannot give."""
    slots: dict[str, int] = {}
    missing: dict[int, str] = {}
    sizes = {feed.id: feed.mode.slots for feed in group}
    for recipient in sorted(show.file.recipient, key=lambda recipient: recipient.id):
        if recipient.id not in show.wants or recipient.takes[0] not in sizes:
            continue
        found: Listed = listed(show.wants[recipient.id], whole)
        places: dict[int, int] = {}  # the recipient's slot → slot over the group
        offset = 0
        for name in recipient.takes:
            for number in range(1, sizes.get(name, 0) + 1):
                places[offset + number] = before[name] + number
            offset += sizes.get(name, 0)
        for channel, number in found.slots.items():
            if number in places and places[number] not in slots.values():
                slots.setdefault(channel, places[number])
        for line in found.unknown:
            if line.number in places and line.channel:
                missing.setdefault(places[line.number], line.channel.name)
    return slots, missing
