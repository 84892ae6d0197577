"""chanbridge amendments"""

from __future__ import annotations

import os
from pathlib import PurePath, PurePosixPath

import click

from chanbridge.cli.amend import make
from chanbridge.cli.evening import journal_of, say_repaired, who_option, yes_option
from chanbridge.cli.new import refuse_existing
from chanbridge.evening.fold import folded
from chanbridge.evening.state import State, read_state
from chanbridge.files import write_all
from chanbridge.journal import as_csv
from chanbridge.show import Show, load


@click.command("amendments")
@click.argument("show", metavar="SHOW")
@click.option("--undo", type=click.IntRange(1), metavar="N", help="Take late change N back, by a new one.")
@click.option(
    "--fold", metavar="DIR", help="Write the sheets with all late changes in them, as new files in DIR."
)
@click.option("--csv", "as_table", is_flag=True, help="Print the whole journal as CSV.")
@yes_option
@who_option
@click.pass_context
def command(
    ctx: click.Context, show: str, undo: int | None, fold: str | None, as_table: bool, yes: bool, who: str
) -> None:
    """List the late changes of SHOW, take one back, or fold them into new versions of the sheets.

    Example: chanbridge amendments examples/winter-concert
    """
    loaded = load(show, accept_rejected=True)
    journal = journal_of(loaded)
    if as_table:
        click.echo(as_csv(journal.entries()), nl=False)
        return
    if undo is not None:
        ctx.exit(0 if make(loaded, "", yes=yes, who=who, undoes=undo) else 1)
    state = read_state(journal)
    say_repaired(journal)
    if fold is not None:
        _fold(loaded, state, fold)
        return
    if not state.amendments:
        click.echo("no late changes")
    undone = state.undone()
    revision = state.revision
    told = False
    for amendment in state.amendments:
        if revision and not told and amendment.entry > revision.number:
            click.echo(f"    -- revision {revision.letter}, word {revision.word} --")
            told = True
        by = f", {amendment.who}" if amendment.who else ""
        back = "  (taken back)" if amendment.number in undone else ""
        click.echo(f"{amendment.number:>3}  {amendment.said}{back}   {amendment.at}{by}")


def _fold(show: Show, state: State, folder: str) -> None:
    files = folded(show, state)
    if not files:
        click.echo("no sheet changes")
        return
    written = [(name, data) for _, name, data in files]
    refuse_existing(folder, written)
    write_all(folder, written)
    for name, _ in written:
        click.echo(os.path.join(folder, name))
    others = [(old, new) for old, new, _ in files if PurePath(old).suffix.lower() != PurePath(new).suffix]
    advice = "".join(f"; write sheet = {_beside(old, new)!r} instead of {old!r}" for old, new in others)
    click.echo(
        "look at them, then put them in the place of the old ones; the late changes stay true either way. They are "
        f"plain lists: take encoding, delimiter, columns and record for them out of show.toml{advice}",
        err=True,
    )


def _beside(old: str, new: str) -> str:
    """The new file's name where the old one lies."""
    return str(PurePosixPath(old).with_name(new))
