"""chanbridge lists"""

from __future__ import annotations

import click

from chanbridge.cli.evening import standing
from chanbridge.cli.sources import accept_rejected_option
from chanbridge.files import write_all
from chanbridge.handover import lists
from chanbridge.show import load

NAMES = ("kit", "questions", "labels")


@click.command("lists")
@click.argument("show", metavar="SHOW")
@click.argument("names", metavar="[kit|questions|labels]…", nargs=-1, type=click.Choice(NAMES))
@click.option("--csv", "as_csv", is_flag=True, help="Print one list as CSV.")
@click.option("-o", "--output", metavar="DIR", help="Write all of them into a folder too, as text and CSV.")
@accept_rejected_option
@click.pass_context
def command(
    ctx: click.Context, show: str, names: tuple[str, ...], as_csv: bool, output: str | None, accept_rejected: bool
) -> None:  # fmt: skip
    """Say what to bring for SHOW (a show.toml, or its folder), and what to ask each recipient in advance.

    Without a name: kit and questions, which go on two pages. What the show does not say is asked for by name.

    Example: chanbridge lists examples/winter-concert kit
    """
    if as_csv and len(names) != 1:
        raise click.UsageError("--csv prints one list; name it: kit, questions or labels", ctx)
    loaded = load(show, accept_rejected=accept_rejected)
    found = dict(lists(loaded, standing(loaded)))
    if output:
        write_all(output, found.items())
        click.echo(f"{len(found)} files are in {output}; begin with {output}/lists/kit.txt", err=True)
    shown = [found[f"lists/{name}.{'csv' if as_csv else 'txt'}"] for name in names or NAMES[:2]]
    click.echo(b"\n".join(shown), nl=False)
