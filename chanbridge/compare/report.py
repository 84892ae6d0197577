"""A comparison for people and programs: what to do about it, worst first; where both rows stand; what is newer."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterable, Mapping
from pathlib import PurePath
from typing import Any, Literal, NamedTuple

from chanbridge.compare.change import Change, Kind
from chanbridge.compare.changes import Comparison
from chanbridge.compare.places import Question
from chanbridge.errors import Location
from chanbridge.model import ChannelMap, Line
from chanbridge.names import counted

WIDTH = 96
"""Characters of a line."""


class Group(NamedTuple):
    """Kinds of change that ask for the same: `advice` says what."""

    mark: str
    title: str
    advice: str
    kinds: tuple[Kind, ...]


GROUPS = (
    Group("!!", "Lost", "find these channels first", ("missing", "block-missing", "cut-off")),
    Group("!!", "Who may hear it", "agree before anything is live", ("audience",)),
    Group(
        "->",
        "Patch",
        "mend the list, or mute and move the plug",
        ("shift", "swap", "resourced", "moved", "pair", "doubled"),
    ),
    Group(
        "!",
        "Preamps",
        "mute first, and ask whoever supplies phantom and owns the gain",
        ("phantom", "polarity", "gain-owner"),
    ),
    Group("+", "Only on the other list", "patch them, or strike them out", ("spare-used", "extra")),
    Group("=", "Names", "the same channels, called otherwise", ("renamed", "label")),
)
"""What to do, the worst first; every kind is in one of them."""

ASKED = Group("?", "Please say", "answer these before you rely on the rest", ())


class Sheet(NamedTuple):
    """A list that was compared: its file, its map, and channel id → where it stood."""

    source: str
    map: ChannelMap
    origins: Mapping[str, Location]


Newer = Literal["reference", "other", "same"]


def grouped(changes: Iterable[Change]) -> list[tuple[Group, list[Change]]]:
    """The groups that have any change, the worst first; inside, changes in the order of the kinds."""
    found = list(changes)
    out = []
    for group in GROUPS:
        of_group = [change for kind in group.kinds for change in found if change.kind == kind]
        if of_group:
            out.append((group, of_group))
    return out


def newer(reference: Sheet, other: Sheet) -> Newer | None:
    """Which list is newer by date and revision; None where they do not say, or contradict each other."""
    said = {
        _order(one, two)
        for one, two in (
            (reference.map.date, other.map.date),
            (_revision(reference.map.revision), _revision(other.map.revision)),
        )
        if one is not None and two is not None and type(one) is type(two)
    }
    decided = said - {"same"} or said
    return decided.pop() if len(decided) == 1 else None


def _order(one: Any, two: Any) -> Newer:
    return "same" if one == two else "reference" if one > two else "other"


def _revision(text: str) -> int | str | None:
    """A revision that can be put in order: a number or letters."""
    plain = text.strip().upper()
    if plain.isdecimal():
        return int(plain)
    return plain.rjust(8) if plain.isalpha() and len(plain) <= 8 else None


def names(reference: Sheet, other: Sheet) -> tuple[str, str]:
    """The files as they are called in a report: without folders where that is enough."""
    short = (PurePath(reference.source).name, PurePath(other.source).name)
    return short if short[0] != short[1] else (reference.source, other.source)


def places(lines: Iterable[tuple[Line | None, Line | None]], reference: Sheet, other: Sheet) -> str:
    """Both places of a change: `front-of-house.csv:61 stream.csv:59`, `-` where a list has no row."""
    called = names(reference, other)
    pairs = list(lines)
    sides = []
    for side, sheet in enumerate((reference, other)):
        rows = [where for pair in pairs if (where := origin(pair[side], sheet)) and where.row]
        sheets = list(dict.fromkeys(where.sheet for where in rows if where.sheet))
        file = ":".join((called[side], *sheets[:1]))
        numbers = sorted({where.row for where in rows if where.row})
        span = f"{numbers[0]}-{numbers[-1]}" if len(numbers) > 1 else "".join(map(str, numbers)) or "-"
        sides.append(f"{file}:{span}")
    return "  ".join(sides)


def origin(line: Line | None, sheet: Sheet) -> Location | None:
    """Where a line's channel stood in its file."""
    return sheet.origins.get(line.channel.id) if line and line.channel else None


def text(found: Comparison, reference: Sheet, other: Sheet) -> list[str]:
    """A comparison as lines of text."""
    out: list[str] = []
    for group, changes in grouped(found.changes):
        out += _heading(group, len(changes))
        for change in changes:
            out += _entry(change.kind, change.message, places(change.lines(), reference, other))
    if found.questions:
        out += _heading(ASKED, len(found.questions))
        for question in found.questions:
            where = places([(question.reference, question.other)], reference, other)
            out += _entry(question.kind, said(question), where)
    out += [""] if out else []
    if not found.matches:
        out.append("Not one channel was found on both lists: are these the right files?")
    return [*out, summed(found), about(reference, other)]


def said(question: Question) -> str:
    """A question with how sure the answer seems."""
    return question.message + (f" ({question.score:.0%} alike)" if question.score is not None else "")


def summed(found: Comparison) -> str:
    """The counts in one line."""
    counts = Counter(change.kind for change in found.changes)
    parts = [f"{counts[kind]} {kind}" for group in GROUPS for kind in group.kinds if counts[kind]]
    parts += [counted(len(found.questions), "question")] if found.questions else []
    return f"{counted(found.same, 'channel')} the same; " + (", ".join(parts) or "no difference")


def about(reference: Sheet, other: Sheet) -> str:
    """What was compared with what, and which is newer if that can be known."""
    which = newer(reference, other)
    verdict = {
        "reference": f"{other.source} is the OLDER one",
        "other": f"{other.source} is the newer one",
        "same": "of the same date or revision",
        None: "which is newer is not known",
    }[which]
    return f"Compared: {other.source}{_dated(other)} with the reference {reference.source}{_dated(reference)}; {verdict}."


def _dated(sheet: Sheet) -> str:
    parts = [f"revision {sheet.map.revision}"] if sheet.map.revision else []
    parts += [str(sheet.map.date)] if sheet.map.date else []
    return f" ({', '.join(parts)})" if parts else ""


def _heading(group: Group, count: int) -> list[str]:
    return ["", f"{group.mark} {group.title.upper()} ({count}): {group.advice}"]


def _entry(kind: str, message: str, where: str) -> list[str]:
    lines = textwrap.wrap(
        message,
        WIDTH,
        initial_indent=f"{kind:<14}",
        subsequent_indent=" " * 14,
        break_long_words=False,
        break_on_hyphens=False,
    )
    if len(lines) == 1 and len(lines[0]) + len(where) + 4 <= WIDTH:
        return [f"{lines[0]}  [{where}]"]
    return [*lines, f"{' ' * 14}[{where}]"]


def data(found: Comparison, reference: Sheet, other: Sheet) -> dict[str, object]:
    """A comparison as plain data: changes, questions, matches with their evidence, and what is newer."""

    def line(one: Line | None, sheet: Sheet) -> dict[str, object] | None:
        if one is None:
            return None
        where = origin(one, sheet)
        return {
            "file": sheet.source,
            "sheet": where.sheet if where else "",
            "row": where.row if where else None,
            "number": one.number,
            "name": one.channel.name if one.channel else "",
            "box": one.box,
            "socket": one.socket,
        }

    def lines(one: Line | None, two: Line | None) -> dict[str, object]:
        return {"reference": line(one, reference), "other": line(two, other)}

    return {
        "same": found.same,
        "changes": [
            {
                "kind": change.kind,
                "channels": list(change.channels),
                **lines(change.reference, change.other),
                "message": change.message,
                "offset": change.offset,
                "rows": [lines(*pair) for pair in change.lines()],
            }
            for change in found.changes
        ],
        "questions": [
            {
                "kind": question.kind,
                "channels": list(question.channels),
                **lines(question.reference, question.other),
                "score": question.score,
                "message": question.message,
            }
            for question in found.questions
        ],
        "matches": [
            {
                **lines(pair.reference.line, pair.other.line),
                "by": pair.by,
                "score": round(pair.score, 3),
            }
            for pair in found.matches
        ],
        "reference": _described(reference),
        "other": _described(other),
        "newer": newer(reference, other),
    }


def _described(sheet: Sheet) -> dict[str, object]:
    date = str(sheet.map.date) if sheet.map.date else None
    return {"file": sheet.source, "revision": sheet.map.revision, "date": date}
