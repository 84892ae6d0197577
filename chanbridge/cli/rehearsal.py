"""chanbridge rehearsal"""

from __future__ import annotations

import click

from chanbridge.cli.evening import now, opened, who_option
from chanbridge.errors import ShowError
from chanbridge.evening.rehearsal import desk_of, places, recorder_of, sheet
from chanbridge.evening.state import planned
from chanbridge.files import write_bytes
from chanbridge.formats.characters import encode
from chanbridge.show import load


@click.command("rehearsal")
@click.argument("show", metavar="SHOW")
@click.option("--recorder", default="", metavar="ID", help="Which recorder plays, where there are several.")
@click.option("--desk", default="", metavar="ID", help="Which desk is fed; otherwise the room's.")
@click.option("--live", multiple=True, metavar="NAME", help="A channel that stays live; may be said again.")
@click.option("--on", "switch", flag_value="on", help="Note that inputs are switched to the recording.")
@click.option("--off", "switch", flag_value="off", help="Note that everything is switched back.")
@click.option("-o", "--output", metavar="FILE", help="Write the sheet there instead of printing it.")
@who_option
def command(
    show: str,
    recorder: str,
    desk: str,
    live: tuple[str, ...],
    switch: str | None,
    output: str | None,
    who: str,
) -> None:
    """Rehearse SHOW with a recording in the place of inputs: the sheet to switch over, and back.

    Until it is noted that all is switched back, `chanbridge status` says so.

    Example: chanbridge rehearsal examples/winter-concert --live Ana --on
    """
    loaded = load(show, accept_rejected=True)
    journal, state = opened(loaded)
    if switch == "off":
        if state.rehearsal is None:
            raise ShowError("no rehearsal is on")
        journal.append("rehearsal", {"on": False}, at=now(), who=who, after=state.last)
        click.echo("everything is noted as switched back: listen to each input once before doors")
        return
    if switch == "on" and state.rehearsal:
        raise ShowError(f"a rehearsal is on since {state.rehearsal.since}; say --off first")
    made = planned(loaded, state)
    player, fed = recorder_of(made, recorder), desk_of(made, desk)
    found = places(made, player, fed, live)
    text = "\n".join(sheet(made, player, fed, found, show)) + "\n"
    if switch == "on":
        stay = [place.channel.id for place in found if place.why]
        journal.append(
            "rehearsal",
            {"on": True, "recorder": player.id, "live": stay},
            at=now(),
            who=who,
            after=state.last,
        )
    if output:
        write_bytes(output, encode(text))
    else:
        click.echo(text, nl=False)
