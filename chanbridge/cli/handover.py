"""chanbridge handover"""

from __future__ import annotations

import datetime
import os
from dataclasses import replace

import click

from chanbridge.cli.evening import now, opened, who_option
from chanbridge.cli.papers import line_check, named, paper_options
from chanbridge.cli.sources import accept_rejected_option
from chanbridge.errors import ShowError
from chanbridge.evening.revisions import check_letter, lettered, moved
from chanbridge.evening.state import current_letter
from chanbridge.evening.state import planned as planned_now
from chanbridge.files import read_bytes, write_all
from chanbridge.handover import hand_over
from chanbridge.handover.issue import issue, words_changed
from chanbridge.handover.manifest import NAME as MANIFEST
from chanbridge.handover.manifest import Manifest, read_manifest
from chanbridge.handover.printed import Asked, with_manifest
from chanbridge.handover.summary import wanted_but_missing
from chanbridge.names import counted
from chanbridge.show import load


@click.command("handover")
@click.argument("show", metavar="SHOW")
@click.option("-o", "--output", metavar="DIR", required=True, help="Folder to write into; made where needed.")
@click.option(
    "--revision", metavar="LETTER", help="Issue it under this letter, and say to each what changed."
)
@click.option("--date", type=click.DateTime(["%Y-%m-%d"]), metavar="YYYY-MM-DD", help="The revision's date.")
@click.option("--frozen", is_flag=True, help="Refuse a revision in which anything moves on a feed.")
@paper_options
@who_option
@accept_rejected_option
@click.pass_context
def command(
    ctx: click.Context,
    show: str,
    output: str,
    revision: str | None,
    date: datetime.datetime | None,
    frozen: bool,
    asked: Asked,
    who: str,
    accept_rejected: bool,
) -> None:
    """Write a folder with sheets for each recipient of SHOW (a show.toml, or its folder), and a summary.

    With --revision the paper is kept in the journal: the next revision moves as little as can be, each recipient gets
    a list of what changed, and the paper before goes to DIR/earlier. Late changes are in every hand-over.

    Sheets as PDF, HTML, workbook, CSV, XML and text; labels true to size, the flow as a picture, a cover, and a
    manifest for `chanbridge verify`.

    Exit status 1 where a wanted channel does not reach someone, or a sheet is not what arrives.

    Example: chanbridge handover examples/winter-concert -o handover
    """
    loaded = load(show, accept_rejected=accept_rejected)
    journal, state = opened(loaded)
    day = date.date() if date else None
    letter = revision or current_letter(state)
    planned = lettered(planned_now(loaded, state), letter, day)
    asked = replace(named(asked, loaded.file), line_check=line_check(journal, planned))
    if revision:
        if asked.only:
            raise ShowError("a revision is for everyone; leave --only out, or leave --revision out")
        check_letter(revision, tuple(state.revisions))
        if frozen and state.revision and (away := moved(planned, state.revision)):
            raise ShowError(f"--frozen: {counted(len(away), 'channel')} would move: {'; '.join(away)}")
    files, proof = hand_over(loaded, planned, asked, state.revision)
    if revision:
        files = issue(journal, state, planned, files, output, revision, loaded, asked, at=now(), who=who)
    else:
        there = _lying(output) if asked.only or asked.formats else None
        files = with_manifest(loaded, planned, files, asked, there, issued=False, date=str(day or ""))
        write_all(output, files)
    asked.progress("")
    for name, data in files:
        if name == "summary.txt":
            click.echo(data.decode("utf-8"), nl=False)
    folders = sum(not asked.only or one.recipient.id in asked.only for one in planned.deliveries)
    click.echo(
        f"\n{counted(len(files), 'file')} for {counted(folders, 'recipient')} are in {output}; begin with {output}/summary.txt",
        err=True,
    )
    if revision:
        click.echo(f"revision {revision}, word {planned.word}", err=True)
        for line in words_changed(files):
            click.echo(f"  {line}", err=True)
    ctx.exit(0 if proof.holds and not wanted_but_missing(planned) else 1)


def _lying(folder: str) -> Manifest | None:
    """The manifest of the hand-over that lies in a folder already. Raises ReadError for one that is damaged."""
    path = os.path.join(folder, MANIFEST)
    return read_manifest(read_bytes(path), path) if os.path.isfile(path) else None
