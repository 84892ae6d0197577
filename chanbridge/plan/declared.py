"""What cannot be so about the feeds, returns and acts that show.toml declares."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from chanbridge.errors import unknown
from chanbridge.names import fold
from chanbridge.system import Block, Box, Feed, Mistake, Recipient, Return, ShowFile


def slots_of(text: str) -> tuple[int, ...]:
    """The slots that "1-16, 33" names, in that order. Raises ValueError with a message for people."""
    out: list[int] = []
    for part in text.split(","):
        found = re.fullmatch(r"\s*(\d{1,4})\s*(?:[-–]\s*(\d{1,4})\s*)?", part)
        if not found:
            raise ValueError(f"cannot read the slots {text!r}; write them as 1-16, 33")
        first, last = int(found[1]), int(found[2] or found[1])
        if not 1 <= first <= last:
            raise ValueError(f"the slots {part.strip()!r} run backwards or begin below 1")
        out += range(first, last + 1)
    if len(set(out)) < len(out):
        raise ValueError(f"the slots {text!r} name one slot twice")
    return tuple(out)


class Place(NamedTuple):
    """A box or recipient with the number of a socket or input, None where none is said."""

    name: str
    number: int | None


def place_of(text: str, names: Iterable[str]) -> Place:
    """`B 3`, `B3` or `monitors` as a place; `names` are those that exist. Raises ValueError for no such place."""
    there = {fold(name): name for name in names}
    if fold(text) in there:
        return Place(there[fold(text)], None)
    found = re.fullmatch(r"(.*?)[\s-]*(\d{1,4})\s*", text)
    if found and fold(found[1]) in there and int(found[2]) > 0:
        return Place(there[fold(found[1])], int(found[2]))
    raise ValueError(unknown("", found[1] if found and int(found[2]) else text.strip(), there.values()))


def first_feed(file: ShowFile, feed: Feed) -> Feed:
    """The feed whose blocks a feed carries: itself, or the one that it continues."""
    return next((other for other in file.feed if other.id == feed.continues), feed)


def feed_group(file: ShowFile, feed: Feed) -> tuple[Feed, ...]:
    """The feeds that are planned together with a feed that continues no other: itself, then by their ids."""
    more = (other for other in file.feed if other.continues == feed.id)
    return (feed, *sorted(more, key=lambda other: other.id))


def return_slots(block: Block) -> int:
    """How many slots a block has on the way back."""
    return block.slots if block.back is None else block.back


def mistakes(file: ShowFile) -> Iterator[Mistake]:
    """What cannot be so, in the order of the file's tables."""
    yield from _feeds(file)
    yield from _outputs(file)
    yield from _returns(file)
    yield from _acts(file)


def _feeds(file: ShowFile) -> Iterator[Mistake]:
    blocks = {block.id: block for block in file.block}
    feeds = {feed.id: feed for feed in file.feed}
    for at, feed in enumerate(file.feed):
        if feed.continues:
            first = feeds.get(feed.continues)
            if not first or first.continues or first is feed:
                others = [item.id for item in file.feed if not item.continues and item is not feed]
                said = unknown("", feed.continues, others)
                yield ("feed", at, "continues"), said.replace("there is no", "no feed to continue is", 1)
            elif feed.mode.rate_hz != first.mode.rate_hz:
                yield (
                    ("feed", at, "mode"),
                    f"{first.id!r} runs at {first.mode.rate_hz} Hz, and so must the feed that continues it",
                )
            for key in ("blocks", "parts", "layout", "spare", "grain"):
                if key in feed.model_fields_set:
                    yield (
                        ("feed", at, key),
                        f"{feed.id!r} continues {feed.continues!r}; say {key} there, once for both",
                    )
        elif not feed.blocks:
            yield ("feed", at, "blocks"), 'at least one block is needed here; write blocks = ["…"]'
        for name, text in feed.parts.items():
            if name not in feed.blocks:
                yield ("feed", at, "parts"), unknown("", name, feed.blocks)
                continue
            try:
                past = [slot for slot in slots_of(text) if slot > blocks[name].slots]
            except ValueError as error:
                yield ("feed", at, "parts"), str(error)
                continue
            if past:
                yield (
                    ("feed", at, "parts"),
                    f"{name!r} ends at {blocks[name].slots}, and parts names {past[0]}",
                )
        for name, slot in feed.fix.items():
            if slot > feed.mode.slots:
                yield (
                    ("feed", at, "fix"),
                    f"{name!r} cannot stand on {slot}: {feed.id!r} has {feed.mode.slots} slots",
                )


def _outputs(file: ShowFile) -> Iterator[Mistake]:
    """Boxes whose outputs lie past the block's way back, or on another box's."""
    blocks = {block.id: block for block in file.block}
    taken: dict[tuple[str, int], str] = {}
    local: dict[tuple[str, int], str] = {}
    for at, box in enumerate(file.box):
        for slot in range(box.first, box.first + box.inputs) if box.desk else ():
            other = local.setdefault((box.desk, slot), box.id)
            if other != box.id:
                yield (
                    ("box", at, "first" if "first" in box.model_fields_set else "desk"),
                    f"input {slot} of {box.desk!r} after what it takes is box {other!r}'s; "
                    f"give box {box.id!r} another first",
                )
                break
        if not box.outputs or not box.block:
            continue
        last, back = box.first_output + box.outputs - 1, return_slots(blocks[box.block])
        if last > back:
            yield (
                ("box", at, "outputs"),
                f"box {box.id!r} has {box.outputs} outputs from slot {box.first_output} on, and {box.block!r} "
                f"has {back} slots on the way back",
            )
        for slot in range(box.first_output, last + 1):
            other = taken.setdefault((box.block, slot), box.id)
            if other != box.id:
                yield (
                    ("box", at, "first_output" if "first_output" in box.model_fields_set else "outputs"),
                    f"slot {slot} of {box.block!r} on the way back comes out of box {other!r}; "
                    f"give box {box.id!r} another first_output",
                )
                break


def _returns(file: ShowFile) -> Iterator[Mistake]:
    boxes = {box.id: box for box in file.box}
    recipients = {recipient.id: recipient for recipient in file.recipient}
    writer: dict[tuple[str, int], Return] = {}
    feeds = {feed.id: feed for feed in file.feed}
    outputs: dict[tuple[str, int], Return] = {}
    for at, sent in enumerate(file.returns):
        maker = recipients.get(sent.maker)
        if not maker:
            yield ("return", at, "from"), unknown("", sent.maker, recipients)
            continue
        if maker.listens:
            yield ("return", at, "from"), f"{maker.id!r} only listens; a listener sends nothing back"
        if sent.contents and sent.minus:
            yield ("return", at, "minus"), "say what is in it (contents) or what is not (minus), not both"
        for number in sent.numbers(sent.output) if sent.output else ():
            other = outputs.setdefault((maker.id, number), sent)
            if other is not sent:
                yield (
                    ("return", at, "output"),
                    f"output {number} of {maker.id!r} already sends {other.name or other.id!r}",
                )
        for text in sent.to:
            yield from _target(at, sent, text, boxes, recipients, feeds, writer, file)

    yield from _loops(file)


def returns_called(file: ShowFile) -> dict[str, Return]:
    """Folded id or name → the return that is meant; an id comes before a name."""
    called = {fold(sent.name or sent.id): sent for sent in file.returns}
    return called | {fold(sent.id): sent for sent in file.returns}


def _loops(file: ShowFile) -> Iterator[Mistake]:
    """Mixes that hold themselves by way of others: what comes out would go in again."""
    called = returns_called(file)
    inside = {
        sent.id: [called[fold(name)].id for name in sent.contents if fold(name) in called]
        for sent in file.returns
    }
    for at, sent in enumerate(file.returns):
        reached = set(inside[sent.id])
        waiting = list(reached)
        while waiting:
            for name in inside[waiting.pop()]:
                if name not in reached:
                    reached.add(name)
                    waiting.append(name)
        if sent.id in reached:
            yield (
                ("return", at, "contents"),
                f"{sent.name or sent.id!r} would hold itself, straight or by way of another mix: that feeds back",
            )


def _target(
    at: int,
    sent: Return,
    text: str,
    boxes: dict[str, Box],
    recipients: dict[str, Recipient],
    feeds: dict[str, Feed],
    writer: dict[tuple[str, int], Return],
    file: ShowFile,
) -> Iterator[Mistake]:
    """What is wrong with one of the places where a return comes out; `writer`: who holds which output."""
    try:
        place = place_of(text, [*boxes, *recipients, *feeds])
    except ValueError as error:
        yield ("return", at, "to"), str(error)
        return
    box, feed = boxes.get(place.name), feeds.get(place.name)
    if feed:
        if place.number is None:
            yield (
                ("return", at, "to"),
                f'say which slot of {feed.id!r}, such as "{feed.id} {feed.mode.slots}"',
            )
            return
        yield from _one_writer(at, sent, place.name, place.number, feed.mode.slots, "slots", writer)
        return
    if not box:
        if place.name == sent.maker:
            yield ("return", at, "to"), f"{place.name!r} makes it and need not be sent it"
        elif set(recipients[place.name].takes) & set(feeds):
            yield (
                ("return", at, "to"),
                f"{place.name!r} gets what its feed carries; say a slot of that, such as "
                f'"{recipients[place.name].takes[0]} 1"',
            )
        elif place.number is not None:
            yield (
                ("return", at, "to"),
                f"{place.name!r} gets it after all that it takes; leave the number out",
            )
        return
    if place.number is None:
        yield ("return", at, "to"), f'say which output of box {box.id!r}, such as "{box.id} 1"'
        return
    yield from _one_writer(at, sent, box.id, place.number, box.outputs, "outputs", writer)
    if box.desk and box.desk != sent.maker:
        yield (
            ("return", at, "to"),
            f"the outputs of {box.id!r} are local to {box.desk!r}; only it can feed them",
        )
    elif box.block and box.block not in reaches(file, recipients[sent.maker]):
        yield (
            ("return", at, "to"),
            f"{sent.maker!r} is not on {box.block!r}, which carries the outputs of box {box.id!r}",
        )


def _one_writer(
    at: int,
    sent: Return,
    name: str,
    first: int,
    last: int,
    things: str,
    writer: dict[tuple[str, int], Return],
) -> Iterator[Mistake]:
    for number in sent.numbers(first):
        if number > last:
            yield ("return", at, "to"), f"{name!r} has {last} {things}, and this names {number}"
        other = writer.setdefault((name, number), sent)
        if other is not sent:
            yield (
                ("return", at, "to"),
                f"{name} {number} is already written by {other.name or other.id!r} from {other.maker!r}; "
                f"every one of its {things} has one writer",
            )


def reaches(file: ShowFile, recipient: Recipient) -> tuple[str, ...]:
    """The blocks whose signals can come to a recipient, straight or on a feed, in its order."""
    feeds = {feed.id: first_feed(file, feed) for feed in file.feed}
    names = (feeds[name].blocks if name in feeds else (name,) for name in recipient.takes)
    return tuple(dict.fromkeys(name for group in names for name in group))


def _acts(file: ShowFile) -> Iterator[Mistake]:
    earlier: list[str] = []
    boxes = {box.id: box for box in file.box}
    for at, act in enumerate(file.act):
        if act.over and act.over not in earlier:
            yield (
                ("act", at, "over"),
                f"an act changes one that comes before it; {unknown('', act.over, earlier)}",
            )
        seen: set[Place] = set()
        for socket in act.sockets:
            try:
                place = place_of(socket, boxes)
            except ValueError as error:
                yield ("act", at, "sockets"), str(error)
                continue
            if place.number is None or place.number > boxes[place.name].inputs:
                yield (
                    ("act", at, "sockets"),
                    f"write a box and a socket from 1 to {boxes[place.name].inputs}, such as "
                    f'"{place.name} 1", not {socket!r}',
                )
            if place in seen:
                yield ("act", at, "sockets"), f"socket {socket!r} is named twice"
            seen.add(place)
        earlier.append(act.id)
