"""chanbridge compare"""

from __future__ import annotations

import json
from collections import Counter

import click

from chanbridge.cli.sources import accept_rejected_option, read_source, say_ledger, sheet_options
from chanbridge.compare.changes import compare
from chanbridge.model import AUDIENCES, Line
from chanbridge.names import counted
from chanbridge.sheets.grid import Options
from chanbridge.sheets.ledger import Reading


@click.command("compare")
@click.argument("reference", metavar="REFERENCE")
@click.argument("other", metavar="OTHER")
@click.option("--json", "as_json", is_flag=True, help="Print the differences as JSON.")
@sheet_options
@accept_rejected_option
@click.pass_context
def command(
    ctx: click.Context, reference: str, other: str, as_json: bool, accept_rejected: bool, options: Options
) -> None:
    """Say where the list OTHER differs from the list REFERENCE. Exit status 1 where it does.

    Example: chanbridge compare front-of-house.csv stream.csv
    """
    readings = [
        read_source(path, None, options, accept_rejected=accept_rejected) for path in (reference, other)
    ]
    for reading in readings:
        say_ledger(reading)
    by_id = all("id" in reading.layout for reading in readings)
    heard = [name for name in AUDIENCES if all(name in reading.layout for reading in readings)]
    found = compare(readings[0].map, readings[1].map, by_id=by_id, heard=heard)
    if as_json:
        changes = [
            {
                "kind": change.kind,
                "channels": list(change.channels),
                "reference": _line(change.reference, readings[0]),
                "other": _line(change.other, readings[1]),
                "message": change.message,
            }
            for change in found.changes
        ]
        click.echo(json.dumps({"same": found.same, "changes": changes}, ensure_ascii=False, indent=2))
    else:
        for change in found.changes:
            click.echo(f"{change.kind:<10} {change.message}")
        counts = ", ".join(
            f"{count} {kind}" for kind, count in Counter(change.kind for change in found.changes).items()
        )
        click.echo(f"{counted(found.same, 'channel')} the same; " + (counts or "no difference"))
    ctx.exit(1 if found.changes else 0)


def _line(line: Line | None, reading: Reading) -> dict[str, object] | None:
    if line is None or line.channel is None:
        return None
    where = reading.origins.get(line.channel.id)
    return {
        "file": reading.source,
        "row": where.row if where else None,
        "number": line.number,
        "name": line.channel.name,
        "box": line.box,
        "socket": line.socket,
    }
