"""A feed as a map of its own: what a plan puts onto it, with a short label for each channel."""

from __future__ import annotations

from collections.abc import Sequence

from chanbridge.mode import Mode
from chanbridge.model import Channel, ChannelMap, Patch, Port, Slot
from chanbridge.names import short_labels
from chanbridge.plan.feeds import Plan

SHORT_WIDTH = 8
"""Characters of a short label."""


def labelled(channels: Sequence[Channel]) -> tuple[Channel, ...]:
    """Channels with a short label each: their own where they have one, else one made from the name."""
    taken = [channel.short for channel in channels if channel.short]
    wanting = [channel.name for channel in channels if not channel.short]
    made = iter(short_labels([*taken, *wanting], SHORT_WIDTH)[len(taken) :])
    return tuple(channel if channel.short else channel.changed(short=next(made)) for channel in channels)


def fed(whole: ChannelMap, made: Plan, mode: Mode, feed: str) -> ChannelMap:
    """The map with a feed patched as planned, without the channels that it does not carry, with short labels.

    Of a plan for several feeds only this one is taken.
    """
    own = [patch for patch in made.patches if patch.target.port == feed]
    away = [(out.channel, out.slot) for out in made.left_out]
    for patch in made.patches:
        if patch.target.port != feed:
            away += [(channel.id, patch.source) for channel in whole.occupants(patch.source)[:1]]
    gone = {name for name, _ in away}
    enters: dict[str, set[Slot]] = {}
    for name, slot in whole.entries:
        enters.setdefault(name, set()).add(slot)
    live = {slot for name, slots in enters.items() if name not in gone for slot in slots}
    cut = set()  # what is left out must not bring another channel of its socket onto its slot
    for name, slot in away:
        stays = [enters[item.id] for item in whole.occupants(slot) if item.id not in gone]
        cut |= {
            Patch(source, slot)
            for source in enters[name] & live
            if not any(source in places for places in stays)
        }
    return whole.changed(
        rate_hz=mode.rate_hz,
        channels=labelled([channel for channel in whole.channels if channel.id not in gone]),
        entries=tuple(entry for entry in whole.entries if entry.channel not in gone),
        ports=(*whole.ports, Port(id=feed, kind="feed", size=mode.slots, mode=mode, rate_hz=mode.rate_hz)),
        patches=(*(patch for patch in whole.patches if patch not in cut), *own),
        reserved=(*whole.reserved, *(item for item in made.reserved if item.slot.port == feed)),
    )
