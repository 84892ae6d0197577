"""chanbridge handover"""

from __future__ import annotations

import click

from chanbridge.assemble import assemble
from chanbridge.cli.sources import accept_rejected_option
from chanbridge.files import write_all
from chanbridge.handover import documents
from chanbridge.handover.summary import wanted_but_missing
from chanbridge.show import load


@click.command("handover")
@click.argument("show", metavar="SHOW")
@click.option("-o", "--output", metavar="DIR", required=True, help="Folder to write into; made where needed.")
@accept_rejected_option
@click.pass_context
def command(ctx: click.Context, show: str, output: str, accept_rejected: bool) -> None:
    """Write a folder with sheets for each recipient of SHOW (a show.toml, or its folder), and a summary.

    Exit status 1 where a wanted channel does not reach someone.

    Example: chanbridge handover examples/winter-concert -o handover
    """
    loaded = load(show, accept_rejected=accept_rejected)
    planned = assemble(loaded)
    files = list(documents(loaded, planned))
    write_all(output, files)
    for name, data in files:
        if name == "summary.txt":
            click.echo(data.decode("utf-8"), nl=False)
    folders = len(planned.deliveries)
    click.echo(
        f"\n{len(files)} files for {folders} recipients are in {output}; begin with {output}/summary.txt",
        err=True,
    )
    ctx.exit(1 if wanted_but_missing(planned) else 0)
