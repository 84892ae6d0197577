"""chanbridge new"""

from __future__ import annotations

import os
import shlex
from collections.abc import Sequence
from importlib.resources import files

import click

from chanbridge.errors import Location, WriteError
from chanbridge.files import read_bytes, write_all

NAMES = ("show.toml", "box-a.csv")


def refuse_existing(folder: str, laid: Sequence[tuple[str, bytes]]) -> None:
    """Raise WriteError where a file that must be new is there already.

    A part of the files, as they would be written, is what an attempt that was ended has left, and is completed.
    """
    there = [(name, data) for name, data in laid if os.path.lexists(os.path.join(folder, name))]
    whole = len(there) == len(laid)
    for name, data in there:
        path = os.path.join(folder, name)
        if whole or not os.path.isfile(path) or read_bytes(path) != data:
            raise WriteError(
                "this is there already and is not written over; name another folder", Location(path)
            )


@click.command("new")
@click.argument("folder", metavar="DIR")
def command(folder: str) -> None:
    """Lay a small commented show into DIR, to start from. Nothing that is there is written over.

    Example: chanbridge new my-show
    """
    starter = files("chanbridge") / "starter"
    laid = [(name, starter.joinpath(name).read_bytes()) for name in NAMES]
    refuse_existing(folder, laid)
    write_all(folder, laid)
    click.echo(
        f"{folder} holds a show: put your own patch into {os.path.join(folder, 'box-a.csv')}, change "
        f"{os.path.join(folder, 'show.toml')}, then"
    )
    said = shlex.quote(folder)
    click.echo(f"  chanbridge check {said}\n  chanbridge handover {said} -o out")
