"""Preamps: one owner each, trims for the rest, and from when on nobody moves them."""

from __future__ import annotations

import re

from chanbridge.check.rule import Facts, Found, Said, Unjudged, both, named, rule
from chanbridge.model import Channel
from chanbridge.names import fold

_BOTH = re.compile(r"\s*(?:[/+&;,]|\band\b|\bund\b|\bet\b)\s*", re.IGNORECASE)


def _preamps(facts: Facts) -> list[Channel]:
    """The channels that come in by a box's socket with a preamp."""
    return [
        channel
        for channel in facts.map.channels
        if facts.sockets.get(channel.id) and channel.kind not in ("digital", "mix", "return")
    ]


def _shared(facts: Facts) -> bool:
    """Whether several recipients live on the same preamps."""
    return bool(facts.file and len([item for item in facts.file.recipient if item.kind == "desk"]) > 1)


@rule("gain-owner", "warning")
def gain_owner(facts: Facts) -> Said:
    """A preamp with no owner where others have one or several desks share it, or an owner that the show does not know.

    Fails:
        Slot,Name,Socket,Gain owner
        1,Kick,A1,front-of-house
        2,Snare,A2,
    Passes:
        Slot,Name,Socket,Gain owner
        1,Kick,A1,front-of-house
        2,Snare,A2,front-of-house
    """
    preamps = _preamps(facts)
    without = tuple(channel for channel in preamps if not channel.gain_owner)
    if without and len(without) == len(preamps) and not _shared(facts):
        yield Unjudged("no list says who owns the gains")
    elif without:
        yield Found(
            facts.where(without[0]),
            f"{named(without)}: nobody owns {'this gain' if len(without) == 1 else 'these gains'}; write one owner",
            without,
        )
    if facts.file:
        known = {fold(text) for item in facts.file.recipient for text in (item.id, item.name) if text}
        known |= {fold(text) for device in facts.devices for text in (device.id, device.name) if text}
        owners: dict[str, list[Channel]] = {}
        for channel in preamps:
            if (
                channel.gain_owner
                and len(_BOTH.split(channel.gain_owner)) == 1
                and fold(channel.gain_owner) not in known
            ):
                owners.setdefault(channel.gain_owner, []).append(channel)
        for owner, channels in owners.items():
            message = f"{owner!r} owns the gain of {named(channels)} and is no recipient or device of the show; use one of their ids"
            yield Found(facts.where(channels[0]), message, tuple(channels))


@rule("gain-two-owners", "error")
def gain_two_owners(facts: Facts) -> Said:
    """A preamp that two people move: a row that names two owners, or two channels of one socket with unlike ones.

    Fails:
        Slot,Name,Socket,Gain owner
        1,Kick,A1,front-of-house / monitors
    Passes:
        Slot,Name,Socket,Gain owner
        1,Kick,A1,front-of-house
    """
    ids = {fold(item.id) for item in facts.file.recipient} if facts.file else set()
    for channel in _preamps(facts):
        owners = [part for part in _BOTH.split(channel.gain_owner) if part]
        if len(owners) > 1 and fold(channel.gain_owner) not in ids:
            yield Found(
                facts.where(channel),
                f"{both(owners)} own the gain of {channel.name!r}; one owns it, the rest use trims",
                (channel,),
            )
    for slot, channels in facts.entered.items():
        said = dict.fromkeys(fold(channel.gain_owner) for channel in channels if channel.gain_owner)
        if facts.map.port(slot.port).kind == "sockets" and len(said) > 1:
            message = f"{facts.place(slot)} has one preamp and {both([*said])} own it; one owns it, the rest use trims"
            yield Found(facts.where(channels[1], slot), message, channels)


@rule("gain-not-frozen", "note", needs="show")
def gain_not_frozen(facts: Facts) -> Said:
    """Preamps that several recipients share, and no time from which they stay; AES10 carries no preamp control.

    Fails:
        gain_owner = "desk"
        [[feed]]
        id = "feed"
        mode = "64@48000"
        blocks = ["one"]
        [[recipient]]
        id = "desk"
        takes = ["one"]
        [[recipient]]
        id = "truck"
        takes = ["feed"]
    Passes:
        gain_owner = "desk"
        gain_frozen = "18:30"
        [[feed]]
        id = "feed"
        mode = "64@48000"
        blocks = ["one"]
        [[recipient]]
        id = "desk"
        takes = ["one"]
        [[recipient]]
        id = "truck"
        takes = ["feed"]
    """
    file = facts.file
    if not file or file.gain_frozen:
        return
    feeds = {feed.id for feed in file.feed}
    owners = {
        fold(channel.gain_owner): channel.gain_owner for channel in _preamps(facts) if channel.gain_owner
    }
    behind = [item.id for item in file.recipient if feeds & {*item.takes} and fold(item.id) not in owners]
    sharing = [
        item.id
        for item in file.recipient
        if item.kind == "desk" and item.id not in behind and fold(item.id) not in owners
    ]
    said = " and ".join(owners.values()) or "whoever owns the gains"
    if owners and behind:
        message = f'AES10 carries no preamp control, so every move of {said} is felt at {" and ".join(behind)}; agree from when on they stay: gain_frozen = "18:30"'
        yield Found("show", message)
    elif owners and sharing:
        message = f'{" and ".join(sharing)} use the preamps of {said} with trims; agree from when on they stay: gain_frozen = "18:30"'
        yield Found("show", message)


@rule("split-direct", "warning", needs="devices", care="phantom")
def split_direct(facts: Facts) -> Said:
    """A copper split with no direct output, with two, or with one recipient on two outputs.

    Fails:
        [[device]]
        id = "split"
        split = {box = "A", direct = ["desk", "monitors"]}
        [[device]]
        id = "monitors"
    Passes:
        [[device]]
        id = "split"
        split = {box = "A", direct = ["desk"], isolated = ["monitors"]}
        [[device]]
        id = "monitors"
    """
    for device in facts.devices:
        split = device.split
        if not split:
            continue
        where, outputs = f"device {device.id}", [*split.direct, *split.isolated]
        twice = sorted({name for name in outputs if outputs.count(name) > 1})
        if twice:
            yield Found(where, f"{' and '.join(twice)} is on two outputs; name it once")
        elif len(split.direct) > 1:
            yield Found(
                where,
                f"{both(split.direct)} hang on a direct output and load each other; give all but one an isolated output",
            )
        elif not split.direct:
            yield Found(
                where,
                f"no output is wired straight through, so none can supply phantom to box {split.box}; name the direct one",
            )


RULES = (gain_owner, gain_two_owners, gain_not_frozen, split_direct)
