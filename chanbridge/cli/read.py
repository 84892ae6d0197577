"""chanbridge read"""

from __future__ import annotations

import textwrap

import click

from chanbridge.cli.sources import json_text, read_source, sheet_options
from chanbridge.formats import text
from chanbridge.model import Line
from chanbridge.names import counted
from chanbridge.sheets.grid import Options
from chanbridge.sheets.ledger import Reading


@click.command("read")
@click.argument("file", metavar="FILE")
@click.option("--from", "from_", metavar="FORMAT", help="What FILE is, if its ending does not say.")
@sheet_options
@click.option("--json", "as_json", is_flag=True, help="Print everything as JSON.")
@click.option("--why", is_flag=True, help="Say why each column was given its meaning.")
def command(file: str, from_: str | None, as_json: bool, why: bool, options: Options) -> None:
    """Show how FILE is understood: its layout, its channels, then what was not understood. "-" is standard input.

    Example: chanbridge read examples/winter-concert/box-a.csv
    """
    reading = read_source(file, from_, options)
    if as_json:
        click.echo(json_text(report(reading)))
    else:
        click.echo("\n".join(_for_people(reading, why)))


def report(reading: Reading) -> dict[str, object]:
    """A reading as plain data."""
    rows = reading.map.lines(reading.map.listed_port())
    return {
        "source": reading.source,
        "format": reading.format,
        "title": reading.map.title,
        "revision": reading.map.revision,
        "date": str(reading.map.date) if reading.map.date else None,
        "rows": len(reading.ledger),
        "verdicts": reading.verdicts(),
        "how": list(reading.how),
        "layout": dict(reading.layout),
        "evidence": [item._asdict() for item in reading.evidence],
        "channels": [_channel(line) for line in rows if line.channel],
        "spares": [
            {"number": line.number, "box": line.box, "socket": line.socket, "text": line.text}
            for line in rows
            if not line.channel
        ],
        "problems": [
            {"where": str(problem.where), "code": problem.code, "message": problem.message}
            for problem in reading.problems
        ],
        "ledger": [
            {
                "row": row.row,
                "sheet": row.sheet,
                "verdict": row.verdict,
                "text": row.text,
                "reason": row.reason,
            }
            for row in reading.ledger
        ],
    }


def _channel(line: Line) -> dict[str, object]:
    if line.channel is None:
        raise ValueError("a spare has no channel")
    fields = line.channel.model_dump(mode="json")
    return {
        "id": fields.pop("id"),
        "number": line.number,
        "name": fields.pop("name"),
        "box": line.box,
        "socket": line.socket,
        **fields,
    }


def _for_people(reading: Reading, why: bool) -> list[str]:
    """A reading for a screen of 80 columns: what was understood first, then what was not."""
    whole = reading.map
    rows = whole.lines(whole.listed_port())
    channels = sum(line.channel is not None for line in rows)
    out = [f"{reading.source}: {counted(channels, 'channel')}, {counted(len(rows) - channels, 'spare')}", ""]
    out[1:1] = textwrap.wrap("; ".join(reading.how), 80)
    layout = ", ".join(
        f"{field.replace('_', ' ')} from {heading!r}" for field, heading in reading.layout.items() if heading
    )
    out += (
        textwrap.wrap(f"Columns: {layout}", 80, subsequent_indent="  ")
        if reading.format not in ("json",) and layout
        else []
    )
    if why:
        out += ["", *_why(reading)]
    elif whole.headings:
        kept = ", ".join(repr(name) for name in dict.fromkeys(whole.headings))
        out += textwrap.wrap(f"Kept as they are: {kept}", 80, subsequent_indent="  ")
    out.append("")
    table = [
        [
            "" if line.number is None else str(line.number),
            _cut(line.channel.name if line.channel else "", 28),
            f"{line.box} {line.socket or ''}".strip(),
            _marks(line),
        ]
        for line in rows
        if line.channel or line.text or line.number is None
    ]
    out += [line[:80] for line in text.draw(["No", "Name", "Socket", "More"], table)]
    empty = [
        str(line.number) for line in rows if not line.channel and not line.text and line.number is not None
    ]
    if empty:
        out += textwrap.wrap(f"Empty: {', '.join(empty)}", 80, subsequent_indent="  ")
    said = ", ".join(f"{count} {name}" for name, count in reading.verdicts().items())
    out += ["", f"{counted(len(reading.ledger), 'row')}: {said}"]
    for title, lines in (
        ("Not understood:", [f"row {row.row}: {row.text}  ({row.reason})" for row in reading.rejected()]),
        (
            "To look at:",
            [
                f"{problem.where.row}: {problem.message}" if problem.where.row else problem.message
                for problem in reading.problems
                if problem.code != "number"
            ],
        ),
    ):
        if lines:
            out += ["", title]
            for line in lines:
                out += textwrap.wrap(line, 80, initial_indent="  ", subsequent_indent="     ")
    return out


def _why(reading: Reading) -> list[str]:
    """Column by column, the rule that decided."""
    out = []
    for item in reading.evidence:
        where = f"{item.sheet}: " if item.sheet else ""
        meaning = item.field.replace("_", " ") or "kept as it is"
        text = f"{where}{item.heading!r} is {meaning} ({item.rule}): {item.why}"
        out += textwrap.wrap(text, 80, subsequent_indent="     ")
    return out


def _cut(name: str, width: int) -> str:
    return name if text.width(name) <= width else name[: width - 1] + "…"


def _marks(line: Line) -> str:
    channel = line.channel
    if channel is None:
        return f"spare: {line.text}"
    heard = [f"not for {name}" for name, permission in channel.audience if permission == "not allowed"]
    marks = [
        channel.pair.side if channel.pair else "",
        f"phantom {channel.phantom}" if channel.phantom != "unknown" else "",
        "polarity reversed" if channel.polarity == "reversed" else "",
        *heard,
        channel.transducer,
    ]
    return _cut(", ".join(mark for mark in marks if mark), 36)
