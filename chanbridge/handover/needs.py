"""What each kind of recipient needs on its sheet: one list of columns a kind, and what stands in them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

from chanbridge.handover.paper import Bracket, Column, Row, Style
from chanbridge.handover.words import Words
from chanbridge.model import AUDIENCES, Channel
from chanbridge.system import Recipient, ShowFile

NEEDS: Mapping[str, tuple[str, ...]] = {
    "truck": ("slot", "name", "short", "socket", "supply", "owner", "pair", "tap", "mark", "notes"),
    "front-of-house": ("channel", "name", "short", "socket", "transducer", "stand", "phantom", "polarity", "pair", "notes"),
    "monitors": ("channel", "name", "short", "socket", "transducer", "phantom", "owner", "pair", "notes"),
    "stream": ("channel", "name", "short", "socket", "hearers", "pair", "notes"),
    "recorder": ("track", "name", "short", "socket", "pair", "notes"),
    "musicians": ("channel", "name", "short", "pair"),
    "volunteer": ("number", "what", "plug"),
    "stage": ("socket_number", "name", "transducer", "stand", "position", "phantom", "notes", "checked"),
    "outputs": ("output", "name", "from", "contents", "notes"),
    "sends": ("output", "name", "contents", "to"),
}  # fmt: skip
"""Kind of sheet → its columns, in order; a column that is empty all over is left out, those in ALWAYS are not."""

ALWAYS = frozenset(
    {"slot", "channel", "track", "number", "socket_number", "output", "name", "what", "socket", "checked"}
)


class Place(NamedTuple):
    """A line of a port's sheet, with what columns need to know of it.

    `text` is a remark on a spare. `box` and `socket`: where it enters. `supplier`: who gives phantom there.
    `pair`: the side and where the other one stands. `contents`, `source`, `targets`: of what comes back.
    """

    number: int
    channel: Channel | None
    text: str = ""
    box: str = ""
    socket: int | None = None
    supplier: str = ""
    pair: str = ""
    contents: str = ""
    source: str = ""
    targets: str = ""
    key: str = ""


def need_of(recipient: Recipient, file: ShowFile) -> str:
    """The kind of sheet that a recipient needs: as declared, else by its kind, by what it takes, by its tags."""
    if recipient.paper:
        return recipient.paper
    if recipient.kind in ("recorder", "mixers"):
        return "recorder" if recipient.kind == "recorder" else "musicians"
    if recipient.kind == "feed" or {feed.id for feed in file.feed} & {*recipient.takes}:
        return "truck"
    if "room" in recipient.tags:
        return "front-of-house"
    if "monitors" in recipient.tags:
        return "monitors"
    return "stream" if "air" in recipient.tags else "front-of-house"


def socket_of(place: Place) -> str:
    """`A 12`, the box and the socket of it; where something comes back, the output that it comes from."""
    return f"{place.box} {place.socket}".strip() if place.socket else place.source


def _phantom(place: Place, words: Words) -> str:
    said = place.channel.phantom if place.channel else "unknown"
    return "" if said == "unknown" else words(said)


def _supply(place: Place, words: Words) -> str:
    said = _phantom(place, words)
    live = place.channel and place.channel.phantom in ("on", "optional")
    return f"{said}, {place.supplier}" if live and place.supplier else said


def _tap(place: Place, words: Words) -> str:
    tap = place.channel.tap if place.channel else None
    return words(tap.replace(" ", "_")) if tap else ""


def _mark(place: Place, words: Words) -> str:
    return words("not_for_air") if place.channel and place.channel.audience.air == "not allowed" else ""


def _hearers(place: Place, words: Words) -> str:
    """`NOT for air, room; for monitors`: who may not hear it first."""
    if not place.channel:
        return ""
    heard = place.channel.audience
    no = [words(who) for who in AUDIENCES if getattr(heard, who) == "not allowed"]
    yes = [words(who) for who in AUDIENCES if getattr(heard, who) == "allowed"]
    said = [words("no_to", who=", ".join(no))] if no else []
    said += [words("yes_to", who=", ".join(yes))] if yes else []
    return "; ".join(said)


def _name(place: Place, words: Words) -> str:
    if place.channel is None:
        return words("spare")
    return place.channel.name or place.channel.id


def _notes(place: Place, _: Words) -> str:
    return place.channel.notes if place.channel else place.text


def _of_channel(field: str) -> Callable[[Place, Words], str]:
    return lambda place, _: str(getattr(place.channel, field)) if place.channel else ""


_Cell = Callable[[Place, Words], str]

_COLUMNS: Mapping[str, tuple[str, Style, _Cell]] = {
    "slot": ("slot", "number", lambda place, _: str(place.number)),
    "zero": ("zero", "zero", lambda place, _: str(place.number - 1)),
    "channel": ("channel", "number", lambda place, _: str(place.number)),
    "track": ("track", "number", lambda place, _: str(place.number)),
    "number": ("number", "number", lambda place, _: str(place.number)),
    "socket_number": ("socket", "number", lambda place, _: str(place.number)),
    "output": ("output", "number", lambda place, _: str(place.number)),
    "name": ("name", "name", _name),
    "what": ("what", "name", _name),
    "short": ("short", "label", _of_channel("short")),
    "socket": ("socket", "label", lambda place, _: socket_of(place)),
    "plug": ("plug", "label", lambda place, _: socket_of(place)),
    "phantom": ("phantom", "text", _phantom),
    "supply": ("phantom", "text", _supply),
    "owner": ("owner", "text", _of_channel("gain_owner")),
    "pair": ("pair", "pair", lambda place, _: place.pair),
    "tap": ("tap", "text", _tap),
    "mark": ("mark", "mark", _mark),
    "hearers": ("hearers", "mark", _hearers),
    "transducer": ("transducer", "text", _of_channel("transducer")),
    "stand": ("stand", "text", _of_channel("stand")),
    "position": ("position", "text", _of_channel("position")),
    "polarity": ("polarity", "text", lambda place, words: words("reversed") if place.channel and place.channel.polarity == "reversed" else ""),
    "notes": ("notes", "small", _notes),
    "checked": ("checked", "tick", lambda place, _: ""),
    "from": ("from", "text", lambda place, _: place.source),
    "to": ("to", "text", lambda place, _: place.targets),
    "contents": ("contents", "small", lambda place, words: words.say(place.contents)),
}  # fmt: skip
"""Key → the word of its heading, how it looks, and what stands in it."""


def laid_out(
    kind: str,
    places: list[Place],
    words: Words,
    *,
    from_zero: bool = False,
    changed: frozenset[str] = frozenset(),
) -> tuple[tuple[Column, ...], tuple[Row, ...]]:
    """Columns and rows of a kind of sheet. `changed`: keys of rows that are to have a change bar."""
    keys = list(NEEDS[kind])
    if from_zero:
        keys.insert(1, "zero")
    cells = {key: [_COLUMNS[key][2](place, words) for place in places] for key in keys}
    keys = [key for key in keys if key in ALWAYS or any(cells[key])]
    brackets = _brackets(places)
    rows = tuple(
        Row(
            place.key,
            tuple(cells[key][at] for key in keys),
            spare=place.channel is None,
            careful=place.channel is not None and place.channel.audience.air == "not allowed",
            changed=place.key in changed,
            bracket=brackets[at],
            box=place.box,
            group=place.channel.group if place.channel else "",
        )
        for at, place in enumerate(places)
    )
    return tuple(Column(key, words(_COLUMNS[key][0]), _COLUMNS[key][1]) for key in keys), rows


def _brackets(places: list[Place]) -> list[Bracket]:
    """Which rows are the two sides of a pair, one right below the other."""
    out: list[Bracket] = [""] * len(places)
    for at in range(len(places) - 1):
        one, two = places[at].channel, places[at + 1].channel
        if (
            one
            and two
            and one.pair
            and two.pair
            and one.pair.partner == two.id
            and two.pair.partner == one.id
        ):
            out[at], out[at + 1] = "first", "second"
    return out
