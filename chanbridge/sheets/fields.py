"""What the cells of one row say about its channel."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, Literal, NamedTuple

from chanbridge.model import AUDIENCES
from chanbridge.names import Vocabulary, fold
from chanbridge.sheets import values
from chanbridge.sheets.columns import contents_of

PLAIN = ("short", "transducer", "stand", "position", "group", "gain_owner", "notes")
"""Fields that are whatever text stands there."""

_TAPS: dict[str, Literal["before fader", "after fader"]] = {
    "before fader": "before fader", "pre": "before fader", "pre fader": "before fader", "pre-fader": "before fader",
    "after fader": "after fader", "post": "after fader", "post fader": "after fader", "post-fader": "after fader",
}  # fmt: skip


class Row(NamedTuple):
    """One row under its table's headings.

    `at`: field → index of its cell. `ours`: it carries an id that we gave, so its name is meant word for
    word. `note(code, message, field)` adds a problem about it.
    """

    cells: list[str]
    heading: list[str]
    at: Mapping[str, int]
    ours: bool
    note: Callable[[str, str, str], None]

    def cell(self, field: str) -> str:
        """The text of a field, "" where the row or the table has none."""
        at = self.at.get(field)
        return self.cells[at] if at is not None and at < len(self.cells) else ""


class Understood(NamedTuple):
    """Fields of a channel, and the cells, as (heading, text), whose words were not understood."""

    fields: dict[str, Any]
    unread: list[tuple[str, str]]


_NOTHING_SEEN = re.compile(r"[^\S\x1c-\x1f]*")
"""Blanks as the model's ids know them: Unicode's white space, the four separators of ASCII left out."""


def own_id(said: str) -> str:
    """An id as it stands in a list that chanbridge wrote, or "" for one in which there is nothing to see."""
    return "" if _NOTHING_SEEN.fullmatch(said) else said


def understand(row: Row, words: Vocabulary) -> Understood:
    """The fields of a row's channel, but for its place, its pair and its unknown columns."""
    out = Understood({"name": row.cell("name")}, [])
    for field in PLAIN:
        if field in row.at and (said := row.cell(field)):
            out.fields[field] = said
    for field, read in READ.items():
        if field in row.at and (said := row.cell(field)).strip():
            _take(out, row, field, read(said, words))
    said = row.cell("contents")
    if said:
        out.fields["contents"] = (
            contents_of(said)
            if row.ours
            else tuple(part.strip() for part in re.split(r"[;,]", said) if part.strip())
        )
    heard = {}
    for name in AUDIENCES:
        if name in row.at and (said := row.cell(name)).strip():
            permission = values.permission(said, words)
            if permission:
                heard[name] = permission
            else:
                _take(out, row, name, None)
    if heard:
        out.fields["audience"] = heard
    if not row.ours and out.fields["name"]:
        _from_name(out.fields, row, words)
    return out


def _take(out: Understood, row: Row, field: str, understood: Any) -> None:
    if understood is not None:
        out.fields[field] = understood
        return
    said, heading = row.cell(field), row.heading[row.at[field]]
    out.unread.append((heading, said))
    row.note(
        field.replace("_", "-"),
        f"{heading} says {said!r}, which is not understood; it is kept as it stands",
        field,
    )


def _priority(text: str, words: Vocabulary) -> str | None:
    return fold(text) if fold(text) in ("must", "want", "spare") else None


READ: dict[str, Callable[[str, Vocabulary], Any]] = {
    "phantom": values.phantom,
    "polarity": values.polarity,
    "gain_db": lambda text, words: values.decibels(text),
    "pad_db": lambda text, words: values.decibels(text),
    "kind": values.kind_of,
    "needs_power": values.yes_or_no,
    "priority": _priority,
    "tap": lambda text, words: _TAPS.get(fold(text)),
}
"""Field → how its cells are read; None is what nobody understands."""


def _from_name(fields: dict[str, Any], row: Row, words: Vocabulary) -> None:
    """What a name says beside itself: a gain, a role, that it is a live spare, that it is two."""
    if len(fields["name"]) > values.LONGEST:
        return
    gain = _GAIN.fullmatch(fields["name"])
    if gain and "gain_db" not in fields:
        fields["gain_db"] = values.decibels(gain[2])
        fields["name"] = f"{gain[1]} {gain[3]}".strip()
        row.note("gain-in-name", f"gain {gain[2]} dB taken out of the name", "name")
    name = fields["name"]
    if re.search(r"\S\s*;\s*\S|\S\s+/\s+\S", name) and not values.both_sides(name):
        row.note("two-names", f"{name!r} looks like two names; it is kept as one channel", "name")
    role = values.roles(name, words)
    if role and values.is_misleading(name, words):
        row.note(
            "role-doubtful",
            f"{name!r} holds the word {role[1]!r} but may be speech; nothing is assumed about who may hear it: "
            "say so in a column such as Air or Room",
            "name",
        )
    elif role:
        _role(fields, row, *role, words)
    if "kind" not in fields and fold(fields.get("transducer", "")) in words.kinds:
        fields["kind"] = words.kinds[fold(fields["transducer"])]
    marks = words.roles["spare_marks"]
    if "priority" not in fields and any(fold(part) in marks for part in re.findall(r"[\w-]+", name)):
        fields["priority"] = "spare"


_GAIN = re.compile(
    r"(.*?)\s*[(\[]\s*gain\s*:?\s*([+\-−]?\d+(?:[.,]\d+)?)\s*(?:db)?\s*[)\]]\s*(.*)",
    re.IGNORECASE | re.DOTALL,
)


def _role(fields: dict[str, Any], row: Row, role: str, word: str, words: Vocabulary) -> None:
    told = fields.get("audience", {})
    closed, kind = values.meant_for(role, word, words)
    assumed = {name: "not allowed" for name in closed if name not in told}
    if kind:
        fields.setdefault("kind", kind)
    if assumed:
        fields["audience"] = told | assumed
        columns = " or ".join(name.capitalize() for name in assumed)
        row.note(
            "role",
            f"{fields['name']!r} is taken as not for {' or '.join(assumed)} because of the word {word!r}; "
            f"a column {columns} overrides that",
            "name",
        )


def sockets(row: Row, words: Vocabulary, box: str, own: bool, two: bool) -> tuple[values.Socket, ...]:
    """The sockets that a row names. `box`: where it belongs if it names none; `two`: it stands for two channels."""
    said, named = row.cell("socket"), row.cell("box")
    if not said.strip() or (not own and values.is_nothing(said, words)):
        if "socket" not in row.at and named.strip():  # a column of boxes may hold the sockets too
            return values.sockets(named, two) or ()
        return ()
    if own:
        plain = values.plain_number(said)
        return (values.Socket(named or box, plain.values[0]),) if plain else ()
    found = values.sockets(said, two)
    if not found:
        row.note(
            "socket", f"socket {said!r} is not understood; write a box and a number such as A16", "socket"
        )
        return ()
    home = named.strip() or box
    if not home or values.is_nothing(home, words):
        return found
    other = next((socket.box for socket in found if socket.box and fold(socket.box) != fold(home)), None)
    if other and named.strip():
        row.note(
            "box",
            f"the box is {home!r} but the socket {said!r} names {other!r}; the box column counts",
            "socket",
        )
    return tuple(
        values.Socket(home if named.strip() or not socket.box else socket.box, socket.number)
        for socket in found
    )


class Place(NamedTuple):
    """One channel of a row: its slot, its socket and its name."""

    slot: int | None
    socket: values.Socket | None
    name: str


def places(
    row: Row, name: str, number: values.Numbers | None, found: tuple[values.Socket, ...], following: str
) -> list[Place]:
    """The channels that a row stands for. `following` is the next row's number cell.

    `19-20 Keys L/R` are two, `1-11 Drums` eleven, `2 | Stereo mix` under a heading that counts two.
    """
    slots: list[int | None] = list(number.values) if number else []
    stem = values.both_sides(name)
    count = row.cell("count").strip()
    wanted = max(len(slots), len(found), int(count) if re.fullmatch(r"[1-9]|[1-5]\d", count) else 1)
    if wanted == 1 and stem and slots and not found:
        after = values.numbers(following)
        if after and slots[0] and after.values[0] == slots[0] + 2:
            wanted = 2
    if wanted == 1:
        if stem:
            row.note(
                "pair-on-one-row",
                f"{name!r} sounds like a pair but has one number; it is read as one channel: write 19-20 for two",
                "name",
            )
        return [Place(slots[0] if slots else None, found[0] if found else None, name)]
    if len(slots) == 1:
        slots = [(slots[0] or 1) + step for step in range(wanted)]
    slots += [None] * (wanted - len(slots))
    sockets: list[values.Socket | None] = list(found)
    if len(found) == 1:
        sockets = [values.Socket(found[0].box, found[0].number + step) for step in range(wanted)]
    sockets = (sockets + [None] * wanted)[:wanted]
    if wanted == 2 and (stem or values.is_stereo(name)):
        labels = [f"{stem or name} L", f"{stem or name} R"]
    else:
        labels = [f"{name} {step}" for step in range(1, wanted + 1)]
    row.note(
        "range", f"one row stands for {wanted} channels, read as {labels[0]!r} to {labels[-1]!r}", "name"
    )
    return [Place(*place) for place in zip(slots, sockets, labels, strict=True)]
