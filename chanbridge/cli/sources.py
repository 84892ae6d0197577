"""Sheets named on the command line."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from functools import wraps
from typing import Any

import click

from chanbridge import formats
from chanbridge.errors import Location, ReadError, nearest
from chanbridge.files import LARGEST
from chanbridge.sheets.columns import FIELDS
from chanbridge.sheets.grid import Options
from chanbridge.sheets.ledger import Reading


def sheet_options(command: Callable[..., None]) -> Callable[..., None]:
    """The options that say how to read a sheet; the command gets them as one argument, `options`."""

    @wraps(command)
    def with_options(
        *arguments: Any, encoding: str, delimiter: str, hidden: bool, record: str, columns: str, vocabulary: str | None,
        **rest: Any,
    ) -> None:  # fmt: skip
        words = None
        if vocabulary:
            words = formats.read_vocabulary(vocabulary)
        delimiter = {"tab": "\t", "\\t": "\t"}.get(delimiter, delimiter)
        options = Options(encoding, delimiter, hidden, record, "", _columns(columns), words)
        command(*arguments, options=options, **rest)

    for option in (
        click.option("--vocabulary", metavar="FILE", help="Words to add to the vocabulary, as TOML."),
        click.option(
            "--columns",
            metavar="HEADING=FIELD,…",
            default="",
            help='What columns mean: "Note=name,#3=socket".',
        ),
        click.option(
            "--record", metavar="PATH", default="", help="The XML element that stands for a channel."
        ),
        click.option("--hidden", is_flag=True, help="Read a workbook's hidden sheets and rows too."),
        click.option("--delimiter", metavar="SIGN", default="", help='What parts the cells: ";" or tab.'),
        click.option(
            "--encoding", metavar="NAME", default="", help="The encoding of a text: utf-8, cp1252 …"
        ),
    ):
        with_options = option(with_options)
    return with_options


def _columns(text: str) -> tuple[tuple[str, str], ...]:
    pairs = []
    for part in filter(None, (part.strip() for part in text.split(","))):
        heading, equals, field = part.rpartition("=")
        name = field.strip().lower().replace(" ", "_")
        if not equals or name not in FIELDS:
            raise ReadError(f"--columns {part!r}: write HEADING=FIELD; {nearest(name, FIELDS)}")
        pairs.append((heading.strip(), name))
    return tuple(pairs)


def read_source(
    path: str, name: str | None = None, options: Options = Options(), *, accept_rejected: bool = True
) -> Reading:
    """Read a file, or standard input for "-"; unless told otherwise rows not understood are let pass."""
    if path == "-":
        data = sys.stdin.buffer.read(LARGEST + 1)
        if len(data) > LARGEST:
            raise ReadError(f"more than {LARGEST:,} bytes came in", Location("standard input"))
        reading = formats.read_data(data, "standard input", formats.named(name) if name else None, options)
    else:
        reading = formats.read(path, name, options)
    if not accept_rejected:
        formats.refuse_rejected(reading)
    return reading


def json_text(data: object) -> str:
    """What --json prints."""
    return json.dumps(data, ensure_ascii=False, indent=2)


def say_ledger(reading: Reading) -> None:
    """One line on standard error: what became of the rows."""
    said = ", ".join(f"{count} {name}" for name, count in reading.verdicts().items())
    more = (
        f"; {len(reading.problems)} remarks, see: chanbridge read {reading.source}"
        if reading.problems
        else ""
    )
    click.echo(f"{reading.source}: {len(reading.ledger)} rows: {said}{more}", err=True)


accept_rejected_option = click.option(
    "--accept-rejected", is_flag=True, help="Go on although rows of a sheet were not understood."
)
