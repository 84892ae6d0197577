"""show.toml and the sheets that it names, read; what cannot be so is said with its line and its key."""

from __future__ import annotations

import os
import re
import tomllib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain
from pathlib import Path
from typing import Any, TypeVar, get_args, get_origin

from pydantic import BaseModel, ValidationError

from chanbridge import formats
from chanbridge.errors import Location, ModeError, ShowError, meant, nearest, unknown
from chanbridge.files import no_such, read_bytes
from chanbridge.foresight.declared import gear_mistakes
from chanbridge.plan.declared import mistakes
from chanbridge.plan.naming import naming_mistakes, wiring_mistakes
from chanbridge.sheets.columns import FIELDS
from chanbridge.sheets.grid import Options
from chanbridge.sheets.ledger import Reading
from chanbridge.system import (
    Act,
    Box,
    CablePower,
    DevicePort,
    Recipient,
    Segment,
    ShowFile,
    Split,
)


@dataclass(frozen=True)
class Show:
    """A show file with its sheets read.

    `sheets`: box id → reading; `kept`: recipient id → its own list; `wants`: recipient id → what it asks for;
    `issued`: feed id, or act/feed, → the sheet that was issued for it; `acts`: act id → its sheet. `text`: the file itself.
    """

    source: str
    file: ShowFile
    sheets: Mapping[str, Reading]
    kept: Mapping[str, Reading]
    wants: Mapping[str, Reading] = field(default_factory=dict)
    issued: Mapping[str, Reading] = field(default_factory=dict)
    acts: Mapping[str, Reading] = field(default_factory=dict)
    text: str = ""

    def mistake(self, message: str, *loc: str | int) -> ShowError:
        """An error that points at the line of a key, such as ("return", 0, "contents")."""
        return ShowError(message, Location(self.source, "", line_of(self.text, loc), str(loc[-1])))


def _no_show(folder: str) -> str:
    """What to say of a folder without a show: those in it that have one."""
    shows = sorted(
        name for name in os.listdir(folder) if os.path.isfile(os.path.join(folder, name, "show.toml"))
    )
    said = "there is no show.toml in this folder; "
    return said + (
        f"name one of {', '.join(shows[:6])} in it" if shows else "chanbridge new DIR lays one down"
    )


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
        if not os.path.lexists(path):
            raise ShowError(_no_show(os.path.dirname(path)), Location(path))
    elif path.lower().endswith(tuple(ending for known in formats.FORMATS for ending in known.suffixes)):
        raise ShowError(
            "this is a sheet, no show; name a show.toml, or its folder; chanbridge new DIR lays one down",
            Location(path),
        )
    text = declarations(path)
    file = parse(text, path)
    folder = Path(path).parent

    def readings(table: str, key: str) -> dict[str, Reading]:
        """What the sheets hold that each entry of a table names under a key."""
        found = {}
        for at, item in enumerate(getattr(file, table)):
            if name := getattr(item, key):
                where = Location(path, "", line_of(text, (table, at, key)), key)
                reader = item if key == "sheet" else None
                box = item.id if table == "box" else ""
                found[item.id] = _sheet(folder, name, reader, where, box, accept_rejected)
        return found

    return Show(
        path, file, readings("box", "sheet"), readings("recipient", "sheet"), readings("recipient", "wants"),
        readings("feed", "keep"), readings("act", "sheet"), text,
    )  # fmt: skip


def declarations(path: str) -> str:
    """The text of a show file, or of another file of declarations. Raises ShowError or ReadError."""
    try:
        text = read_bytes(path, LARGEST_SHOW).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise ShowError("this is no file of declarations: it is not UTF-8 text", Location(path)) from None
    for number, line in enumerate(text.splitlines(), 1):
        if len(line) > LONGEST_LINE:
            raise ShowError(
                f"this line has {len(line):,} characters; a show file has at most {LONGEST_LINE:,} in one",
                Location(path, "", number),
            )
    return text


def _sheet(
    folder: Path,
    name: str,
    keeper: Box | Recipient | Act | None,
    where: Location,
    box: str,
    accept_rejected: bool,
) -> Reading:
    """A sheet of the show; `keeper` says how it is to be read, None that it is plain."""
    path = folder / name
    options = Options(box=box)
    if keeper:
        for meaning in keeper.columns.values():
            if meaning not in FIELDS:
                raise ShowError(f"columns: {unknown('field', meaning, FIELDS)}", where)
        options = Options(
            keeper.encoding, keeper.delimiter, False, keeper.record, box, tuple(keeper.columns.items())
        )
    try:
        missing = not path.exists()
    except (OSError, ValueError):  # no name that a file can have
        missing = True
    if missing:
        raise ShowError(f"there is no sheet {name[:80]!r}: {no_such(path)}", where)
    reading = formats.read(str(path), options=options)
    if not accept_rejected:
        formats.refuse_rejected(reading)
    return reading


_WITHIN: dict[tuple[str, str], type[BaseModel]] = {
    ("device", "ports"): DevicePort, ("device", "split"): Split, ("device", "gives"): CablePower,
    ("device", "takes"): CablePower, ("link", "segments"): Segment,
}  # fmt: skip


_File = TypeVar("_File", bound=BaseModel)


def parse(text: str, source: str) -> ShowFile:
    """The declarations of a show file. Raises ShowError with the line, the key and the nearest right key."""
    file = declared(text, source, ShowFile)
    # Each takes what those before let pass.
    checks = (naming_mistakes, mistakes, wiring_mistakes, gear_mistakes)
    for loc, message in chain.from_iterable(check(file) for check in checks):
        raise ShowError(message, Location(source, "", line_of(text, loc), str(loc[-1])))
    return file


def declared(text: str, source: str, kind: type[_File]) -> _File:
    """A text in TOML as declarations of a kind. Raises ShowError with the line, the key and the nearest right key."""
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # what else a TOML reader stumbles over is no TOML either
        found = re.search(r"line (\d+)", str(error))
        raise ShowError(
            f"this is not TOML: {error}", Location(source, "", int(found[1]) if found else None)
        ) from None
    for name in _tables(kind, several=True):
        if isinstance(data.get(name), dict):
            raise ShowError(
                f"write [[{name}]] with two brackets: there can be several",
                Location(source, "", line_of(text, (name,)), name),
            )
    try:
        return kind.model_validate(data)
    except ValidationError as error:
        raise _explained(error, text, source, kind) from None


def _tables(kind: type[BaseModel], *, several: bool = False) -> dict[str, type[BaseModel]]:
    """Key → what a table under it declares; with `several` those of which there can be more than one."""
    return {
        field.alias or name: model
        for name, field in kind.model_fields.items()
        for model in (field.annotation, *get_args(field.annotation))
        if isinstance(model, type) and issubclass(model, BaseModel)
        if not several or get_origin(field.annotation) is tuple
    }


def _explained(error: ValidationError, text: str, source: str, kind: type[BaseModel]) -> ShowError:
    # A misspelt key tells more than the one that is therefore missing.
    found_wrong = error.errors(include_url=False)
    first = min(
        found_wrong,
        key=lambda item: (item["type"] in ("missing", "too_short"), line_of(text, item["loc"]) or 0),
    )
    loc = first["loc"]
    where = Location(
        source, "", line_of(text, loc), next(str(part) for part in reversed(loc) if isinstance(part, str))
    )
    owner = _tables(kind).get(str(loc[0]), kind) if len(loc) > 1 else kind
    inner = loc if first["type"] == "model_type" else loc[:-1]
    within = [part for part in inner[1:] if (str(loc[0]), part) in _WITHIN]
    if within:
        owner = _WITHIN[str(loc[0]), str(within[-1])]
    keys = [field.alias or name for name, field in owner.model_fields.items()]
    match first["type"]:
        case "extra_forbidden":
            return ShowError(
                f"there is no key {str(loc[-1])[:60]!r} here; {nearest(str(loc[-1]), keys)}", where
            )
        case "missing":
            what = f"[[{loc[0]}]]" if len(loc) > 1 else "the show file" if kind is ShowFile else "this file"
            what = f"one of {within[-1]}" if within else what
            example = {"mode": 'mode = "64@48000"', "rate": "rate = 48000"}.get(
                str(loc[-1]), f"{loc[-1]} = …"
            )
            return ShowError(f"{what} lacks the key {loc[-1]!r}; write {example}", where)
    found = repr(first["input"])[:60]
    expected = str(first.get("ctx", {}).get("expected", ""))
    advice = meant(str(first["input"]), re.findall(r"'([^']*)'", expected))
    cause = first.get("ctx", {}).get("error")
    wording = {
        "string_pattern_mismatch": f"{found} cannot name a thing and its folder; use letters, digits, blanks, _ and -, for example truck",
        "too_short": "at least one is needed here"
        if first.get("ctx", {}).get("min_length") == 1
        else "two are needed here",
        "too_long": f"two are needed here, not {first.get('ctx', {}).get('actual_length')}",
        "literal_error": f"{found} is none of {expected}{advice}",
        "tuple_type": f"write a list in square brackets, not {found}",
        "int_type": f"write a whole number without quotes, not {found}",
        "string_type": f"write a text in quotes, not {found}",
        "date_type": f"write a date such as 2026-12-12, without quotes, not {found}",
        "float_type": f"write a number without quotes, not {found}",
        "float_parsing": f"write a number without quotes, not {found}",
        "bool_type": f"write true or false without quotes, not {found}",
        "bool_parsing": f"write true or false without quotes, not {found}",
        "model_type": f"write a table in braces, such as {{{next(iter(keys))} = …}}, not {found}",
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


def line_of(text: str, loc: Sequence[str | int]) -> int | None:
    """The line of a show file, from 1, where a key stands: ("box", 1, "inputs") is in the second [[box]].

    A key that is not there gives its table's line; None where neither is found.
    """
    table, at = str(loc[0]), loc[1] if len(loc) > 1 and isinstance(loc[1], int) else None
    place = next((place for place in range(1, len(loc)) if isinstance(loc[place], str)), 0)
    key = str(loc[place]) if place or at is None else None
    current, count, best = "", Counter[str](), None
    for number, line in enumerate(text.splitlines(), 1):
        header = re.match(r"\s*\[\[?\s*([^\]]+?)\s*\]", line)
        if header:
            current = header[1].strip("\"' ")
            count[current] += 1
            if current == table and (at is None or count[current] == at + 1):
                best = number
            if current == f"{table}.{key}" and (at is None or count[table] == at + 1):
                return number
            continue
        inside = (
            current == table and (at is None or count[current] == at + 1)
            if place and (at is None or count[table])
            else not current
        )
        name = re.match(r"""\s*["']?([\w-]+)["']?\s*=""", line)
        if inside and name and name[1] == key:
            return _line_within(text, number, loc[place + 1 :])
        if not current and name and name[1] == table and best is None:
            best = number
    return best


_SIGNS = re.compile(
    r""" "(?:[^"\\\n]|\\.)*" | '[^'\n]*' | \#[^\n]* | \n | [{}] | ([\w-]+)(?=\s*=) """, re.VERBOSE
)


def _line_within(text: str, first: int, loc: Sequence[str | int]) -> int:
    """The line of a key in the value that begins on a line: (2, "role") is in the third table in braces there."""
    wanted = loc[0] if loc and isinstance(loc[0], int) else 0
    key = next((part for part in reversed(loc) if isinstance(part, str)), None)
    line, depth, tables, found = first, 0, -1, first
    for sign in _SIGNS.finditer(text, sum(map(len, text.splitlines(True)[: first - 1]))):
        depth += (sign[0] == "{") - (sign[0] == "}")
        tables += sign[0] == "{" and depth == 1
        line += sign[0] == "\n"
        if tables > wanted or (tables == wanted and depth == 0) or key is None:
            break
        if tables == wanted:
            found = line if sign[0] == "{" and depth == 1 else found
            if sign[1] == key:
                return line
    return found


def schema() -> dict[str, Any]:
    """The JSON schema (2020-12) of show.toml's content, as published in schemas/show.schema.json."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **ShowFile.model_json_schema(mode="validation"),
    }
