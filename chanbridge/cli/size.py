"""chanbridge size"""

from __future__ import annotations

import os
from collections.abc import Iterable

import click

from chanbridge.check.rule import CARE
from chanbridge.cli.new import refuse_existing
from chanbridge.cli.sources import json_text
from chanbridge.errors import Location, ShowError
from chanbridge.files import write_all
from chanbridge.foresight.needs import Needs, Store, needs_mistakes, store_mistakes
from chanbridge.foresight.propose import proposed
from chanbridge.foresight.sizetext import size_data, size_lines
from chanbridge.foresight.sizing import size
from chanbridge.show import declarations, declared, line_of, parse
from chanbridge.system import Mistake


@click.command("size")
@click.argument("needs", metavar="NEEDS.toml")
@click.option(
    "--kit", metavar="KIT.toml", help="What lies in your store: boxes, cables, switches, converters."
)
@click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON.")
@click.option("--write", metavar="DIR", help="Write a show.toml with comments and a sheet for each box too.")
@click.pass_context
def command(ctx: click.Context, needs: str, kit: str | None, as_json: bool, write: str | None) -> None:
    """Say what a show takes that does not exist yet: boxes, blocks, ports, feeds, cables, watts and circuits.

    Exit status 1 where something does not fit. An existing show is never written over.

    Example: chanbridge size examples/needs.toml --kit examples/kit.toml
    """
    if write == "":
        raise click.UsageError("--write needs the name of a folder", ctx)
    text = declarations(needs)
    wanted = declared(text, needs, Needs)
    _refuse(needs, text, needs_mistakes(wanted))
    store = Store()
    if kit:
        text = declarations(kit)
        store = declared(text, kit, Store)
        _refuse(kit, text, store_mistakes(store, wanted.block_slots))
    made = size(wanted, store)
    if write:
        files = [*proposed(made)]
        refuse_existing(write, files)
        for name, data in files:
            if name == "show.toml":
                # One that would not load is not written.
                parse(data.decode("utf-8"), os.path.join(write, name))
        write_all(write, files)
        click.echo(f"a show of {len(files)} files is in {write}; begin with {write}/show.toml", err=True)
    click.echo(json_text(size_data(made)) if as_json else "\n".join(size_lines(made, CARE)))
    ctx.exit(1 if made.wrong else 0)


def _refuse(source: str, text: str, mistakes: Iterable[Mistake]) -> None:
    """Raise ShowError for the first mistake, with its line."""
    for loc, message in mistakes:
        raise ShowError(message, Location(source, "", line_of(text, loc), str(loc[-1])))
