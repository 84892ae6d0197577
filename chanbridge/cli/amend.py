"""chanbridge amend"""

from __future__ import annotations

from collections.abc import Callable

import click

from chanbridge.assemble import Planned
from chanbridge.cli.evening import journal_of, now, say_repaired, say_words, who_option, yes_option
from chanbridge.evening.amend import Step, check, steps_for, to_json
from chanbridge.evening.consequences import CAUTION, consequences
from chanbridge.evening.revisions import stands_of
from chanbridge.evening.state import State, planned, read_state
from chanbridge.evening.words import help_text, understand
from chanbridge.journal import StaleError
from chanbridge.show import Show, load


@click.command(
    "amend",
    help=f"""Make a late change to SHOW, said as people say it: who must be told what is shown before it counts.

It is kept in the journal beside show.toml, never in your sheets. Exit status 1 if you say no.

\b
What can be said:
{chr(10).join("  " + line for line in help_text().splitlines())}

Example: chanbridge amend examples/winter-concert "Ana to B35"
""",
)
@click.argument("show", metavar="SHOW")
@click.argument("change", metavar="CHANGE", nargs=-1, required=True)
@yes_option
@who_option
@click.pass_context
def command(ctx: click.Context, show: str, change: tuple[str, ...], yes: bool, who: str) -> None:
    said = " ".join(change)
    asked = understand(said)
    loaded = load(show, accept_rejected=True)
    number = make(loaded, said, lambda state, before: steps_for(asked, before.map), yes=yes, who=who)
    ctx.exit(0 if number else 1)


def make(
    show: Show,
    said: str,
    steps_of: Callable[[State, Planned], tuple[Step, ...]],
    *,
    yes: bool,
    who: str,
    undoes: int = 0,
) -> int:
    """Show what a change means, ask, and write it into the journal; its number, or 0 where the answer was no.

    Where someone else writes meanwhile it is looked at again.
    """
    journal = journal_of(show)
    agreed = ""
    while True:
        state = read_state(journal)
        say_repaired(journal)
        before = planned(show, state)
        steps = steps_of(state, before)
        check(steps, before.map)
        after = planned(show, state, steps, stands_of(before))
        words = consequences(before, after, steps)
        shown = repr((steps, words))
        if shown != agreed:
            click.echo(f"{said}\n")
            say_words(words)
            if any(step.change in ("move", "add", "remove", "phantom") for step in steps):
                click.echo(f"\n{click.wrap_text(CAUTION, 79)}")
            if not yes and not click.confirm("\nDoes it count?", err=True):
                click.echo("nothing was changed", err=True)
                return 0
            agreed = shown
        body = {
            "said": said,
            "steps": [to_json(step) for step in steps],
            "concerns": {name: word.sentence for name, word in words.items() if word.must},
            "stands": stands_of(after),
            "undoes": undoes,
        }
        try:
            journal.append("amendment", body, at=now(), who=who, after=state.last)
        except StaleError:
            continue
        number = len(state.amendments) + 1
        click.echo(f"\nlate change {number} is in the journal", err=True)
        return number
