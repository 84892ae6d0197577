"""Which channels stand on which slots of the blocks, and what of them moves together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from chanbridge.model import Channel, ChannelMap, Slot
from chanbridge.names import fold
from chanbridge.plan.task import LEVELS, Piece
from chanbridge.said import Said


class LeftOut(NamedTuple):
    """A channel that a feed does not carry. `gives_way`: it is not for air and made room for one that is."""

    channel: str
    slot: Slot
    reason: str
    gives_way: bool


class Stand(NamedTuple):
    """A used slot of a block, with the place that it would have straight through."""

    channel: Channel
    slot: Slot
    straight: int


class Stands(NamedTuple):
    """The used slots of blocks in order; `lines`: block → its slots that go, in order; what stands nowhere."""

    used: tuple[Stand, ...]
    lines: Mapping[str, tuple[int, ...]]
    faults: tuple[LeftOut, ...]

    @property
    def total(self) -> int:
        """Slots that all blocks need straight through, spares included."""
        return sum(map(len, self.lines.values()))


def gives_way(channel: Channel) -> bool:
    """Whether a channel makes room on a feed for those that may go on air."""
    return channel.audience.air == "not allowed"


def level(channel: Channel) -> int:
    """How much a channel matters, as an index into LEVELS: its priority, unless it is not for air."""
    return len(LEVELS) - 1 if gives_way(channel) else LEVELS.index(channel.priority)


def stands(whole: ChannelMap, blocks: Sequence[str], parts: Mapping[str, Sequence[int]] = {}) -> Stands:
    """What stands on blocks, in their order; `parts`: block → the slots of it that go, where not all do."""
    used: list[Stand] = []
    faults: list[LeftOut] = []
    had: dict[str, Slot] = {}
    lines: dict[str, tuple[int, ...]] = {}
    offset = 0
    for block in blocks:
        size = whole.port(block).size
        lines[block] = tuple(parts.get(block, range(1, size + 1)))
        place = {number: offset + at for at, number in enumerate(lines[block], 1)}
        holder: dict[int, Channel] = {}
        for row in whole.sheet(block):
            channel, slot = row.channel, Slot(block, row.number)
            if not channel:
                continue
            if row.number > size:
                reason = Said(
                    "slot {slot} lies past the end of {block}, which has {size} slots",
                    slot=row.number, block=block, size=size,
                )  # fmt: skip
            elif row.number in holder:
                holds = holder[row.number].name
                reason = Said(
                    "slot {slot} of {block} already carries {name!r}",
                    slot=row.number,
                    block=block,
                    name=holds,
                )
            elif channel.id in had:
                continue  # the same channel on a second slot: once on the feed is enough
            elif row.number not in place:
                reason = Said(
                    "slot {slot} of {block} is not among those that go", slot=row.number, block=block
                )
            else:
                holder[row.number] = channel
                had[channel.id] = slot
                used.append(Stand(channel, slot, place[row.number]))
                continue
            way = row.number <= size and row.number not in place and gives_way(channel)
            faults.append(LeftOut(channel.id, slot, reason, way))
        offset += len(lines[block])
    return Stands(tuple(used), lines, tuple(fault for fault in faults if fault.channel not in had))


def pairs(used: Sequence[Stand]) -> list[tuple[str, str]]:
    """(left, right) of every pair whose two channels stand here, name each other and matter alike."""
    here = {stand.channel.id: stand.channel for stand in used}
    found = []
    done: set[str] = set()
    for stand in used:
        channel = stand.channel
        partner = here.get(channel.pair.partner or "") if channel.pair else None
        if not partner or not partner.pair or partner.pair.partner != channel.id:
            continue
        if {channel.id, partner.id} & done or partner is channel or gives_way(partner) != gives_way(channel):
            continue
        done |= {channel.id, partner.id}
        swapped = channel.pair is not None and channel.pair.side in ("right", "side")
        found.append((partner.id, channel.id) if swapped else (channel.id, partner.id))
    return found


def pieces(used: Sequence[Stand], together: Sequence[tuple[str, str]], spare: int = 0) -> list[Piece]:
    """Singles and pairs in the order of the sheets, the channels of a group gathered where its first stands.

    `together`: the pairs to keep. `spare`: slots kept empty after each group, or after each block if no channel
    has a group.
    """
    partner = {left: (left, right) for left, right in together}
    partner |= {right: (left, right) for left, right in together}
    rank = {stand.channel.id: at for at, stand in enumerate(used)}
    made: list[Piece] = []
    blocks: dict[str, int] = {}
    done: set[str] = set()
    for stand in used:
        channel = stand.channel
        if channel.id in done:
            continue
        ids = partner.get(channel.id, (channel.id,))
        done |= {*ids}
        group = fold(channel.group)
        made.append(Piece(tuple(enumerate(ids)), len(ids), len(ids), rank[channel.id], group))
        blocks[stand.slot.port] = len(made) - 1
    grouped = any(piece.group for piece in made)
    last = {piece.group or f"\0{at}": at for at, piece in enumerate(made)}
    after = {at for group, at in last.items() if group[0] != "\0"} if grouped else {*blocks.values()}
    with_spares: list[Piece] = []
    for at, piece in enumerate(made):
        with_spares.append(piece)
        if at in after:
            with_spares += [Piece((), 1, 1, piece.rank, piece.group)] * spare
    lead: dict[str, int] = {}
    for piece in with_spares:
        lead[piece.group] = min(piece.rank, lead.get(piece.group, piece.rank))
    return sorted(
        with_spares, key=lambda piece: (lead[piece.group] if piece.group else piece.rank, bool(piece.group))
    )


def bodies(used: Sequence[Stand], grain: int) -> list[Piece]:
    """What a converter moves together: the channels of each `grain` neighbouring slots of a block."""
    rank = {stand.channel.id: at for at, stand in enumerate(used)}
    inside: dict[tuple[str, int], list[tuple[int, str]]] = {}
    for stand in used:
        block, number = stand.slot
        inside.setdefault((block, (number - 1) // grain), []).append(((number - 1) % grain, stand.channel.id))
    return [Piece(tuple(held), grain, grain, rank[held[0][1]], rigid=True) for held in inside.values()]
