"""What cannot be so about ids, names of other things, slots of boxes, rates, devices and links in show.toml."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence

from chanbridge.errors import unknown
from chanbridge.names import fold
from chanbridge.system import (
    RESERVED,
    Act,
    Block,
    Box,
    Device,
    Feed,
    Link,
    Mistake,
    Recipient,
    Return,
    ShowFile,
)  # fmt: skip


def naming_mistakes(file: ShowFile) -> Iterator[Mistake]:
    """Every id once, every name of another thing known, no slot in two boxes, rates alike or a conversion declared.

    In the order of the file's tables.
    """
    yield from _ids(file)
    yield from _boxes(file)
    yield from _feeds(file)
    yield from _recipients(file)


def _ids(file: ShowFile) -> Iterator[Mistake]:
    tables: dict[str, Sequence[Box | Block | Feed | Recipient | Return | Act]] = {
        "box": file.box, "block": file.block, "feed": file.feed, "recipient": file.recipient,
        "return": file.returns, "act": file.act,
    }  # fmt: skip
    seen: dict[str, str] = {}
    for table, items in tables.items():
        for at, item in enumerate(items):
            key = fold(item.id)
            if key in seen:
                yield (
                    (table, at, "id"),
                    f"the id {item.id!r} is taken by a [[{seen[key]}]]; every box, block, feed, recipient, return and act "
                    "has its own",
                )
            seen[key] = table
            if key in RESERVED and table in ("box", "recipient"):
                yield (
                    (table, at, "id"),
                    f"a hand-over has a folder or pages called {item.id!r} already; give this {table} another id",
                )


def _boxes(file: ShowFile) -> Iterator[Mistake]:
    blocks = {block.id: block for block in file.block}
    recipients = [recipient.id for recipient in file.recipient]
    taken: dict[tuple[str, int], str] = {}
    for at, box in enumerate(file.box):
        if bool(box.block) == bool(box.desk):
            yield (
                ("box", at, "desk" if box.desk else "block"),
                f"box {box.id!r} needs the block that carries it, or the desk that it is local to, and not both",
            )
        if box.desk:
            if box.desk not in recipients:
                yield ("box", at, "desk"), unknown("", box.desk, recipients)
            continue
        if box.block not in blocks:
            yield ("box", at, "block"), unknown("", box.block, [*blocks])
            continue
        last, size = box.first + box.inputs - 1, blocks[box.block].slots
        if last > size:
            yield (
                ("box", at, "inputs"),
                f"box {box.id!r} has {box.inputs} inputs from slot {box.first} on, and {box.block!r} ends at {size}",
            )
        for slot in range(box.first, last + 1):
            other = taken.setdefault((box.block, slot), box.id)
            if other != box.id:
                yield (
                    ("box", at, "first"),
                    f"slot {slot} of {box.block!r} is taken by box {other!r}; give box {box.id!r} another first slot",
                )


def _feeds(file: ShowFile) -> Iterator[Mistake]:
    blocks = {block.id: block for block in file.block}
    for at, feed in enumerate(file.feed):
        for name in feed.blocks:
            if name not in blocks:
                yield ("feed", at, "blocks"), unknown("", name, [*blocks])
                continue
            rate = blocks[name].rate or file.rate
            if rate != feed.mode.rate_hz and not feed.conversion:
                yield (
                    ("feed", at, "mode"),
                    f"{name!r} runs at {rate} Hz and the feed at {feed.mode.rate_hz} Hz; "
                    'choose a mode at the blocks\' rate, or declare what converts it: conversion = "…"',
                )
        twice = [name for name, times in Counter(feed.blocks).items() if times > 1]
        if twice:
            yield ("feed", at, "blocks"), f"{twice[0]!r} is named twice"


def _recipients(file: ShowFile) -> Iterator[Mistake]:
    feeds = {feed.id for feed in file.feed}
    known = [item.id for table in (file.feed, file.block) for item in table]
    for at, recipient in enumerate(file.recipient):
        for name in recipient.takes:
            if name not in known:
                yield ("recipient", at, "takes"), unknown("", name, known)
        mixed = feeds & {*recipient.takes} and not feeds >= {*recipient.takes}
        if mixed or len({*recipient.takes}) < len(recipient.takes):
            yield (
                ("recipient", at, "takes"),
                "a recipient takes one feed (or several), or blocks; each named once",
            )


def wiring_mistakes(file: ShowFile) -> Iterator[Mistake]:
    """What cannot be so about devices and links, in the file's order."""
    declared = {item.id for table in (file.block, file.feed, file.returns) for item in table}
    places = {item.id for table in (file.box, file.recipient) for item in table}
    devices = {device.id: device for device in file.device}

    def known(name: str, names: Iterable[str], *loc: str | int) -> Iterator[Mistake]:
        there = sorted(names)
        if name not in there:
            yield loc, unknown("", name, there)

    tables: tuple[tuple[str, Sequence[Device | Link], set[str]], ...] = (
        ("device", file.device, {fold(name) for name in declared}),
        ("link", file.link, set()),
    )
    for table, items, taken in tables:
        for at, item in enumerate(items):
            same = next((name for name in places if fold(name) == fold(item.id) and name != item.id), None)
            if fold(item.id) in taken:
                yield (table, at, "id"), f"the id {item.id!r} is taken; give this {table} one of its own"
            elif table == "device" and same:
                yield (table, at, "id"), f"write {same!r}, as the box or recipient that this device is"
            taken.add(fold(item.id))
    for at, device in enumerate(file.device):
        for port in device.ports:
            if [other.id for other in device.ports].count(port.id) > 1:
                yield ("device", at, "ports"), f"device {device.id!r} has two ports {port.id!r}"
            for name in port.carries:
                yield from known(name, declared, "device", at, "ports")
        if device.clock not in ("", "own"):
            yield from known(device.clock, {*devices, "own"}, "device", at, "clock")
        if device.clock == device.id:
            yield ("device", at, "clock"), f'{device.id!r} follows itself; write clock = "own" where it leads'
        if device.split:
            yield from known(device.split.box, [box.id for box in file.box], "device", at, "split")
            for name in (*device.split.direct, *device.split.isolated):
                yield from known(name, {*devices, *places}, "device", at, "split")
            for name in device.split.phantom:
                yield from known(name, {*device.split.direct, *device.split.isolated}, "device", at, "split")
    for at, link in enumerate(file.link):
        for end in (0, 1):
            name, port_id = link.end(end)
            yield from known(name, devices, "link", at, "ends")
            if port_id and name in devices:
                yield from known(port_id, [port.id for port in devices[name].ports], "link", at, "ends")
        if link.devices[0] == link.devices[1]:
            yield ("link", at, "ends"), f"both ends are {link.devices[0]!r}; a link joins two devices"
        for name in link.carries:
            yield from known(name, declared, "link", at, "carries")
