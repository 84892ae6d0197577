"""chanbridge compare"""

from __future__ import annotations

import click

from chanbridge.cli.sources import accept_rejected_option, json_text, read_source, say_ledger, sheet_options
from chanbridge.compare.changes import compare
from chanbridge.compare.match import KEYS, Key
from chanbridge.compare.report import Sheet, data, text
from chanbridge.errors import Location, WriteError
from chanbridge.files import write_bytes
from chanbridge.model import AUDIENCES
from chanbridge.sheets.grid import Options


@click.command("compare")
@click.argument("reference", metavar="REFERENCE")
@click.argument("other", metavar="OTHER")
@click.option("--json", "as_json", is_flag=True, help="Print the differences as JSON.")
@click.option(
    "-o",
    "--output",
    metavar="FILE.html",
    help="Write both lists side by side as an HTML page too; FILE.pdf: the changes to print.",
)
@click.option("--by", type=click.Choice(KEYS), help="Match by this alone: what has one socket, name or slot.")
@click.option("--show", metavar="SHOW", help="The show.toml that says where boxes stand on their blocks.")
@sheet_options
@accept_rejected_option
@click.pass_context
def command(
    ctx: click.Context, reference: str, other: str, as_json: bool, output: str | None, by: Key | None,
    show: str | None, accept_rejected: bool, options: Options,
) -> None:  # fmt: skip
    """Say where the list OTHER differs from the list REFERENCE. Exit status 1 where it does, or must be asked.

    \b
    Example:
      chanbridge compare examples/winter-concert/front-of-house.csv examples/winter-concert/stream.csv
    """
    if output and not output.lower().endswith((".html", ".htm", ".pdf")):
        raise WriteError("the page is HTML or PDF; write a name that ends in .html or .pdf", Location(output))
    one, two = (
        read_source(path, None, options, accept_rejected=accept_rejected) for path in (reference, other)
    )
    wiring = {}
    if show:
        from chanbridge.compare.places import wiring_of
        from chanbridge.show import load

        wiring = wiring_of(load(show, accept_rejected=accept_rejected).file)
    both = one.layout.keys() & two.layout.keys()
    found = compare(
        one.map, two.map, by_id="id" in both, heard=[name for name in AUDIENCES if name in both],
        columns=both, spares="spare" in one.verdicts(), by=by, wiring=wiring, words=options.vocabulary,
    )  # fmt: skip
    sheets = Sheet(one.source, one.map, one.origins), Sheet(two.source, two.map, two.origins)
    if output and output.lower().endswith(".pdf"):
        from chanbridge.handover.papers import compared_pdf

        write_bytes(output, compared_pdf(found, one, two.source))
    elif output:
        from chanbridge.compare.page import page

        write_bytes(output, page(found, *sheets))
    for reading in (one, two):
        say_ledger(reading)
    if as_json:
        click.echo(json_text(data(found, *sheets)))
    else:
        click.echo("\n".join(text(found, *sheets)).lstrip("\n"))
    ctx.exit(1 if found.changes or found.questions else 0)
