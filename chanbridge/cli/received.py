"""chanbridge received"""

from __future__ import annotations

import click

from chanbridge.cli.evening import heard, who_option


@click.command("received")
@click.argument("show", metavar="SHOW")
@click.argument("recipient", metavar="WHO")
@click.argument("what", metavar="[WHAT]...", nargs=-1)
@who_option
def command(show: str, recipient: str, what: tuple[str, ...], who: str) -> None:
    """Note that WHO (a recipient, or "crew") says to have it: revision letters or numbers, else all they were told.

    Example: chanbridge received examples/winter-concert truck
    """
    heard("received", show, recipient, what, who)
