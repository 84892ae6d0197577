"""Which line of one list is which line of another."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from functools import partial
from typing import NamedTuple

from chanbridge.model import Channel, Line
from chanbridge.names import fold


class Item(NamedTuple):
    """A channel on a list."""

    channel: Channel
    line: Line


Key = Callable[[Item], Hashable | None]


class Match(NamedTuple):
    """Two lines that are one channel, and by what that is known: id, box and name, name, socket or slot."""

    reference: Item
    other: Item
    by: str


def match(
    reference: Sequence[Item], other: Sequence[Item], by_id: bool
) -> tuple[list[Match], list[Item], list[Item]]:
    """Pairs of lines, then the lines of each list that have none; all in the reference's order.

    By id if both lists have ids of their own (`by_id`), then by box and name, then by name, then by socket, then, where one list knows no sockets, by
    slot. Of several lines with one name those on the same socket or slot go together first.
    """
    left, right = list(reference), list(other)
    found: list[Match] = []

    def pair_off(by: str, key: Key) -> None:
        waiting: dict[Hashable, list[Item]] = {}
        for item in right:
            if (name := key(item)) is not None:
                waiting.setdefault(name, []).append(item)
        for item in list(left):
            partners = waiting.get(key(item)) if key(item) is not None else None
            if partners:
                partner = partners.pop(0)
                found.append(Match(item, partner, by))
                left.remove(item)
                right.remove(partner)

    socketless = not all(any(item.line.socket for item in items) for items in (reference, other))
    if by_id:
        pair_off("id", lambda item: (item.channel.id, item.line.number))
        pair_off("id", lambda item: item.channel.id)
    for by, named in (("box and name", _box_and_name), ("name", _name)):
        pair_off(by, partial(_with, named, lambda item: (item.line.socket, item.line.number)))
        pair_off(by, partial(_with, named, lambda item: item.line.number))
        pair_off(by, named)
    pair_off("socket", lambda item: (fold(item.line.box), item.line.socket) if item.line.socket else None)
    if socketless:
        pair_off("slot", lambda item: item.line.number)
    order = {id(item): at for at, item in enumerate(reference)}
    found.sort(key=lambda pair: order[id(pair.reference)])
    return found, left, right


def _with(named: Key, more: Key, item: Item) -> Hashable | None:
    return (named(item), more(item)) if named(item) and more(item) else None


def _box_and_name(item: Item) -> Hashable | None:
    return (fold(item.line.box), _name(item)) if item.line.box and _name(item) else None


def _name(item: Item) -> Hashable | None:
    return fold(item.channel.name) or None
