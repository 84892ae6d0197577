"""What a rule is, what it is given, and how all of them are asked.

A rule is a function with a name, a severity and a docstring. The docstring says what it finds and holds two
examples, under `Fails:` and `Passes:`; tests run both, and `chanbridge check --explain RULE` prints them. An
example is written as files:

- its first lines are a sheet, as CSV; alone they are checked as a sheet;
- a line `== NAME.csv` begins another sheet;
- lines `key = …` and all from the first `[[table]]` on belong to a show.toml, to which is added what it does not
  have itself: box A with 8 inputs and the sheet a.csv (the first lines; without them one row, `1,Kick`) on the
  block one of 8 slots, and the recipient desk that takes it.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, NamedTuple

from chanbridge.errors import Location, Problem
from chanbridge.model import LISTED, Channel, ChannelMap, Slot
from chanbridge.system import Device, Link, ShowFile

Severity = Literal["error", "warning", "note"]
SEVERITIES: tuple[Severity, ...] = ("error", "warning", "note")

Care = Literal["", "sound", "phantom", "power", "mains", "laser"]

CARE: Mapping[str, str] = {
    "": "",
    "sound": "Mute loudspeakers and in-ears before you repatch or change a clock.",
    "phantom": "Mute loudspeakers and in-ears first, and ask whoever supplies phantom before it is switched.",
    "power": "Power over a cable: the makers' instructions decide.",
    "mains": "Mains and earthing are a licensed electrician's work, after local codes; never lift a safety earth.",
    "laser": "Never look into a fibre or its socket; follow the maker's instructions.",
}
"""The usual cautions. A finding that touches gear or people carries one."""


class Sheet(NamedTuple):
    """A sheet of a show: the file's name, and whose it is. `use`: a box's, a recipient's own list, or another."""

    source: str
    owner: str
    use: Literal["box", "kept", "wants", "issued", "act"]
    map: ChannelMap


class Missing(NamedTuple):
    """A channel that a recipient (by id) does not get, and why. `wanted`: it should."""

    recipient: str
    channel: Channel
    reason: str
    wanted: bool


@dataclass(frozen=True)
class Facts:
    """All that rules look at. A plain sheet has a map, its origins and its problems, and no show file.

    `origins`: channel id → the row it came from. `unplaced`: channels that no socket was found for, and why.
    `left_off`: feed → the channels that it does not carry, for a feed and those that continue it once. `ungiven`:
    recipient → what it asks for and the show does not have. `acts`: the same for each act, `clashes`: what is
    noteworthy in an act beside those before it.
    """

    map: ChannelMap
    file: ShowFile | None = None
    origins: Mapping[str, Location] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()
    unplaced: tuple[tuple[Channel, str], ...] = ()
    missing: tuple[Missing, ...] = ()
    left_off: Mapping[str, tuple[Channel, ...]] = field(default_factory=dict)
    ungiven: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    sheets: tuple[Sheet, ...] = ()
    acts: tuple[tuple[str, Facts], ...] = ()
    clashes: tuple[str, ...] = ()

    @cached_property
    def sources(self) -> Mapping[Slot, tuple[Slot, ...]]:
        """Slot → the slots patched into it."""
        found: dict[Slot, tuple[Slot, ...]] = {}
        for source, target in self.map.patches:
            found[target] = (*found.get(target, ()), source)
        return found

    @cached_property
    def entered(self) -> Mapping[Slot, tuple[Channel, ...]]:
        """Slot → the channels that come in there."""
        channels = {channel.id: channel for channel in self.map.channels}
        found: dict[Slot, tuple[Channel, ...]] = {}
        for name, slot in self.map.entries:
            found[slot] = (*found.get(slot, ()), channels[name])
        return found

    @cached_property
    def sockets(self) -> Mapping[str, tuple[Slot, ...]]:
        """Channel id → the sockets by which it comes in."""
        found: dict[str, tuple[Slot, ...]] = {}
        for name, slot in self.map.entries:
            if self.map.port(slot.port).kind == "sockets":
                found[name] = (*found.get(name, ()), slot)
        return found

    @cached_property
    def standing(self) -> Mapping[str, Mapping[str, int]]:
        """Port → channel id → the first slot in which the channel stands there."""
        found: dict[str, dict[str, int]] = {port.id: {} for port in self.map.ports}
        for port, places in found.items():
            for number, channel, _, _ in self.map.sheet(port):
                if channel:
                    places.setdefault(channel.id, number)
        return found

    @cached_property
    def places(self) -> Mapping[str, Mapping[str, int]]:
        """Channel id → port → the first slot in which it stands there, sockets last."""
        found: dict[str, dict[str, int]] = {channel.id: {} for channel in self.map.channels}
        for port in sorted(self.map.ports, key=lambda port: port.kind == "sockets"):
            for name, number in self.standing[port.id].items():
                found[name][port.id] = number
        return found

    @cached_property
    def overflow(self) -> Mapping[str, tuple[Channel, ...]]:
        """Feed → the channels that it has no room for; one that is continued stands for all that continue it."""
        found: dict[str, tuple[Channel, ...]] = {}
        for feed in self.file.feed if self.file else ():
            group = (
                [item for item in self.file.feed if feed.id in (item.id, item.continues)] if self.file else []
            )
            here = sum(len(self.standing.get(item.id, ())) for item in group)
            lost = self.left_off.get(feed.id, ())
            if here + len(lost) > sum(item.mode.slots for item in group):
                found[feed.id] = lost
        return found

    @property
    def devices(self) -> tuple[Device, ...]:
        """The show's devices; none of a plain sheet."""
        return self.file.device if self.file else ()

    @property
    def links(self) -> tuple[Link, ...]:
        """The show's cables; none of a plain sheet."""
        return self.file.link if self.file else ()

    def where(self, channel: Channel, slot: Slot | None = None) -> str:
        """The row that a channel came from, else the slot given, else its id."""
        place = str(self.origins.get(channel.id, ""))
        return place or (self.place(slot) if slot else channel.id)

    def place(self, slot: Slot) -> str:
        """A slot for people: `socket A 3`, `slot 12`, `slot 12 of block-1`."""
        port = self.map.port(slot.port)
        if port.kind == "sockets":
            return f"socket {port.device} {slot.number}".replace("  ", " ")
        return f"slot {slot.number}" if port.id == LISTED else f"slot {slot.number} of {port.id}"


class Found(NamedTuple):
    """What a rule says. `severity` and `care`: where they differ from the rule's own."""

    where: str
    message: str
    channels: tuple[Channel, ...] = ()
    severity: Severity | None = None
    care: Care | None = None


class Unjudged(NamedTuple):
    """What a rule cannot say, and why."""

    reason: str


class Finding(NamedTuple):
    """Something to look at. `where`: a row, a slot, a device; `channels` by name; `caution`: see CARE."""

    rule: str
    severity: Severity
    where: str
    channels: tuple[str, ...]
    message: str
    caution: str = ""


class NotJudged(NamedTuple):
    """A rule that could not be asked, in whole or in part."""

    rule: str
    reason: str


class Report(NamedTuple):
    """Findings, the worst first, and what could not be judged."""

    findings: tuple[Finding, ...]
    not_judged: tuple[NotJudged, ...]


Said = Iterator[Found | Unjudged]
Find = Callable[[Facts], Said]
Need = Literal["", "show", "devices", "links"]

_LACKING: dict[Need, str] = {
    "show": "a sheet alone does not say it; check the show",
    "devices": "no [[device]] is declared",
    "links": "no [[link]] is declared",
}


@dataclass(frozen=True)
class Rule:
    """A named rule. `needs`: what must be declared before it can be asked."""

    name: str
    severity: Severity
    find: Find
    needs: Need = ""
    care: Care = ""

    @property
    def doc(self) -> str:
        """What it finds, with its two examples, as in the source."""
        return inspect.cleandoc(self.find.__doc__ or "")

    def examples(self) -> tuple[str, str]:
        """The docstring's failing and its passing example."""
        found = re.fullmatch(r".*\nFails:\n(.*)\nPasses:\n(.*)", self.doc, re.DOTALL)
        if not found:
            raise ValueError(f"the rule {self.name} lacks an example under Fails: and one under Passes:")
        return inspect.cleandoc("\n" + found[1]), inspect.cleandoc("\n" + found[2])

    def ask(self, facts: Facts) -> Iterator[Finding | NotJudged]:
        """What the rule finds."""
        there = {"": True, "show": facts.file, "devices": facts.devices, "links": facts.links}
        if not there[self.needs]:
            yield NotJudged(self.name, _LACKING[self.needs if facts.file else "show"])
            return
        for said in self.find(facts):
            if isinstance(said, Unjudged):
                yield NotJudged(self.name, said.reason)
                continue
            care = self.care if said.care is None else said.care
            names = tuple(channel.name or channel.id for channel in said.channels)
            yield Finding(
                self.name, said.severity or self.severity, said.where, names, said.message, CARE[care]
            )


def rule(name: str, severity: Severity, needs: Need = "", care: Care = "") -> Callable[[Find], Rule]:
    """Make a rule of a function."""
    return lambda find: Rule(name, severity, find, needs, care)


def ask_all(
    rules: Iterable[Rule], facts: Facts, only: Collection[str] = (), without: Collection[str] = ()
) -> Report:
    """Ask rules, those named in `only` where any is, none of those in `without`; what an act adds comes after."""
    asked = [each for each in rules if (not only or each.name in only) and each.name not in without]
    said = {item: "" for each in asked for item in each.ask(facts)}
    for act, its_facts in facts.acts:
        for item in [item for each in asked for item in each.ask(its_facts)]:
            said.setdefault(item, act)
    findings = [
        item._replace(where=f"act {act}, {item.where}") if act else item
        for item, act in said.items()
        if isinstance(item, Finding)
    ]
    findings.sort(key=lambda item: SEVERITIES.index(item.severity))
    return Report(tuple(findings), tuple(item for item in said if isinstance(item, NotJudged)))


def named(channels: Iterable[Channel], most: int = 4) -> str:
    """`'Kick' and 'Snare'`, or the first few and how many more."""
    names = [repr(channel.name or channel.id) for channel in channels]
    if len(names) > most:
        names = [*names[: most - 1], f"{len(names) - most + 1} more"]
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def both(names: Sequence[str]) -> str:
    """`A and B both`, `A, B and C all`."""
    return f"{', '.join(names[:-1])} and {names[-1]} {'both' if len(names) == 2 else 'all'}"
