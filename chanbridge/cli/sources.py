"""Sheets named on the command line."""

from __future__ import annotations

import sys

import click

from chanbridge import formats
from chanbridge.errors import Location, ReadError
from chanbridge.files import LARGEST
from chanbridge.sheets.ledger import Reading
from chanbridge.show import refuse_rejected


def read_source(path: str, name: str | None = None, *, accept_rejected: bool = True) -> Reading:
    """Read a file, or standard input for "-"; unless told otherwise rows not understood are let pass."""
    if path == "-":
        data = sys.stdin.buffer.read(LARGEST + 1)
        if len(data) > LARGEST:
            raise ReadError(f"more than {LARGEST:,} bytes came in", Location("standard input"))
        reading = formats.read_data(data, "standard input", formats.named(name) if name else None)
    else:
        reading = formats.read(path, name)
    if not accept_rejected:
        refuse_rejected(reading)
    return reading


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
