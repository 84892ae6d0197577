"""What chanbridge reads and writes: one module a format, found in one table."""

from __future__ import annotations

import contextlib
import difflib
import gc
from collections.abc import Iterator
from importlib import import_module
from pathlib import PurePath
from typing import NamedTuple, Protocol, cast

from chanbridge.errors import Location, ReadError, WriteError
from chanbridge.files import read_bytes
from chanbridge.model import ChannelMap
from chanbridge.names import Vocabulary, extended
from chanbridge.sheets.grid import Grid, Options
from chanbridge.sheets.interpret import interpret, reading_of
from chanbridge.sheets.ledger import Reading


class Format(NamedTuple):
    """A kind of file. `carries` says for people what survives in it."""

    name: str
    suffixes: tuple[str, ...]
    module: str
    carries: str


FORMATS = (
    Format(
        "csv",
        (".csv", ".tsv"),
        "chanbridge.formats.delimited",
        "one port as a list: every channel with all its fields, spares, unknown columns",
    ),
    Format(
        "xml", (".xml",), "chanbridge.formats.markup", "a whole map; reads any XML with a repeated record"
    ),
    Format("json", (".json",), "chanbridge.formats.native", "a whole map"),
    Format(
        "workbook",
        (".xlsx", ".xls", ".ods"),
        "chanbridge.formats.workbook",
        "as csv, formatted to print; .xls and .ods are read only",
    ),
    Format(
        "markdown",
        (".md",),
        "chanbridge.formats.markdown",
        "one port as a table: as text, blanks at the beginning of cells are lost too",
    ),
    Format(
        "text",
        (".txt",),
        "chanbridge.formats.text",
        "one port as a table to print: the columns shown; no line breaks, no blanks at the ends of cells",
    ),
)


LARGEST_WORDS = 1024 * 1024
"""Bytes of a file of words."""

READ_ONLY = (".xls", ".ods")
"""Endings of files that are read and not written."""


class FormatModule(Protocol):
    """What a format module offers.

    `read` turns bytes into grids, or into a whole map where the file holds one. `write` gives the bytes of
    a map, as a list of `port` where the format holds lists. `dropped` names what would be lost.
    """

    def read(self, data: bytes, source: str, options: Options) -> list[Grid] | ChannelMap: ...
    def write(self, whole: ChannelMap, port: str | None, suffix: str) -> bytes: ...
    def dropped(self, whole: ChannelMap, port: str | None) -> list[str]: ...


def named(name: str) -> Format:
    """The format of this name; WriteError with the nearest right name where there is none."""
    for known in FORMATS:
        if known.name == name or f".{name}" in known.suffixes:
            return known
    names = [known.name for known in FORMATS]
    near = difflib.get_close_matches(name, names, 1)
    raise WriteError(
        f"there is no format {name!r}; "
        + (f"did you mean {near[0]}?" if near else f"there are {', '.join(names)}")
    )


def of_suffix(path: str) -> Format:
    """The format that a file name's ending stands for; WriteError naming the endings where it has none."""
    suffix = PurePath(path).suffix.lower()
    for known in FORMATS:
        if suffix in known.suffixes:
            return known
    endings = [ending for known in FORMATS for ending in known.suffixes]
    near = difflib.get_close_matches(suffix, endings, 1) if suffix else []
    raise WriteError(
        f"the ending {suffix!r} is no known format; "
        + (f"did you mean {near[0]}? " if near else "")
        + f"use one of {' '.join(endings)}, or name the format",
        Location(path),
    )


def sniff(data: bytes) -> Format:
    """The format that content looks like, for input without a file name."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        data = data[:65536].decode("utf-16", "replace").encode()
    start = data[:4096].lstrip(b"\xef\xbb\xbf \t\r\n")
    if start[:1] == b"<":
        return named("xml")
    if start[:1] == b"{":
        return named("json")
    lines = data[:65536].splitlines()
    if any(set(line.strip()) == {ord("-"), ord(" ")} and b"--" in line for line in lines):
        return named("text")
    return named("csv")


def _module(known: Format) -> FormatModule:
    return cast(FormatModule, import_module(known.module))


@contextlib.contextmanager
def _without_collecting() -> Iterator[None]:
    """Keep the garbage collector still: of 100 000 channels nothing is garbage, and looking costs half the time."""
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()


def read_data(data: bytes, source: str, known: Format | None = None, options: Options = Options()) -> Reading:
    """Understand the content of a file; `source` names it in messages. Raises ReadError."""
    if not data.strip(b"\xef\xbb\xbf\xff\xfe \t\r\n\0"):
        raise ReadError("this file is empty", Location(source))
    known = known or sniff(data)
    with _without_collecting():
        try:
            found = _module(known).read(data, source, options)
        except RecursionError:
            raise ReadError("this file is nested too deeply to be a channel list", Location(source)) from None
        if isinstance(found, ChannelMap):
            return reading_of(found, source, known.name)
        return interpret(found, known.name, options)


def read(path: str, name: str | None = None, options: Options = Options()) -> Reading:
    """Read a file, its format taken from `name` or from its ending. Raises ReadError."""
    data = read_bytes(path)
    try:
        known = named(name) if name else of_suffix(path)
    except WriteError as error:
        raise ReadError(error.message, error.where) from None
    return read_data(data, path, known, options)


def write(whole: ChannelMap, known: Format, port: str | None = None, suffix: str = "") -> bytes:
    """The bytes of a map in a format; a list is of `port`, or of the map's listed port."""
    if suffix in READ_ONLY:
        raise WriteError(
            f"{suffix} is read but not written; write .xlsx, which opens everywhere that {suffix} does"
        )
    with _without_collecting():
        return _module(known).write(whole, port or whole.listed_port(), suffix)


def dropped(whole: ChannelMap, known: Format, port: str | None = None) -> list[str]:
    """What a format cannot carry of this map, in words; empty where all of it survives."""
    return _module(known).dropped(whole, port or whole.listed_port())


def read_vocabulary(path: str) -> Vocabulary:
    """The vocabulary with a user's file of words added. Raises ReadError naming what is wrong in it."""
    try:
        return extended(read_bytes(path, LARGEST_WORDS).decode("utf-8-sig"))
    except ValueError as error:  # not UTF-8, not TOML, or no such table
        raise ReadError(f"this is no file of words: {error}", Location(path)) from None


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
