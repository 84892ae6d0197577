"""Channels that stand elsewhere on the other list: each cause once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from chanbridge.compare.change import Change, Kind
from chanbridge.compare.match import ALIKE, Match, Matching
from chanbridge.compare.patterns import Shift, arrange
from chanbridge.compare.places import UNIT, Item
from chanbridge.compare.wording import (
    called,
    name_of,
    place,
    shown,
    slot_text,
    socket_or_none,
    socket_text,
    steps,
    through,
)
from chanbridge.model import Line

Found = tuple[tuple[int, ...], Change]
"""Indexes of the matches concerned, the first of them in the reference's order, and the change."""


def moves(found: Matching) -> Iterator[Found]:
    """Every change of place: other sources in one place, then shifts, swaps and single moves of slots and of sockets."""
    yield from _Moves(found).changes()


class _Moves:
    """The matches of two lists, and which of their differences of place are not explained yet."""

    def __init__(self, found: Matching) -> None:
        self.found = found
        self.matches = found.matches
        self.row_of = {pair.reference.channel.id: row for row, pair in enumerate(self.matches)}
        self.slots: set[int] = set()
        self.sockets: set[int] = set()
        common = found.common
        for row, pair in enumerate(self.matches):
            if pair.score < ALIKE:
                continue
            one, two = pair.reference, pair.other
            if common.slots and one.slot != two.slot:
                self.slots.add(row)
            elsewhere = bool(one.socket and one.box and two.box and one.box != two.box)
            if common.sockets and (one.socket != two.socket or elsewhere):
                self.sockets.add(row)
        self.wired = {
            item.slot: (item.box, item.socket)
            for item in (*(pair.reference for pair in self.matches), *found.missing)
            if item.slot and item.socket
        }

    def changes(self) -> Iterator[Found]:
        for row, pair in enumerate(self.matches):
            if pair.score < ALIKE:
                yield (row,), self._other_source(pair)
        here = [row for row, pair in enumerate(self.matches) if pair.score >= ALIKE]
        slots = [row for row in here if self.matches[row].reference.slot and self.matches[row].other.slot]
        if self.found.common.slots and self._reordered(slots):
            yield self._reorder(len(here))
        yield from self._arranged("slot", slots, self.slots, lambda item: item.slot or 0)
        sockets = [
            row for row in here if self.matches[row].reference.socket and self.matches[row].other.socket
        ]
        yield from self._arranged("socket", sockets, self.sockets, self._counted_on())
        yield from self._alone()

    def _other_source(self, pair: Match) -> Change:
        mine, theirs = pair.reference.line, pair.other.line
        where = socket_or_none(mine) if pair.by == "socket" else slot_text(mine)
        message = f"{where} carries {called(theirs)} on the other list, {called(mine)} here: another source, or another name for it?"
        return Change("resourced", (name_of(mine), name_of(theirs)), mine, theirs, message)

    # Patterns

    def _arranged(
        self, what: str, rows: list[int], open_rows: set[int], number: Callable[[Item], int]
    ) -> Iterator[Found]:
        """The patterns in the numbers of some rows; what they explain is taken out of the open rows."""
        if not open_rows.intersection(rows):
            return
        at = []
        for row in rows:
            one = number(self.matches[row].reference)
            at.append((one, number(self.matches[row].other) if row in open_rows else one))
        found = arrange(at)
        for shift in found.shifts:
            chosen = tuple(rows[step] for step in shift.rows)
            along = sum(map(self._socket_goes_along, chosen)) * 2 > len(chosen)  # one alone is another cause
            self._explain(chosen, what, along=along)
            yield chosen, self._shift(what, shift, chosen)
        for group in found.swaps:
            pairs = [(rows[one], rows[two]) for one, two in group]
            chosen = tuple(row for pair in pairs for row in pair)
            self._explain(chosen, what)
            if all(self._exchanged(one, two) for one, two in pairs):
                self._explain(chosen, "socket")
            yield chosen, self._swap(what, pairs)
        for moved, closed in found.jumps:
            row, others = rows[moved], tuple(rows[step] for step in closed)
            if all(self._socket_goes_along(other) == self._socket_goes_along(row) for other in others):
                self._explain((row, *others), what)
                yield (row, *others), self._jump(what, row, others)

    def _socket_goes_along(self, row: int) -> bool:
        """Whether a row's socket changed as its slot did: the name moved, the wires did not."""
        if row not in self.sockets:
            return False
        one, two = self.matches[row].reference, self.matches[row].other
        if not (one.slot and two.slot and one.socket and two.socket):
            return False
        if two.slot in self.wired:
            return self.wired[two.slot] == (two.box or self.wired[two.slot][0], two.socket)
        return one.box == two.box and two.socket - one.socket == two.slot - one.slot

    def _exchanged(self, one: int, two: int) -> bool:
        """Whether two have each other's sockets."""
        first, second = self.matches[one], self.matches[two]
        return self._socket(first.other) == self._socket(second.reference) and (
            self._socket(second.other) == self._socket(first.reference)
        )

    def _socket(self, item: Item) -> tuple[str, int | None]:
        return item.box if self.found.common.boxes else "", item.socket

    def _explain(self, rows: Iterable[int], what: str, *, along: bool = True) -> None:
        """Take what a finding says out of what is open. `along`: sockets that went along with their slots are part of it."""
        for row in rows:
            gone = what == "slot" and along and self._socket_goes_along(row)
            if what == "slot":
                self.slots.discard(row)
            if what == "socket" or gone:
                self.sockets.discard(row)

    def _lines(self, rows: Iterable[int]) -> tuple[tuple[Line | None, Line | None], ...]:
        return tuple((self.matches[row].reference.line, self.matches[row].other.line) for row in rows)

    def _change(self, kind: Kind, rows: tuple[int, ...], message: str, offset: int | None = None) -> Change:
        names = tuple(self.matches[row].reference.channel.name for row in rows)
        first = self.matches[rows[0]]
        lines = self._lines(rows) if len(rows) > 1 else ()
        return Change(kind, names, first.reference.line, first.other.line, message, lines, offset)

    def _shift(self, what: str, shift: Shift, rows: tuple[int, ...]) -> Change:
        first, last = self.matches[rows[0]].reference, self.matches[rows[-1]].reference
        names = [self.matches[row].reference.channel.name for row in rows]
        there = steps(shift.offset)
        if what == "slot":
            where = f"slots {_said(first.line.number)} to {_said(last.line.number)}"
        else:
            where = f"sockets {socket_text(first.line)} to {socket_text(last.line)}"
            if any(self.matches[row].reference.box != self.matches[row].other.box for row in rows):
                ends = (socket_text(self.matches[row].other.line) for row in (rows[0], rows[-1]))
                there = " to ".join(ends)
        start = self._start(what, first, shift.offset, rows[0])
        message = f"{where} are {there} on the other list ({through(names)}), {start}"
        return self._change("shift", rows, message, shift.offset)

    def _start(self, what: str, first: Item, offset: int, row: int) -> str:
        """Where a shift begins, for people: at a box, behind a channel that is missing, behind one put in."""
        before = self.matches[row - 1].reference if row else None
        if what == "slot" and first.slot and offset < 0:
            out = [
                item
                for item in self.found.missing
                if item.slot and first.slot + offset <= item.slot < first.slot
            ]
            if out:
                return f"after {out[-1].channel.name!r}, which is missing"
        if what == "slot" and first.slot and offset > 0:
            put = [
                item
                for item in self.found.extra
                if item.slot and first.slot <= item.slot < first.slot + offset
            ]
            if put:
                return f"where {put[0].channel.name!r} was put in"
        if first.box and before and before.box != first.box:
            return f"starting where box {shown(first.line.box)} begins"
        return f"from {first.channel.name!r} on"

    def _swap(self, what: str, pairs: list[tuple[int, int]]) -> Change:
        one, two = ([self.matches[pair[side]] for pair in pairs] for side in (0, 1))
        rows = tuple(row for pair in pairs for row in pair)
        if len(pairs) == 1:
            mine, theirs = one[0].reference, two[0].reference
            places = f"{_place(what, mine.line)} and {_place(what, theirs.line)}"
            if one[0].reference.channel.pair and theirs.channel.id == one[0].reference.channel.pair.partner:
                message = f"{mine.channel.name!r} and {theirs.channel.name!r} have changed places ({places}): the pair is reversed"
                return self._change("pair", rows, message)
            message = f"{mine.channel.name!r} and {theirs.channel.name!r} have changed places: {places}"
            return self._change("swap", rows, message)
        ranges = [
            f"{_place(what, side[0].reference.line)} to {_place(what, side[-1].reference.line)}"
            for side in (one, two)
        ]
        names = through([pair.reference.channel.name for pair in (*one, *two)])
        return self._change("swap", rows, f"{ranges[0]} and {ranges[1]} have changed places ({names})")

    def _jump(self, what: str, row: int, closed: tuple[int, ...]) -> Change:
        pair = self.matches[row]
        names = [self.matches[other].reference.channel.name for other in sorted(closed)]
        there, here = _place(what, pair.other.line), _place(what, pair.reference.line)
        message = f"{pair.reference.channel.name!r}: stands on {there} on the other list, {here} here; {through(names)} closed up by one"
        change = self._change("moved", (row, *closed), message)
        return change._replace(channels=(pair.reference.channel.name,))

    def _counted_on(self) -> Callable[[Item], int]:
        """A number for each socket that counts on from box to box, in the order of the boxes on the lists."""
        last: dict[str, int] = {}
        for item in (*(pair.reference for pair in self.matches), *(pair.other for pair in self.matches)):
            last[item.box] = max(last.get(item.box, 0), item.socket or 0)
        before, total = {}, 0
        for box, most in last.items():
            before[box] = total
            total += most
        boxed = self.found.common.boxes
        return lambda item: (item.socket or 0) + (before[item.box] if boxed else 0)

    def _reordered(self, rows: list[int]) -> bool:
        """Whether so much is in other places that single moves would hide the cause: another order."""
        found = arrange(
            [(self.matches[row].reference.slot or 0, self.matches[row].other.slot or 0) for row in rows]
        )
        findings = sum(map(len, (found.shifts, found.swaps, found.jumps, found.single)))
        return findings >= UNIT and findings * 4 > len(rows)

    def _reorder(self, matched: int) -> Found:
        """One change for a list in another order; sockets that went along with their slots are part of it."""
        rows = tuple(sorted(self.slots))
        stayed = not any(row in self.sockets for row in rows)
        self._explain(rows, "slot")
        names = through([self.matches[row].reference.channel.name for row in rows])
        message = f"{len(rows)} of {matched} channels have another number on the other list, in another order ({names})"
        if self.found.common.sockets and stayed:
            message += (
                ": their sockets agree, so each list may number its own desk; --by socket leaves numbers out"
            )
        return rows, self._change("moved", rows, message)

    # One by one

    def _alone(self) -> Iterator[Found]:
        """What no pattern explains; both sides of a pair that went together are one change."""
        done: set[int] = set()
        for row in sorted(self.slots | self.sockets):
            if row in done:
                continue
            pair = self.matches[row]
            partner = pair.reference.channel.pair and pair.reference.channel.pair.partner
            mate = self.row_of.get(partner) if partner else None
            together = (
                mate is not None and mate not in done and self._step(row) == self._step(mate) is not None
            )
            rows = (row, mate) if together and mate is not None else (row,)
            done |= set(rows)
            kind, message = self._single(row, mate)
            if len(rows) == 2:
                message = f"{message}; {called(self.matches[rows[1]].reference.line)} with it"
            yield rows, self._change(kind, rows, message)

    def _step(self, row: int) -> tuple[object, ...] | None:
        """How a row moved, to tell whether its partner moved along; None where it did not."""
        if row not in self.slots and row not in self.sockets:
            return None
        one, two = self.matches[row].reference, self.matches[row].other
        slots = two.slot - one.slot if row in self.slots and one.slot and two.slot else None
        sockets = two.socket - one.socket if row in self.sockets and one.socket and two.socket else None
        return None if slots is sockets is None else (slots, sockets, two.box)

    def _single(self, row: int, mate: int | None) -> tuple[Kind, str]:
        one, two = self.matches[row].reference, self.matches[row].other
        mine, theirs = one.line, two.line
        split = ""
        if mate is not None and one.slot and two.slot and row in self.slots:
            beside, then = self.matches[mate].reference.slot, self.matches[mate].other.slot
            if beside and then and abs(one.slot - beside) == 1 != abs(two.slot - then):
                split = f": the pair with {called(self.matches[mate].reference.line)} is split"
        if row in self.sockets:
            moved = row in self.slots
            slots = f", and {slot_text(theirs)} instead of {slot_text(mine)}" if moved else ""
            message = f"{called(mine)}: has {socket_or_none(theirs)} on the other list, {socket_or_none(mine)} here{slots}{split}"
            return "resourced", message
        there, here_text = slot_text(theirs), slot_text(mine)
        if bool(mine.number) != bool(theirs.number):  # of one list the slots were worked out from its sockets
            there, here_text = (
                place(line) if item.slot else slot_text(line) for line, item in ((theirs, two), (mine, one))
            )
        message = f"{called(mine)}: stands on {there} on the other list, {here_text} here{split}"
        return ("pair" if split else "moved"), message


def _said(number: int | None) -> str:
    return str(number) if number else "-"


def _place(what: str, line: Line) -> str:
    return (
        slot_text(line)
        if what == "slot" and line.number
        else place(line)
        if what == "slot"
        else socket_or_none(line)
    )
