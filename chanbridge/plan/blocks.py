"""Plain lists as blocks: every sheet's numbers become slots of a block of its own."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from chanbridge.model import MOST_SLOTS, Channel, ChannelMap, Entry, Line, Patch, Port, Reserved, Slot
from chanbridge.names import slug, unique

FEW = 3
"""As many channels are named one by one; of more the remark says how many."""


class Sheet(NamedTuple):
    """A list to be taken as a block of `slots` slots, called `name`."""

    name: str
    map: ChannelMap
    slots: int


class Blocks(NamedTuple):
    """Sheets side by side in one map: their boxes, a block for each, and remarks on what was decided."""

    map: ChannelMap
    blocks: tuple[str, ...]
    remarks: tuple[str, ...]


def side_by_side(sheets: Sequence[Sheet]) -> Blocks:
    """Put lists into one map, each as a block.

    A number is a slot of the block, or counts on from the blocks before it if all of the list's do. In a list of one
    box without numbers the socket is the slot; other channels without a number take the next free slot, with a
    remark. Ids and names of boxes that occur in two lists are told apart by a suffix.
    """
    channels: dict[str, Channel] = {}
    ports: dict[str, Port] = {}
    entries: list[Entry] = []
    patches: list[Patch] = []
    reserved: list[Reserved] = []
    headings: list[str] = []
    blocks: list[str] = []
    remarks: list[str] = []
    before = 0
    for sheet in sheets:
        whole = sheet.map
        headings += [
            name
            for name in whole.headings
            if name not in headings or whole.headings.count(name) > headings.count(name)
        ]
        ids: dict[str, str] = {}
        for channel in whole.channels:
            ids[channel.id] = unique(channel.id, {*channels, *ids.values()})
        remarks += _known_before(sheet, ids)
        channels |= {ids[channel.id]: channel.with_ids(ids) for channel in whole.channels}
        boxes: dict[str, str] = {}
        for port in whole.ports:
            if port.kind == "sockets":
                boxes[port.device] = unique(port.id, ports)
                ports[boxes[port.device]] = port.model_copy(update={"id": boxes[port.device]})
        block = unique(slug(sheet.name) or "block", ports)
        blocks.append(block)
        ports[block] = Port(id=block, size=sheet.slots)
        rows = _slots(sheet, before, remarks)
        before += sheet.slots
        shared = Counter((line.box, line.socket) for line, _ in rows if line.channel and line.socket)
        for line, slot in rows:
            at = Slot(boxes[line.box], line.socket) if line.socket and line.box in boxes else None
            target = Slot(block, slot) if slot else None
            if at and target:
                patches.append(Patch(at, target))
            if line.channel:
                entries += [Entry(ids[line.channel.id], place) for place in _places(line, at, target, shared)]
            elif line.text and target:
                reserved.append(Reserved(target, line.text))
    return Blocks(
        ChannelMap(
            headings=tuple(headings),
            channels=tuple(channels.values()),
            entries=tuple(dict.fromkeys(entries)),
            ports=tuple(ports.values()),
            patches=tuple(dict.fromkeys(patches)),
            reserved=tuple(reserved),
        ),
        tuple(blocks),
        tuple(remarks),
    )


def _known_before(sheet: Sheet, ids: Mapping[str, str]) -> list[str]:
    """What to say of the channels of a list that an earlier one has too; `ids`: what they are called now."""
    again = [channel for channel in sheet.map.channels if ids[channel.id] != channel.id]
    if len(again) > FEW:
        return [
            f"{sheet.name}: {len(again)} of its {len(ids)} channels are on an earlier sheet too, "
            f"{again[0].name!r} to {again[-1].name!r}: was a file given twice? They are carried twice"
        ]
    return [
        f"{sheet.name}: the id {channel.id!r} is on an earlier sheet too; here it is called {ids[channel.id]!r}"
        for channel in again
    ]


def _places(
    line: Line, at: Slot | None, target: Slot | None, shared: Mapping[tuple[str, int], int]
) -> list[Slot]:
    """Where a line's channel enters: at its socket, or its slot; at both where it shares the socket."""
    if at is None:
        return [target] if target else []
    return [at, target] if target and shared[line.box, at.number] > 1 else [at]


def _slots(sheet: Sheet, before: int, remarks: list[str]) -> list[tuple[Line, int | None]]:
    """Each line of a list with its slot on the block; `before`: the slots of the blocks before it."""
    rows = sheet.map.lines(sheet.map.listed_port())
    numbers = [line.number for line in rows if line.number is not None and line.channel]
    boxes = {line.box for line in rows if line.socket}
    by_socket = not numbers and len(boxes) == 1
    if by_socket:
        remarks.append(
            f"{sheet.name}: it has no numbers, so the sockets of its box are taken for the block's slots"
        )
    across = bool(numbers and before) and before < min(numbers) and max(numbers) <= before + sheet.slots
    if across:
        remarks.append(
            f"{sheet.name}: its numbers count on from the blocks before it, so {before + 1} is taken for slot 1 of the block"
        )
    shift = before if across else 0
    slots = [
        line.socket if by_socket else line.number - shift if line.number is not None else None
        for line in rows
    ]
    used = {slot for slot, line in zip(slots, rows, strict=True) if line.channel}
    free = (slot for slot in range(1, MOST_SLOTS) if slot not in used)
    out: list[tuple[Line, int | None]] = []
    placed: list[tuple[str, int]] = []
    for line, known in zip(rows, slots, strict=True):
        slot = known if known is None or known > 0 else None  # a spare that counts before this block
        if slot is None and line.channel:
            slot = next(free)
            placed.append((line.channel.name, slot))
        out.append((line, slot))
    if len(placed) > FEW:
        remarks.append(
            f"{sheet.name}: {len(placed)} channels have no number and are put on the free slots "
            f"{placed[0][1]} to {placed[-1][1]}, one after the other"
            + (
                f"; it names {len(boxes)} boxes: better give each a sheet of its own"
                if len(boxes) > 1
                else ""
            )
        )
    else:
        remarks += [
            f"{sheet.name}: {name!r} has no number and is put on slot {slot}" for name, slot in placed
        ]
    return out
