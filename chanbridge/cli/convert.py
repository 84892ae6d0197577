"""chanbridge convert"""

from __future__ import annotations

import os
import sys
from pathlib import PurePath

import click

from chanbridge import formats
from chanbridge.cli.sources import accept_rejected_option, read_source, say_ledger, sheet_options
from chanbridge.errors import Location, WriteError
from chanbridge.files import write_bytes
from chanbridge.sheets.grid import Options


@click.command("convert")
@click.argument("source", metavar="SRC")
@click.argument("target", metavar="DST")
@click.option("--from", "from_", metavar="FORMAT", help="What SRC is, if its ending does not say.")
@click.option("--to", metavar="FORMAT", help="What DST shall be, if its ending does not say.")
@click.option("--port", help="Which port of a whole map to list.")
@sheet_options
@accept_rejected_option
def command(
    source: str,
    target: str,
    from_: str | None,
    to: str | None,
    port: str | None,
    accept_rejected: bool,
    options: Options,
) -> None:
    """Turn the sheet SRC into DST, the kinds taken from the endings. "-" is standard input or output.

    Example: chanbridge convert examples/winter-concert/box-a.csv box-a.xml
    """
    if target == "-" and not to:
        raise WriteError("say what to write to standard output, for example --to csv")
    if os.path.isdir(target):
        raise WriteError("this is a folder; name a file in it, for example box-a.csv", Location(target))
    known = formats.named(to) if to else formats.of_suffix(target)
    reading = read_source(source, from_, options, accept_rejected=accept_rejected)
    suffix = f".{to}" if to else PurePath(target).suffix.lower()
    data = formats.write(reading.map, known, port, suffix)
    if target != "-":
        write_bytes(target, data)
    say_ledger(reading)
    for lost in formats.dropped(reading.map, known, port):
        click.echo(f"{known.name} cannot carry {lost}", err=True)
    if target == "-":
        sys.stdout.buffer.write(data)
