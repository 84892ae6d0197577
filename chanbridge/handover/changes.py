"""What changed for one recipient since the revision before: by slot, old beside new, with what to do."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from chanbridge.assemble.returns import outputs_of
from chanbridge.compare.changes import compare
from chanbridge.formats.characters import encode
from chanbridge.formats.text import draw, plain
from chanbridge.model import Channel, ChannelMap, Line, Row, Slot
from chanbridge.said import Listed, Said
from chanbridge.system import ShowFile

HEADING = ("Slot", "Was", "Now", "Kind", "To do")


class Changed(NamedTuple):
    """A slot that is not as it was. `was` and `now` are what stood and stands there, "" for nothing."""

    slot: int
    was: str
    now: str
    kinds: tuple[str, ...]
    to_do: str


def changes(old: ChannelMap, new: ChannelMap, port: str) -> list[Changed]:
    """The slots of a port that are not as they were, in their order; the kinds are those of a comparison."""
    before, after = _by_slot(old, port), _by_slot(new, port)
    kinds: dict[int, dict[str, None]] = {}
    for change in compare(old, new, by_id=True, columns=("pair",), spares=False).changes:
        for pair in change.lines():
            for line in pair:
                if line and line.number:
                    kinds.setdefault(line.number, {})[change.kind] = None
    stood = {line.channel.id: slot for slot, line in before.items() if line.channel}
    stands = {line.channel.id: slot for slot, line in after.items() if line.channel}
    out = []
    for slot in sorted({*before, *after}):
        was, now = before.get(slot), after.get(slot)
        to_do = _to_do(was, now, stood, stands)
        if to_do:
            out.append(Changed(slot, _text(was), _text(now), tuple(kinds.get(slot, ())), to_do))
    return out


def changed_sockets(file: ShowFile, old: ChannelMap, new: ChannelMap) -> frozenset[str]:
    """Sockets and outputs of boxes, such as `A 12`, with which the stage has something to do since `old`."""
    known = {port.id for port in old.ports} & {port.id for port in new.ports}
    out = set()
    for port in (name for box in file.box for name in (box.id, outputs_of(box.id)) if name in known):
        was, now = ({row.number: row for row in whole.sheet(port)} for whole in (old, new))
        out |= {
            str(Slot(port, number))
            for number in {*was, *now}
            if _on_stage(was.get(number)) != _on_stage(now.get(number))
        }
    return frozenset(out)


_ON_STAGE = ("name", "transducer", "stand", "position", "phantom", "notes", "contents")


def _on_stage(row: Row | None) -> tuple[object, ...]:
    """What a socket's line on the stage's sheet depends on."""
    if row is None or row.channel is None:
        return (row.text,) if row and row.text else ()
    return (row.entry, *(getattr(row.channel, field) for field in _ON_STAGE))


def change_documents(
    found: Sequence[Changed], who: str, letter: str, before: str, word: str, title: str
) -> Iterator[tuple[str, bytes]]:
    """changes.csv and changes.txt. `letter` and `before` are the new revision and the one that it is compared with."""
    rows = [[str(item.slot), item.was, item.now, ", ".join(item.kinds), item.to_do] for item in found]
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\r\n").writerows([HEADING, *rows])
    yield "changes.csv", encode(out.getvalue())
    lines = [
        plain(title),
        f"For: {plain(who)}   Revision {letter}, word {word}   against revision {before}",
        "",
    ]
    if rows:
        lines += draw(
            [*HEADING[:3], HEADING[4]], [[plain(cell) for cell in (*row[:3], row[4])] for row in rows]
        )
        lines += ["", f"{len(rows)} of your slots changed; everything else stays as on revision {before}."]
        if any("phantom" in item.to_do for item in found):
            lines.append("Phantom: ask whoever supplies it before it is switched, and mute first.")
    else:
        lines.append(f"{letter}: nothing changed for you")
    yield "changes.txt", encode("\n".join(lines) + "\n")


def _by_slot(whole: ChannelMap, port: str) -> dict[int, Line]:
    lines: dict[int, Line] = {}
    for line in whole.lines(port):
        if line.number is not None and line.channel:
            lines.setdefault(line.number, line)
    return lines


def _text(line: Line | None) -> str:
    if line is None or line.channel is None:
        return ""
    where = f"{line.box}{'' if line.box[-1:].isalpha() else ' '}{line.socket}" if line.socket else ""
    return f"{line.channel.name} ({where})" if where else line.channel.name


def _to_do(was: Line | None, now: Line | None, stood: dict[str, int], stands: dict[str, int]) -> str:
    """What whoever has the list in hand does about a slot; "" where it is as it was."""
    old = was.channel if was else None
    new = now.channel if now else None
    if new is None:
        if old is None:
            return ""
        there = stands.get(old.id)
        return Said("clear it: moved to {slot}", slot=there) if there else Said("clear it: gone")
    if old is None or old.id != new.id:
        there = stood.get(new.id)
        if there:
            return Said("set up {name}: comes from {slot}", name=new.name, slot=there)
        return Said("set up {name}: new", name=new.name)
    said = []
    if old.name != new.name:
        said.append(Said("rename to {name}", name=new.name))
    if was and now and (was.box, was.socket) != (now.box, now.socket):
        said.append(Said("the socket is {socket} now", socket=_text(now)[len(new.name) + 2 : -1]))
    said += _settings(old, new)
    return Listed("; ", said)


_UNSAID = Said("not said")


_VALUES = {
    "on": Said("on"), "off": Said("off"), "optional": Said("optional"), "unknown": _UNSAID,
    "normal": Said("normal"), "reversed": Said("reversed"),
    "left": Said("left"), "right": Said("right"), "mid": Said("mid"), "side": Said("side"),
}  # fmt: skip


def _settings(old: Channel, new: Channel) -> list[Said]:
    said = []
    if old.phantom != new.phantom:
        said.append(Said("phantom {value}", value=_VALUES[new.phantom]))
    if old.polarity != new.polarity:
        said.append(Said("polarity {value}", value=_VALUES[new.polarity]))
    if old.gain_owner != new.gain_owner:
        said.append(Said("gain is with {who}", who=new.gain_owner or _UNSAID))
    if old.transducer != new.transducer:
        now = new.transducer or Said("no transducer said")
        said.append(Said("{now}, was {was}", now=now, was=old.transducer or _UNSAID))
    if new.pair and (old.pair is None or old.pair.side != new.pair.side):
        said.append(Said("pair: {side}", side=_VALUES[new.pair.side]))
    if old.pair and new.pair is None:
        said.append(Said("no pair any more"))
    if old.audience != new.audience:
        said.append(Said("who may hear it changed: see the sheet"))
    if old.notes != new.notes:
        said.append(Said("note: {text}", text=new.notes or Said("gone")))
    return said
