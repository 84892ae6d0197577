"""Names: whether they are one each, and whether a recipient's displays can show them."""

from __future__ import annotations

import re
import string
import unicodedata
from collections.abc import Iterator, Mapping, Sequence

from chanbridge.check.rule import Facts, Found, Said, Unjudged, named, rule
from chanbridge.model import Channel
from chanbridge.names import SPELLED, counted, fold, shorten
from chanbridge.system import Device


@rule("name-twice", "warning")
def name_twice(facts: Facts) -> Said:
    """Two channels with one name, on two sockets.

    Fails:
        Slot,Name,Socket
        1,Vox,A1
        2,Vox,A2
    Passes:
        Slot,Name,Socket
        1,Vox Ana,A1
        2,Vox Jonas,A2
    """
    same: dict[str, list[Channel]] = {}
    for channel in facts.map.channels:
        if channel.name.strip():
            same.setdefault(fold(channel.name), []).append(channel)
    for channels in same.values():
        sockets = [facts.sockets.get(channel.id, ()) for channel in channels]
        one_socket = all(sockets) and len({*sockets}) == 1  # said by socket-twice
        halves = all(channel.pair and channel.pair.partner is None for channel in channels)  # by pair-doubled
        sides = len(channels) == 2 and channels[0].pair and channels[0].pair.partner == channels[1].id
        if len(channels) > 1 and not (one_socket or halves or sides):
            first, second = (facts.origins.get(channel.id) for channel in channels[:2])
            near = first and second and first._replace(row=None) == second._replace(row=None)
            at = f"row {first.row}" if first and near else facts.where(channels[0])
            message = f"{counted(len(channels), 'channel')} are called {channels[0].name!r}, the first in {at}; tell them apart"
            yield Found(facts.where(channels[1]), message, tuple(channels))


def labels(channels: Sequence[Channel]) -> list[str]:
    """What a desk is given to show: the short name where there is one, else the name."""
    return [channel.short or channel.name for channel in channels]


def shown(text: str, letters: str) -> bool:
    """Whether a display with these letters ("ascii", "latin-1", "any") can show a text."""
    try:
        text.encode("utf-8" if letters == "any" else letters)
    except UnicodeEncodeError:
        return False
    return text.isprintable()


_SPELLED = str.maketrans(SPELLED | {"–": "-", "’": "'"})


def spelled(text: str, letters: str) -> str:
    """A text in letters that a display has: accents are left off, ligatures spelled out, what is left dropped."""
    if shown(text, letters):
        return text
    plain = unicodedata.normalize("NFKD", text.translate(_SPELLED))
    return "".join(letter for letter in plain if shown(letter, letters) and not unicodedata.combining(letter))


def offered(channels: Sequence[Channel], width: int, letters: str) -> list[str]:
    """A label of at most `width` characters for each channel, no two alike, in letters that can be shown.

    Sides and numbers at the end stay. A name of which no letter can be shown is called by its place on the list:
    `Ch 12`.
    """
    taken: set[str] = set()
    made = []
    for at, text in enumerate(labels(channels), 1):
        wanted = spelled(text, letters).strip() or f"Ch {at}"
        label = next(each for each in _tries(wanted, width) if each.casefold() not in taken)
        taken.add(label.casefold())
        made.append(label)
    return made


def _tries(text: str, width: int) -> Iterator[str]:
    """Labels for a name, the best first; there is always another."""
    if len(text) <= width:
        yield text
    ending = re.search(r"(?:[\s\-_]*(?:\d+|(?<![^\W\d_])[LR](?![^\W\d_])))*$", text, re.IGNORECASE)
    stem = text[: ending.start()] if ending else text
    tail = re.sub(r"[\s\-_]", "", text[len(stem) :])
    room = width - len(tail)
    if stem and room > 0:
        head = shorten(stem, room)
        yield f"{head} {tail}" if tail and len(head) < room else f"{head}{tail}"
        for letter in (*re.findall(r"\w", stem), *string.ascii_uppercase):  # one letter of the head gives way
            yield f"{head[: room - 1]}{letter}{tail}"
    number = 1
    while True:
        number += 1
        yield f"{shorten(text, max(1, width - len(str(number)) - 1))}/{number}"[-width:]


def _displays(facts: Facts) -> Iterator[tuple[Device, int, list[Channel]]]:
    """Each device with a display, its width, and the channels that it gets as a recipient."""
    for device in facts.devices:
        names: Mapping[str, int] = facts.standing.get(device.id, {})
        channels = [channel for channel in map(facts.map.channel, names) if channel]
        if device.display and channels:
            yield device, device.display, channels


_OFFERED = 4
"""Labels that a message offers; of more only how many."""


def _offers(wrong: Sequence[Channel], device: Device, width: int, channels: Sequence[Channel]) -> str:
    """Labels for some of a device's channels that its display can show."""
    made = dict(
        zip((channel.id for channel in channels), offered(channels, width, device.letters), strict=True)
    )
    said = [f"{made[channel.id]!r} for {channel.name!r}" for channel in wrong[:_OFFERED]]
    more = len(wrong) - _OFFERED
    return ", ".join(said) + (f" and {more} more" if more > 0 else "")


@rule("label-too-long", "note", needs="devices")
def label_too_long(facts: Facts) -> Said:
    """Labels with more characters than a recipient's display, which cuts them; a warning where what is left is not unique.

    Fails:
        Socket,Name
        1,Choir sopranos
        2,Solo soprano
        [[device]]
        id = "desk"
        display = 8
    Passes:
        Socket,Name
        1,Sops
        2,Solo sop
        [[device]]
        id = "desk"
        display = 8
    """
    if not any(device.display for device in facts.devices):
        yield Unjudged("no device says how many characters its display has")
    for device, width, channels in _displays(facts):
        cut: dict[str, list[Channel]] = {}
        for channel, label in zip(channels, labels(channels), strict=True):
            cut.setdefault(fold(label[:width]), []).append(channel)
        long = [
            channel for channel, label in zip(channels, labels(channels), strict=True) if len(label) > width
        ]
        alike = [
            item
            for same in cut.values()
            if len(same) > 1 and any(channel in long for channel in same)
            for item in same
        ]
        if alike:
            message = f"cut to {width} characters {counted(len(alike), 'label')} look alike; write {_offers(alike, device, width, channels)}"
            yield Found(device.id, message, tuple(alike), "warning")
        rest = [channel for channel in long if channel not in alike]
        if rest:
            message = f"{counted(len(rest), 'label')} of more than {width} characters; write {_offers(rest, device, width, channels)}"
            yield Found(device.id, message, tuple(rest))


@rule("label-letters", "warning", needs="devices")
def label_letters(facts: Facts) -> Said:
    """Labels with letters that a recipient's display cannot show.

    Fails:
        Socket,Name
        1,Björn
        [[device]]
        id = "desk"
        display = 8
        letters = "ascii"
    Passes:
        Socket,Name
        1,Bjorn
        [[device]]
        id = "desk"
        display = 8
        letters = "ascii"
    """
    for device, width, channels in _displays(facts):
        wrong = [
            channel
            for channel, label in zip(channels, labels(channels), strict=True)
            if not shown(label, device.letters)
        ]
        if wrong:
            signs = dict.fromkeys(
                sign for label in labels(wrong) for sign in label if not shown(sign, device.letters)
            )
            message = f"its display has no {' '.join(map(repr, signs))}, as in {named(wrong)}; write {_offers(wrong, device, width, channels)}"
            yield Found(device.id, message, tuple(wrong))


RULES = (
    name_twice,
    label_too_long,
    label_letters,
)
