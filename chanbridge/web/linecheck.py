"""What the crew ticks at the line check: one cell for each channel and destination, whoever says it and in whatever order.

A tick names the ticks of its cell that whoever made it had seen. What nobody has seen and answered stays in sight, so
ticks that were kept back by a dead network change nothing in silence, and the order in which they come in says nothing.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from chanbridge.errors import ChanbridgeError
from chanbridge.journal import Entry

KIND = "tick"
"""The kind of the journal's entries with ticks; each holds one or more under "ticks"."""

RESULTS = {
    "arrived": "arrived",
    "dead": "dead",
    "wrong": "wrong",
    "noisy": "noisy",
    "swapped": "swapped",
    "": "not ticked",
}
"""What a tick can say, and how it is read out; "" takes back what was said."""

RED = ("dead", "wrong", "noisy", "swapped")
"""Results that somebody has to walk for."""

LONGEST = {
    "id": 64,
    "channel": 200,
    "at": 64,
    "result": 16,
    "other": 200,
    "note": 200,
    "who": 40,
    "place": 80,
    "made": 24,
}
"""Characters of each text in a tick."""

MOST_SEEN = 32
MOST_AT_ONCE = 200
"""Ticks in one message: far more than anybody makes while the network is away."""

_ID = re.compile(r"[0-9A-Za-z-]{8,64}")
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d{1,3})?Z", re.ASCII)
_CONTROL = re.compile(r"[\x00-\x1f\x7f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")


class TickError(ChanbridgeError):
    """A tick that says nothing that can be kept."""


class Tick(NamedTuple):
    """What someone says of a channel (by id) at a destination (a recipient's id).

    `id` is made by the page that sends it, so that a tick that is sent twice counts once. `other`: the channel that it
    is swapped with. `place`: where the channel stood when it was ticked, such as `A12 > 14`. `made`: when it was
    ticked, by the clock of the page, UTC as ISO 8601. `sees`: ids of the ticks that it answers.
    """

    id: str
    channel: str
    at: str
    result: str
    other: str = ""
    note: str = ""
    who: str = ""
    place: str = ""
    made: str = ""
    sees: tuple[str, ...] = ()

    @property
    def cell(self) -> tuple[str, str]:
        """The channel and the destination."""
        return self.channel, self.at

    def data(self) -> dict[str, Any]:
        """As the journal and the page have it."""
        return {name: value for name, value in self._asdict().items() if value or name == "result"}


class Kept(NamedTuple):
    """A tick in the journal: the number of its entry, and when it was written, UTC as ISO 8601."""

    tick: Tick
    number: int
    when: str

    def data(self) -> dict[str, Any]:
        """As the page has it."""
        return {**self.tick.data(), "when": self.when}


def understood(said: Any) -> Tick:
    """A tick as a page sends it. Raises TickError."""
    if not isinstance(said, dict) or not said.keys() <= set(Tick._fields):
        raise TickError("this is no tick")
    fields: dict[str, Any] = {}
    for name, value in said.items():
        if name == "sees":
            continue
        if not isinstance(value, str) or len(value) > LONGEST[name] or _CONTROL.search(value):
            raise TickError(f"{name}: write a text of at most {LONGEST[name]} characters in one line")
        fields[name] = value.strip()
    seen = said.get("sees", [])
    if not isinstance(seen, list) or len(seen) > MOST_SEEN or not all(map(_is_id, seen)):
        raise TickError(f"sees: name at most {MOST_SEEN} ticks")
    if not _is_id(fields.get("id")) or not fields.get("channel") or not fields.get("at"):
        raise TickError("a tick has an id of its own, a channel and a destination")
    if fields.get("result", "") not in RESULTS:
        raise TickError(
            f"there is no result {fields['result']!r}; there are {', '.join(filter(None, RESULTS))}"
        )
    if fields.get("made") and not _TIME.fullmatch(fields["made"]):
        raise TickError("made: write a time such as 2026-12-12T18:30:00Z")
    fields.setdefault("result", "")
    return Tick(**fields, sees=tuple(dict.fromkeys(seen)))


def _is_id(value: Any) -> bool:
    return isinstance(value, str) and _ID.fullmatch(value) is not None


class Ticks:
    """All ticks of a show. The same ticks give the same cells, in whatever order and however often they are added."""

    def __init__(self) -> None:
        self.kept: dict[str, Kept] = {}
        self._cells: dict[tuple[str, str], list[Kept]] = {}
        self._answered: set[tuple[tuple[str, str], str]] = set()

    @classmethod
    def of(cls, entries: Iterable[Entry]) -> Ticks:
        """The ticks in a journal's entries; entries of other kinds are passed over. Raises TickError."""
        made = cls()
        for entry in entries:
            made.read(entry)
        return made

    def read(self, entry: Entry) -> list[Kept]:
        """Add what an entry of the journal holds; returns what is new."""
        if entry.kind != KIND:
            return []
        said = entry.body.get("ticks", ())
        if not isinstance(said, list | tuple):
            raise TickError(f"entry {entry.number} of the journal holds no ticks")
        found = [Kept(understood(one), entry.number, entry.at) for one in said]
        return [kept for kept in found if self.add(kept)]

    def add(self, kept: Kept) -> bool:
        """Add a tick; False where it is there already."""
        tick = kept.tick
        if tick.id in self.kept:
            return False
        self.kept[tick.id] = kept
        self._cells.setdefault(tick.cell, []).append(kept)
        self._answered.update((tick.cell, seen) for seen in tick.sees)
        return True

    def standing(self, channel: str, at: str) -> tuple[Kept, ...]:
        """What stands of a cell: every tick that no other has answered, the oldest first; () where there is none.

        More than one that do not say the same are a conflict.
        """
        cell = (channel, at)
        found = [kept for kept in self._cells.get(cell, ()) if (cell, kept.tick.id) not in self._answered]
        return tuple(sorted(found, key=lambda kept: (kept.number, kept.tick.id)))

    def result(self, channel: str, at: str) -> str:
        """What a cell says: a result, "" for nothing, "conflict" where people disagree."""
        said = {(kept.tick.result, kept.tick.other) for kept in self.standing(channel, at)}
        return "conflict" if len(said) > 1 else next(iter(said))[0] if said else ""

    def cells(self) -> Iterator[tuple[str, str]]:
        """Every cell that was ever ticked: channel and destination."""
        return iter(self._cells)

    def all(self) -> list[Kept]:
        """All ticks as they came in."""
        return sorted(self.kept.values(), key=lambda kept: kept.number)


def _now(ticks: Ticks, channel: str, at: str, places: Collection[str]) -> str:
    """The result of a cell, "moved" where it arrived at a place that it does not have now."""
    result = ticks.result(channel, at)
    ticked = [kept.tick.place for kept in ticks.standing(channel, at)]
    if result == "arrived" and not any(place in ("", *places) for place in ticked):
        return "moved"
    return result


_ODD = {"conflict": "in dispute", "moved": "moved since it was ticked"}

HEADING = (
    "Written",
    "Ticked",
    "Who",
    "Channel",
    "Name",
    "Destination",
    "Result",
    "With",
    "Note",
    "Stood at",
    "Counts",
    "Tick",
)
_RUNS = re.compile(r"'*[=@+\-\t\r]")


def as_csv(ticks: Ticks, names: Mapping[str, str]) -> str:
    """Every tick as CSV (RFC 4180), a row each, in the order in which they came in. `names`: channel id → name.

    `Counts` is yes for what stands now. A cell that a spreadsheet would run as a formula has an apostrophe before it.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(HEADING)
    for kept in ticks.all():
        tick = kept.tick
        counts = "yes" if kept in ticks.standing(*tick.cell) else "no"
        name, other = names.get(tick.channel, ""), names.get(tick.other, tick.other)
        row = (
            kept.when, tick.made, tick.who, tick.channel, name, tick.at, RESULTS[tick.result], other, tick.note, tick.place,
            counts, tick.id,
        )  # fmt: skip
        writer.writerow([f"'{cell}" if _RUNS.match(cell) else cell for cell in row])
    return out.getvalue()


def summed(
    ticks: Ticks, stands: Mapping[str, Mapping[str, Collection[str]]], names: Mapping[str, str]
) -> tuple[str, ...]:
    """The line check in a few lines, for the cover of a hand-over; () where nothing was ever ticked.

    `stands`: destination → id of each channel that it gets → its places there, as a tick names them. `names`: id →
    name, of channels and destinations. What arrived at another place is not taken to arrive where it stands now.
    """
    if not ticks.kept:
        return ()
    lines = []
    for at, channels in stands.items():
        said = {channel: _now(ticks, channel, at, places) for channel, places in channels.items()}
        arrived = sum(result == "arrived" for result in said.values())
        line = f"{names.get(at, at)}: {arrived} of {len(channels)} arrived"
        odd = [
            f"{names.get(channel, channel)} {_ODD.get(result, result)}"
            for channel, result in said.items()
            if result not in ("", "arrived")
        ]
        open_ = sum(not result for result in said.values())
        line += f", {open_} not ticked" if open_ else ""
        lines.append(f"{line}; {', '.join(odd)}" if odd else line)
    last = ticks.all()[-1]
    return (*lines, f"Last tick: {last.when}" + (f", {last.tick.who}" if last.tick.who else ""))
