"""A show's way from the stage to its listeners, as the flow picture needs it."""

from __future__ import annotations

from chanbridge.assemble import Planned
from chanbridge.handover.flow import Cable, Card, Flow, Way
from chanbridge.handover.words import Words
from chanbridge.model import ChannelMap, Slot
from chanbridge.system import Device, Link, ShowFile

_BOX, _BLOCK, _FEED, _LISTENER = range(4)


def flow(file: ShowFile, planned: Planned, words: Words) -> Flow:
    """Boxes, blocks, feeds and listeners of a show, what runs between them, and its cables."""
    whole = planned.map
    devices = {device.id: device for device in file.device}
    cards: list[Card] = []
    ways: list[Way] = []
    for box in file.box:
        used = _used(whole, box.id)
        lines = (words("used_of", used=used, size=box.inputs), *_clock(devices.get(box.id), words))
        cards.append(
            Card(box.id, _BOX, f"{words('box')} {box.id}", lines, _leads(devices.get(box.id)), "box")
        )
        target = box.block or box.desk
        ways.append(
            Way(box.id, target, _said(box.id, used, box.inputs, words), target if box.block else box.id)
        )
    for block in file.block:
        said = words("used_of", used=_used(whole, block.id), size=block.slots)
        lines = (said, _rate(block.rate or file.rate))
        cards.append(Card(block.id, _BLOCK, block.id, lines, shape="block"))
    for feed in file.feed:
        used = _used(whole, feed.id)
        lines = (words("used_of", used=used, size=feed.mode.slots), str(feed.mode))
        if feed.conversion:
            lines = (*lines, feed.conversion)
        cards.append(Card(feed.id, _FEED, feed.id, lines, shape="feed"))
        for block in file.block:
            carried = {
                patch.source.number
                for patch in whole.patches
                if patch.target.port == feed.id
                and patch.source.port == block.id
                and whole.occupant(patch.source)
            }
            if carried:
                ways.append(
                    Way(block.id, feed.id, _said(block.id, len(carried), block.slots, words), block.id)
                )
    sizes = {block.id: block.slots for block in file.block} | {feed.id: feed.mode.slots for feed in file.feed}
    for recipient in file.recipient:
        device = devices.get(recipient.id)
        shape = "recorder" if recipient.kind == "recorder" else "desk"
        title = recipient.name or recipient.id
        cards.append(Card(recipient.id, _LISTENER, title, _clock(device, words), _leads(device), shape))
        for name in recipient.heard:
            used = len(_arriving(whole, recipient.id, name))
            ways.append(Way(name, recipient.id, _said(name, used, sizes[name], words), name))
    heads = (words("boxes"), words("blocks"), words("feeds"), words("listeners"))
    cables = tuple(_cable(link, file, whole, words) for link in file.link)
    return Flow(heads, tuple(cards), tuple(ways), cables, back_lines(planned))


def back_lines(planned: Planned) -> tuple[str, ...]:
    """Each channel that comes back: from which output, and where it comes out."""
    out = []
    for name, slot in planned.map.entries:
        channel = planned.map.channel(name)
        if channel and name in planned.returns:
            ends = [end for end in planned.map.trace(slot).forward if not end.port.endswith(" back")]
            out.append(f"{channel.name or channel.id}: {slot} > {', '.join(map(str, ends))}")
    return tuple(out)


def _used(whole: ChannelMap, port: str) -> int:
    return len({row.number for row in whole.sheet(port) if row.channel})


def _arriving(whole: ChannelMap, port: str, source: str) -> set[Slot]:
    """The slots of a block or feed whose signal stands in a recipient's port."""
    return {
        patch.source
        for patch in whole.patches
        if patch.target.port == port and patch.source.port == source and whole.occupant(patch.source)
    }


def _said(name: str, used: int, size: int, words: Words) -> str:
    return f"{name}: {words('used_of', used=used, size=size)}"


def _rate(rate_hz: int) -> str:
    return f"{rate_hz / 1000:g} kHz"


def _leads(device: Device | None) -> bool:
    return device is not None and device.clock == "own"


def _clock(device: Device | None, words: Words) -> tuple[str, ...]:
    """Whose clock a device has, "" where nobody said."""
    if device is None or not device.clock:
        return ()
    domain = f" ({device.domain})" if device.domain else ""
    if device.clock == "own":
        return (words("leads_clock") + domain,)
    return (words("follows", who=device.clock) + domain,)


def _cable(link: Link, file: ShowFile, whole: ChannelMap, words: Words) -> Cable:
    """A link with its medium and length, and what of each block or feed on it is in use."""
    length = sum(segment.length_m for segment in link.segments)
    medium = words("medium_" + link.medium.replace(" ", "_").replace("-", "_")) if link.medium else ""
    parts = [part for part in (medium, f"{length:g} m" if length else "") if part]
    parts = parts or [words("with_no")]
    if link.backup:
        parts.append(words("backup"))
    elif link.direction == "one way":
        parts.append(words("one_way"))
    sizes = {block.id: (block.slots, _rate(block.rate or file.rate)) for block in file.block}
    sizes |= {feed.id: (feed.mode.slots, str(feed.mode)) for feed in file.feed}
    carried = [
        f"{_said(name, _used(whole, name), sizes[name][0], words)}, {sizes[name][1]}"
        if name in sizes
        else name
        for name in _carried(link, file)
    ]
    return Cable(
        link.ends[0], link.ends[1], ", ".join(parts), "; ".join(carried), link.backup, link.direction == "one way"
    )  # fmt: skip


def _carried(link: Link, file: ShowFile) -> tuple[str, ...]:
    """What a link says that it carries, else what the ports at its ends both carry, or the one that says."""
    if link.carries:
        return link.carries
    ports = {(device.id, port.id): port for device in file.device for port in device.ports}
    ends = [ports[end].carries for at in (0, 1) if (end := link.end(at)) in ports and ports[end].carries]
    return tuple(name for name in ends[0] if all(name in end for end in ends)) if ends else ()
