"""A comparison as one HTML file: what to do, then both lists side by side with the changes between them."""

from __future__ import annotations

from importlib.resources import files
from itertools import pairwise
from typing import Any, NamedTuple

from chanbridge.compare.changes import Comparison
from chanbridge.compare.report import ASKED, Group, Sheet, about, grouped, names, origin, places, said, summed
from chanbridge.compare.wording import socket_text
from chanbridge.model import Line


class Entry(NamedTuple):
    """A change or a question on the page: `anchor` names it and its first row."""

    anchor: str
    mark: str
    kind: str
    message: str
    places: str


class Row(NamedTuple):
    """A line of each list, either None, and the entries about them; `following` is the next row that has any."""

    left: dict[str, Any] | None
    right: dict[str, Any] | None
    entries: list[Entry]
    anchor: str
    following: str


def page(found: Comparison, reference: Sheet, other: Sheet) -> bytes:
    """The page in UTF-8: no script, no network, the same bytes for the same lists."""
    from jinja2 import Environment, StrictUndefined

    entries: list[tuple[Group, list[Entry]]] = []
    about_line: tuple[dict[Line, list[Entry]], dict[Line, list[Entry]]] = ({}, {})
    number = 0

    def enter(group: Group, kind: str, message: str, lines: Any) -> Entry:
        nonlocal number
        number += 1
        entry = Entry(f"d{number}", group.mark, kind, message, places(lines, reference, other))
        for pair in lines:
            for side, line in enumerate(pair):
                if line is not None:
                    about_line[side].setdefault(line, []).append(entry)
        return entry

    for group, changes in grouped(found.changes):
        entries.append((group, [enter(group, one.kind, one.message, one.lines()) for one in changes]))
    if found.questions:
        asked = [enter(ASKED, one.kind, said(one), ((one.reference, one.other),)) for one in found.questions]
        entries.append((ASKED, asked))
    rows = _rows(found, reference, other, about_line)
    first: dict[str, str] = {}  # entry → the first row that it is about
    for row in rows:
        for entry in row.entries:
            first.setdefault(entry.anchor, row.anchor)
    template = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    html = template.from_string(files("chanbridge.compare").joinpath("page.html").read_text("utf-8")).render(
        title=f"{names(reference, other)[0]} and {names(reference, other)[1]}",
        names=names(reference, other),
        about=about(reference, other),
        summed=summed(found),
        groups=entries,
        rows=rows,
        first=first,
    )
    return html.encode("utf-8", "backslashreplace")


def _rows(
    found: Comparison,
    reference: Sheet,
    other: Sheet,
    about_line: tuple[dict[Line, list[Entry]], dict[Line, list[Entry]]],
) -> list[Row]:
    """The reference's lines in order, each with its partner; what only the other list has stands at its slot."""
    partner: dict[Line, Line] = {pair.reference.line: pair.other.line for pair in found.matches}
    partner |= {
        question.reference: question.other
        for question in found.questions
        if question.kind == "match" and question.reference and question.other
    }
    partner |= {
        change.reference: change.other
        for change in found.changes
        if change.kind in ("spare-used", "resourced") and change.reference and change.other
    }
    here = reference.map.lines(reference.map.listed_port())
    there = other.map.lines(other.map.listed_port())
    placed = set(partner.values())
    alone = [line for line in there if line.channel and line not in placed]
    pairs: list[tuple[Line | None, Line | None]] = []
    for line in here:
        while alone and line.number and alone[0].number and alone[0].number < line.number:
            pairs.append((None, alone.pop(0)))
        if line.channel or line.text or line in partner:
            pairs.append((line, partner.get(line)))
    pairs += [(None, line) for line in alone]
    seen: list[list[Entry]] = []
    for left, right in pairs:
        both = [*about_line[0].get(left, ())] if left else []
        both += [*about_line[1].get(right, ())] if right else []
        seen.append(list(dict.fromkeys(both)))
    changed = [at for at, each in enumerate(seen) if each]
    following = dict(pairwise(changed))
    return [
        Row(
            _cells(left, reference),
            _cells(right, other),
            seen[at],
            f"row{at}",
            f"row{following[at]}" if at in following else "",
        )
        for at, (left, right) in enumerate(pairs)
    ]


def _cells(line: Line | None, sheet: Sheet) -> dict[str, Any] | None:
    if line is None:
        return None
    where = origin(line, sheet)
    return {
        "slot": line.number or "",
        "socket": socket_text(line) if line.socket else "",
        "name": line.channel.name if line.channel else line.text or "spare",
        "spare": line.channel is None,
        "row": where.row if where and where.row else "",
    }
