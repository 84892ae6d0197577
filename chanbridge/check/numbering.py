"""Numbers: slots, sockets, and what is written beside them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

from chanbridge.check.rule import Facts, Found, Said, Sheet, named, rule
from chanbridge.compare.labels import Dictionary
from chanbridge.compare.match import ALIKE
from chanbridge.compare.places import FEWEST
from chanbridge.model import Channel, Line, Slot
from chanbridge.names import fold, vocabulary


@rule("slot-twice", "error", care="sound")
def slot_twice(facts: Facts) -> Said:
    """Two channels, or two patches, into one slot; on the way back: two writers of a return slot.

    Fails:
        Slot,Name
        1,Kick
        1,Snare
    Passes:
        Slot,Name
        1,Kick
        2,Snare
    """
    for port in facts.map.ports:
        if port.kind == "sockets" and port.direction == "in":
            continue
        standing: dict[int, list[Channel]] = {}
        for number, channel, _, _ in facts.map.sheet(port.id):
            if channel:
                standing.setdefault(number, []).append(channel)
        several = {
            slot.number
            for slot, sources in facts.sources.items()
            if slot.port == port.id and len(sources) > 1
        }
        for number in sorted(
            several | {number for number, channels in standing.items() if len(channels) > 1}
        ):
            slot = Slot(port.id, number)
            channels = tuple(standing.get(number, ()))
            sources = facts.sources.get(slot, ())
            ids = {channel.id for channel in channels}
            upstream = [{channel.id for channel in facts.map.occupants(source)} for source in sources]
            if len(sources) < 2 and (
                any(len(found) > 1 and ids <= found for found in upstream) or _labelled(facts, slot)
            ):
                continue  # they met before this slot, or it is a label beside a socket's
            if port.direction == "out":
                writers = " and ".join(facts.place(source) for source in sources)
                yield Found(
                    facts.place(slot),
                    f"{facts.place(slot)} has two writers, {writers}; take one away",
                    channels,
                )
            elif len(channels) > 1:
                where = facts.where(channels[1], slot)
                yield Found(
                    where, f"{facts.place(slot)} stands on {named(channels)}; give one another slot", channels
                )
            else:
                ways = " and ".join(facts.place(source) for source in sources)
                yield Found(
                    facts.place(slot),
                    f"{ways} both run into {facts.place(slot)}; take one patch away",
                    channels,
                    "warning",
                )


def _labelled(facts: Facts, slot: Slot) -> bool:
    """Whether a slot has one source and a name of its own."""
    return len(facts.sources.get(slot, ())) == 1 and len(facts.entered.get(slot, ())) == 1


@rule("socket-twice", "error", care="sound")
def socket_twice(facts: Facts) -> Said:
    """A socket that two channels enter by; only a note where their names say that it is meant (`Ana`, `Ana FX`).

    Fails:
        Slot,Name,Socket
        1,Kick,A1
        2,Snare,A1
    Passes:
        Slot,Name,Socket
        1,Kick,A1
        2,Snare,A2
    """
    for slot, channels in facts.entered.items():
        if facts.map.port(slot.port).kind != "sockets" or len(channels) < 2:
            continue
        where = facts.where(channels[1], slot)
        if _meant(channels):
            message = f"{facts.place(slot)} is {named(channels)}; their names say that this is meant"
            yield Found(where, message, channels, "note", "")
        else:
            yield Found(
                where, f"{facts.place(slot)} is {named(channels)}; one of them enters elsewhere", channels
            )


def _meant(channels: tuple[Channel, ...]) -> bool:
    """Whether names say that one socket is meant for all: one name, and others that add words to it, no number or side."""
    shortest, *others = sorted((fold(channel.name) for channel in channels), key=len)
    added = [name.removeprefix(f"{shortest} ") for name in others if name.startswith(f"{shortest} ")]
    sides = vocabulary().values["left"] | vocabulary().values["right"]
    telling = [words for words in added if re.search(r"[^\W\d]", words) and words.strip(" ()-") not in sides]
    return bool(shortest) and len({*telling}) == len(others)


@rule("past-the-end", "error")
def past_the_end(facts: Facts) -> Said:
    """A slot or socket with a number above the size of its port.

    Fails:
        Socket,Name
        9,Kick
        [[box]]
        id = "A"
        sheet = "a.csv"
        inputs = 8
        block = "one"
    Passes:
        Socket,Name
        8,Kick
    """
    used = {slot for patch in facts.map.patches for slot in patch} | {*facts.entered}
    for slot in sorted(used | {slot for slot, _ in facts.map.reserved}):
        size = facts.map.port(slot.port).size
        if 0 < size < slot.number:
            channels = facts.map.occupants(slot)
            yield Found(
                facts.place(slot),
                f"{facts.place(slot)} does not exist, the last is {size}; give it another",
                channels,
            )
    for channel, reason in facts.unplaced:
        if "past the end" in reason:
            where, _, why = reason.partition(": ")
            yield Found(
                where,
                f"{channel.name!r}: {why}; give it another socket, or say how many inputs the box has",
                (channel,),
            )
    if facts.file:
        sockets = {device.id: device.sockets for device in facts.devices if device.sockets is not None}
        inputs = {item.id: item.inputs for item in facts.file.recipient if item.inputs}
        for sheet in facts.sheets:
            for line in _kept_lines(sheet):
                if not line.channel:
                    continue
                if line.number and line.number > inputs.get(sheet.owner, line.number):
                    end = inputs[sheet.owner]
                    message = f"{line.channel.name!r} stands on input {line.number} of {sheet.owner}, which has {end}; move it"
                    yield Found(sheet.source, message, (line.channel,))
                if (
                    line.socket
                    and fold(line.box) == "local"
                    and line.socket > sockets.get(sheet.owner, line.socket)
                ):
                    end = sockets[sheet.owner]
                    message = f"{line.channel.name!r} is on local socket {line.socket} of {sheet.owner}, which has {end}; move it"
                    yield Found(sheet.source, message, (line.channel,))


@rule("no-place", "error", needs="show")
def no_place(facts: Facts) -> Said:
    """A channel of a box's sheet for which no socket was found, so that it reaches nobody.

    Fails:
        Slot,Name,Socket
        1,Kick,A1
        2,Host,Local 1
        revision = "B"
    Passes:
        Slot,Name,Socket
        1,Kick,A1
        revision = "B"
    """
    for channel, reason in facts.unplaced:
        if "past the end" not in reason:
            where, _, why = reason.partition(": ")
            yield Found(where, f"{channel.name!r} reaches nobody: {why}", (channel,))


@rule("unnamed-live", "warning", care="sound")
def unnamed_live(facts: Facts) -> Said:
    """A slot that carries a signal and has no name.

    Fails:
        Slot,Name,Socket
        1,Kick,A1
        2,,A1
    Passes:
        Slot,Name,Socket
        1,Kick,A1
        2,,A2
    """
    for problem in facts.problems:
        if problem.code == "unnamed-live":
            message = problem.message.partition(" (row: ")[0].partition(";")[0]
            yield Found(str(problem.where), f"{message}; name it, or take its socket away")
    for channel in facts.map.channels:
        if not channel.name.strip() and facts.places[channel.id]:
            yield Found(
                facts.where(channel), f"channel {channel.id!r} is live and has no name; name it", (channel,)
            )


@rule("label-mismatch", "warning", care="sound")
def label_mismatch(facts: Facts) -> Said:
    """A desk channel whose name and whose socket's label disagree; compared with the lists that recipients keep.

    Fails:
        Socket,Name
        1,Kick
        2,Lectern
        == desk.csv
        Slot,Name,Socket
        1,Kick,A1
        2,Cello,A2
        [[recipient]]
        id = "desk"
        takes = ["one"]
        sheet = "desk.csv"
    Passes:
        Socket,Name
        1,Kick
        2,Lectern
        == desk.csv
        Slot,Name,Socket
        1,Kick,A1
        2,Lectern mic,A2
        [[recipient]]
        id = "desk"
        takes = ["one"]
        sheet = "desk.csv"
    """
    both: list[_Both] = []
    for slot, channels in facts.entered.items():
        if facts.map.port(slot.port).kind != "sockets" and _labelled(facts, slot):
            labels = facts.map.occupants(facts.sources[slot][0])
            if labels and not {label.id for label in labels} & {channel.id for channel in channels}:
                both.append(
                    _Both(facts.place(slot), channels[0], labels, facts.place(facts.sources[slot][0]))
                )
    boxes = {fold(port.device): port for port in facts.map.ports if port.kind == "sockets" and port.device}
    texts = dict(facts.map.reserved)
    for sheet in facts.sheets:
        for line in _kept_lines(sheet):
            box = boxes.get(fold(line.box))
            if not line.channel or not line.socket or not box:
                continue
            slot = Slot(box.id, line.socket)
            where = f"{sheet.owner}, slot {line.number}" if line.number else sheet.owner
            labels = facts.entered.get(slot, ())
            if labels:
                both.append(_Both(where, line.channel, labels, facts.place(slot)))
            elif line.socket <= box.size:
                remark = f" ({texts[slot]})" if texts.get(slot) else ""
                message = f"{line.channel.name!r} has {facts.place(slot)}, which the stage keeps as a spare{remark}; ask which is right"
                yield Found(where, message, (line.channel,))
    for one in _disagreeing(both):
        message = f"{one.channel.name!r} has {one.socket}, which the stage calls {named(one.labels)}; ask which is right"
        yield Found(one.where, message, (one.channel, *one.labels))


class _Both(NamedTuple):
    """A channel of a list, and what the stage has on the socket that the list says."""

    where: str
    channel: Channel
    labels: tuple[Channel, ...]
    socket: str


def _kept_lines(sheet: Sheet) -> list[Line]:
    """The lines of a list that a recipient keeps or asks by; none of another sheet."""
    return sheet.map.lines(sheet.map.listed_port()) if sheet.use in ("kept", "wants") else []


def _disagreeing(both: Sequence[_Both]) -> list[_Both]:
    """Where no name can be that of the channel; one word for another all along (`RF 1 Ana`, `Kanal 1 Ana`) is none."""
    words = Dictionary(vocabulary())
    left = [
        one for one in both if not any(_agree(one.channel.name, label.name, words) for label in one.labels)
    ]
    changed = [words.changed_word(one.channel.name, one.labels[0].name) for one in left]
    often = Counter(changed)
    return [one for one, word in zip(left, changed, strict=True) if word is None or often[word] < FEWEST]


def _agree(one: str, other: str, words: Dictionary) -> bool:
    """Whether two names can be the same thing: equal, one with more words, or alike as in a comparison of lists."""
    first, second = _words(one), _words(other)
    return first <= second or second <= first or words.likeness(one, other) >= ALIKE


def _words(name: str) -> set[str]:
    words = vocabulary()
    sides = {word: side[0] for side in ("left", "right") for word in words.values[side]}
    found = re.findall(r"[^\W\d_]+|\d+", fold(name))
    return {sides.get(word, fold(words.short.get(word, word))) for word in found}


RULES = (slot_twice, socket_twice, past_the_end, no_place, unnamed_live, label_mismatch)
