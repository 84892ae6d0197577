"""chanbridge amend"""

from __future__ import annotations

import click

from chanbridge.cli.evening import journal_of, now, say_repaired, say_words, who_option, yes_option
from chanbridge.evening.making import ChangedError, look
from chanbridge.evening.making import make as enter
from chanbridge.evening.words import help_text
from chanbridge.show import Show, load


@click.command(
    "amend",
    help=f"""Make a late change to SHOW, said as people say it: who must be told what is shown before it counts.

It is kept in the journal beside show.toml, never in your sheets. Exit status 1 if you say no.

\b
What can be said:
{chr(10).join("  " + line for line in help_text().splitlines())}

Example: chanbridge amend examples/winter-concert "Ana to B36"
""",
)
@click.argument("show", metavar="SHOW")
@click.argument("change", metavar="CHANGE", nargs=-1, required=True)
@yes_option
@who_option
@click.pass_context
def command(ctx: click.Context, show: str, change: tuple[str, ...], yes: bool, who: str) -> None:
    number = make(load(show, accept_rejected=True), " ".join(change), yes=yes, who=who)
    ctx.exit(0 if number else 1)


def _agreed() -> bool:
    try:
        return click.confirm("\nDoes it count?", err=True)
    except click.Abort:
        click.echo("\nno answer came: nothing was changed; --yes answers beforehand", err=True)
        raise


def make(show: Show, said: str, *, yes: bool, who: str, undoes: int = 0) -> int:
    """Show what a change means, ask, and write it into the journal; its number, or 0 where the answer was no.

    Where it means something else by the time of the answer, it is shown again. `undoes`: see `making.look`.
    """
    journal = journal_of(show)
    meant = look(show, journal, said, undoes)
    say_repaired(journal)
    while True:
        click.echo(f"{meant.said}\n")
        say_words(meant.words)
        if meant.caution:
            click.echo(f"\n{click.wrap_text(meant.caution, 79)}")
        if not yes and not _agreed():
            click.echo("nothing was changed", err=True)
            return 0
        try:
            number, _ = enter(
                show, journal, said, meant.agreed, at=now(), who=who, undoes=undoes, looked=meant
            )
        except ChangedError as error:
            meant = error.meant
            continue
        click.echo(f"\nlate change {number} is in the journal", err=True)
        return number
