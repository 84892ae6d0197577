"""chanbridge ident"""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import NamedTuple

import click

from chanbridge.cli import Group
from chanbridge.cli.sources import accept_rejected_option, json_text, read_source, say_ledger, sheet_options
from chanbridge.errors import Location, ReadError, WriteError
from chanbridge.files import writing
from chanbridge.formats import is_show
from chanbridge.formats.text import draw
from chanbridge.ident import places, play
from chanbridge.ident.codes import WALK
from chanbridge.ident.detect import HIGHEST_HZ, LOWEST_HZ, MOST_INPUTS, SHORTEST_S, detect
from chanbridge.ident.recording import Take, open_take
from chanbridge.ident.report import data, report, text
from chanbridge.ident.verdict import Plan
from chanbridge.model import ChannelMap
from chanbridge.names import counted
from chanbridge.sheets.grid import Options
from chanbridge.sheets.ledger import Reading

_LEVEL = click.FloatRange(-60, 0)


@click.group("ident", cls=Group)
def command() -> None:
    """Prove the real cables: make signals to play in, read them from a recording of the far end.

    \b
    Example:
      chanbridge ident make examples/winter-concert/box-a.csv -o ident.wav
    """


@command.command("make")
@click.argument("source", metavar="SHOW|SHEET")
@click.option("-o", "--output", metavar="FILE.wav", required=True, help="The file to play.")
@click.option(
    "--seconds",
    type=click.FloatRange(play.SHORTEST_S, play.LONGEST_S),
    default=20.0,
    show_default=True,
    help="Length of the file.",
)
@click.option(
    "--rate",
    type=click.Choice([str(rate) for rate in play.RATES_HZ]),
    default="48000",
    show_default=True,
    help="Sampling rate in Hz.",
)
@click.option(
    "--level", type=_LEVEL, default=-20.0, show_default=True, help="RMS in dBFS; above -12 needs --loud."
)
@click.option("--loud", is_flag=True, help="Yes, louder than -12 dBFS.")
@click.option("--port", help="Play every slot of this port, spares too; without it, the plan's channels.")
@click.option(
    "--tone", is_flag=True, help="Tones to count by ear instead: a low note for each ten, then rising notes."
)
@click.option(
    "--walk", is_flag=True, help="One signal, to be carried from socket to socket while the far end records."
)
@sheet_options
@accept_rejected_option
def make(
    source: str, output: str, seconds: float, rate: str, level: float, loud: bool, port: str | None, tone: bool,
    walk: bool, accept_rejected: bool, options: Options,
) -> None:  # fmt: skip
    """Make a WAV with one ident signal for each channel of SHOW or SHEET, on the channel of its slot.

    A list's slots are the file's channels; of a show, the sockets of all boxes, one box after the other.

    \b
    Example:
      chanbridge ident make examples/winter-concert/box-a.csv -o ident.wav
    """
    if level > play.LOUD_DBFS and not loud:
        raise WriteError(
            f"{level:g} dBFS is loud enough to hurt; stay at -12 or below, or add --loud if you mean it"
        )
    if not (math.isfinite(level) and math.isfinite(seconds)):
        raise WriteError("--level and --seconds must be numbers, for example --level -20 --seconds 20")
    if tone and walk:
        raise WriteError("--tone and --walk make two kinds of file; choose one")
    folder, name = _target(output)
    plan = plan_source(source, options, accept_rejected=accept_rejected)
    found = places.places(plan.map, port or plan.port)
    coded = places.coded(plan.map, plan.port)
    signals, names = _signals(found, coded, port is not None, tone, walk, (int(rate), seconds, level))
    if signals.peak_dbfs > 0:
        lower = math.floor(level - signals.peak_dbfs)
        raise WriteError(f"at {level:g} dBFS RMS its peak would be {signals.peak_dbfs:.1f} dBFS, above full scale; use {lower} or less")  # fmt: skip
    plan.say()
    for line in play.CAUTION:
        click.echo(line, err=True)
    with writing(folder, [name]) as (stream,):
        play.write(stream, signals, names, plan.map.title, str(plan.map.date or ""))
    silent = sum(code is None for code in signals.codes)
    click.echo(
        f"{output}: {counted(len(names), 'channel')}{f' ({silent} silent)' if silent else ''}, {seconds:g} s, {rate} Hz, "
        f"24 bit; RMS {level:.1f} dBFS, peak {signals.peak_dbfs:.1f} dBFS"
    )


def _target(output: str) -> tuple[Path, str]:
    path = Path(output)
    if path.suffix.lower() not in (".wav", ".rf64", ".bwf"):
        raise WriteError("the file is WAV; write a name that ends in .wav", Location(output))
    if not path.parent.is_dir():
        raise WriteError(f"there is no folder {str(path.parent)!r}; make it first", Location(output))
    return path.parent, path.name


def _signals(
    found: Sequence[places.Place], coded: places.Coded, spares: bool, tone: bool, walk: bool,
    shape: tuple[int, float, float],
) -> tuple[play.Signals, list[str]]:  # fmt: skip
    """The signals of a file and its channels' names. `spares`: slots without a channel play too."""
    if walk:
        return play.Signals("ident", [WALK], *shape), ["Carried signal"]
    if len(found) > play.MOST_CHANNELS:
        raise WriteError(
            f"{len(found)} slots are too many for one file of {play.MOST_CHANNELS} channels; make one for each box, with --port"
        )
    codes = [
        coded.codes.get(place.occupants[0].source if place.occupants else place.source)
        if place.occupants or spares
        else None
        for place in found
    ]
    if not any(code is not None for code in codes):
        raise ReadError("the plan has no channel here, so there is nothing to play; name a port with --port")
    names = [
        place.name or (f"Spare {places.place_text(place)}" if code is not None else "")
        for place, code in zip(found, codes, strict=True)
    ]
    if tone:
        tens = [at if code is not None else None for at, code in enumerate(codes, 1)]
        return play.Signals("tone", tens, *shape), names
    return play.Signals("ident", codes, *shape), names


@command.command("read")
@click.argument("captures", metavar="CAPTURE.wav...", nargs=-1, required=True)
@click.option("--against", metavar="SHEET|SHOW", required=True, help="The plan.")
@click.option("--port", help="The port whose slots were recorded; without it, those that `make` plays.")
@click.option(
    "--level",
    type=_LEVEL,
    default=-20.0,
    show_default=True,
    help="RMS in dBFS at which the signals were made.",
)
@click.option("--json", "as_json", is_flag=True, help="Print everything as JSON.")
@sheet_options
@accept_rejected_option
@click.pass_context
def read(
    ctx: click.Context, captures: tuple[str, ...], against: str, port: str | None, level: float, as_json: bool,
    accept_rejected: bool, options: Options,
) -> None:  # fmt: skip
    """Say which channel each input of a recording carries, and where that differs from the plan.

    The recording may begin anywhere and have another sampling rate. Several files are tracks of one channel each, or
    parts that follow each other. Exit status 1 where something differs or must be asked.

    \b
    Example:
      chanbridge ident read ident.wav --against examples/winter-concert/box-a.csv
    """
    source = plan_source(against, options, accept_rejected=accept_rejected)
    coded = places.coded(source.map, source.port)
    plan = Plan(places.places(source.map, port or source.port), coded)
    with ExitStack() as stack:
        take = open_take(stack, captures)
        if wrong := _unreadable(take):
            raise ReadError(wrong, Location(captures[0]))
        source.say()
        for remark in take.remarks:
            click.echo(remark, err=True)
        found = detect(take, sorted({*coded.codes.values()}), level)
    said = report(" ".join(captures), port or source.port or places.SLOTS, take, found, plan)
    if as_json:
        click.echo(json_text(data(said)))
    else:
        click.echo("\n".join(text(said, draw)))
    ctx.exit(1 if said.verdict.findings or said.verdict.questions else 0)


def _unreadable(take: Take) -> str:
    """Why a recording cannot be read for idents; "" where it can."""
    if take.length < SHORTEST_S * take.rate_hz * 1.01:
        return f"{take.length / take.rate_hz:.2f} s are too short; record 4 seconds or more"
    if not LOWEST_HZ <= take.rate_hz <= HIGHEST_HZ:
        return f"{take.rate_hz} Hz cannot carry the signals, which reach up to 9 kHz; record at 44100 to 96000 Hz"
    if take.inputs > MOST_INPUTS:
        return f"{take.inputs} inputs are more than can be read at once; give it in parts of {MOST_INPUTS} or fewer"
    return ""


class Source(NamedTuple):
    """A plan named on the command line. `port`: the one that is meant where none is named, None for a list's own."""

    map: ChannelMap
    port: str | None
    reading: Reading | None

    def say(self) -> None:
        """What became of a sheet's rows, once nothing about it can be refused any more."""
        if self.reading:
            say_ledger(self.reading)


def plan_source(source: str, options: Options, *, accept_rejected: bool) -> Source:
    """Read a show or a sheet. Of a show all sockets are meant, one box after the other."""
    if is_show(source):
        from chanbridge.cli.evening import standing
        from chanbridge.show import load

        return Source(standing(load(source, accept_rejected=accept_rejected)).map, places.SOCKETS, None)
    reading = read_source(source, None, options, accept_rejected=accept_rejected)
    return Source(reading.map, None, reading)
