"""chanbridge lose"""

from __future__ import annotations

import click

from chanbridge.assemble import Planned
from chanbridge.check.rule import CARE
from chanbridge.cli.evening import standing
from chanbridge.cli.sources import accept_rejected_option, json_text
from chanbridge.errors import ShowError, unknown
from chanbridge.foresight.loss import Foresight
from chanbridge.foresight.telling import asked_lines, care_lines, each_lines, loss_data, loss_lines
from chanbridge.foresight.things import thing_named
from chanbridge.show import load


@click.command("lose")
@click.argument("show", metavar="SHOW")
@click.argument("thing", metavar="[THING]", required=False)
@click.option("--each", is_flag=True, help="Every single thing, the worst first.")
@click.option("--act", metavar="ACT", help="As the stage is in this act.")
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
@accept_rejected_option
@click.pass_context
def command(
    ctx: click.Context, show: str, thing: str | None, each: bool, act: str | None, as_json: bool,
    accept_rejected: bool,
) -> None:  # fmt: skip
    """Say who goes silent without THING, what still works, and what to do then.

    THING is a box, device, cable, switch, supply circuit, block, feed or recipient of SHOW (a show.toml, or its
    folder). Exit status 1 where anybody goes silent.

    Example: chanbridge lose examples/winter-concert stage-left
    """
    if each == (thing is not None):
        raise click.UsageError("name one THING, or say --each", ctx)
    loaded = load(show, accept_rejected=accept_rejected)
    file = loaded.file
    lost = thing_named(file, thing) if thing is not None else None
    planned = _in_act(standing(loaded), act)
    delivered = {each.recipient.id: [*each.delivered] for each in planned.deliveries}
    ahead = Foresight(file, planned.map, delivered)
    losses = [ahead.lose(lost)] if lost else ahead.each()
    asked = [*ahead.unjudged(), *ahead.unsaid()]
    if as_json:
        click.echo(json_text({"lost": list(map(loss_data, losses)), "not_judged": asked}))
    else:
        media = {link.id: link.medium for link in file.link}
        lines = [*(loss_lines(losses[0]) if lost else each_lines(losses)), *asked_lines("Not said:", asked)]
        click.echo("\n".join([*lines, *care_lines(losses, media, CARE)]))
    ctx.exit(1 if any(loss.silent for loss in losses) else 0)


def _in_act(planned: Planned, name: str | None) -> Planned:
    if name is None:
        return planned
    acts = {played.act.id: played.planned for played in planned.acts}
    if name not in acts:
        raise ShowError(unknown("act", name, acts))
    return acts[name]
