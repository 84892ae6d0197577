"""show.toml and the sheets that it names become one channel map, planned for every recipient."""

from __future__ import annotations

import difflib
import os
import re
import tomllib
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

from pydantic import BaseModel, ValidationError

from chanbridge import formats
from chanbridge.errors import Location, ModeError, Problem, ReadError, ShowError
from chanbridge.files import read_bytes
from chanbridge.mode import Mode
from chanbridge.model import Channel, ChannelMap, Entry, Line, Patch, Port, Reserved, Slot
from chanbridge.names import fold, slug, unique
from chanbridge.plan.straight import Plan, plan
from chanbridge.sheets.grid import Options
from chanbridge.sheets.ledger import Reading
from chanbridge.system import Block, Box, Feed, Recipient, ShowFile


@dataclass(frozen=True)
class Show:
    """A show file with its sheets read. `sheets`: box id → reading; `kept`: recipient id → its own list."""

    source: str
    file: ShowFile
    sheets: Mapping[str, Reading]
    kept: Mapping[str, Reading]


class NotDelivered(NamedTuple):
    """A channel that a recipient does not get. `wanted`: it should have it."""

    channel: Channel
    reason: str
    wanted: bool


class Delivery(NamedTuple):
    """What a recipient gets. `delivered`: channel id → the slots of its port where the channel stands."""

    recipient: Recipient
    delivered: Mapping[str, tuple[int, ...]]
    missing: tuple[NotDelivered, ...]
    how: tuple[str, ...]


class Planned(NamedTuple):
    """The show as one map, from every box's sockets to every recipient's slots.

    `unplaced`: channels whose sheet puts them nowhere. `feeds`: feed id → its plan.
    """

    map: ChannelMap
    feeds: Mapping[str, Plan]
    deliveries: tuple[Delivery, ...]
    unplaced: tuple[tuple[Channel, str], ...]
    problems: tuple[Problem, ...]


# Reading show.toml

LARGEST_SHOW = 1024 * 1024
LONGEST_LINE = 4000
"""Bytes of a show file and characters of one line: far above any show, below what a TOML reader chokes on."""


def load(path: str, *, accept_rejected: bool = False) -> Show:
    """Read a show file (or the show.toml in a folder) and every sheet that it names.

    Raises ShowError or ReadError, naming the line and key; also where a sheet has rows that could not be
    understood, unless `accept_rejected`.
    """
    if os.path.isdir(path):
        path = os.path.join(path, "show.toml")
    text = _text(path)
    file = parse(text, path)
    folder = Path(path).parent
    sheets, kept = {}, {}
    for at, box in enumerate(file.box):
        where = Location(path, "", line_of(text, ("box", at, "sheet")), "sheet")
        sheets[box.id] = _sheet(folder, box.sheet, where, box.id, accept_rejected)
    for at, recipient in enumerate(file.recipient):
        if recipient.sheet:
            where = Location(path, "", line_of(text, ("recipient", at, "sheet")), "sheet")
            kept[recipient.id] = _sheet(folder, recipient.sheet, where, "", accept_rejected)
    return Show(path, file, sheets, kept)


def _text(path: str) -> str:
    try:
        text = read_bytes(path, LARGEST_SHOW).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise ShowError("this is no show file: it is not UTF-8 text", Location(path)) from None
    for number, line in enumerate(text.splitlines(), 1):
        if len(line) > LONGEST_LINE:
            raise ShowError(
                f"this line has {len(line):,} characters; a show file has at most {LONGEST_LINE:,} in one",
                Location(path, "", number),
            )
    return text


def _sheet(folder: Path, name: str, where: Location, box: str, accept_rejected: bool) -> Reading:
    path = folder / name
    try:
        missing = not path.exists()
    except (OSError, ValueError):  # no name that a file can have
        missing = True
    if missing:
        there = sorted(entry.name for entry in folder.iterdir() if entry.is_file())
        near = difflib.get_close_matches(name, there, 1)
        advice = f"; did you mean {near[0]!r}?" if near else ""
        raise ShowError(f"there is no sheet {name[:80]!r} in the folder {str(folder)!r}{advice}", where)
    reading = formats.read(str(path), options=Options(box=box))
    if not accept_rejected:
        refuse_rejected(reading)
    return reading


def refuse_rejected(reading: Reading) -> None:
    """Raise ReadError where rows of a sheet were not understood, quoting the first."""
    rejected = reading.rejected()
    if rejected:
        first = rejected[0]
        more = f"; {len(rejected) - 1} more rows were not understood either" if len(rejected) > 1 else ""
        raise ReadError(
            f"{first.reason} (row: {first.text}){more}; mend the sheet, or go on without such rows with --accept-rejected",
            Location(reading.source, first.sheet, first.row),
        )


_TABLES: dict[str, type[BaseModel]] = {"box": Box, "block": Block, "feed": Feed, "recipient": Recipient}


def parse(text: str, source: str) -> ShowFile:
    """The declarations of a show file. Raises ShowError with the line, the key and the nearest right key."""
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # what else a TOML reader stumbles over is no TOML either
        found = re.search(r"line (\d+)", str(error))
        raise ShowError(
            f"this is not TOML: {error}", Location(source, "", int(found[1]) if found else None)
        ) from None
    for name in _TABLES:
        if isinstance(data.get(name), dict):
            raise ShowError(
                f"write [[{name}]] with two brackets: there can be several",
                Location(source, "", line_of(text, (name,)), name),
            )
    try:
        file = ShowFile.model_validate(data)
    except ValidationError as error:
        raise _explained(error, text, source) from None
    _check_names(file, text, source)
    return file


def _explained(error: ValidationError, text: str, source: str) -> ShowError:
    found_wrong = error.errors(
        include_url=False
    )  # a misspelt key tells more than the one that is therefore missing
    first = min(found_wrong, key=lambda item: (item["type"] == "missing", line_of(text, item["loc"]) or 0))
    loc = first["loc"]
    where = Location(
        source, "", line_of(text, loc), next(str(part) for part in reversed(loc) if isinstance(part, str))
    )
    owner = _TABLES.get(str(loc[0]), ShowFile) if len(loc) > 1 else ShowFile
    keys = [*owner.model_fields]
    match first["type"]:
        case "extra_forbidden":
            near = difflib.get_close_matches(str(loc[-1]), keys, 1, 0.5)
            advice = f"did you mean {near[0]!r}?" if near else f"there are {', '.join(keys)}"
            return ShowError(f"there is no key {loc[-1]!r} here; {advice}", where)
        case "missing":
            what = f"[[{loc[0]}]]" if len(loc) > 1 else "the show file"
            example = {"mode": 'mode = "64@48000"', "rate": "rate = 48000"}.get(
                str(loc[-1]), f"{loc[-1]} = …"
            )
            return ShowError(f"{what} lacks the key {loc[-1]!r}; write {example}", where)
    found = repr(first["input"])[:60]
    expected = str(first.get("ctx", {}).get("expected", ""))
    near = difflib.get_close_matches(str(first["input"]), re.findall(r"'([^']*)'", expected), 1, 0.5)
    cause = first.get("ctx", {}).get("error")
    wording = {
        "string_pattern_mismatch": f"{found} cannot name a thing and its folder; use letters, digits, blanks, _ and -, for example truck",
        "too_short": "at least one is needed here",
        "literal_error": f"{found} is none of {expected}" + (f"; did you mean {near[0]!r}?" if near else ""),
        "tuple_type": f"write a list in square brackets, not {found}",
        "int_type": f"write a whole number without quotes, not {found}",
        "string_type": f"write a text in quotes, not {found}",
        "date_type": f"write a date such as 2026-12-12, without quotes, not {found}",
        "greater_than_equal": f"{found} is too small; write at least {first.get('ctx', {}).get('ge')}",
        "greater_than": f"{found} is too small; write more than {first.get('ctx', {}).get('gt')}",
        "less_than_equal": f"{found} is too large; write at most {first.get('ctx', {}).get('le')}",
    }
    if isinstance(cause, ModeError):
        return ShowError(cause.message, where)
    if first["type"] == "dataclass_type":
        return ShowError(f'write a mode in quotes, such as "64@48000", not {found}', where)
    message = first["msg"].removeprefix("Value error, ")
    return ShowError(wording.get(first["type"], f"{message[:1].lower()}{message[1:]}; found {found}"), where)


def _check_names(file: ShowFile, text: str, source: str) -> None:
    """Every id once, every name of another thing known, rates alike or a conversion declared."""

    def fail(message: str, *loc: str | int) -> None:
        raise ShowError(message, Location(source, "", line_of(text, loc), str(loc[-1])))

    seen: dict[str, str] = {}
    for table in ("box", "block", "feed", "recipient"):
        for at, item in enumerate(getattr(file, table)):
            key = fold(item.id)
            if key in seen:
                fail(
                    f"the id {item.id!r} is taken by a {seen[key]}; every box, block, feed and recipient has its own",
                    table,
                    at,
                    "id",
                )
            seen[key] = table
    blocks = {block.id: block for block in file.block}
    feeds = {feed.id for feed in file.feed}

    def known(name: str, names: Sequence[str], *loc: str | int) -> None:
        if name not in names:
            near = difflib.get_close_matches(name, names, 1, 0.5)
            fail(
                f"there is no {name!r}; "
                + (f"did you mean {near[0]!r}?" if near else f"there are {', '.join(names) or 'none'}"),
                *loc,
            )

    taken: dict[tuple[str, int], str] = {}
    for at, box in enumerate(file.box):
        known(box.block, [*blocks], "box", at, "block")
        last = box.first + box.inputs - 1
        size = blocks[box.block].slots
        if last > size:
            fail(
                f"box {box.id!r} has {box.inputs} inputs from slot {box.first} on, and {box.block!r} ends at {size}",
                "box",
                at,
                "inputs",
            )
        for slot in range(box.first, last + 1):
            other = taken.setdefault((box.block, slot), box.id)
            if other != box.id:
                fail(
                    f"slot {slot} of {box.block!r} is taken by box {other!r}; give box {box.id!r} another first slot",
                    "box",
                    at,
                    "first",
                )
    for at, feed in enumerate(file.feed):
        for name in feed.blocks:
            known(name, [*blocks], "feed", at, "blocks")
            rate = blocks[name].rate or file.rate
            if rate != feed.mode.rate_hz and not feed.conversion:
                fail(
                    f"{name!r} runs at {rate} Hz and the feed at {feed.mode.rate_hz} Hz; "
                    'choose a mode at the blocks\' rate, or declare what converts it: conversion = "…"',
                    "feed", at, "mode",
                )  # fmt: skip
        twice = [name for name, times in Counter(feed.blocks).items() if times > 1]
        if twice:
            fail(f"{twice[0]!r} is named twice", "feed", at, "blocks")
    for at, recipient in enumerate(file.recipient):
        for name in recipient.takes:
            known(name, [*feeds, *blocks], "recipient", at, "takes")
        if len(recipient.takes) > 1 and (
            feeds & {*recipient.takes} or len({*recipient.takes}) < len(recipient.takes)
        ):
            fail("a recipient takes one feed, or blocks that are each named once", "recipient", at, "takes")


def line_of(text: str, loc: Sequence[str | int]) -> int | None:
    """The line of a show file, from 1, where a key stands: ("box", 1, "inputs") is in the second [[box]].

    A key that is not there gives its table's line; None where neither is found.
    """
    table, at = str(loc[0]), loc[1] if len(loc) > 1 and isinstance(loc[1], int) else None
    key = next((part for part in loc[2:] if isinstance(part, str)), None) if at is not None else table
    current, count, best = "", Counter[str](), None
    for number, line in enumerate(text.splitlines(), 1):
        header = re.match(r"\s*\[\[?\s*([^\]]+?)\s*\]", line)
        if header:
            current = header[1].strip("\"' ")
            count[current] += 1
            if current == table and (at is None or count[current] == at + 1):
                best = number
            continue
        inside = (
            (current == table and count[current] == at + 1)
            if at is not None and count[table]
            else not current
        )
        name = re.match(r"""\s*["']?([\w-]+)["']?\s*=""", line)
        if inside and name and name[1] == key:
            return number
        if not current and name and name[1] == table and best is None:
            best = number
    return best


# From sheets to a map


def assemble(show: Show) -> Planned:
    """Put every box on its block, every block on its feeds, and work out what each recipient gets."""
    file = show.file
    builder = _Builder(show)
    for box in file.box:
        builder.add_box(box)
    whole = builder.map()
    feeds: dict[str, Plan] = {}
    ports, patches = list(whole.ports), list(whole.patches)
    for feed in file.feed:
        made = plan(whole, feed.blocks, feed.id, feed.mode.slots)
        feeds[feed.id] = made
        ports.append(
            Port(id=feed.id, kind="feed", size=feed.mode.slots, mode=feed.mode, rate_hz=feed.mode.rate_hz)
        )
        patches += made.patches
    sizes = {port.id: port.size for port in ports}
    modes = {feed.id: feed.mode for feed in file.feed}
    for recipient in file.recipient:
        port, more = _recipient_port(recipient, sizes, modes, file)
        ports.append(port)
        patches += more
    whole = whole.changed(ports=tuple(ports), patches=tuple(patches))
    lost = {channel.id for channel, _ in builder.unplaced}
    deliveries = tuple(_delivery(whole, recipient, feeds, file, lost) for recipient in file.recipient)
    return Planned(whole, feeds, deliveries, tuple(builder.unplaced), tuple(builder.problems))


def _recipient_port(
    recipient: Recipient, sizes: Mapping[str, int], modes: Mapping[str, Mode], file: ShowFile
) -> tuple[Port, list[Patch]]:
    total = sum(sizes[name] for name in recipient.takes)
    size = recipient.inputs or total
    patches = []
    offset = 0
    for name in recipient.takes:
        for number in range(1, min(sizes[name], size - offset) + 1):
            patches.append(Patch(Slot(name, number), Slot(recipient.id, offset + number)))
        offset += sizes[name]
    mode = modes.get(recipient.takes[0]) if len(recipient.takes) == 1 else None
    kind = "feed" if mode and recipient.kind == "desk" else recipient.kind
    port = Port(
        id=recipient.id, name=recipient.name, kind=kind, size=size, mode=mode if kind == "feed" else None,
        rate_hz=mode.rate_hz if mode else file.rate,
    )  # fmt: skip
    return port, patches


def _delivery(
    whole: ChannelMap,
    recipient: Recipient,
    feeds: Mapping[str, Plan],
    file: ShowFile,
    unplaced: Collection[str],
) -> Delivery:
    """What stands on a recipient's port, one channel a slot, and why each other channel does not."""
    at: dict[str, list[int]] = {}
    reasons = {
        out.channel: out.reason for name in recipient.takes if name in feeds for out in feeds[name].left_out
    }
    holders: dict[int, Channel] = {}
    for number, channel, _, _ in whole.sheet(recipient.id):
        if channel is None or channel.id in reasons:
            continue
        holder = holders.setdefault(number, channel)
        if holder is channel:
            at.setdefault(channel.id, []).append(number)
        else:
            reasons[channel.id] = f"slot {number} already carries {holder.name!r}"
    homes = {row.channel.id: block.id for block in file.block for row in whole.sheet(block.id) if row.channel}
    reachable = {
        block
        for name in recipient.takes
        for block in next((feed.blocks for feed in file.feed if feed.id == name), (name,))
    }
    size = whole.port(recipient.id).size
    missing = []
    for channel in whole.channels:
        if channel.id in at or channel.id in unplaced:
            continue
        home = homes.get(channel.id, "")
        reason = reasons.get(channel.id, f"{recipient.id} has {size} inputs, and it stands beyond them")
        if channel.id not in reasons and home not in reachable:
            reason = f"stands on {home}, which {recipient.id} does not take"
        wanted = home in reachable and is_wanted(channel, recipient)
        missing.append(NotDelivered(channel, reason, wanted))
    how = tuple(
        f"{feed.id} ({feed.mode}): {feeds[feed.id].why}" for feed in file.feed if feed.id in recipient.takes
    )
    return Delivery(recipient, {name: tuple(slots) for name, slots in at.items()}, tuple(missing), how)


def is_wanted(channel: Channel, recipient: Recipient) -> bool:
    """Whether a recipient must get a channel: anyone who hears it through the recipient may hear it."""
    heard = [getattr(channel.audience, tag) for tag in recipient.tags]
    return not heard or any(permission != "not allowed" for permission in heard)


class _Builder:
    """Collects the channels of all boxes with their sockets, and the boxes' places on the blocks."""

    def __init__(self, show: Show) -> None:
        self.show = show
        self.channels: dict[str, Channel] = {}
        self.entries: list[Entry] = []
        self.reserved: list[Reserved] = []
        self.headings: list[str] = []
        self.unplaced: list[tuple[Channel, str]] = []
        self.problems: list[Problem] = []
        self.boxes = {fold(box.id): box for box in show.file.box}

    def add_box(self, box: Box) -> None:
        reading = self.show.sheets[box.id]
        self.problems += [problem for problem in reading.problems if problem not in self.problems]
        had = Counter(self.headings)
        for heading, times in Counter(reading.map.headings).items():
            self.headings += [heading] * (times - had[heading])
        rows = reading.map.lines(reading.map.listed_port())
        mine = [line for line in rows if self._is_for(line, box, rows)]
        ids = self._ids(mine, box, reading)
        by_socket = self._counts_sockets(mine, box, reading)
        shifts = Counter(
            line.number - (box.first + line.socket - 1)
            for line in mine
            if line.channel and line.number and line.socket
        )
        usual = shifts.most_common(1)[0][0] if shifts else 0
        for line in mine:
            shift = 0 if by_socket else box.first - 1
            socket = line.socket if line.socket is not None else line.number - shift if line.number else None
            if not line.channel:
                if socket and line.text and 1 <= socket <= box.inputs:
                    self.reserved.append(Reserved(Slot(box.id, socket), line.text))
                continue
            channel = line.channel.with_ids(ids)
            self.channels.setdefault(channel.id, channel)
            where = reading.origins.get(line.channel.id, Location(reading.source))
            wrong = self._no_place(line, socket, box)
            if wrong or socket is None:
                self.unplaced.append((channel, f"{where}: {wrong}"))
                continue
            self.entries.append(Entry(channel.id, Slot(box.id, socket)))
            slot = box.first + socket - 1
            if line.socket and line.number and line.number - slot != usual:
                self.problems.append(
                    Problem(where, "number-and-socket", f"{channel.name!r} has number {line.number}, but socket {box.id}{socket} stands on slot {slot} of {box.block}; the socket counts")
                )  # fmt: skip

    def _is_for(self, line: Line, box: Box, rows: Sequence[Line]) -> bool:
        """Whether a line of a box's sheet is this box's to place: not if another box has the same sheet and its name."""
        owner = self.boxes.get(fold(line.box))
        if line.box and owner and owner.id != box.id:
            return owner.sheet != box.sheet
        if (
            line.box and not owner
        ):  # on a sheet of several boxes' an unknown one is reported once, by the first
            sharing = [other for other in self.show.file.box if other.sheet == box.sheet]
            return sharing[0].id == box.id
        return True

    def _no_place(self, line: Line, socket: int | None, box: Box) -> str:
        """Why a channel of a box's sheet stands on no socket of it; "" where it does."""
        owner = self.boxes.get(fold(line.box))
        names = {
            fold(other.box)
            for other in self.show.sheets[box.id].map.lines(self.show.sheets[box.id].map.listed_port())
            if other.box
        }
        if line.box and owner and owner.id != box.id:
            return f"it names box {owner.id}, whose sheet is {owner.sheet}; move the row there"
        if line.box and not owner and len(names) > 1:
            return f"it names the box {line.box!r}, which the show does not have"
        if socket is None:
            return "it has neither a socket nor a number"
        if not 1 <= socket <= box.inputs:
            return f"socket {socket} lies past the end of box {box.id}, which has {box.inputs} inputs"
        return ""

    def _counts_sockets(self, mine: Sequence[Line], box: Box, reading: Reading) -> bool:
        """Whether a sheet's numbers count the box's sockets, not the block's slots: one answer for a sheet."""
        numbers = [line.number for line in mine if line.channel and line.number and line.socket is None]
        as_sockets = sum(number <= box.inputs for number in numbers)
        as_slots = sum(box.first <= number < box.first + box.inputs for number in numbers)
        if numbers and box.first > 1 and as_sockets == as_slots == len(numbers):
            self.problems.append(
                Problem(Location(reading.source), "numbers", f"the numbers could count sockets of box {box.id} or slots of {box.block}; they are read as sockets: a column Socket settles it")
            )  # fmt: skip
        return as_sockets >= as_slots

    def _ids(self, mine: Sequence[Line], box: Box, reading: Reading) -> dict[str, str]:
        """Reading's ids → ids in the show, renamed where another channel has the id."""
        ids: dict[str, str] = {}
        shared = any(other is not box and other.sheet == box.sheet for other in self.show.file.box)
        for line in mine:
            if line.channel and line.channel.id not in ids:
                wanted = line.channel.id
                if wanted in self.channels and not (shared and self.channels[wanted] == line.channel):
                    wanted = unique(
                        slug(box.id, line.channel.name) or wanted, {*self.channels, *ids.values()}
                    )
                    where = reading.origins.get(line.channel.id, Location(reading.source))
                    if "id" in reading.layout:
                        self.problems.append(
                            Problem(
                                where,
                                "id-twice",
                                f"id {line.channel.id!r} is also on another sheet; here it is called {wanted!r}",
                            )
                        )
                ids[line.channel.id] = wanted
        return ids

    def map(self) -> ChannelMap:
        file = self.show.file
        rates = {block.id: block.rate or file.rate for block in file.block}
        sizes = {block.id: block.slots for block in file.block}
        ports = [
            Port(
                id=box.id,
                device=box.id,
                kind="sockets",
                first=box.first,
                size=box.inputs,
                rate_hz=rates[box.block],
            )
            for box in file.box
        ]
        ports += [Port(id=name, size=size, rate_hz=rates[name]) for name, size in sizes.items()]
        patches = [
            Patch(Slot(box.id, socket), Slot(box.block, box.first + socket - 1))
            for box in file.box
            for socket in range(1, box.inputs + 1)
        ]
        owned = [
            channel
            if channel.gain_owner or not file.gain_owner
            else channel.changed(gain_owner=file.gain_owner)
            for channel in self.channels.values()
        ]
        return ChannelMap(
            title=file.title, revision=file.revision, date=file.date, rate_hz=file.rate, headings=tuple(self.headings),
            channels=tuple(owned), entries=tuple(self.entries), ports=tuple(ports), patches=tuple(patches),
            reserved=tuple(self.reserved),
        )  # fmt: skip


def schema() -> dict[str, Any]:
    """The JSON schema (2020-12) of show.toml's content, as published in schemas/show.schema.json."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **ShowFile.model_json_schema(mode="validation"),
    }
