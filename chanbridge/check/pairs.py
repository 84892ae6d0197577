"""Pairs: whether both sides are there, in order, side by side and alike."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple

from chanbridge.check.rule import Care, Facts, Found, Said, named, rule
from chanbridge.check.wiring import carried
from chanbridge.model import OTHER_SIDE, Channel, Port, Slot
from chanbridge.names import fold, vocabulary


class Whole(NamedTuple):
    """Both sides of a pair: `first` is left or mid."""

    first: Channel
    second: Channel


def whole_pairs(facts: Facts) -> Iterator[Whole]:
    """Every pair of which both sides are there and say so."""
    for channel in facts.map.channels:
        partner = _partner(facts, channel)
        if (
            partner
            and channel.pair
            and partner.pair
            and channel.pair.side in ("left", "mid")
            and partner.pair.partner == channel.id
            and partner.pair.side == OTHER_SIDE[channel.pair.side]
        ):
            yield Whole(channel, partner)


def _partner(facts: Facts, channel: Channel) -> Channel | None:
    """The other side, None where there is none; a channel is no partner of its own."""
    name = channel.pair.partner if channel.pair else None
    return facts.map.channel(name) if name and name != channel.id else None


def _stem(name: str) -> str:
    """A name without the words that are sides."""
    words = vocabulary().values
    sides = words["left"] | words["right"] | words["mid"] | words["side"]
    return " ".join(word for word in re.findall(r"\w+", fold(name)) if word not in sides)


def _claims(facts: Facts) -> dict[str, list[Channel]]:
    """Channel id → the channels that call it their partner."""
    found: dict[str, list[Channel]] = {}
    for channel in facts.map.channels:
        partner = _partner(facts, channel)
        if partner:
            found.setdefault(partner.id, []).append(channel)
    return found


def _halves(facts: Facts) -> dict[tuple[str, bool], list[Channel]]:
    """Sides without a partner, by the stem of their names and whether they are left and right."""
    found: dict[tuple[str, bool], list[Channel]] = {}
    for channel in facts.map.channels:
        if channel.pair and _partner(facts, channel) is None:
            flat = channel.pair.side in ("left", "right")
            found.setdefault((_stem(channel.name), flat), []).append(channel)
    return found


@rule("pair-half", "warning")
def pair_half(facts: Facts) -> Said:
    """A side of a pair whose other side is not there.

    Fails:
        Slot,Name
        1,Keys L
        2,Bass
    Passes:
        Slot,Name
        1,Keys L
        2,Keys R
    """
    for halves in _halves(facts).values():
        for channel in halves if len(halves) == 1 else ():
            side = channel.pair.side if channel.pair else ""
            missing = OTHER_SIDE[channel.pair.side] if channel.pair else ""
            message = f"{channel.name!r} is a {side} side and there is no {missing}; add it, or take the side off the name"
            yield Found(facts.where(channel), message, (channel,))
    claims = _claims(facts)
    for channel in facts.map.channels:
        partner = _partner(facts, channel)
        mutual = partner and partner.pair and partner.pair.partner == channel.id
        if partner and not mutual and len(claims[partner.id]) == 1:  # two claims are pair-doubled
            message = f"{channel.name!r} is paired with {partner.name!r}, which is not paired with it; pair both or neither"
            yield Found(facts.where(channel), message, (channel, partner))


@rule("pair-doubled", "warning")
def pair_doubled(facts: Facts) -> Said:
    """One side of a pair more than once, so that nobody can tell which two belong together.

    Fails:
        Slot,Name
        1,Keys L
        2,Keys L
        3,Keys R
    Passes:
        Slot,Name
        1,Keys 1 L
        2,Keys 1 R
        3,Keys 2 L
        4,Keys 2 R
    """
    for halves in _halves(facts).values():
        if len(halves) > 1:
            sides = [channel.pair.side for channel in halves if channel.pair]
            counts = " and ".join(f"{sides.count(side)} {side}" for side in sorted(set(sides)))
            message = f"{named(halves)} make {counts}; say which two belong together"
            yield Found(facts.where(halves[1]), message, tuple(halves))
    claimed = _claims(facts)
    for channel in facts.map.channels:
        claims, partner = claimed.get(channel.id, []), _partner(facts, channel)
        if len(claims) > 1:
            message = f"{named(claims)} are all paired with {channel.name!r}; a pair has two sides"
            yield Found(facts.where(claims[1]), message, (channel, *claims))
        elif partner and partner.pair and channel.pair and channel.id < partner.id:
            mutual = partner.pair.partner == channel.id
            if mutual and partner.pair.side != OTHER_SIDE[channel.pair.side]:
                said = f"the {channel.pair.side} and the {partner.pair.side}"
                message = f"{named((channel, partner))} are one pair and say they are {said} side; make them left and right"
                yield Found(facts.where(partner), message, (channel, partner))


def _places(facts: Facts, pair: Whole) -> Iterator[tuple[Port, int, int]]:
    """The ports where both sides stand, with their first numbers: those with slots if there are any, else the sockets."""
    first, second = facts.places[pair.first.id], facts.places[pair.second.id]
    ports = [facts.map.port(name) for name in first if name in second]
    ports = [port for port in ports if port.direction == "in"]
    slots = [port for port in ports if port.kind != "sockets"]
    for port in slots or ports:
        yield port, first[port.id], second[port.id]


@rule("pair-reversed", "error", care="sound")
def pair_reversed(facts: Facts) -> Said:
    """A pair that stands the wrong way round: right before left, or side before mid.

    Fails:
        Slot,Name
        1,Keys R
        2,Keys L
    Passes:
        Slot,Name
        1,Keys L
        2,Keys R
    """
    for pair in whole_pairs(facts):
        place = next((place for place in _places(facts, pair) if place[1] > place[2]), None)
        if place:
            slot = Slot(place[0].id, place[2])
            message = f"{named(pair)} stand the wrong way round ({facts.place(slot)} before {place[1]}); swap them, or their names"
            yield Found(facts.where(pair.second, slot), message, pair)


@rule("pair-split", "warning")
def pair_split(facts: Facts) -> Said:
    """A pair whose sides a block, a feed, a routing grain or another channel parts.

    Fails:
        Slot,Name,Socket
        1,Keys L,A1
        2,Keys R,B1
    Passes:
        Slot,Name,Socket
        1,Keys L,A1
        2,Keys R,A2
    """
    feeds = {port.id for port in facts.map.ports if port.kind == "feed" and port.direction == "in"}
    if facts.file:
        feeds = {feed.id for feed in facts.file.feed}
    for pair in whole_pairs(facts):
        split = _edge(facts, pair)
        if split:
            yield Found(facts.where(pair.first), f"{named(pair)} {split}; put them side by side", pair)
            continue
        place = next((place for place in _places(facts, pair) if abs(place[1] - place[2]) > 1), None)
        if place:
            low, high = sorted(place[1:])
            text = f"stand apart, on {facts.place(Slot(place[0].id, low))} and {high}; a stereo fader may need them side by side"
            yield Found(facts.where(pair.first), f"{named(pair)} {text}", pair, "note")
        on = [[name for name in facts.places[channel.id] if name in feeds] for channel in pair]
        if on[0] != on[1]:
            said = " and ".join(
                f"{channel.name!r} is on {', '.join(names) or 'none'}"
                for channel, names in zip(pair, on, strict=True)
            )
            yield Found(
                " and ".join(sorted({*on[0], *on[1]})),
                f"of the feeds {said}; carry both on one or neither",
                pair,
            )


def _edge(facts: Facts, pair: Whole) -> str:
    """The edge between the sides, in words, or ""."""
    homes = [{slot.port for slot in facts.sockets.get(channel.id, ())} for channel in pair]
    if all(homes) and homes[0].isdisjoint(homes[1]):
        return f"come in on two boxes, {' and '.join(min(home) for home in homes)}"
    stands = [
        {name for name in facts.places[channel.id] if _is_block(facts.map.port(name))} for channel in pair
    ]
    if all(stands) and stands[0].isdisjoint(stands[1]):
        return f"travel on two blocks, {' and '.join(min(found) for found in stands)}"
    for device in facts.devices:
        for name in sorted(carried(facts, device)) if device.grain > 1 else ():
            at = facts.standing.get(name, {})
            if pair.first.id in at and pair.second.id in at:
                groups = {(at[channel.id] - 1) // device.grain for channel in pair}
                if len(groups) > 1:
                    slots = " and ".join(str(at[channel.id]) for channel in pair)
                    return f"are on slots {slots} of {name}, and {device.id} moves channels in groups of {device.grain}"
    return ""


def _is_block(port: Port) -> bool:
    return port.kind == "block" and port.direction == "in"


@rule("pair-on-even-slot", "note")
def pair_on_even_slot(facts: Facts) -> Said:
    """A pair whose left side is on an even slot; many desks link odd slots with the next even ones (common practice).

    Fails:
        Slot,Name
        1,Bass
        2,Keys L
        3,Keys R
    Passes:
        Slot,Name
        1,Keys L
        2,Keys R
        3,Bass
    """
    for pair in whole_pairs(facts):
        place = next(_places(facts, pair), None)
        if place and place[1] % 2 == 0 and place[2] == place[1] + 1:
            slot = Slot(place[0].id, place[1])
            message = f"{named(pair)} begin on an even number ({facts.place(slot)}); some desks link only odd with even"
            yield Found(facts.where(pair.first, slot), message, pair)


@rule("pair-unlike", "warning", care="phantom")
def pair_unlike(facts: Facts) -> Said:
    """A left and right with unlike phantom, polarity, gain or pad.

    Fails:
        Slot,Name,Phantom
        1,Keys L,yes
        2,Keys R,no
    Passes:
        Slot,Name,Phantom
        1,Keys L,yes
        2,Keys R,yes
    """
    for pair in whole_pairs(facts):
        if pair.first.pair and pair.first.pair.side == "mid":
            continue  # mid and side are often two kinds of microphone
        unlike = [*_unlike(*pair)]
        if unlike:
            care: Care | None = None if any("phantom" in text for text in unlike) else ""
            message = f"{named(pair)} differ: {', '.join(unlike)}; make them alike"
            yield Found(facts.where(pair.second), message, pair, None, care)


def _unlike(left: Channel, right: Channel) -> Iterator[str]:
    phantom = {left.phantom, right.phantom}
    if phantom in ({"on", "off"}, {"on", "unknown"}):  # a sheet that marks it marks it where it is on
        yield f"phantom {_said(left.phantom)} and {_said(right.phantom)}"
    polarity = {left.polarity, right.polarity}
    if "reversed" in polarity and len(polarity) > 1:
        yield f"polarity {_said(left.polarity)} and {_said(right.polarity)}"
    for name, one, two in (("gain", left.gain_db, right.gain_db), ("pad", left.pad_db, right.pad_db)):
        if one is not None and two is not None and one != two:
            yield f"{name} {one:g} and {two:g} dB"


def _said(state: str) -> str:
    return "not stated" if state == "unknown" else state


RULES = (pair_half, pair_doubled, pair_reversed, pair_split, pair_on_even_slot, pair_unlike)
