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
        click.echo(f"{known.name:<6}{' '.join(known.suffixes):<12}{known.carries}")
