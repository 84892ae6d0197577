"""A recipient's own map, and its sheet as text."""

from __future__ import annotations

from chanbridge.assemble import Delivery, Planned
from chanbridge.assemble.fed import labelled
from chanbridge.formats import text
from chanbridge.model import Channel, ChannelMap, Entry, Patch, Reserved, Slot
from chanbridge.names import counted
from chanbridge.sheets import columns
from chanbridge.system import Recipient


def recipient_map(planned: Planned, delivery: Delivery) -> ChannelMap:
    """What a recipient needs of the show's map: its port, the boxes, and the channels that it gets.

    Sockets are patched straight to the recipient's slots; blocks and feeds on the way are left out.
    """
    whole, port = planned.map, delivery.recipient.id
    rows = [row for row in whole.sheet(port) if row.channel is None or row.channel.id in delivery.delivered]
    standing: dict[str, Channel] = {row.channel.id: row.channel for row in rows if row.channel}
    boxes = {item.id for item in whole.ports if item.kind == "sockets" or item.direction == "out"}
    patches: dict[Patch, None] = {}
    entries: dict[Entry, None] = {}
    reserved = []
    for row in rows:
        target = Slot(port, row.number)
        if row.entry and row.entry.port in boxes:
            patches[Patch(row.entry, target)] = None
        if row.channel and row.entry:
            entries[Entry(row.channel.id, row.entry)] = None
        if row.text:
            reserved.append(Reserved(target, row.text))
    used = {patch.source.port for patch in patches}
    ports = tuple(item for item in whole.ports if item.id == port or item.id in used)
    return whole.changed(
        channels=labelled(tuple(standing.values())),
        entries=tuple(entries),
        ports=ports,
        patches=tuple(patches),
        reserved=tuple(reserved),
    )


_SHOWN = ("Slot", "Name", "Short", "Box", "Socket", "Pair", "Air", "Phantom", "Gain owner", "Notes")


def about(whole: ChannelMap, what: str, word: str) -> list[str]:
    """The first two lines of a paper: the show, and what it is, its revision with its word, its date."""
    revision = f"Revision {whole.revision}" if whole.revision else ""
    spoken = f", word {word}" if revision and word else ""
    parts = [what, revision + spoken, f"Date {whole.date}" if whole.date else ""]
    return [text.plain(whole.title), text.plain("   ".join(part for part in parts if part))]


def sheet_text(whole: ChannelMap, recipient: Recipient, delivery: Delivery, word: str) -> str:
    """A recipient's sheet to read by torch light: what it is, the table, what was left out and why."""
    heading, rows = columns.table(whole, recipient.id)
    shown = [at for at, name in enumerate(heading) if name in _SHOWN and at == heading.index(name)]
    table = text.draw([heading[at] for at in shown], [[row[at] for at in shown] for row in rows])
    head = about(whole, f"Recipient: {recipient.name or recipient.id}", word)
    lines = [*head, *delivery.how, "", *table, ""]
    out = [item for item in delivery.missing if item.wanted] + [
        item for item in delivery.missing if not item.wanted
    ]
    lines += [
        f"* Not carried: {text.plain(item.channel.name) or item.channel.id}: {item.reason}" for item in out
    ]
    changed = [channel for channel in whole.channels if channel.name != text.plain(channel.name)]
    if changed:
        lines.append(
            f"* {counted(len(changed), 'name')} with line breaks or blanks at the end; as they are in sheet.csv: {', '.join(channel.id for channel in changed)}"
        )
    if any(channel.audience.air == "not allowed" for channel in whole.channels):
        lines.append("* NOT FOR AIR: carried because it was asked for; never to be heard in a programme.")
    if any(channel.phantom in ("on", "optional") for channel in whole.channels):
        lines.append("* Phantom: ask whoever supplies it before it is switched, and mute first.")
    return "\n".join(lines).rstrip() + "\n"
