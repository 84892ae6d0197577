"""chanbridge merge"""

from __future__ import annotations

import json
import sys
from pathlib import Path, PurePath

import click

from chanbridge import formats
from chanbridge.cli.sources import accept_rejected_option, read_source, say_ledger, sheet_options
from chanbridge.errors import WriteError
from chanbridge.files import write_bytes
from chanbridge.handover.recipients import fed
from chanbridge.mode import Mode
from chanbridge.model import ChannelMap
from chanbridge.names import counted, unique
from chanbridge.plan.blocks import Sheet, side_by_side
from chanbridge.plan.straight import Plan, plan
from chanbridge.sheets.grid import Options


@click.command("merge")
@click.argument("sheets", metavar="SHEET...", nargs=-1, required=True)
@click.option("--onto", metavar="MODE", required=True, help="The feed's mode: 64@48000, 56@48000, 28@96000 …")
@click.option("-o", "--output", metavar="DST", help='The feed\'s sheet; "-" is standard output.')
@click.option("--to", metavar="FORMAT", help="What DST shall be, if its ending does not say.")
@click.option(
    "--slots", type=click.IntRange(1, 1024), default=40, show_default=True, help="Slots of each block."
)
@click.option("--partial", is_flag=True, help="Write the sheet although wanted channels do not fit.")
@click.option("--json", "as_json", is_flag=True, help="Print the feed, slot by slot, as JSON.")
@sheet_options
@accept_rejected_option
@click.pass_context
def command(
    ctx: click.Context, sheets: tuple[str, ...], onto: str, output: str | None, to: str | None, slots: int,
    partial: bool, as_json: bool, accept_rejected: bool, options: Options,
) -> None:  # fmt: skip
    """Put SHEETs, each a block of 40 channels, onto one AES10 feed.

    Straight through where that carries every channel, else packed: empty spares give way, then channels not
    for air. Where another channel does not fit it is named, nothing is written and the exit status is 1.

    Example: chanbridge merge left.csv right.xml --onto 64@48000 -o truck.csv
    """
    mode = Mode.parse(onto)
    if not output and not as_json:
        raise WriteError("say where to write the feed's sheet, for example -o truck.csv")
    if output == "-" and as_json:
        raise WriteError("--json and the sheet cannot both go to standard output; name a file with -o")
    if output == "-" and not to:
        raise WriteError("say what to write to standard output, for example --to csv")
    known = (formats.named(to) if to else formats.of_suffix(output)) if output else None
    readings = [read_source(sheet, None, options, accept_rejected=accept_rejected) for sheet in sheets]
    for reading in readings:
        say_ledger(reading)
    blocks = side_by_side([Sheet(Path(reading.source).stem, reading.map, slots) for reading in readings])
    port = unique("feed", {item.id for item in blocks.map.ports})
    made = plan(blocks.map, blocks.blocks, port, mode.slots)
    feed = fed(blocks.map, made, mode, port)
    lost = [out for out in made.left_out if not out.gives_way]
    for remark in (*blocks.remarks, made.why):
        click.echo(remark, err=True)
    for out in made.left_out:
        channel = blocks.map.channel(out.channel)
        click.echo(
            f"{'left out' if out.gives_way else 'NOT CARRIED'}: {channel.name if channel else ''}: {out.reason}",
            err=True,
        )
    writing = known is not None and (partial or not lost)
    if known and output and writing:
        data = formats.write(feed, known, port, f".{to}" if to else PurePath(output).suffix.lower())
        if output == "-":
            sys.stdout.buffer.write(data)
        else:
            write_bytes(output, data)
    elif known:
        click.echo(
            f"nothing written: {counted(len(lost), 'channel')} would not be carried; --partial writes the rest"
            + (
                f"; --slots says how large the blocks are, {slots} now"
                if any("past the end" in out.reason for out in lost)
                else ""
            ),
            err=True,
        )
    if as_json:
        click.echo(json.dumps(_report(blocks.map, feed, port, made), ensure_ascii=False, indent=2))
    ctx.exit(1 if lost else 0)


def _report(whole: ChannelMap, feed: ChannelMap, port: str, made: Plan) -> dict[str, object]:
    slots = []
    for line in feed.lines(port):
        if line.number is not None:
            channel = line.channel
            slots.append(
                {
                    "slot": line.number,
                    "id": channel.id if channel else None,
                    "name": channel.name if channel else "",
                    "box": line.box,
                    "socket": line.socket,
                }
            )
    left_out = [
        {"name": channel.name, "id": channel.id, "reason": out.reason}
        for out in made.left_out
        if (channel := whole.channel(out.channel))
    ]
    return {"layout": made.layout, "why": made.why, "slots": slots, "left_out": left_out}
