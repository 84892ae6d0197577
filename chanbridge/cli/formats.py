"""chanbridge formats"""

from __future__ import annotations

import click

from chanbridge.formats import FORMATS, plugged_in


@click.command("formats")
def command() -> None:
    """List the kinds of file that are read and written, and what each can carry.

    Example: chanbridge formats
    """
    more, broken = plugged_in()
    for known in (*FORMATS, *more):
        click.echo(f"{known.name:<10}{' '.join(known.suffixes):<17}{known.carries}")
    for said in broken:
        click.echo(f"chanbridge: {said}", err=True)
