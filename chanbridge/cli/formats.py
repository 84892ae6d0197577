"""chanbridge formats"""

from __future__ import annotations

import click

from chanbridge.formats import FORMATS


@click.command("formats")
def command() -> None:
    """List the kinds of file that are read and written, and what each can carry.

    Example: chanbridge formats
    """
    for known in FORMATS:
        click.echo(f"{known.name:<10}{' '.join(known.suffixes):<17}{known.carries}")
