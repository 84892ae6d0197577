"""What would be carried in each mode that a feed could run in, on one feed or more."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from chanbridge.mode import CAPACITIES, Mode
from chanbridge.model import ChannelMap
from chanbridge.plan import stands as standing
from chanbridge.plan.pack import casualties
from chanbridge.plan.straight import Feeds, straight
from chanbridge.plan.task import Task


class Trial(NamedTuple):
    """Blocks on so many feeds in a mode. `left_out`: ids of channels, with whether each is not for air."""

    mode: Mode
    varispeed: bool
    feeds: int
    layout: str
    carried: int
    left_out: tuple[tuple[str, bool], ...]


def trials(whole: ChannelMap, blocks: Sequence[str], most: int = 3) -> list[Trial]:
    """Every mode of AES10, most slots first, on one feed and more, up to `most` or until nothing is left out."""
    here = standing.stands(whole, blocks)
    together = standing.pairs(here.used)
    levels = {stand.channel.id: standing.level(stand.channel) for stand in here.used}
    pieces = standing.pieces(here.used, together)
    out = []
    for line in sorted(CAPACITIES, key=lambda line: (line.highest_hz, -line.slots)):
        mode = Mode(line.slots, line.highest_hz)
        for count in range(1, most + 1):
            feeds = Feeds(tuple((f"feed-{at}", mode.slots) for at in range(1, count + 1)))
            made = straight(here, feeds)
            if made:
                layout, gone = made.layout, {item.channel for item in made.left_out}
            else:
                found = casualties(Task(pieces, feeds.rooms, levels))
                layout = "packed"
                gone = {*(found[0] if found else levels), *(fault.channel for fault in here.faults)}
            left_out = tuple(
                (channel.id, standing.gives_way(channel)) for channel in whole.channels if channel.id in gone
            )
            carried = len(whole.channels) - len(left_out)
            out.append(Trial(mode, line.varispeed, count, layout, carried, left_out))
            if not left_out:
                break
    return out
