"""The papers of a show: a page for each recipient, one for the stage crew, the changes, the labels."""

from __future__ import annotations

from collections.abc import Sequence
from os.path import basename

from chanbridge.assemble import Delivery, Planned
from chanbridge.assemble.fed import labelled
from chanbridge.assemble.returns import outputs_of
from chanbridge.compare.changes import Comparison
from chanbridge.handover.changes import Changed
from chanbridge.handover.labels import Label, Strip, Tag
from chanbridge.handover.needs import Place, laid_out, need_of
from chanbridge.handover.paper import Column, Heading, Notes, Page, Row, Table
from chanbridge.handover.pdf import pdf
from chanbridge.handover.recipients import recipient_map
from chanbridge.handover.stage import contents
from chanbridge.handover.words import Words
from chanbridge.model import Channel, ChannelMap, Patch, Port, Slot
from chanbridge.model import Row as MapRow
from chanbridge.names import fold, vocabulary
from chanbridge.sheets import values
from chanbridge.sheets.ledger import Reading
from chanbridge.system import Box, ShowFile

_SIDES = {"left": "L", "right": "R", "mid": "M", "side": "S"}
_STAGE = "stage"
_OVERHEAD = ("hang", "flown", "truss", "suspen", "häng", "colg", "appes", "rigg")
"""How words begin that say that something hangs, in the languages of the sheets."""


def recipient_page(
    file: ShowFile,
    planned: Planned,
    delivery: Delivery,
    heading: Heading,
    words: Words,
    *,
    from_zero: bool = False,
    changed: frozenset[str] = frozenset(),
) -> Page:
    """What a recipient needs and nothing else. `changed`: its slots, such as "truck 37", that changed."""
    recipient = delivery.recipient
    kind = need_of(recipient, file)
    whole = recipient_map(planned, delivery)
    places = _places(file, planned.map, whole, recipient.id)
    big = kind == "volunteer"
    if big:
        places = [place for place in places if place.channel]
    counts_from_zero = from_zero and kind == "truck"
    columns, rows = laid_out(kind, places, words, from_zero=counts_from_zero, changed=changed)
    parts: list[Table | Notes] = [Table("", columns, rows)]
    channels = [place.channel for place in places if place.channel]
    if kind != "volunteer":
        parts += _sends(planned, recipient.id, words)
        parts += _missing(delivery, words)
    remarks = [] if big else [words.say(line) for line in delivery.how]
    if any(row.changed for row in rows):
        remarks.insert(0, words("changed_bar"))
    if counts_from_zero:
        remarks.append(words("counts_from_zero"))
    parts += _remarks(remarks, words)
    cautions = []
    if any(channel.audience.air == "not allowed" for channel in channels) and kind in ("truck", "stream"):
        cautions.append(words("care_air"))
    shows_phantom = kind in ("truck", "front-of-house", "monitors")
    if shows_phantom and any(channel.phantom in ("on", "optional") for channel in channels):
        cautions.append(words("care_phantom"))
    if kind not in ("recorder", "musicians"):
        cautions.append(words("care_sound"))
    parts += _care(cautions, words)
    return Page(heading, tuple(parts), big=big, ticks=True)


def stage_page(
    file: ShowFile, planned: Planned, heading: Heading, words: Words, changed: frozenset[str] = frozenset()
) -> Page:
    """For the people with the cables: every box, socket by socket, and what comes out of it."""
    parts: list[Table | Notes] = []
    for box in file.box:
        places = _places(file, planned.map, planned.map, box.id)
        columns, rows = laid_out("stage", places, words, changed=changed)
        rows = tuple(row._replace(box=box.id) for row in rows)
        where = f"{words('box')} {box.id}: {words('inputs')}, {box.block or box.desk}"
        parts.append(Table(where, columns, rows))
        outs = _outputs(planned, box)
        if outs:
            columns, rows = laid_out("outputs", outs, words, changed=changed)
            parts.append(Table(f"{words('box')} {box.id}: {words('outputs')}", columns, rows))
    entered = {entry.channel for entry in planned.map.entries}
    parts += _care(
        _stage_care(file, [one for one in planned.map.channels if one.id in entered], words), words
    )
    return Page(heading, tuple(parts), ticks=True)


def _stage_care(file: ShowFile, channels: Sequence[Channel], words: Words) -> list[str]:
    """The cautions that concern a stage: those that have no reason there are left out."""
    cautions = [words("care_sound")]
    if any(channel.phantom in ("on", "optional") for channel in channels):
        cautions.append(words("care_phantom"))
    if any(link.medium in ("multimode fibre", "single-mode fibre") for link in file.link):
        cautions.append(words("care_laser"))
    said = [
        word
        for channel in channels
        for text in (channel.stand, channel.position, channel.notes)
        for word in fold(text).split()
    ]
    if any(word.startswith(tuple(map(fold, _OVERHEAD))) for word in said):
        cautions.append(words("care_overhead"))
    return [*cautions, words("care_mains")]


def stage_map(file: ShowFile, planned: Planned) -> ChannelMap:
    """The boxes one after the other as one list, port `stage`, for spreadsheets and machines."""
    whole = planned.map
    ports, patches = [], []
    offset = 0
    here = {box.id for box in file.box}
    for box in file.box:
        ports.append(whole.port(box.id))
        patches += [
            Patch(Slot(box.id, number), Slot(_STAGE, offset + number)) for number in range(1, box.inputs + 1)
        ]
        offset += box.inputs
    entries = [entry for entry in whole.entries if entry.slot.port in here]
    reserved = [item for item in whole.reserved if item.slot.port in here]
    standing = {entry.channel for entry in entries}
    return whole.changed(
        channels=labelled([channel for channel in whole.channels if channel.id in standing]),
        entries=tuple(entries),
        ports=(*ports, Port(id=_STAGE, kind="desk", size=offset, rate_hz=whole.rate_hz)),
        patches=tuple(patches),
        reserved=tuple(reserved),
    )


def changes_page(found: Comparison, file: str, heading: Heading, words: Words) -> Page:
    """Where a recipient's own list differs from its sheet."""
    columns = (
        Column("number", words("number"), "number"),
        Column("kind", words("kind"), "label"),
        Column("change", words("change"), "name"),
        Column("checked", words("checked"), "tick"),
    )
    said: list[tuple[str, str]] = [(one.kind, one.message) for one in found.changes]
    said += [(words("question"), one.message) for one in found.questions]
    rows = tuple(
        Row(f"change {at}", (str(at), kind, message, "")) for at, (kind, message) in enumerate(said, 1)
    )
    title = words("own_list", file=file)
    part = Table(title, columns, rows) if rows else Notes(title, (words("agrees"),))
    return Page(heading, (part, *_care([words("care_sound")], words)), ticks=True)


def compared_pdf(found: Comparison, reference: Reading, other: str) -> bytes:
    """Where the list `other` differs from the reference, to print."""
    whole = reference.map
    heading = Heading(whole.title, basename(reference.source), whole.revision, date=whole.date)
    words = Words()
    return pdf(changes_page(found, basename(other), heading, words), words)


def revision_page(found: Sequence[Changed], letter: str, heading: Heading, words: Words) -> Page:
    """What changed for a recipient since the revision `letter`: slot, old beside new, what to do."""
    columns = (
        Column("slot", words("slot"), "number"),
        Column("was", words("was"), "text"),
        Column("now", words("now"), "name"),
        Column("to_do", words("to_do"), "text"),
        Column("checked", words("checked"), "tick"),
    )
    rows = tuple(
        Row(f"slot {one.slot}", (str(one.slot), one.was, one.now, words.say(one.to_do), "")) for one in found
    )
    title = words("changed_against", letter=letter)
    part = Table(title, columns, rows) if rows else Notes(title, (words("nothing_changed"),))
    cautions = [words("care_sound")]
    if any("phantom" in one.to_do for one in found):
        cautions.append(words("care_phantom"))
    return Page(heading, (part, *_care(cautions, words)), ticks=bool(rows))


def label_strip(file: ShowFile, whole: ChannelMap, port: str, title: str, mm: float, a_row: int) -> Strip:
    """The label strip of a port: a desk's inputs, a box's sockets, a recorder's tracks."""
    places = _places(file, whole, whole, port)
    by_number = {place.number: place for place in reversed(places)}
    return Strip(title, tuple(_label(by_number[number]) for number in sorted(by_number)), mm, a_row)


def _label(place: Place) -> Label:
    channel = place.channel
    if channel is None:
        return Label(str(place.number))
    texts = tuple(dict.fromkeys(text for text in (channel.name or channel.id, channel.short) if text))
    return Label(str(place.number), texts, channel.group, channel.audience.air == "not allowed")


def cable_tags(file: ShowFile, planned: Planned, words: Words) -> tuple[Tag, ...]:
    """Two labels for each cable of the show, one for each end, then two for each line into a box."""
    tags = []
    for link in file.link:
        length = sum(segment.length_m for segment in link.segments)
        small = ", ".join(part for part in (link.medium or "", f"{length:g} m" if length else "") if part)
        small += f", {words('backup')}" if link.backup else ""
        for here, there in (link.ends, link.ends[::-1]):
            tags.append(Tag(here, f"> {there}", f"{link.id}: {small}" if small else link.id))
    for box in file.box:
        for place in _places(file, planned.map, planned.map, box.id):
            if place.channel:
                name = place.channel.name or place.channel.id
                tags += [Tag(f"{box.id} {place.number}", name)] * 2
    return tuple(tags)


def _places(file: ShowFile, whole: ChannelMap, own: ChannelMap, port: str) -> list[Place]:
    """The lines of a port in a recipient's own map; `whole` is the show's, in which all ports are known."""
    suppliers = {
        device.split.box: ", ".join(device.split.phantom)
        for device in file.device
        if device.split and device.split.phantom
    }
    known = vocabulary()
    sheet = own.sheet(port)
    standing = {row.channel.id: row.channel for row in sheet if row.channel}
    shorts = {channel.id: channel for channel in labelled(list(standing.values()))}
    pairs = _pairs(sheet)
    out = []
    for row in sheet:
        entry = row.entry
        here = whole.port(entry.port) if entry else whole.port(port)
        box, socket = "", None
        if here.kind == "sockets" and entry:
            box, socket = here.device, entry.number
        elif here.kind == "sockets":
            box, socket = here.device, row.number
        out.append(
            Place(
                row.number,
                shorts[row.channel.id] if row.channel else None,
                "" if len(row.text.split()) == 1 and values.is_nothing(row.text, known) else row.text,
                box,
                socket,
                suppliers.get(box, box),
                pairs.get(row.channel.id, "") if row.channel else "",
                contents(whole, row.channel),
                str(entry) if entry and not box else "",
                key=str(Slot(port, row.number)),
            )
        )
    return out


def _pairs(sheet: Sequence[MapRow]) -> dict[str, str]:
    """Channel id → `L`, or `L (R: 20)` where the other side does not stand right beside it."""
    at = {row.channel.id: row for row in reversed(sheet) if row.channel}
    out = {}
    for name, row in at.items():
        pair = row.channel.pair if row.channel else None
        if pair:
            other = at.get(pair.partner or "")
            side = _SIDES[pair.side]
            out[name] = side
            if other and other.channel and other.channel.pair and abs(other.number - row.number) != 1:
                out[name] = f"{side} ({_SIDES[other.channel.pair.side]}: {other.number})"
    return out


def _sends(planned: Planned, recipient: str, words: Words) -> list[Table]:
    """What a recipient sends and what comes back to it, where there is anything."""
    whole = planned.map
    out = []
    port = outputs_of(recipient)
    if port in {item.id for item in whole.ports}:
        sent = []
        for row in whole.sheet(port):
            if row.channel:
                ends = whole.trace(Slot(port, row.number)).forward
                last = [str(end) for end in ends if not end.port.endswith(" back")]
                sent.append(
                    Place(
                        row.number, row.channel, targets=", ".join(last), contents=contents(whole, row.channel),
                        key=str(Slot(port, row.number)),
                    )
                )  # fmt: skip
        out.append(Table(words("sends"), *laid_out("sends", sent, words)))
    back = [
        Place(
            row.number, row.channel, source=str(row.entry or ""), contents=contents(whole, row.channel),
            key=f"{recipient} {row.number} back",
        )
        for row in whole.sheet(recipient)
        if row.channel and row.channel.id in planned.returns
    ]  # fmt: skip
    if back:
        out.append(Table(words("returns"), *laid_out("outputs", back, words)))
    return out


def _outputs(planned: Planned, box: Box) -> list[Place]:
    """The outputs of a box with who sends what to them; [] where nothing comes back to it."""
    whole, port = planned.map, outputs_of(box.id)
    if port not in {item.id for item in whole.ports}:
        return []
    return [
        Place(
            row.number, row.channel, row.text, source=str(row.entry or ""), contents=contents(whole, row.channel),
            key=str(Slot(port, row.number)),
        )
        for row in whole.sheet(port)
    ]  # fmt: skip


def _missing(delivery: Delivery, words: Words) -> list[Notes]:
    """What a recipient does not get, and why; what it should have comes first, what has one reason stands together."""
    reasons: dict[tuple[bool, str], list[str]] = {}
    for item in sorted(delivery.missing, key=lambda item: not item.wanted):
        reasons.setdefault((item.wanted, item.reason), []).append(item.channel.name or item.channel.id)
    lines = [
        (f"{words('wanted')}: " if wanted else "") + f"{', '.join(names)}: {words.say(reason)}"
        for (wanted, reason), names in reasons.items()
    ]
    return [Notes(words("not_carried"), tuple(lines))] if lines else []


def _remarks(lines: Sequence[str], words: Words) -> list[Notes]:
    return [Notes(words("remarks"), tuple(lines))] if lines else []


def _care(lines: Sequence[str], words: Words) -> list[Notes]:
    return [Notes(words("cautions"), tuple(lines), careful=True)] if lines else []
