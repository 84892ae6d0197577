"""chanbridge prove"""

from __future__ import annotations

from pathlib import Path

import click

from chanbridge.cli.evening import standing
from chanbridge.cli.sources import accept_rejected_option, json_text, read_source, sheet_options
from chanbridge.errors import Location, ReadError
from chanbridge.files import read_bytes
from chanbridge.formats import is_show
from chanbridge.handover import sheets
from chanbridge.names import counted
from chanbridge.proof import Proof, for_people, prove_sheet, prove_show
from chanbridge.sheets.grid import Options
from chanbridge.show import load


@click.command("prove")
@click.argument("what", metavar="SHOW|SHEET")
@click.option(
    "--paper", metavar="DIR", help="Prove the sheets that lie in the folder of a hand-over, as they are."
)
@click.option("--json", "as_json", is_flag=True, help="Print every slot as JSON.")
@sheet_options
@accept_rejected_option
@click.pass_context
def command(
    ctx: click.Context, what: str, paper: str | None, as_json: bool, accept_rejected: bool, options: Options
) -> None:
    """Send a signal through every patch and feed of SHOW, and compare what arrives with the sheets as printed.

    Late changes are in it, as they are in a hand-over. A SHEET alone is proved against itself. No cable is tested;
    that is said with every result. Exit status 1 where anything is not as printed.

    Example: chanbridge prove examples/winter-concert
    """
    proof = _prove(what, paper, accept_rejected, options)
    text = json_text(proof.report()) if as_json else "\n".join(for_people(proof))
    click.echo(text)
    ctx.exit(0 if proof.holds else 1)


def _prove(what: str, paper: str | None, accept_rejected: bool, options: Options) -> Proof:
    if not is_show(what):
        if paper:
            raise ReadError("--paper goes with a show; name a show.toml or its folder", Location(what))
        return prove_sheet(read_source(what, None, options, accept_rejected=accept_rejected))
    show = load(what, accept_rejected=accept_rejected)
    planned = standing(show)
    if planned.unplaced:
        names = ", ".join(channel.name or channel.id for channel, _ in planned.unplaced)
        click.echo(
            f"!! {counted(len(planned.unplaced), 'channel')} without a place on any box, and so with nobody and not in "
            f"this proof: {names}; see: chanbridge check {what}",
            err=True,
        )
    if paper is None:
        printed = dict(sheets(show, planned))
        return prove_show(show.file, planned, printed.get)
    folder = Path(paper)
    if not folder.is_dir():
        raise ReadError("this is no folder; name one that handover wrote", Location(paper))
    return prove_show(
        show.file,
        planned,
        lambda name: read_bytes(folder / name) if (folder / name).exists() else None,
        paper,
    )
