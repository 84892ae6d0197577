"""chanbridge status"""

from __future__ import annotations

import click

from chanbridge.cli.evening import opened
from chanbridge.errors import ShowError
from chanbridge.evening.state import planned, unfit
from chanbridge.evening.status import report
from chanbridge.show import load


@click.command("status")
@click.argument("show", metavar="SHOW")
@click.pass_context
def command(ctx: click.Context, show: str) -> None:
    """Show on one screen who holds which paper of SHOW, what changed since, and who has not said to have it.

    Exit status 1 where something is due.

    Example: chanbridge status examples/winter-concert
    """
    loaded = load(show, accept_rejected=True)
    state = opened(loaded)[1]
    try:
        odd = unfit(planned(loaded, state)) if state.amendments else []
    except ShowError as error:  # who holds what is known all the same
        odd = [f"the show cannot be planned: {error}"]
    lines, due = report(loaded.file, state, odd)
    click.echo("\n".join(lines))
    ctx.exit(1 if due else 0)
