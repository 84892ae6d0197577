"""Who holds what, on one screen."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from chanbridge.evening.state import State
from chanbridge.formats.text import draw
from chanbridge.system import CREW, ShowFile


def report(file: ShowFile, state: State, unfit: Sequence[str] = ()) -> tuple[list[str], bool]:
    """Lines for people, and whether something is due; `unfit`: what does not fit the sheets any more."""
    revision = state.revision
    lines = [file.title]
    if revision:
        lines.append(
            f"Revision {revision.letter}, word {revision.word}"
            + (f", {revision.date}" if revision.date else "")
        )
    else:
        lines.append("No revision was issued yet: chanbridge handover SHOW --revision A")
    since = state.since()
    undone = state.undone()
    if since:
        lines += ["", f"Late changes since{f' {revision.letter}' if revision else ''}:"]
        for amendment in since:
            back = "  (taken back)" if amendment.number in undone else ""
            lines.append(f"  {amendment.number}  {amendment.said}{back}")
    names = {recipient.id: recipient.name or recipient.id for recipient in file.recipient}
    names = {CREW: "Stage crew"} | names
    rows, due = [], [*unfit]
    for name, shown in names.items():
        untold, unheard = state.missing(name, state.told), state.missing(name, state.received)
        letters = [one.letter for one in state.revisions]
        held = [letter for letter in letters if letter in state.received.get(name, set())]
        numbers = sorted(one.number for one in since if name in one.concerns)
        has = [number for number in numbers if number not in unheard]
        rows.append([shown, held[-1] if held else "-", _list(has), _list(untold), _list(unheard)])
        if unheard:
            due.append(
                f"{shown} has not said to have {_words(unheard)}" + ("" if untold else ", though told")
            )
    lines += ["", *draw(["Who", "Holds", "Late changes", "Not told", "Not received"], rows)]
    if state.rehearsal:
        on = state.rehearsal
        due.append(
            f"the rehearsal is still on: since {on.since} a recording from {on.recorder} plays in the place of inputs; "
            "switch back, then say: chanbridge rehearsal SHOW --off"
        )
    lines += ["", *(f"DUE: {text}" for text in due)] if due else ["", "Everybody has everything."]
    return lines, bool(due)


def _list(items: Sequence[str | int]) -> str:
    """`A, 1, 3-10`: letters, then numbers, three or more in a row as a range; "-" for none."""
    said = [item for item in items if isinstance(item, str)]
    for _, run in groupby(
        enumerate(sorted(item for item in items if isinstance(item, int))), lambda at: at[1] - at[0]
    ):
        numbers = [str(number) for _, number in run]
        said += [f"{numbers[0]}-{numbers[-1]}"] if len(numbers) > 2 else numbers
    return ", ".join(said) or "-"


def _words(items: Sequence[str | int]) -> str:
    letters = [f"revision {item}" for item in items if isinstance(item, str)]
    numbers = [item for item in items if isinstance(item, int)]
    late = [f"late change{'s' if len(numbers) > 1 else ''} {_list(numbers)}"] if numbers else []
    return " and ".join(letters + late)
