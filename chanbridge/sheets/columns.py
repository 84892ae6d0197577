"""A port as lines of text cells: the columns that chanbridge itself writes, and reads back exactly."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from itertools import repeat
from operator import attrgetter, itemgetter
from typing import Any

from chanbridge.errors import WriteError
from chanbridge.model import AUDIENCES, OPEN, Audience, Channel, ChannelMap, Line, Permission, Side
from chanbridge.names import vocabulary
from chanbridge.sheets import values

_NOBODY = Channel(id="nobody")
"""Stands in a spare's place; all that a list shows of it is empty."""

FIRST = ("Slot", "Name", "Short", "Box", "Socket")
LAST = "Id"


_SIDES: dict[Side, str] = {"left": "L", "right": "R", "mid": "M", "side": "S"}
PAIR_TEXT = re.compile(r"(?P<side>[LRMS])(?: with (?:(?P<number>\d{1,9})|id (?P<id>.+)))?", re.DOTALL)


def decibel_text(value: float | None) -> str:
    """`17.5`, `-20`; the shortest text that reads back as the same number, "" for None."""
    return "" if value is None else repr(value).removesuffix(".0")


def contents_text(ids: tuple[str, ...]) -> str:
    """Channel ids in one cell, separated by semicolons and quoted where they hold one."""
    if not ids:
        return ""
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=";").writerow(ids)
    return out.getvalue().removesuffix("\r\n")


def contents_of(text: str) -> tuple[str, ...]:
    """The reverse of `contents_text`."""
    return tuple(next(csv.reader(io.StringIO(text, newline=""), delimiter=";"))) if text else ()


def _heard(permission: str, name: str) -> str:
    return {"allowed": f"FOR {name.upper()}", "not allowed": f"NOT FOR {name.upper()}", "open": ""}[
        permission
    ]


COLUMNS: dict[str, tuple[str, Callable[[Any], str]]] = {
    **{name: (name.capitalize(), partial(_heard, name=name)) for name in AUDIENCES},
    "phantom": ("Phantom", lambda phantom: "" if phantom == "unknown" else phantom),
    "gain_owner": ("Gain owner", str),
    "gain_db": ("Gain dB", decibel_text),
    "pad_db": ("Pad dB", decibel_text),
    "polarity": ("Polarity", lambda polarity: "" if polarity == "unknown" else polarity),
    "kind": ("Kind", lambda kind: "" if kind == "unknown" else kind),
    "transducer": ("Transducer", str),
    "needs_power": ("Needs power", lambda needs: "" if needs is None else "yes" if needs else "no"),
    "stand": ("Stand", str),
    "position": ("Position", str),
    "group": ("Group", str),
    "priority": ("Priority", lambda priority: "" if priority == "must" else priority),
    "contents": ("Contents", contents_text),
    "tap": ("Tap", lambda tap: tap or ""),
}
"""Field → its heading and how its value is written, "" for the default, for the columns between Pair and Notes."""

HEADINGS = {
    "number": "Slot",
    "name": "Name",
    "short": "Short",
    "box": "Box",
    "socket": "Socket",
    "pair": "Pair",
    **{field: heading for field, (heading, _) in COLUMNS.items()},
    "notes": "Notes",
    "id": LAST,
}
"""Field → the heading that chanbridge writes for it."""


FIELDS = (*HEADINGS, "side", "count")
"""What a column may mean."""


def is_own(heading: list[str]) -> bool:
    """Whether a heading row is one that chanbridge wrote."""
    return heading[:1] == [FIRST[0]] and tuple(heading[:5]) == FIRST and heading[-1] == LAST


def _is_nothing(remark: str) -> bool:
    return values.is_nothing(remark, vocabulary())


def table(
    whole: ChannelMap, port_id: str | None, as_name: Callable[[str], bool] = _is_nothing
) -> tuple[list[str], list[list[str]]]:
    """A map's lines as heading and rows of cells, every field of every channel in them.

    Columns: Slot, Name, Short, Box, Socket, then whatever is filled anywhere, unknown columns as they were
    called, and Id last. `as_name` tells which remarks on a spare stand under Name, where they must be read as none;
    the others stand under Notes.
    """
    rows = whole.lines(port_id)
    numbers, occupants, boxes, sockets, _ = zip(*rows, strict=True) if rows else ((),) * 5
    spares = None in occupants
    channels: Sequence[Channel] = [channel or _NOBODY for channel in occupants] if spares else occupants
    given = {"id", "name", "short", "pair", "notes", "extras"}.union(*_given(channels))
    fields = [field for field in Channel.model_fields if field in given]
    cells = map(list, zip(*map(attrgetter(*fields), channels), strict=True)) if rows else repeat([])
    said: dict[str, list[Any]] = dict(zip(fields, cells, strict=False))
    for at, line in enumerate(rows) if spares else ():
        if line.text and not line.channel:
            said["name" if as_name(line.text) else "notes"][at] = line.text
    if any(said["pair"]):
        pairs = _pair_texts(rows)
        said["pair"] = [pairs.get(channel.id, "") for channel in channels]
    else:
        said["pair"] = [""] * len(rows)
    if "audience" in said:
        said |= dict(zip(AUDIENCES, _heard_by(said["audience"]), strict=True))
    for field, (_, show) in COLUMNS.items():
        if field in said and show is not str:
            known = {value: show(value) for value in set(said[field])}
            said[field] = [known[value] for value in said[field]]
    if spares:
        said["id"] = ["" if channel is _NOBODY else channel.id for channel in channels]
    extras = _extra_headings(whole)
    empty = [""] * len(rows)
    columns: list[tuple[str, Sequence[str]]] = [
        (FIRST[0], _number_texts(numbers)),
        (FIRST[1], said["name"]),
        (FIRST[2], said["short"]),
        (FIRST[3], boxes),
        (FIRST[4], _number_texts(sockets)),
    ]
    for field in ("pair", *COLUMNS, "notes"):
        shown = said.get(field, empty)
        if HEADINGS[field] in extras or any(shown):
            columns.append((HEADINGS[field], shown))
    columns += zip(extras, _extra_columns(channels, extras), strict=True)
    columns.append((LAST, said["id"]))
    return [heading for heading, _ in columns], list(
        map(list, zip(*(cells for _, cells in columns), strict=True))
    )


def _number_texts(numbers: Sequence[int | None]) -> list[str]:
    known = {number: "" if number is None else str(number) for number in {*numbers}}
    return [known[number] for number in numbers]


def _given(channels: Sequence[Channel]) -> Iterable[set[str]]:
    """Which fields were given where a channel was made; the others are as usual."""
    given = map(attrgetter("model_fields_set"), channels)
    return {id(fields): fields for fields in given}.values()


def _heard_by(audiences: list[Audience]) -> list[list[Permission]]:
    """For each of AUDIENCES what is permitted, line by line."""
    if all(audience is OPEN for audience in audiences):
        return [["open"] * len(audiences)] * len(AUDIENCES)
    return [[getattr(audience, name) for audience in audiences] for name in AUDIENCES]


_HEADING, _TEXT = itemgetter(0), itemgetter(1)


def _extra_columns(channels: Sequence[Channel], headings: list[str]) -> list[list[str]]:
    """The cells of unknown columns, column by column."""
    extras = [channel.extras for channel in channels]
    if {*map(len, extras)} == {len(headings)}:
        columns = list(zip(*extras, strict=True))
        if all(
            {*map(_HEADING, cells)} == {heading} for heading, cells in zip(headings, columns, strict=True)
        ):
            return [list(map(_TEXT, cells)) for cells in columns]
    if len(set(headings)) == len(headings):
        by_heading = [dict(channel.extras).get for channel in channels]
        return [[cell(heading, "") for cell in by_heading] for heading in headings]
    rows = [_cells_under(headings, channel.extras) for channel in channels]
    return [list(column) for column in zip(*rows, strict=True)] or [[] for _ in headings]


def _extra_headings(whole: ChannelMap) -> list[str]:
    """Every heading as often as the map or any one channel has it, in the map's order."""
    headings = list(whole.headings)
    had = Counter(headings)
    for had_by_one in dict.fromkeys(tuple(map(_HEADING, channel.extras)) for channel in whole.channels):
        for heading, times in Counter(had_by_one).items():
            headings += [heading] * (times - had[heading])
            had[heading] = max(times, had[heading])
    return headings


def _cells_under(headings: Sequence[str], cells: Iterable[tuple[str, str]]) -> list[str]:
    """The text under each heading, "" where there is none; of one that stands twice its first cell, then its next."""
    left: dict[str, list[str]] = {}
    for heading, text in cells:
        left.setdefault(heading, []).append(text)
    return [left[heading].pop(0) if left.get(heading) else "" for heading in headings]


def in_order(cells: Iterable[tuple[str, str]], headings: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """Cells of unknown columns in the order of the headings; every cell has its heading there."""
    return trimmed_extras(list(zip(headings, _cells_under(headings, cells), strict=True)))


def trimmed_extras(cells: list[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
    """Cells of unknown columns without the empty ones that no filled one of the same heading follows."""
    kept: list[tuple[str, str]] = []
    filled: set[str] = set()
    for heading, text in reversed(cells):
        if text or heading in filled:
            filled.add(heading)
            kept.append((heading, text))
    return tuple(reversed(kept))


def _pair_texts(rows: list[Line]) -> dict[str, str]:
    """Channel id → `L with 20` where slot 20 holds the partner and nothing else, `L with id x`, or `L`."""
    at: dict[str, int] = {}
    holders = Counter(line.number for line in rows if line.channel)
    for line in rows:
        if line.channel and line.number is not None and holders[line.number] == 1:
            at.setdefault(line.channel.id, line.number)
    texts = {}
    for line in rows:
        pair = line.channel.pair if line.channel else None
        if line.channel and pair:
            with_whom = ""
            if pair.partner is not None:
                number = at.get(pair.partner) if pair.partner != line.channel.id else None
                with_whom = f" with {number}" if number else f" with id {pair.partner}"
            texts[line.channel.id] = _SIDES[pair.side] + with_whom
    return texts


def side_of(letter: str) -> Side:
    """The side that a letter of the Pair column stands for."""
    return next(side for side, mark in _SIDES.items() if mark == letter)


def check_writable(whole: ChannelMap, port_id: str | None) -> None:
    """Raise WriteError when the port asked for does not exist, naming those that do."""
    ports = [port.id for port in whole.ports]
    if port_id is not None and port_id not in ports:
        raise WriteError(f"this map has no port {port_id!r}; it has {', '.join(ports) or 'none'}")


def dropped(whole: ChannelMap, port_id: str | None) -> list[str]:
    """What a plain list of one port cannot carry of this map, in words; empty if nothing is lost."""
    lost = [name for name in ("title", "revision", "date", "rate_hz") if getattr(whole, name)]
    others = [
        port.id
        for port in whole.ports
        if port.id != port_id and (port.kind != "sockets" or port.id != (port.device or "sockets"))
    ]
    if others:
        lost.append(f"the ports {', '.join(others)}")
    listed = next((port for port in whole.ports if port.id == port_id), None)
    if listed and (listed.mode or listed.name or listed.device or listed.rate_hz or listed.mirrors):
        lost.append(f"the name, rate and mode of the port {port_id}")
    if any(
        port.kind == "sockets" and (port.size or port.first > 1 or port.name or port.rate_hz)
        for port in whole.ports
    ):
        lost.append("the sizes and places of the boxes")
    direct = {port.id for port in whole.ports if port.kind == "sockets"}
    if any(source.port not in direct or target.port != port_id for source, target in whole.patches):
        lost.append("patches other than from sockets to this port")
    return lost
