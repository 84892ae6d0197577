"""What chanbridge reads and writes: one module a format, found in one table."""

from __future__ import annotations

import contextlib
import gc
import os
import re
from collections.abc import Iterator, Sequence
from importlib import import_module
from pathlib import PurePath
from typing import NamedTuple, Protocol, cast

from chanbridge.errors import ChanbridgeError, Location, ReadError, WriteError, close_to, unknown
from chanbridge.files import read_bytes
from chanbridge.model import ChannelMap
from chanbridge.names import Vocabulary, extended, fold
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


PLUG_INS = "chanbridge.formats"
"""The group of entry points under which another package offers a `Format` of its own."""

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
    known = next((known for known in FORMATS if name == known.name or f".{name}" in known.suffixes), None)
    if known:
        return known
    more, broken = plugged_in()
    for known in more:
        if name == known.name or f".{name}" in known.suffixes:
            return known
    said = unknown("format", name, [known.name for known in (*FORMATS, *more)])
    raise WriteError("; ".join([said, *broken]))


def of_suffix(path: str) -> Format:
    """The format that a file name's ending stands for; WriteError naming the endings where it has none."""
    suffix = PurePath(path).suffix.lower()
    known = next((known for known in FORMATS if suffix in known.suffixes), None)
    if known:
        return known
    more, broken = plugged_in()
    for known in more:
        if suffix in known.suffixes:
            return known
    endings = [ending for known in (*FORMATS, *more) for ending in known.suffixes]
    near = close_to(suffix[1:], [ending[1:] for ending in endings])
    said = f"the ending {suffix!r} is no known format" if suffix else "this name has no ending"
    said += f"; did you mean '.{near}'? Known are" if near else "; known are"
    said += f" {' '.join(endings)}: save it as one of them, or name its format (--from, --to)"
    raise WriteError("; ".join([said, *broken]), Location(path))


def plugged_in() -> tuple[list[Format], list[str]]:
    """The formats that other packages offer, and what is wrong with those that cannot be loaded.

    Looked for only where nothing of our own fits, because looking takes longer than many a command.
    """
    from importlib.metadata import entry_points

    found, broken = [], []
    for point in sorted(entry_points(group=PLUG_INS), key=lambda point: point.name):
        try:
            known = point.load()
            if not isinstance(known, Format):
                raise TypeError(f"it is of type {type(known).__name__}, not a Format")
            found.append(known)
        except (Exception, SystemExit) as error:  # whatever it does must not hide what is asked of us
            what = f"{type(error).__name__}: {error}"
            broken.append(f"the format plug-in {point.name!r} ({point.value}) cannot be loaded: {what}")
    return found, broken


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


@contextlib.contextmanager
def _module(known: Format) -> Iterator[FormatModule]:
    """The module of a format. What goes wrong in another package's becomes one message for a person."""
    try:
        yield cast(FormatModule, import_module(known.module))
    except ChanbridgeError:
        raise
    except Exception as error:
        if known in FORMATS:
            raise
        raise ReadError(
            f"the format plug-in {known.name!r} ({known.module}) failed: {type(error).__name__}: {error}; "
            "tell its maker, or use another format"
        ) from None


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
        raise ReadError("this file is empty; is it the right one, and was it saved?", Location(source))
    known = known or sniff(data)
    with _without_collecting(), _module(known) as module:
        try:
            found = module.read(data, source, options)
        except RecursionError:
            raise ReadError("this file is nested too deeply to be a channel list", Location(source)) from None
        if isinstance(found, ChannelMap):
            if options.columns:
                raise ReadError(f"columns: this is a whole map, no table; {_OUR_OWN}", Location(source))
            return reading_of(found, source, known.name)
        reading = interpret(found, known.name, options)
    _refuse_unheard(reading, options.columns, found)
    return reading


_OUR_OWN = "our own headings and words mean what they say; leave columns out"


def _refuse_unheard(reading: Reading, said: Sequence[tuple[str, str]], grids: Sequence[Grid]) -> None:
    """Raise ReadError where the user says what a column means that is not there, or that means what it says."""
    headings = [item.heading for item in reading.evidence]
    if said and all(item.rule == "ours" for item in reading.evidence):
        raise ReadError(f"columns: {_OUR_OWN}", Location(reading.source))
    widest = max((len(row) for grid in grids for row in grid.rows), default=0) if said else 0
    for name, _ in said:
        counted = re.fullmatch(r"#(\d+)", name)
        if not any(fold(name) == fold(heading) for heading in headings) and not (
            counted and 0 < int(counted[1]) <= widest
        ):
            there = [*dict.fromkeys(filter(None, headings))]
            raise ReadError(f"columns: {unknown('heading', name, there)}", Location(reading.source))


def read(path: str, name: str | None = None, options: Options = Options()) -> Reading:
    """Read a file, its format taken from `name` or from its ending. Raises ReadError."""
    if os.path.isdir(path):
        raise ReadError(_inside(path), Location(path))
    data = read_bytes(path)
    if not name and path.lower().endswith(".toml"):
        raise ReadError(f"this declares a show, it is no sheet; name a sheet; {ABOUT_SHOWS}", Location(path))
    try:
        known = named(name) if name else of_suffix(path)
    except WriteError as error:
        raise ReadError(error.message, error.where) from None
    return read_data(data, path, known, options)


ABOUT_SHOWS = "commands for shows are check, prove, handover"


def is_show(path: str | os.PathLike[str]) -> bool:
    """Whether a name stands for a show, not for a sheet: a folder, or a file of declarations."""
    return os.path.isdir(path) or os.fspath(path).lower().endswith(".toml")


def _inside(folder: str) -> str:
    """What to say of a folder that was named in the place of a sheet: the sheets that lie in it."""
    endings = tuple(ending for known in FORMATS for ending in known.suffixes)
    there = sorted(name for name in os.listdir(folder) if name.lower().endswith(endings))
    said = "this is a folder; name a sheet in it"
    if there:
        said += f": {', '.join(there[:6])}{' …' if len(there) > 6 else ''}"
    return f"{said}; {ABOUT_SHOWS}" if os.path.exists(os.path.join(folder, "show.toml")) else said


def write(whole: ChannelMap, known: Format, port: str | None = None, suffix: str = "") -> bytes:
    """The bytes of a map in a format; a list is of `port`, or of the map's listed port."""
    if suffix in READ_ONLY:
        raise WriteError(
            f"{suffix} is read but not written; write .xlsx, which opens everywhere that {suffix} does"
        )
    with _without_collecting(), _module(known) as module:
        return module.write(whole, port or whole.listed_port(), suffix)


def dropped(whole: ChannelMap, known: Format, port: str | None = None) -> list[str]:
    """What a format cannot carry of this map, in words; empty where all of it survives."""
    with _module(known) as module:
        return module.dropped(whole, port or whole.listed_port())


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
