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
        return f"clear it: moved to {stands[old.id]}" if old.id in stands else "clear it: gone"
    if old is None or old.id != new.id:
        came = f"comes from {stood[new.id]}" if new.id in stood else "new"
        return f"set up {new.name}: {came}"
    said = []
    if old.name != new.name:
        said.append(f"rename to {new.name}")
    if was and now and (was.box, was.socket) != (now.box, now.socket):
        said.append(f"the socket is {_text(now)[len(new.name) + 2 : -1]} now")
    said += _settings(old, new)
    return "; ".join(said)


def _settings(old: Channel, new: Channel) -> list[str]:
    said = []
    for field, words in (("phantom", "phantom"), ("polarity", "polarity"), ("gain_owner", "gain is with")):
        if getattr(old, field) != getattr(new, field):
            said.append(f"{words} {getattr(new, field) or 'not said'}")
    if old.transducer != new.transducer:
        said.append(f"{new.transducer or 'no transducer said'}, was {old.transducer or 'not said'}")
    if (old.pair is None) != (new.pair is None) or (old.pair and new.pair and old.pair.side != new.pair.side):
        said.append(f"pair: {new.pair.side}" if new.pair else "no pair any more")
    if old.audience != new.audience:
        said.append("who may hear it changed: see the sheet")
    if old.notes != new.notes:
        said.append(f"note: {new.notes or 'gone'}")
    return said
