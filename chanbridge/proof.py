"""What arrives in every slot when every channel sends, against the sheets as they are printed.

The sheets are read back from their bytes; what arrives is heard in samples that went through every patch and, coded
and decoded, through every feed. That proves that the paper agrees with itself. It proves no cable.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import NamedTuple

from chanbridge import formats
from chanbridge.aes10.carry import Carried, carry
from chanbridge.assemble import Planned
from chanbridge.assemble.returns import outputs_of
from chanbridge.errors import Location, ReadError
from chanbridge.formats.text import plain
from chanbridge.model import ChannelMap, Line, Port, Slot
from chanbridge.names import counted, fold
from chanbridge.said import Said
from chanbridge.sheets.ledger import Reading
from chanbridge.system import ShowFile

SHEET_KINDS = (".csv", ".xml", ".txt", ".xlsx")
"""The kinds of a recipient's sheet that can be read back; of a workbook, where it lies in a folder."""

AGREES = "as printed"


class Paper(NamedTuple):
    """Sheets of one port, as they were read back: (name, reading). `planned`: channel id → slots of the port."""

    recipient: str
    port: str
    sheets: tuple[tuple[str, Reading], ...]
    planned: Mapping[str, tuple[int, ...]] = {}


class Wanted(NamedTuple):
    """Where the sheets of one port lie in a hand-over: `stem` is their path without the ending."""

    map: ChannelMap
    recipient: str
    port: str
    stem: str
    kinds: tuple[str, ...]
    planned: Mapping[str, tuple[int, ...]]


class Proved(NamedTuple):
    """One slot: what the paper says, what arrived, and whether that is the same. `why` is for people."""

    recipient: str
    port: str
    slot: int
    expected: str | None
    arrived: str | None
    verdict: str
    why: str = ""
    label: str = ""


class Stray(NamedTuple):
    """A channel that should have arrived in a slot and did not, or that nobody expected there."""

    recipient: str
    port: str
    slot: int | None
    id: str
    name: str


class Proof(NamedTuple):
    """Every slot of every recipient; `lost` is planned and did not arrive, `unexpected` arrived and is on no paper."""

    slots: tuple[Proved, ...] = ()
    lost: tuple[Stray, ...] = ()
    unexpected: tuple[Stray, ...] = ()
    problems: tuple[str, ...] = ()

    @property
    def holds(self) -> bool:
        """Whether everything is as printed."""
        return not (self.lost or self.unexpected or self.problems) and all(
            slot.verdict == AGREES for slot in self.slots
        )

    def joined(self, other: Proof) -> Proof:
        """Both proofs as one."""
        return Proof(
            self.slots + other.slots,
            self.lost + other.lost,
            self.unexpected + other.unexpected,
            self.problems + other.problems,
        )

    def report(self) -> dict[str, object]:
        """The proof as plain data."""
        return {
            "verdict": "proved" if self.holds else "not proved",
            "slots": [slot._asdict() for slot in self.slots],
            "lost": [stray._asdict() for stray in self.lost],
            "unexpected": [stray._asdict() for stray in self.unexpected],
            "problems": list(self.problems),
        }

    def lines(self, *recipients: str) -> list[str]:
        """What is to be said of these recipients together: one line, then only what is wrong."""
        mine = [slot for slot in self.slots if slot.recipient in recipients]
        wrong = [slot for slot in mine if slot.verdict != AGREES]
        shown = {(slot.port, slot.slot) for slot in wrong}
        agree = len(mine) - len(wrong)
        out: list[str] = [
            Said("paper agrees with itself: {agree} of {all}; no cable tested", agree=agree, all=len(mine))
        ]
        out += [f"!! {slot.port} {slot.slot}: {slot.why}" for slot in wrong]
        out += [
            f"!! {stray.name}: {f'planned for {stray.port} {stray.slot}' if stray.slot else 'stands on no slot'}; it does not arrive"
            for stray in self.lost
            if stray.recipient in recipients and (stray.port, stray.slot) not in shown
        ]
        return out

    def recipients(self) -> list[str]:
        """Who was proved, in order."""
        proved = [*(slot.recipient for slot in self.slots), *(stray.recipient for stray in self.lost)]
        return [*dict.fromkeys(proved)]


def prove_sheet(reading: Reading) -> Proof:
    """Prove a sheet: its map carried out, against the sheet itself and the list that is written from it.

    A list is about one port, a whole map about every port where patches end. A list without slots is about the
    sockets of its boxes. Raises ReadError where no channel stands anywhere.
    """
    whole = reading.map
    left = {source[0] for source, _ in whole.patches}
    ends = [port for port in whole.ports if port.kind != "sockets" and port.id not in left]
    listed = whole.listed_port()
    if listed is not None and not all(port.mode or port.rate_hz or port.kind != "block" for port in ends):
        ends = [whole.port(listed)]
    ends = ends or [port for port in whole.ports if port.kind == "sockets"]
    if not ends:
        raise ReadError(
            "no channel stands on a slot or socket here; there is nothing to prove", Location(reading.source)
        )
    nowhere = [line.channel for line in whole.lines(listed) if line.channel and _is_nowhere(line, ends)]
    proof = Proof(lost=tuple(Stray(ends[0].id, ends[0].id, None, one.id, one.name) for one in nowhere))
    papers = []
    for port in ends:
        sheets = [(reading.source, reading)] if port.id == listed or port.kind == "sockets" else []
        written = formats.write(whole, formats.named("csv"), port.id)
        sheets.append((f"{port.id}.csv", _read(f"{port.id}.csv", written)))
        standing: dict[str, tuple[int, ...]] = {}
        for line in whole.lines(port.id):
            if line.channel and line.number:
                standing[line.channel.id] = (*standing.get(line.channel.id, ()), line.number)
        papers.append(Paper(port.id, port.id, tuple(sheets), standing))
    return proof.joined(prove(whole, papers))


def _is_nowhere(line: Line, ends: Sequence[Port]) -> bool:
    return line.number is None if ends[0].kind != "sockets" else line.socket is None


def wanted(file: ShowFile, planned: Planned) -> list[Wanted]:
    """The sheets that a hand-over has to hold, those of acts too."""
    out = []
    for prefix, one in planned.parts():
        for delivery in one.deliveries:
            name = delivery.recipient.id
            out.append(
                Wanted(one.map, prefix + name, name, f"{prefix}{name}/sheet", SHEET_KINDS, delivery.delivered)
            )
        ports = {port.id for port in one.map.ports}
        for box in file.box if one.returns else ():
            out.append(Wanted(one.map, prefix + box.id, box.id, f"{prefix}{box.id}/inputs", (".csv",), {}))
            port = outputs_of(box.id)
            if port in ports:
                out.append(Wanted(one.map, prefix + box.id, port, f"{prefix}{box.id}/outputs", (".csv",), {}))
    return out


def prove_show(
    file: ShowFile, planned: Planned, find: Callable[[str], bytes | None], folder: str = ""
) -> Proof:
    """Prove every sheet of a hand-over; `find` gives the bytes of a path in it, None where there is no such file.

    `folder` names it in messages. Raises ReadError where a recipient has no sheet at all, or one has rows that cannot
    be read.
    """
    proof = Proof()
    places = wanted(file, planned)
    for whole in dict.fromkeys(id(one.map) for one in places):
        mine = [one for one in places if id(one.map) == whole]
        papers = []
        for one in mine:
            found = [(name, find(name)) for name in (one.stem + kind for kind in one.kinds)]
            sheets = tuple((name, _read(name, data)) for name, data in found if data is not None)
            if not sheets:
                raise ReadError(
                    f"there is no sheet of {one.recipient} here; it should be called {found[0][0]}",
                    Location(folder),
                )
            papers.append(Paper(one.recipient, one.port, sheets, one.planned))
        proof = proof.joined(prove(mine[0].map, papers))
    return proof


def _read(name: str, data: bytes) -> Reading:
    reading = formats.read_data(data, name, formats.of_suffix(name))
    formats.refuse_rejected(reading)
    return reading


def prove(whole: ChannelMap, papers: Sequence[Paper]) -> Proof:
    """Carry a map out and compare what arrives in each slot of these ports with what each of their sheets says."""
    carried = carry(whole)
    judge = _Judge(whole, carried)
    slots: list[Proved] = []
    lost: list[Stray] = []
    unexpected: list[Stray] = []
    for paper in papers:
        port = whole.port(paper.port)
        printed = [
            _Sheet(name, _printed(reading, port), "id" in reading.layout) for name, reading in paper.sheets
        ]
        numbers = {
            *range(1, port.size + 1),
            *(slot.number for slot in carried.arrived if slot.port == port.id),
        }
        numbers |= {number for sheet in printed for number in sheet.lines}
        for number in sorted(numbers):
            slot = Slot(port.id, number)
            proved = [judge.slot(paper.recipient, slot, sheet) for sheet in printed]
            slots.append(next((one for one in proved if one.verdict != AGREES), proved[0]))
            unexpected += [
                Stray(paper.recipient, port.id, number, arrival.channel, judge.name(arrival.channel))
                for arrival in carried.arrived.get(slot, ())
                if not any(judge.names(sheet, number, arrival.channel) for sheet in printed)
            ]
        lost += judge.lost(paper, port)
    return Proof(tuple(slots), tuple(lost), tuple(unexpected), carried.problems)


def _printed(reading: Reading, port: Port) -> dict[int, list[Line]]:
    """What a sheet says of each slot; of a box's sockets where it has no slots."""
    rows = reading.map.lines(
        port.id if port.id in {item.id for item in reading.map.ports} else reading.map.listed_port()
    )
    out: dict[int, list[Line]] = {}
    for line in rows:
        number = line.number
        if number is None and port.kind == "sockets" and fold(line.box) in ("", fold(port.device or port.id)):
            number = line.socket
        if number is not None:
            out.setdefault(number, []).append(line)
    return out


class _Sheet(NamedTuple):
    """A printed sheet: slot → its lines. `with_ids`: whether it prints the channels' ids."""

    name: str
    lines: Mapping[int, list[Line]]
    with_ids: bool


class _Judge:
    """Compares lines of sheets with what arrived."""

    def __init__(self, whole: ChannelMap, carried: Carried) -> None:
        self.whole = whole
        self.carried = carried
        self.sockets: dict[str, set[tuple[str, int]]] = {}
        for name, slot in whole.entries:
            port = whole.port(slot[0])
            if port.kind == "sockets":
                self.sockets.setdefault(name, set()).add((port.device or port.id, slot[1]))

    def name(self, channel_id: str) -> str:
        """What people call a channel."""
        channel = self.whole.channel(channel_id)
        return (channel.name if channel else "") or channel_id

    def slot(self, recipient: str, slot: Slot, sheet: _Sheet) -> Proved:
        """One slot against the lines that one sheet has for it."""
        arrivals = self.carried.arrived.get(slot, ())
        lines = sheet.lines.get(slot.number, [])
        said = [line for line in lines if line.channel]
        if not said and any(
            line.text and self.names(sheet, slot.number, one.channel) for line in lines for one in arrivals
        ):
            said = lines  # a channel whose name means "nothing", on a sheet without ids
        expected = " + ".join(
            (line.channel.name or line.channel.id) if line.channel else line.text for line in said
        )
        arrived = " + ".join(
            self.name(one.channel) + ("" if one.times == 1 else f" ({one.times} times)") for one in arrivals
        )
        label, sender = self.carried.labels.get(slot, ("", ""))
        verdict, why = AGREES, ""
        if len(said) > 1:
            verdict, why = "several on paper", "and a slot carries one channel"
        elif len(arrivals) > 1 or any(one.times != 1 for one in arrivals):
            verdict, why = "several arrive", f"and {arrived!r} arrive together"
        elif said and not arrivals:
            verdict, why = "nothing arrives", "and nothing arrives"
        elif arrivals and not said:
            verdict, why = "not on paper", f"and {arrived!r} arrives"
        elif said:
            verdict, why = self._one(said[0], arrivals[0].channel, sheet.with_ids)
            if verdict == AGREES and label and sender != arrivals[0].channel:
                verdict, why = (
                    "wrong label",
                    f"and it arrives under the label {label!r} of {self.name(sender)!r}",
                )
        why = (
            f"{sheet.name} says {expected!r} {why}"
            if expected
            else f"{sheet.name} says that it is empty {why}"
        )
        return Proved(
            recipient, slot.port, slot.number, expected or None, arrived or None, verdict,
            "" if verdict == AGREES else why, label,
        )  # fmt: skip

    def _one(self, line: Line, channel_id: str, with_ids: bool) -> tuple[str, str]:
        """What a printed line says wrongly about the channel that arrives."""
        channel = self.whole.channel(channel_id)
        said = line.channel
        if said is None or channel is None:
            return AGREES, ""
        if _same(said.name) != _same(channel.name) or (with_ids and said.id != channel.id):
            other = (
                self.name(channel_id)
                if _same(said.name) != _same(channel.name)
                else f"the one with id {channel.id}"
            )
            return "wrong channel", f"and {other!r} arrives"
        places = self.sockets.get(channel_id, set())
        if (
            line.socket
            and places
            and not any(line.socket == number and fold(line.box) in ("", fold(box)) for box, number in places)
        ):
            real = " and ".join(f"{box} {number}" for box, number in sorted(places))
            return "wrong socket", f"from {line.box} {line.socket} and it arrives from {real}"
        if said.pair and channel.pair and said.pair.side != channel.pair.side:
            return "wrong side", f"as {said.pair.side} and the {channel.pair.side} arrives"
        return AGREES, ""

    def names(self, sheet: _Sheet, number: int, channel_id: str) -> bool:
        """Whether a sheet has the name of a channel on a slot."""
        wanted = _same(self.name(channel_id))
        return any(
            wanted == _same((line.channel.name or line.channel.id) if line.channel else line.text)
            for line in sheet.lines.get(number, [])
        )

    def lost(self, paper: Paper, port: Port) -> Iterator[Stray]:
        """Channels that were planned for slots of a port and do not arrive there."""
        for name, numbers in paper.planned.items():
            for number in numbers:
                heard = {arrival.channel for arrival in self.carried.arrived.get(Slot(port.id, number), ())}
                if name not in heard:
                    yield Stray(paper.recipient, port.id, number, name, self.name(name))


def _same(name: str) -> str:
    """A name as two sheets would both write it."""
    return fold(" ".join(plain(name).split()))


def for_people(proof: Proof) -> list[str]:
    """The proof as text: recipient by recipient, then how it ends."""
    out = []
    for recipient in proof.recipients():
        first, *wrong = proof.lines(recipient)
        out += [f"{recipient}: {first}", *(f"    {line}" for line in wrong)]
    out += [f"!! {problem}" for problem in proof.problems]
    wrong_slots = sum(slot.verdict != AGREES for slot in proof.slots)
    if proof.holds:
        out.append(f"Proved: {counted(len(proof.slots), 'slot')} as printed.")
    else:
        out.append(
            f"NOT PROVED: {counted(wrong_slots, 'slot')} not as printed, {counted(len(proof.lost), 'channel')} lost."
        )
    return out
