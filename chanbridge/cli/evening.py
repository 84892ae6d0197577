"""What the commands about late changes share."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from pathlib import Path

import click

from chanbridge.assemble import Planned
from chanbridge.errors import ShowError, unknown
from chanbridge.evening.consequences import Word
from chanbridge.evening.state import State, planned, read_state
from chanbridge.journal import Journal
from chanbridge.show import Show, load
from chanbridge.system import CREW

who_option = click.option("--who", default="", metavar="NAME", help="Who says so; kept in the journal.")
yes_option = click.option("--yes", is_flag=True, help="Do not ask; take it as it is.")


def opened(show: Show) -> tuple[Journal, State]:
    """The journal beside a show file and what it says; that a damaged one was set aside is said on standard error."""
    journal = journal_of(show)
    state = read_state(journal)
    say_repaired(journal)
    return journal, state


def standing(show: Show) -> Planned:
    """The show as it stands, with every late change that its journal holds."""
    return planned(show, opened(show)[1])


def journal_of(show: Show) -> Journal:
    """The journal beside a show file."""
    return Journal(Path(show.source).parent)


def now() -> str:
    """The time in UTC, to the second."""
    return datetime.datetime.now(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def say_repaired(journal: Journal) -> None:
    """Say on standard error what was found damaged."""
    if journal.repaired:
        click.echo(f"chanbridge: {journal.repaired}", err=True)


def say_words(words: Mapping[str, Word]) -> None:
    """Who must be told what, and who need not."""
    wide = max(len(word.name) for word in words.values())
    for must, title in ((True, "Tell:"), (False, "Need not be told:")):
        told = [word for word in words.values() if word.must is must]
        if told:
            click.echo(title)
        for word in told:
            click.echo(click.wrap_text(f"{word.name:<{wide}}  {word.sentence}", 79, "  ", " " * (wide + 4)))


def recipient_of(show: Show, said: str) -> str:
    """The id of someone who can be told: a recipient, or the crew. Raises ShowError naming those there are."""
    ids = [recipient.id for recipient in show.file.recipient]
    for recipient in show.file.recipient:
        if said.casefold() in (recipient.id.casefold(), recipient.name.casefold()):
            return recipient.id
    if said.casefold() in (CREW, "stage crew"):
        return CREW
    raise ShowError(unknown("recipient", said, [*ids, CREW], [one.name for one in show.file.recipient]))


def heard(kind: str, path: str, recipient: str, what: Sequence[str], who: str) -> None:
    """Write into the journal that someone was told, or has received, letters and numbers; without any, what is due."""
    show = load(path, accept_rejected=True)
    name = recipient_of(show, recipient)
    journal, state = opened(show)
    letters = {revision.letter for revision in state.revisions}
    numbers = {amendment.number for amendment in state.amendments}
    said: list[str | int] = []
    for text in what:
        if text.upper() in letters:
            said.append(text.upper())
        elif text.isdecimal() and int(text) in numbers:
            said.append(int(text))
        else:
            there = [*sorted(letters), *map(str, sorted(numbers))]
            raise ShowError(unknown("revision or late change", text, there))
    due = state.missing(name, state.told if kind == "told" else state.received)
    said = said or due
    if not said:
        click.echo(f"nothing is due: {name} has it all")
        return
    journal.append(kind, {"recipient": name, "what": said}, at=now(), who=who)
    verb = "was told" if kind == "told" else "has"
    click.echo(f"{name} {verb} {', '.join(map(str, said))}")
    left = [one for one in due if one not in said]
    if left:
        click.echo(f"still due: {', '.join(map(str, left))}")
