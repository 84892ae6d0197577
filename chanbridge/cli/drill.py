"""chanbridge drill"""

from __future__ import annotations

import csv
import io
import os
import re
from pathlib import Path

import click

from chanbridge.cli import Group
from chanbridge.cli.evening import standing
from chanbridge.cli.sources import accept_rejected_option
from chanbridge.drill.exercise import FINDINGS, SEALED, exercise, mark, unsealed
from chanbridge.errors import Location, ReadError, WriteError, close_to
from chanbridge.files import read_bytes, write_all
from chanbridge.formats.characters import decode
from chanbridge.names import counted
from chanbridge.show import load


class _Drill(Group):
    """`drill SHOW` makes an exercise, `drill mark DIR` marks it."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if (
            args
            and args[0] not in self.commands
            and (os.path.exists(args[0]) or not close_to(args[0], self.commands))
        ):
            args = ["make", *args]
        return super().resolve_command(ctx, args)

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        if args and args[0].startswith("--") and args[0] != "--help":
            args = ["make", *args]
        return super().parse_args(ctx, args)


@click.group("drill", cls=_Drill)
def command() -> None:
    """Learn to find faults: `drill SHOW -o DIR` plants some in a show's paper, `drill mark DIR` marks what was found.

    Example: chanbridge drill examples/winter-concert --faults 5 -o exercise
    """


@command.command("make")
@click.argument("show", metavar="SHOW")
@click.option(
    "-o", "--output", metavar="DIR", required=True, help="Folder for the exercise; must not be there yet."
)
@click.option("--faults", type=click.IntRange(1, 40), default=5, show_default=True, help="How many to plant.")
@click.option("--seed", type=int, default=1, show_default=True, help="Another number, another exercise.")
@accept_rejected_option
def make(show: str, output: str, faults: int, seed: int, accept_rejected: bool) -> None:
    """Make an exercise of SHOW's paper.

    Example: chanbridge drill examples/winter-concert --faults 5 -o exercise
    """
    if os.path.lexists(output):
        raise WriteError(f"{output} is there already and is not written over; name another folder")
    files, answers = exercise(standing(load(show, accept_rejected=accept_rejected)), faults, seed)
    write_all(output, files)
    click.echo(f"{counted(len(answers), 'fault')} planted; begin with {os.path.join(output, 'task.txt')}")
    if len(answers) < faults:
        click.echo(f"the paper has room for no more than {len(answers)}", err=True)


@command.command("mark")
@click.argument("folder", metavar="DIR")
@click.argument("findings", metavar="[FINDINGS]", required=False)
@click.option("--answers", "tell", is_flag=True, help="Say what was missed too.")
@click.pass_context
def marked(ctx: click.Context, folder: str, findings: str | None, tell: bool) -> None:
    """Mark the findings of an exercise: DIR/findings.csv, or another file of the same columns.

    Exit status 1 where a fault was missed or a finding is none. What was missed stays sealed without --answers, so that
    one can look again.

    Example: chanbridge drill mark exercise
    """
    source = findings or os.path.join(folder, FINDINGS)
    sealed = os.path.join(folder, SEALED)
    if os.path.isdir(folder) and not os.path.exists(sealed):
        raise ReadError(
            "no exercise lies here; name a folder that chanbridge drill SHOW -o DIR wrote", Location(folder)
        )
    answers = unsealed(read_bytes(sealed), sealed)
    text = decode(read_bytes(source), source).text
    # As the rows are, not the heading.
    parted = re.search(r"^[^,;\t\n]+([,;\t])", text.partition("\n")[2], re.MULTILINE)
    try:
        rows = list(
            csv.reader(io.StringIO(text, newline=""), delimiter=parted[1] if parted else ",", strict=True)
        )
    except csv.Error as error:
        raise ReadError(f"{source}: this is not CSV: {error}") from None
    lists = sorted(path.stem for path in Path(folder, "paper").glob("*.csv"))
    result = mark(answers, rows, source, lists)
    click.echo(f"{len(result.found)} of {counted(len(answers), 'fault')} found")
    for title, some in (("Found", result.found), ("Missed", result.missed if tell else [])):
        for one in some:
            slots = " and ".join(map(str, one.fault.slots))
            click.echo(f"  {title:<7} {one.recipient}, slot {slots}: {one.fault.what} ({one.fault.kind})")
    for number, said in result.false:
        click.echo(f"  No fault  row {number}: {said}")
    if result.missed and not tell:
        click.echo("look again, or see what was missed with --answers")
    ctx.exit(0 if not result.missed and not result.false else 1)
