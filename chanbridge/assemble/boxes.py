"""The channels of all boxes with their sockets, and the boxes' places on the blocks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from chanbridge.errors import Location, Problem
from chanbridge.model import Channel, ChannelMap, Entry, Line, Patch, Port, Reserved, Slot
from chanbridge.names import fold, slug, unique
from chanbridge.said import Said
from chanbridge.sheets.ledger import Reading
from chanbridge.show import Show
from chanbridge.system import Box


class Builder:
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
        self.sharing: dict[str, list[Box]] = {}  # sheet → the boxes that have it
        for box in sorted(show.file.box, key=lambda box: box.id):
            self.sharing.setdefault(box.sheet, []).append(box)
        self.boxless = {
            where for boxes in self.sharing.values() if len(boxes) > 1 for where in self._boxless(boxes)
        }

    def _boxless(self, boxes: Sequence[Box]) -> set[Location]:
        """The rows of a sheet of several boxes that name no box: every box's reading takes them for its own."""
        named: dict[Location, set[str]] = {}
        for box in boxes:
            reading = self.show.sheets[box.id]
            for line in reading.map.lines(reading.map.listed_port()):
                if line.channel and line.channel.id in reading.origins:
                    named.setdefault(reading.origins[line.channel.id], set()).add(fold(line.box))
        return {where for where, names in named.items() if names == {""} or len(names) > 1}

    def add_box(self, box: Box) -> None:
        """Place the channels of a box's sheet on its sockets; what has no place there is told with the reason."""
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
            if line.channel and self._is_elsewhere(line, reading, box):
                continue
            if not line.channel:
                if socket and line.text and 1 <= socket <= box.inputs:
                    self.reserved.append(Reserved(Slot(box.id, socket), line.text))
                continue
            channel = line.channel.with_ids(ids)
            self.channels.setdefault(channel.id, channel)
            where = reading.origins.get(line.channel.id, Location(reading.source))
            wrong = self._no_place(line, socket, box, several, where)
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
        # On a sheet of several boxes' an unknown one is reported once, by the first.
        if line.box and not owner:
            sharing = [other for other in self.show.file.box if other.sheet == box.sheet]
            return sharing[0].id == box.id
        return True

    def _is_elsewhere(self, line: Line, reading: Reading, box: Box) -> bool:
        """Whether a row that names no box, on a sheet of several, is for another of them to place or to report.

        Its number counts the slots of all blocks one after the other; what is on none of the boxes the first reports.
        """
        if not line.channel or reading.origins.get(line.channel.id) not in self.boxless:
            return False
        number = None if line.socket is not None else line.number
        boxes = self.sharing[box.sheet]
        on = [one for one in boxes if number and 1 <= number - self._slots_before(one) <= one.inputs]
        return box is not (on or boxes)[0]

    def _slots_before(self, box: Box) -> int:
        """The slots of all blocks, one after the other, before a box's first."""
        before = box.first - 1
        for block in self.show.file.block if box.block else ():
            if block.id == box.block:
                break
            before += block.slots
        return before

    def _no_place(self, line: Line, socket: int | None, box: Box, several: bool, where: Location) -> str:
        """Why a channel of a box's sheet stands on no socket of it; "" where it does. `several`: it names several boxes."""
        owner = self.boxes.get(fold(line.box))
        if where in self.boxless and (line.socket is not None or not socket or not 1 <= socket <= box.inputs):
            boxes = ", ".join(one.id for one in self.sharing[box.sheet])
            return Said("it names no box, and its sheet is that of {boxes}; write the box", boxes=boxes)
        if line.box and owner and owner.id != box.id:
            return Said(
                "it names box {box}, whose sheet is {sheet}; move the row there",
                box=owner.id,
                sheet=owner.sheet,
            )
        if line.box and not owner and several:
            return Said("it names the box {box!r}, which the show does not have", box=line.box)
        if socket is None:
            return Said("it has neither a socket nor a number")
        if not 1 <= socket <= box.inputs:
            return Said(
                "socket {number} lies past the end of box {box}, which has {inputs} inputs"
                if line.socket
                else "number {number} lies past the end of box {box}, which has {inputs} inputs",
                number=socket if line.socket else line.number, box=box.id, inputs=box.inputs,
            )  # fmt: skip
        return ""

    def _number_shift(self, mine: Sequence[Line], box: Box, reading: Reading) -> int:
        """What to take off a sheet's numbers to get sockets: one answer for a sheet, reported where it was open.

        Numbers may count the box's sockets, the slots of its block, or the slots of all blocks one after the other.
        """
        across = self._slots_before(box)
        if len(self.sharing[box.sheet]) > 1:
            return across
        numbers = [line.number for line in mine if line.channel and line.number and line.socket is None]

        def fitting(shift: int) -> int:
            return sum(shift < number <= shift + box.inputs for number in numbers)

        shifts = [0, box.first - 1, across]
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
        """The boxes, their channels and the blocks that carry them; nothing is planned in it."""
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
                rate_hz=rates.get(box.block, file.rate),
            )
            for box in file.box
        ]
        ports += [Port(id=name, size=size, rate_hz=rates[name]) for name, size in sizes.items()]
        patches = [
            Patch(Slot(box.id, socket), Slot(box.block, box.first + socket - 1))
            for box in file.box
            if box.block
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
