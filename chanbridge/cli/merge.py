"""chanbridge merge"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import click

from chanbridge import formats
from chanbridge.assemble.lists import listed, named
from chanbridge.cli.merged import report, say, what_if, write_feeds
from chanbridge.cli.sources import accept_rejected_option, json_text, read_source, say_ledger, sheet_options
from chanbridge.errors import Location, ModeError, ReadError, WriteError
from chanbridge.mode import Mode
from chanbridge.model import ChannelMap, Slot
from chanbridge.names import counted, unique
from chanbridge.plan.blocks import Sheet, side_by_side
from chanbridge.plan.straight import Asked, Feeds, moves, plan_feeds
from chanbridge.sheets.grid import Options
from chanbridge.sheets.ledger import Reading


@click.command("merge")
@click.argument("sheets", metavar="SHEET...", nargs=-1, required=True)
@click.option(
    "--onto", metavar="MODE", multiple=True, help="A feed's mode: 64@48000, 56@48000 …; once for each feed."
)
@click.option("-o", "--output", metavar="DST", help='The feed\'s sheet; "-" is standard output.')
@click.option("--to", metavar="FORMAT", help="What DST shall be, if its ending does not say.")
@click.option(
    "--slots", type=click.IntRange(1, 1024), default=40, show_default=True, help="Slots of each block."
)
@click.option(
    "--layout",
    type=click.Choice(["straight", "packed"]),
    help="Else the first that carries all that is for air.",
)
@click.option(
    "--keep",
    metavar="ISSUED",
    multiple=True,
    help="The sheet that was issued: move as few channels as can be.",
)
@click.option("--wants", metavar="LIST", multiple=True, help="A list of slots and names to follow.")
@click.option(
    "--fix", metavar="NAME=SLOT", multiple=True, help='"Ambience L=55", or "…=2:7" for slot 7 of feed 2.'
)
@click.option(
    "--grain",
    type=click.IntRange(1, 64),
    default=1,
    help="The converter moves channels in blocks of so many.",
)
@click.option("--spare", type=click.IntRange(0, 64), default=0, help="Slots left empty after each group.")
@click.option("--keep-order", is_flag=True, help="The order of the sheets is not changed to make room.")
@click.option(
    "--time-limit", "seconds", type=click.FloatRange(0.1, 600), default=3.5, show_default=True,
    help="Seconds to look for a proof.",
)  # fmt: skip
@click.option(
    "--what-if", "trying", is_flag=True, help="Show what would not fit, for every mode and 1 to 3 feeds."
)
@click.option("--partial", is_flag=True, help="Write the sheet although wanted channels do not fit.")
@click.option("--json", "as_json", is_flag=True, help="Print the feed, slot by slot, as JSON.")
@sheet_options
@accept_rejected_option
@click.pass_context
def command(
    ctx: click.Context, sheets: tuple[str, ...], onto: tuple[str, ...], output: str | None, to: str | None, slots: int,
    layout: str | None, keep: tuple[str, ...], wants: tuple[str, ...], fix: tuple[str, ...], grain: int, spare: int,
    keep_order: bool, seconds: float, trying: bool, partial: bool, as_json: bool, accept_rejected: bool,
    options: Options,
) -> None:  # fmt: skip
    """Put SHEETs, each a block of 40 channels, onto one AES10 feed or more.

    Straight through where that carries every channel for air, else packed: empty spares give way, then channels not
    for air. Where another channel does not fit it is named, nothing is written and the exit status is 1.
    Several feeds are written to DST-1, DST-2 …

    \b
    Example:
      chanbridge merge examples/winter-concert/box-* --onto 64@48000 -o truck.csv
    """
    modes = [Mode.parse(text) for text in onto]
    if not trying:
        _told(modes, output, to, as_json)
    readings = [read_source(sheet, None, options, accept_rejected=accept_rejected) for sheet in sheets]
    blocks = side_by_side([Sheet(Path(reading.source).stem, reading.map, slots) for reading in readings])
    if trying:
        for reading in readings:
            say_ledger(reading)
        what_if(blocks.map, blocks.blocks, as_json)
        ctx.exit(0)
    taken = {item.id for item in blocks.map.ports}
    names = [unique("feed" if len(modes) == 1 else f"feed-{at}", taken) for at in range(1, len(modes) + 1)]
    feeds = Feeds(tuple((name, mode.slots) for name, mode in zip(names, modes, strict=True)))
    asked = Asked(
        layout=layout, fixed=_fixed(blocks.map, fix, feeds), grain=grain, spare=spare, keep_order=keep_order,
        seconds=seconds,
    )  # fmt: skip
    issued, wanted = (_lists(blocks.map, paths, feeds, options) for paths in (keep, wants))
    asked = asked._replace(issued=issued.slots, wants=wanted.slots, ungiven=wanted.missing)
    made = plan_feeds(blocks.map, blocks.blocks, feeds, asked)
    for reading in (*readings, *issued.readings, *wanted.readings):
        say_ledger(reading)
    made = made._replace(moved=moves(blocks.map, issued.stood, made))
    for remark in (*blocks.remarks, *issued.remarks, *wanted.remarks, *wanted.past):
        click.echo(remark, err=True)
    lost = say(blocks.map, made, asked, feeds)
    if output:
        write_feeds(blocks.map, made, dict(zip(names, modes, strict=True)), output, to, partial, lost, slots)
    if as_json:
        found = report(blocks.map, made, dict(zip(names, modes, strict=True)), asked)
        click.echo(json_text(found))
    ctx.exit(1 if lost else 0)


def _told(modes: Sequence[Mode], output: str | None, to: str | None, as_json: bool) -> None:
    """Refuse what cannot be written before anything is read."""
    if not modes:
        raise click.UsageError("--onto MODE is missing; write a mode such as --onto 64@48000, or --what-if")
    if len({mode.rate_hz for mode in modes}) > 1:
        raise ModeError("feeds that are planned together run at one rate; give all --onto the same")
    if not output and not as_json:
        raise WriteError("say where to write the feed's sheet, for example -o truck.csv")
    if output == "-" and as_json:
        raise WriteError("--json and the sheet cannot both go to standard output; name a file with -o")
    if output == "-" and not to:
        raise WriteError("say what to write to standard output, for example --to csv")
    if output == "-" and len(modes) > 1:
        raise WriteError("several feeds are several sheets; name a file with -o")
    if output:
        formats.named(to) if to else formats.of_suffix(output)


def _fixed(whole: ChannelMap, texts: Sequence[str], feeds: Feeds) -> dict[str, int]:
    """What --fix says: channel → slot over all feeds."""
    fixed: dict[str, int] = {}
    for text in texts:
        name, equals, place = text.rpartition("=")
        feed, colon, number = place.rpartition(":")
        try:
            at, slot = int(feed) if colon else 1, int(number)
        except ValueError:
            at, slot = 0, 0
        if not equals or not 1 <= at <= len(feeds.ports) or slot < 1:
            raise ReadError(f'--fix {text!r}: write NAME=SLOT, such as "Ambience L=55", or NAME=FEED:SLOT')
        if slot > feeds.rooms[at - 1]:
            raise ReadError(f"--fix {text!r}: feed {at} has {feeds.rooms[at - 1]} slots")
        try:
            channel = named(whole, name)
        except ValueError as error:
            raise ReadError(f"--fix {text!r}: {error}") from None
        if channel.id in fixed:
            raise ReadError(f"--fix {text!r}: {channel.name!r} is fixed already")
        fixed[channel.id] = sum(feeds.rooms[: at - 1]) + slot
    return fixed


class _Lists(NamedTuple):
    """What lists say: channel → slot over all feeds, slot → a name that is not here; and remarks.

    `stood`: channel → its slot on its feed, which may lie past the end of one that is smaller now; `past`: that in words.
    """

    slots: dict[str, int]
    missing: dict[int, str]
    remarks: list[str]
    readings: list[Reading]
    stood: dict[str, Slot]
    past: list[str]


def _lists(whole: ChannelMap, paths: Sequence[str], feeds: Feeds, options: Options) -> _Lists:
    """Read lists, one for each feed."""
    if len(paths) > len(feeds.ports):
        count = counted(len(feeds.ports), "feed")
        raise ReadError(f"{len(paths)} lists for {count}; give one for each feed at the most")
    out = _Lists({}, {}, [], [], {}, [])
    for at, path in enumerate(paths):
        reading = read_source(path, None, Options(vocabulary=options.vocabulary))
        out.readings.append(reading)
        found = listed(reading, whole)
        before, size = sum(feeds.rooms[:at]), feeds.rooms[at]
        for name, number in found.slots.items():
            out.stood.setdefault(name, Slot(feeds.ports[at][0], number))
            if number <= size:
                out.slots.setdefault(name, before + number)
            else:
                channel = whole.channel(name)
                said = f" ({channel.name!r})" if channel else ""
                out.past.append(f"{path}: slot {number}{said} lies past the end of a feed of {size} slots")
        for line in found.unknown:
            if line.channel and line.number and line.number <= size:
                out.missing[before + line.number] = line.channel.name
            elif line.channel:
                out.remarks.append(f"{path}: slot {line.number} ({line.channel.name!r}) lies past the end")
        out.remarks.extend(f"{path}: {text}" for text in found.remarks)
        if not found.slots and not found.unknown:
            raise ReadError("no line of this list has both a slot and a name", Location(path))
    return out
