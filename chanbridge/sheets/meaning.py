"""What each column of a table means: by what the user says, by its heading, and by what its values bear out."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import cache
from itertools import pairwise

from chanbridge.errors import Location, ReadError
from chanbridge.names import Vocabulary, fold
from chanbridge.sheets import looks

Said = Sequence[tuple[str, str]]
"""Headings, or "#3" for the third column, with the field that the user says they mean."""


def heading_fields(text: str, vocabulary: Vocabulary) -> tuple[str, ...]:
    """The fields that a heading may mean, the likeliest first; () for one that nobody has heard of."""
    if len(text) > 60:
        return ()
    folded = fold(text)
    plain = " ".join(re.sub(r"[._\-:*\"'?#]+", " ", folded).split())
    for form in (folded, plain, re.sub(r"\s*[(\[].*", "", plain)):
        if form in vocabulary.headings:
            return vocabulary.headings[form]
    return ()


def as_told(heading: list[str], said: Said, source: str) -> dict[int, str]:
    """Column → the field that the user says it means."""
    told: dict[int, str] = {}
    for name, field in said:
        at = [place for place, text in enumerate(heading) if fold(text) == fold(name)]
        if re.fullmatch(r"#\d+", name) and not at:
            at = [int(name[1:]) - 1] if 0 < int(name[1:]) <= len(heading) else []
        if at and field in told.values():
            raise ReadError(
                f"two columns are said to mean {field.replace('_', ' ')}; say it of one", Location(source)
            )
        told |= dict.fromkeys(at[:1], field)
    return told


def assign(
    heading: list[str], columns: list[list[str]], vocabulary: Vocabulary, told: Mapping[int, str]
) -> tuple[list[str | None], list[str], list[tuple[str, str]]]:
    """Give each column the field that its heading allows and its values bear out; with doubts and evidence.

    What the user says counts first. Then the column with the fewest possibilities chooses; of two that may mean
    the same, the left one.
    """
    possible = [heading_fields(text, vocabulary) for text in heading]
    fields: list[str | None] = [told.get(at) for at in range(len(heading))]
    evidence = [
        ("said", "you said so") if field else ("unknown", "nobody has heard of this heading")
        for field in fields
    ]
    open_columns = {at for at, options in enumerate(possible) if options and fields[at] is None}

    @cache
    def bears_out(field: str, at: int, named: bool) -> bool:
        return looks.bears_out(field, columns[at], vocabulary, named, possible[at])

    while open_columns:
        left = {
            at: [
                field
                for field in possible[at]
                if field not in fields and bears_out(field, at, "name" in fields)
            ]
            for at in sorted(open_columns)
        }
        able = [at for at in left if left[at]]
        if not able:
            break
        at = min(able, key=lambda at: (len(left[at]), at))
        fields[at] = left[at][0]
        if len(possible[at]) == 1:
            evidence[at] = ("one-meaning", "the heading means nothing else")
        else:
            evidence[at] = (
                "values",
                f"the heading could be {_either(possible[at])}; of those still free, this is the first that the values bear out",
            )
        open_columns.discard(at)
    doubts = []
    for at in sorted(open_columns):
        holders = " and ".join(
            repr(heading[fields.index(field)]) for field in possible[at] if field in fields
        )
        why = f"{holders} is taken for that" if holders else "its values do not look like it"
        evidence[at] = ("kept", f"could be {_either(possible[at])}, but {why}")
        doubts.append(
            f"column {heading[at]!r} could be {_either(possible[at])}, but {why}; it is kept as it is"
        )
    if "name" not in fields and "notes" in fields:
        at = fields.index("notes")
        if len(columns[at]) >= max((len(column) for column in columns), default=0) / 2:
            fields[at] = "name"
            evidence[at] = ("filled-notes", "no column is called a name, and this one is filled")
            doubts.append(f"no column is called a name, so {heading[at]!r}, which is filled, is taken for it")
    if not {"number", "socket"} & {*fields}:
        counting = [
            at
            for at, field in enumerate(fields)
            if field in (None, "id") and len(columns[at]) > 1 and looks.is_count_up(columns[at], len(columns[at]))
            and max(len(cell) for cell in columns[at]) < 4
        ]  # fmt: skip
        if counting:
            at = counting[0]
            fields[at] = "number"
            evidence[at] = ("by-values", "no heading says a number, and these count up")
            doubts.append(f"no heading says a number, but {heading[at]!r} counts up and is taken for it")
    if "name" not in fields:
        for field, at in looks.by_values(
            columns, [at for at, field in enumerate(fields) if field is None]
        ).items():
            if field not in fields:
                fields[at] = field
                evidence[at] = ("by-values", f"no heading says so, but the values look like a {field}")
                doubts.append(f"no heading says so, but the values of {heading[at]!r} look like a {field}")
    return fields, doubts, evidence


def refuse_alike(
    heading: list[str],
    columns: list[list[str]],
    vocabulary: Vocabulary,
    chosen: list[str | None],
    told: Mapping[int, str],
    where: Location,
) -> None:
    """Raise ReadError where two columns could be the number, the name or the socket as well as each other.

    Of numbers the ones in the first column, or the only ones that count up in even steps, are the list's own; others
    are places elsewhere.
    """
    if not {"number", "socket"} & {*chosen}:
        return  # a list of something else, read for its remarks
    for at, text in enumerate(heading):
        meant = heading_fields(text, vocabulary)[:1]
        field = meant[0] if meant else ""
        if field not in ("number", "name", "socket") or chosen[at] is not None or field not in chosen:
            continue
        other = chosen.index(field)
        if (
            other in told
            or (field == "number" and (other == 0 or (_counts(columns[other]) and not _counts(columns[at]))))
            or heading_fields(heading[other], vocabulary)[:1] != meant
        ):
            continue
        if columns[at] != columns[other] and looks.bears_out(field, columns[at], vocabulary, True, meant):
            shown = [
                f"{heading[place]!r} ({', '.join(columns[place][:3])} …, column {place + 1})"
                for place in (other, at)
            ]
            which = [
                f'--columns "{heading[place] if fold(heading[other]) != fold(text) else f"#{place + 1}"}={field}"'
                for place in (other, at)
            ]
            raise ReadError(
                f"{shown[0]} and {shown[1]} could each be the {field}, and nothing tells which; "
                f"say {which[0]} or {which[1]}",
                where,
            )


def _counts(column: list[str]) -> bool:
    """Whether a sampled column counts up in even steps."""
    found = [int(cell) for cell in column if cell.isdigit() and cell.isascii()]
    steps = {other - one for one, other in pairwise(found)}
    return len(found) == len(column) and len(steps) == 1 and min(steps) > 0


def _either(fields: tuple[str, ...]) -> str:
    return " or ".join(field.replace("_", " ") for field in fields)
