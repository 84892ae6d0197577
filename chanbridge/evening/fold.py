"""The sheets' next versions: the boxes' lists with every late change in them."""

from __future__ import annotations

from pathlib import PurePath

from chanbridge import formats
from chanbridge.evening.state import State, planned
from chanbridge.model import LISTED, Channel, ChannelMap, Patch, Port, Slot
from chanbridge.show import Show


def folded(show: Show, state: State) -> list[tuple[str, str, bytes]]:
    """New versions of the boxes' sheets that the late changes change, as (sheet, name, bytes).

    The name has another ending than the sheet's where that is of a kind that is not written as a list of sockets.
    """
    before, after = planned(show, State()), planned(show, state)
    files = []
    for sheet in dict.fromkeys(box.sheet for box in show.file.box if box.sheet):
        old, new = _list_of(show, before.map, sheet), _list_of(show, after.map, sheet)
        if old != new:
            suffix = PurePath(sheet).suffix.lower()
            known = formats.of_suffix(sheet)
            name = PurePath(sheet).name
            if suffix in formats.READ_ONLY or known.name not in ("csv", "xml", "json", "workbook"):
                known, name, suffix = formats.named("csv"), f"{PurePath(sheet).stem}.csv", ".csv"
            files.append((sheet, name, formats.write(new, known, new.listed_port(), suffix)))
    return files


def _list_of(show: Show, whole: ChannelMap, sheet: str) -> ChannelMap:
    """The sockets of a sheet's boxes as a list by the slots of their block."""
    boxes = [box for box in show.file.box if box.sheet == sheet]
    ids = {box.id for box in boxes}
    entries = sorted(
        (entry for entry in whole.entries if entry.slot.port in ids),
        key=lambda entry: ([box.id for box in boxes].index(entry.slot.port), entry.slot.number),
    )
    known: dict[str, Channel] = {}
    for name, _ in entries:
        channel = whole.channel(name)
        if channel:
            known.setdefault(name, channel)
    ports = [Port(id=box.id, device=box.id, kind="sockets") for box in boxes]
    blocks = {box.block for box in boxes if box.block}
    patches = []
    if len(blocks) == 1:
        block = blocks.pop()
        patches = [
            patch for patch in whole.patches if patch.source.port in ids and patch.target.port == block
        ]
        ports.append(Port(id=block, size=max((patch.target.number for patch in patches), default=0)))
    else:
        ports.append(Port(id=LISTED))
    sizes = {slot for _, slot in entries}
    return ChannelMap(
        headings=whole.headings,
        channels=tuple(_within(channel, known) for channel in known.values()),
        entries=tuple(entries),
        ports=tuple(ports),
        patches=tuple(Patch(*patch) for patch in patches),
        reserved=tuple(
            item for item in whole.reserved if item.slot.port in ids and Slot(*item.slot) not in sizes
        ),
    )


def _within(channel: Channel, known: dict[str, Channel]) -> Channel:
    """A channel whose partner stands on the same sheet, or without one."""
    if channel.pair and channel.pair.partner not in known:
        return channel.changed(pair=None)
    return channel
