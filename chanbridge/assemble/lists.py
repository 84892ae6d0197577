"""Which line of a list that someone keeps is which channel of the show."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from typing import NamedTuple

from chanbridge.errors import meant
from chanbridge.model import Channel, ChannelMap, Line
from chanbridge.names import fold
from chanbridge.said import Said
from chanbridge.sheets.ledger import Reading


class Listed(NamedTuple):
    """A list against a map. `slots`: channel id → its slot on the list; `unknown`: what has no channel here.

    `remarks`: what of the list counts for nothing, and why, for people.
    """

    slots: dict[str, int]
    unknown: tuple[Line, ...]
    remarks: tuple[str, ...]


def listed(reading: Reading, whole: ChannelMap) -> Listed:
    """The slots that a list gives to a map's channels, each to one.

    By id where the list has ids, then by name and socket, by name, by socket. A slot that the list names twice
    goes to the first, and a channel that it names twice gets the first of its slots.
    """
    named_here = [line for line in reading.map.lines(reading.map.listed_port()) if line.channel]
    lines = [line for line in named_here if line.number]
    here = [line for line in whole.lines(None) if line.channel]
    found: dict[str, int] = {}
    taken: set[int] = set()

    def settle(key: Callable[[Line], Hashable | None]) -> None:
        waiting: dict[Hashable, list[Line]] = {}
        for line in here:
            if line.channel and line.channel.id not in found and (said := key(line)) is not None:
                waiting.setdefault(said, []).append(line)
        for line in list(lines):
            said = key(line)
            of_it = waiting.get(said) if said is not None else None
            if of_it and line.number and line.number not in taken:
                channel = of_it.pop(0).channel
                if channel:
                    found[channel.id] = line.number
                    taken.add(line.number)
                    lines.remove(line)

    if "id" in reading.layout or reading.format in ("xml", "json"):
        settle(lambda line: line.channel.id if line.channel else None)
    settle(lambda line: (_name(line), _socket(line)) if _name(line) and _socket(line) else None)
    settle(_name)
    settle(_socket)
    slotless = (line.channel.name for line in named_here if line.channel and not line.number)
    remarks: list[str] = [
        Said("{name!r} has no slot on the list and is passed over", name=name) for name in slotless
    ]
    holders = {slot: channel.name for name, slot in found.items() if (channel := whole.channel(name))}
    unknown = []
    for line in lines:
        if said := _twice(line, holders):
            remarks.append(said)
        else:
            unknown.append(line)
    return Listed(found, tuple(unknown), tuple(remarks))


def _twice(line: Line, holders: Mapping[int, str]) -> str:
    """Why a line that is left counts for nothing: its slot or its channel is on the list twice; "" if neither.

    `holders`: slot → the name of the channel that has it.
    """
    name, number = line.channel.name if line.channel else "", line.number or 0
    if number in holders:
        return Said(
            "slot {slot} is on the list twice: it goes to {first!r}, not to {name!r}",
            slot=number, first=holders[number], name=name,
        )  # fmt: skip
    same = [slot for slot, other in holders.items() if name and fold(other) == fold(name)]
    if same:
        return Said(
            "{name!r} is on the list twice: slot {first} counts, not slot {slot}",
            name=name, first=same[0], slot=number,
        )  # fmt: skip
    return ""


def _name(line: Line) -> str | None:
    return fold(line.channel.name) or None if line.channel else None


def _socket(line: Line) -> Hashable | None:
    return (fold(line.box), line.socket) if line.socket and line.box else None


def named(whole: ChannelMap, text: str) -> Channel:
    """The channel that a person means by an id or a name. Raises ValueError with what to write instead."""
    if channel := whole.channel(text.strip()):
        return channel
    same = [channel for channel in whole.channels if channel.name and fold(channel.name) == fold(text)]
    if len(same) == 1:
        return same[0]
    if same:
        raise ValueError(
            f"{len(same)} channels are called {text.strip()!r}; name one by its id: {', '.join(item.id for item in same)}"
        )
    advice = meant(text, [channel.name for channel in whole.channels])
    raise ValueError(f"there is no channel {text.strip()!r}{advice}")
