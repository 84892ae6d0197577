"""chanbridge reorder"""

from __future__ import annotations

from contextlib import ExitStack
from functools import partial
from pathlib import Path

import click

from chanbridge.cli.ident import plan_source
from chanbridge.cli.sources import accept_rejected_option, sheet_options
from chanbridge.errors import Location, ReadError, WriteError
from chanbridge.files import writing
from chanbridge.ident.places import places
from chanbridge.ident.recording import Take, open_take
from chanbridge.ident.reorder import hours_per_terabyte, order, write_one, write_tracks
from chanbridge.names import counted
from chanbridge.sheets.grid import Options


@click.command("reorder")
@click.argument("recordings", metavar="IN...", nargs=-1, required=True)
@click.option(
    "--from",
    "recorded",
    metavar="PORT",
    required=True,
    help="The port that was recorded, its first slot on the first track.",
)
@click.option(
    "--to", "wanted", metavar="PORT", required=True, help="The port that the recording is to be played into."
)
@click.option(
    "--by",
    metavar="SHEET|SHOW",
    required=True,
    help='The plan. The ports of a plain list are "sockets" and "slots".',
)
@click.option(
    "-o",
    "--output",
    metavar="OUT",
    required=True,
    help="A file ending in .wav, or a folder for one mono file a track.",
)
@sheet_options
@accept_rejected_option
@click.pass_context
def command(
    ctx: click.Context, recordings: tuple[str, ...], recorded: str, wanted: str, by: str, output: str,
    accept_rejected: bool, options: Options,
) -> None:  # fmt: skip
    """Put the recording IN into the order of another port: the boxes recorded, played back into the desk's slots.

    Several files are tracks of one channel each, or parts of many channels that follow each other; parts of one track
    are joined by a plus. Samples are not touched. Exit status 1 where a recorded channel has no place.

    \b
    Example:
      chanbridge reorder ident.wav --from sockets --to slots --by examples/winter-concert/box-a.csv -o desk.wav
    """
    plan = plan_source(by, options, accept_rejected=accept_rejected)
    from_, to = places(plan.map, recorded), places(plan.map, wanted)
    if not to:
        raise ReadError(f"the port {wanted!r} has no slots, so there is nothing to write")
    one = Path(output).suffix.lower() == ".wav"
    if one and not Path(output).parent.is_dir():
        raise WriteError(f"there is no folder {str(Path(output).parent)!r}; make it first", Location(output))
    with ExitStack() as stack:
        take = open_take(stack, recordings)
        _check(take, output)
        found = order(plan.map, from_, to, take.inputs)
        if one:
            remarks = write_one(
                take, found, partial(writing, Path(output).parent), Path(output).name, plan.map.title
            )
        else:
            remarks = write_tracks(take, found, partial(writing, output), plan.map.title)
    plan.say()
    for remark in (*take.remarks, *remarks):
        click.echo(remark, err=True)
    if take.inputs > len(from_):
        click.echo(
            f"tracks {len(from_) + 1} to {take.inputs} lie past the end of {recorded!r}; left out", err=True
        )
    for name in found.absent:
        click.echo(f"not in the recording, so silent: {name}", err=True)
    for name in found.left:
        click.echo(f"NO PLACE: {name}: {wanted!r} has no slot for it", err=True)
    placed = sum(track.input is not None for track in found.tracks)
    stored = take.format._replace(channels=len(to))
    click.echo(
        f"{output}: {counted(len(to), 'track')}, {placed} from the recording, {take.length / take.rate_hz:.1f} s; "
        f"{stored}: {hours_per_terabyte(stored):.1f} hours per terabyte"
    )
    ctx.exit(1 if found.left else 0)


def _check(take: Take, output: str) -> None:
    """Refuse to write over what is being read."""
    target = Path(output).resolve()
    for head in take.heads:
        source = Path(head.source).resolve()
        if source == target or source.parent == target:
            raise WriteError(
                "this is the recording itself, or its folder; write somewhere else", Location(output)
            )
