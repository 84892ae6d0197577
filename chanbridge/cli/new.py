"""chanbridge new"""

from __future__ import annotations

import os
from importlib.resources import files

import click

from chanbridge.errors import WriteError
from chanbridge.files import write_all

NAMES = ("show.toml", "box-a.csv")


@click.command("new")
@click.argument("folder", metavar="DIR")
def command(folder: str) -> None:
    """Lay a small commented show into DIR, to start from. Nothing that is there is written over.

    Example: chanbridge new my-show
    """
    there = [name for name in NAMES if os.path.lexists(os.path.join(folder, name))]
    if there:
        raise WriteError(f"{os.path.join(folder, there[0])} is there already; name another folder")
    starter = files("chanbridge") / "starter"
    write_all(folder, [(name, starter.joinpath(name).read_bytes()) for name in NAMES])
    click.echo(
        f"{folder} holds a show: put your own patch into {os.path.join(folder, 'box-a.csv')}, change "
        f"{os.path.join(folder, 'show.toml')}, then"
    )
    click.echo(f"  chanbridge check {folder}\n  chanbridge handover {folder} -o out")
