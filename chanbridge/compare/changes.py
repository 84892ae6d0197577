"""What differs between two lists, as data."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Literal, NamedTuple

from chanbridge.compare.match import Item, Match, match
from chanbridge.model import AUDIENCES, ChannelMap, Line
from chanbridge.names import fold

Kind = Literal[
    "missing",
    "extra",
    "moved",
    "renamed",
    "resourced",
    "pair",
    "polarity",
    "phantom",
    "gain-owner",
    "audience",
]


class Change(NamedTuple):
    """One difference. `reference` and `other` are the lines concerned, None where a list has none."""

    kind: Kind
    channels: tuple[str, ...]
    reference: Line | None
    other: Line | None
    message: str


class Comparison(NamedTuple):
    """`same`: the number of channels that do not differ. `changes` in the reference's order, extras last."""

    same: int
    changes: tuple[Change, ...]


def compare(
    reference: ChannelMap, other: ChannelMap, *, by_id: bool = False, heard: Collection[str] = AUDIENCES
) -> Comparison:
    """Compare two lists channel by channel. What one list does not say at all is no difference.

    `by_id`: both lists came with ids of their own, which then say what is the same channel. `heard`: the
    audiences that both lists have a column for; what was only gathered from a name is no difference.
    """
    matches, missing, extra = match(_items(reference), _items(other), by_id)
    lines = ([item.line for item in _items(reference)], [item.line for item in _items(other)])
    said = (
        all(any(line.number for line in each) for each in lines),
        all(any(line.socket for line in each) for each in lines),
    )
    partners = {pair.reference.channel.id: pair.other.channel.id for pair in matches}
    at: list[tuple[int, Change]] = []
    same = 0
    order = {line: place for place, line in enumerate(_items(reference))}
    for pair in matches:
        changes = list(_changes(pair, partners, heard, said))
        same += not changes
        at += [(order[pair.reference], change) for change in changes]
    for item in missing:
        message = f"{_called(item)} ({place(item.line)}) is not on the other list"
        at.append((order[item], Change("missing", (item.channel.name,), item.line, None, message)))
    for item in extra:
        message = f"{_called(item)} ({place(item.line)}) is only on the other list"
        at.append((len(order), Change("extra", (item.channel.name,), None, item.line, message)))
    return Comparison(same, tuple(change for _, change in sorted(at, key=lambda pair: pair[0])))


def _items(whole: ChannelMap) -> list[Item]:
    return [Item(line.channel, line) for line in whole.lines(whole.listed_port()) if line.channel]


def place(line: Line) -> str:
    """Where a line's channel stands, for people: `slot 12, socket A3`."""
    parts = [slot_text(line)] if line.number else []
    parts += [f"socket {socket_text(line)}"] if line.socket else []
    return ", ".join(parts) or "no slot"


def slot_text(line: Line) -> str:
    """`slot 12`, or `no slot`."""
    return f"slot {line.number}" if line.number else "no slot"


def socket_text(line: Line) -> str:
    """Box and socket in one word: `A3`, or `Local 3` where the box's name is longer than two letters."""
    short = len(line.box) < 3 and not line.box[-1:].isdigit()
    return f"{line.box}{'' if short else ' '}{line.socket}"


def _socket(line: Line) -> str:
    return f"socket {socket_text(line)}" if line.socket else "no socket"


def _called(item: Item) -> str:
    return repr(item.channel.name)


def _changes(
    pair: Match, partners: dict[str, str], heard: Collection[str], said: tuple[bool, bool]
) -> Iterator[Change]:
    """What differs about one channel; `said`: whether both lists give slots, and sockets."""
    one, two = pair.reference, pair.other
    mine, theirs = one.line, two.line

    def change(kind: Kind, message: str) -> Change:
        names = dict.fromkeys((one.channel.name, two.channel.name))
        return Change(kind, tuple(names), mine, theirs, f"{_called(one)}: {message}")

    renamed = fold(one.channel.name) != fold(two.channel.name)
    if renamed:
        yield Change(
            "renamed",
            (one.channel.name, two.channel.name),
            mine,
            theirs,
            f"{_called(one)} is called {two.channel.name!r} on the other list ({place(theirs)}; same {pair.by})",
        )
    moved = said[0] and mine.number != theirs.number
    boxes = (fold(mine.box), fold(theirs.box))
    elsewhere = bool(mine.socket and all(boxes) and boxes[0] != boxes[1])
    resourced = said[1] and (mine.socket != theirs.socket or elsewhere)
    if resourced:
        slots = f", and {slot_text(theirs)} instead of {slot_text(mine)}" if moved else ""
        yield change("resourced", f"has {_socket(theirs)} on the other list, {_socket(mine)} here{slots}")
    elif moved:
        yield change("moved", f"stands on {slot_text(theirs)} on the other list, {slot_text(mine)} here")
    here, there = one.channel.pair, two.channel.pair
    if here and there and not renamed:
        if here.side != there.side:
            yield change("pair", f"is the {there.side} side on the other list, the {here.side} here")
        elif here.partner and there.partner and partners.get(here.partner, there.partner) != there.partner:
            yield change("pair", "has another partner on the other list")
    for kind, ours, others in (
        ("polarity", one.channel.polarity, two.channel.polarity),
        ("phantom", one.channel.phantom, two.channel.phantom),
    ):
        if "unknown" not in (ours, others) and ours != others:
            yield change(
                "polarity" if kind == "polarity" else "phantom",
                f"{kind} is {others} on the other list, {ours} here",
            )
    owners = (one.channel.gain_owner, two.channel.gain_owner)
    if all(owners) and fold(owners[0]) != fold(owners[1]):
        yield change("gain-owner", f"gain belongs to {owners[1]} on the other list, {owners[0]} here")
    heard_apart = [
        name
        for name in heard
        if "open"
        not in (permissions := (getattr(one.channel.audience, name), getattr(two.channel.audience, name)))
        and permissions[0] != permissions[1]
    ]
    if heard_apart:
        theirs_said = (
            f"{name} is {getattr(two.channel.audience, name)} on the other list" for name in heard_apart
        )
        yield change("audience", "; ".join(theirs_said))
