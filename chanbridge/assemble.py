"""From the sheets of a show to one map, planned for every recipient."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from chanbridge.errors import Location, Problem
from chanbridge.mode import Mode
from chanbridge.model import Channel, ChannelMap, Entry, Line, Patch, Port, Reserved, Slot
from chanbridge.names import fold, slug, unique
from chanbridge.plan.straight import Plan, plan
from chanbridge.sheets.ledger import Reading
from chanbridge.show import Show
from chanbridge.system import Box, Recipient, ShowFile


class NotDelivered(NamedTuple):
    """A channel that a recipient does not get. `wanted`: it should have it."""

    channel: Channel
    reason: str
    wanted: bool


class Delivery(NamedTuple):
    """What a recipient gets. `delivered`: channel id → the slots of its port where the channel stands."""

    recipient: Recipient
    delivered: Mapping[str, tuple[int, ...]]
    missing: tuple[NotDelivered, ...]
    how: tuple[str, ...]


class Planned(NamedTuple):
    """The show as one map, from every box's sockets to every recipient's slots.

    `unplaced`: channels whose sheet puts them nowhere. `feeds`: feed id → its plan.
    """

    map: ChannelMap
    feeds: Mapping[str, Plan]
    deliveries: tuple[Delivery, ...]
    unplaced: tuple[tuple[Channel, str], ...]
    problems: tuple[Problem, ...]


def assemble(show: Show) -> Planned:
    """Put every box on its block, every block on its feeds, and work out what each recipient gets."""
    file = show.file
    builder = _Builder(show)
    for box in file.box:
        builder.add_box(box)
    whole = builder.map()
    feeds: dict[str, Plan] = {}
    ports, patches = list(whole.ports), list(whole.patches)
    for feed in file.feed:
        made = plan(whole, feed.blocks, feed.id, feed.mode.slots)
        feeds[feed.id] = made
        ports.append(
            Port(id=feed.id, kind="feed", size=feed.mode.slots, mode=feed.mode, rate_hz=feed.mode.rate_hz)
        )
        patches += made.patches
    sizes = {port.id: port.size for port in ports}
    modes = {feed.id: feed.mode for feed in file.feed}
    for recipient in file.recipient:
        port, more = _recipient_port(recipient, sizes, modes, file)
        ports.append(port)
        patches += more
    whole = whole.changed(ports=tuple(ports), patches=tuple(patches))
    homes = {row.channel.id: block.id for block in file.block for row in whole.sheet(block.id) if row.channel}
    deliveries = tuple(_delivery(whole, recipient, feeds, file, homes) for recipient in file.recipient)
    return Planned(whole, feeds, deliveries, tuple(builder.unplaced), tuple(builder.problems))


def _recipient_port(
    recipient: Recipient, sizes: Mapping[str, int], modes: Mapping[str, Mode], file: ShowFile
) -> tuple[Port, list[Patch]]:
    total = sum(sizes[name] for name in recipient.takes)
    size = recipient.inputs or total
    patches = []
    offset = 0
    for name in recipient.takes:
        for number in range(1, min(sizes[name], size - offset) + 1):
            patches.append(Patch(Slot(name, number), Slot(recipient.id, offset + number)))
        offset += sizes[name]
    mode = modes.get(recipient.takes[0]) if len(recipient.takes) == 1 else None
    kind = "feed" if mode and recipient.kind == "desk" else recipient.kind
    port = Port(
        id=recipient.id, name=recipient.name, kind=kind, size=size, mode=mode if kind == "feed" else None,
        rate_hz=mode.rate_hz if mode else file.rate,
    )  # fmt: skip
    return port, patches


def _delivery(
    whole: ChannelMap,
    recipient: Recipient,
    feeds: Mapping[str, Plan],
    file: ShowFile,
    homes: Mapping[str, str],
) -> Delivery:
    """What stands on a recipient's port, one channel a slot, and why each other channel does not.

    `homes`: channel id → the block that carries it; a channel without one is nobody's, and named once for all.
    """
    at: dict[str, list[int]] = {}
    reasons = {
        out.channel: out.reason for name in recipient.takes if name in feeds for out in feeds[name].left_out
    }
    holders: dict[int, Channel] = {}
    for number, channel, _, _ in whole.sheet(recipient.id):
        if channel is None or channel.id in reasons:
            continue
        holder = holders.setdefault(number, channel)
        if holder is channel:
            at.setdefault(channel.id, []).append(number)
        else:
            reasons[channel.id] = f"slot {number} already carries {holder.name!r}"
    reachable = {
        block
        for name in recipient.takes
        for block in next((feed.blocks for feed in file.feed if feed.id == name), (name,))
    }
    size = whole.port(recipient.id).size
    missing = []
    for channel in whole.channels:
        if channel.id in at or channel.id not in homes:
            continue
        home = homes[channel.id]
        reason = reasons.get(channel.id, f"{recipient.id} has {size} inputs, and it stands beyond them")
        if channel.id not in reasons and home not in reachable:
            reason = f"stands on {home}, which {recipient.id} does not take"
        wanted = home in reachable and is_wanted(channel, recipient)
        missing.append(NotDelivered(channel, reason, wanted))
    how = tuple(
        f"{feed.id} ({feed.mode}): {feeds[feed.id].why}" for feed in file.feed if feed.id in recipient.takes
    )
    return Delivery(recipient, {name: tuple(slots) for name, slots in at.items()}, tuple(missing), how)


def is_wanted(channel: Channel, recipient: Recipient) -> bool:
    """Whether a recipient must get a channel: anyone who hears it through the recipient may hear it."""
    heard = [getattr(channel.audience, tag) for tag in recipient.tags]
    return not heard or any(permission != "not allowed" for permission in heard)


class _Builder:
    """Collects the channels of all boxes with their sockets, and the boxes' places on the blocks."""

    def __init__(self, show: Show) -> None:
        self.show = show
        self.channels: dict[str, Channel] = {}
        self.entries: list[Entry] = []
        self.reserved: list[Reserved] = []
        self.headings: list[str] = []
        self.unplaced: list[tuple[Channel, str]] = []
        self.problems: list[Problem] = []
        self.boxes = {fold(box.id): box for box in show.file.box}

    def add_box(self, box: Box) -> None:
        reading = self.show.sheets[box.id]
        self.problems += [problem for problem in reading.problems if problem not in self.problems]
        had = Counter(self.headings)
        for heading, times in Counter(reading.map.headings).items():
            self.headings += [heading] * (times - had[heading])
        rows = reading.map.lines(reading.map.listed_port())
        mine = [line for line in rows if self._is_for(line, box)]
        several = len({fold(line.box) for line in rows if line.box}) > 1
        ids = self._ids(mine, box, reading)
        shift = self._number_shift(mine, box, reading)
        shifts = Counter(
            line.number - (box.first + line.socket - 1)
            for line in mine
            if line.channel and line.number and line.socket
        )
        usual = shifts.most_common(1)[0][0] if shifts else 0
        for line in mine:
            socket = line.socket if line.socket is not None else line.number - shift if line.number else None
            if not line.channel:
                if socket and line.text and 1 <= socket <= box.inputs:
                    self.reserved.append(Reserved(Slot(box.id, socket), line.text))
                continue
            channel = line.channel.with_ids(ids)
            self.channels.setdefault(channel.id, channel)
            where = reading.origins.get(line.channel.id, Location(reading.source))
            wrong = self._no_place(line, socket, box, several)
            if wrong or socket is None:
                self.unplaced.append((channel, f"{where}: {wrong}"))
                continue
            self.entries.append(Entry(channel.id, Slot(box.id, socket)))
            slot = box.first + socket - 1
            if line.socket and line.number and line.number - slot != usual:
                self.problems.append(
                    Problem(where, "number-and-socket", f"{channel.name!r} has number {line.number}, but socket {box.id}{socket} stands on slot {slot} of {box.block}; the socket counts")
                )  # fmt: skip

    def _is_for(self, line: Line, box: Box) -> bool:
        """Whether a line of a box's sheet is this box's to place: not if another box has the same sheet and its name."""
        owner = self.boxes.get(fold(line.box))
        if line.box and owner and owner.id != box.id:
            return owner.sheet != box.sheet
        if (
            line.box and not owner
        ):  # on a sheet of several boxes' an unknown one is reported once, by the first
            sharing = [other for other in self.show.file.box if other.sheet == box.sheet]
            return sharing[0].id == box.id
        return True

    def _no_place(self, line: Line, socket: int | None, box: Box, several: bool) -> str:
        """Why a channel of a box's sheet stands on no socket of it; "" where it does. `several`: it names several boxes."""
        owner = self.boxes.get(fold(line.box))
        if line.box and owner and owner.id != box.id:
            return f"it names box {owner.id}, whose sheet is {owner.sheet}; move the row there"
        if line.box and not owner and several:
            return f"it names the box {line.box!r}, which the show does not have"
        if socket is None:
            return "it has neither a socket nor a number"
        if not 1 <= socket <= box.inputs:
            said = f"socket {socket}" if line.socket else f"number {line.number}"
            return f"{said} lies past the end of box {box.id}, which has {box.inputs} inputs"
        return ""

    def _number_shift(self, mine: Sequence[Line], box: Box, reading: Reading) -> int:
        """What to take off a sheet's numbers to get sockets: one answer for a sheet, reported where it was open.

        Numbers may count the box's sockets, the slots of its block, or the slots of all blocks one after the other.
        """
        numbers = [line.number for line in mine if line.channel and line.number and line.socket is None]
        before = 0
        for block in self.show.file.block:
            if block.id == box.block:
                break
            before += block.slots

        def fitting(shift: int) -> int:
            return sum(shift < number <= shift + box.inputs for number in numbers)

        shifts = [0, box.first - 1, before + box.first - 1]
        best = max(shifts, key=lambda shift: (fitting(shift), -shifts.index(shift)))
        where = Location(reading.source)
        if best == 0 and box.first > 1 and numbers and fitting(box.first - 1) == len(numbers):
            said = f"the numbers could count sockets of box {box.id} or slots of {box.block}; they are read as sockets: a column Socket settles it"
            self.problems.append(Problem(where, "numbers", said))
        elif best == shifts[2] != shifts[1]:
            said = f"the numbers count on from the blocks before {box.block}, so {best + 1} is taken for socket 1 of box {box.id}"
            self.problems.append(Problem(where, "numbers", said))
        return best

    def _ids(self, mine: Sequence[Line], box: Box, reading: Reading) -> dict[str, str]:
        """Reading's ids → ids in the show, renamed where another channel has the id."""
        ids: dict[str, str] = {}
        shared = any(other is not box and other.sheet == box.sheet for other in self.show.file.box)
        for line in mine:
            if line.channel and line.channel.id not in ids:
                wanted = line.channel.id
                if wanted in self.channels and not (shared and self.channels[wanted] == line.channel):
                    wanted = unique(
                        slug(box.id, line.channel.name) or wanted, {*self.channels, *ids.values()}
                    )
                    where = reading.origins.get(line.channel.id, Location(reading.source))
                    if "id" in reading.layout:
                        self.problems.append(
                            Problem(
                                where,
                                "id-twice",
                                f"id {line.channel.id!r} is also on another sheet; here it is called {wanted!r}",
                            )
                        )
                ids[line.channel.id] = wanted
        return ids

    def map(self) -> ChannelMap:
        file = self.show.file
        rates = {block.id: block.rate or file.rate for block in file.block}
        sizes = {block.id: block.slots for block in file.block}
        ports = [
            Port(
                id=box.id,
                device=box.id,
                kind="sockets",
                first=box.first,
                size=box.inputs,
                rate_hz=rates[box.block],
            )
            for box in file.box
        ]
        ports += [Port(id=name, size=size, rate_hz=rates[name]) for name, size in sizes.items()]
        patches = [
            Patch(Slot(box.id, socket), Slot(box.block, box.first + socket - 1))
            for box in file.box
            for socket in range(1, box.inputs + 1)
        ]
        owned = [
            channel
            if channel.gain_owner or not file.gain_owner
            else channel.changed(gain_owner=file.gain_owner)
            for channel in self.channels.values()
        ]
        return ChannelMap(
            title=file.title, revision=file.revision, date=file.date, rate_hz=file.rate, headings=tuple(self.headings),
            channels=tuple(owned), entries=tuple(self.entries), ports=tuple(ports), patches=tuple(patches),
            reserved=tuple(self.reserved),
        )  # fmt: skip
