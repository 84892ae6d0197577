"""chanbridge told"""

from __future__ import annotations

import click

from chanbridge.cli.evening import heard, who_option


@click.command("told")
@click.argument("show", metavar="SHOW")
@click.argument("recipient", metavar="WHO")
@click.argument("what", metavar="[WHAT]...", nargs=-1)
@who_option
def command(show: str, recipient: str, what: tuple[str, ...], who: str) -> None:
    """Note that WHO (a recipient, or "crew") was told: revision letters or numbers of late changes, else all.

    Told is not received: see `chanbridge received`.

    Example: chanbridge told examples/winter-concert truck
    """
    heard("told", show, recipient, what, who)
