"""The options that say which papers a hand-over has and how they look."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from functools import wraps
from typing import Any

import click

from chanbridge.assemble import Planned
from chanbridge.errors import ShowError, unknown
from chanbridge.handover.labels import NARROWEST_MM, WIDEST_MM
from chanbridge.handover.paper import PAPERS
from chanbridge.handover.printed import FORMATS, Asked, folders
from chanbridge.handover.words import LANGUAGES
from chanbridge.journal import Journal
from chanbridge.system import ShowFile

fonts_option = click.option(
    "--fonts", metavar="FOLDER", multiple=True, help="A folder with more fonts, for letters that ours lack."
)


def paper_options(command: Callable[..., None]) -> Callable[..., None]:
    """The options about papers; the command gets them as one argument, `asked`."""

    @wraps(command)
    def with_options(
        *arguments: Any, language: str, formats: tuple[str, ...], only: tuple[str, ...], from_zero: bool, paper: str,
        label_width: float, labels_in_row: int, fonts: tuple[str, ...], **rest: Any,
    ) -> None:  # fmt: skip
        asked = Asked(language, formats, only, from_zero, paper, label_width, labels_in_row, fonts)
        command(*arguments, asked=replace(asked, progress=_progress()), **rest)

    made: Callable[..., None] = with_options
    for option in (
        fonts_option,
        click.option(
            "--labels-in-row", type=click.IntRange(1, 200), default=8, metavar="COUNT", help="Labels side by side: 8."
        ),
        click.option(
            "--label-width", type=click.FloatRange(NARROWEST_MM, WIDEST_MM), default=25.0, metavar="MM",
            help="Width of a label, from slot to slot: 25.",
        ),
        click.option("--paper", type=click.Choice([*PAPERS], case_sensitive=False), default="a4", help="Size of the paper."),
        click.option("--from-zero", is_flag=True, help="Beside each slot of a feed its number as AES10 counts."),
        click.option("--language", type=click.Choice([*LANGUAGES], case_sensitive=False), default="en", help="Of PDF and HTML. Lists, text, findings and comparisons stay in English."),
        click.option(
            "--formats", metavar="LIST", default="", callback=_formats, help=f"Only these kinds: {','.join(FORMATS)}."
        ),
        click.option(
            "--only", metavar="NAMES", multiple=True, help="Only the papers of these recipients, boxes or pages, with commas between them."
        ),
    ):  # fmt: skip
        made = option(made)
    return made


def _formats(ctx: click.Context, parameter: click.Parameter, text: str) -> tuple[str, ...]:
    """The kinds of file in a list with commas."""
    wanted = tuple(part.strip().lower().lstrip(".") for part in text.split(",")) if text else ()
    for name in wanted:
        if name not in FORMATS:
            raise click.BadParameter(unknown("kind", name, FORMATS), ctx, parameter)
    return wanted


def named(asked: Asked, file: ShowFile) -> Asked:
    """The same with the names in `only` as the show has them. Raises ShowError for one that it has not."""
    there = {name.casefold(): name for name in folders(file)}
    there |= {item.name.casefold(): item.id for item in file.recipient if item.name}
    only = []
    for text in asked.only:
        for name in [text] if text.casefold() in there else map(str.strip, text.split(",")):
            if name.casefold() not in there:
                called = [item.name for item in file.recipient if item.name]
                raise ShowError(f"--only: {unknown('', name, folders(file), called)}")
            only.append(there[name.casefold()])
    return replace(asked, only=tuple(only))


def line_check(journal: Journal, planned: Planned) -> tuple[str, ...] | None:
    """What the crew has ticked, for the cover; None for nothing yet."""
    from chanbridge.web import views
    from chanbridge.web.linecheck import KIND, Ticks

    entries = journal.entries(KIND)
    return views.line_check(Ticks.of(entries), planned) if entries else None


def _progress() -> Callable[[str], None]:
    """A line on a terminal that says what is being made; nothing where no one looks."""
    if not sys.stderr.isatty():
        return lambda _: None
    return lambda name: click.echo(f"\r\x1b[K{name}", err=True, nl=False)
