"""Phantom, and power over the cable."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Literal

from chanbridge.check.rule import Facts, Found, Said, Unjudged, both, named, rule
from chanbridge.check.wiring import device_of, port_at
from chanbridge.gear import AT_DEVICE_W, AT_SOURCE_W
from chanbridge.model import Channel
from chanbridge.names import fold, vocabulary
from chanbridge.system import CablePower, Device, DevicePort, Link

# What needs phantom, and what it can harm, in six languages; from memory.
_CONDENSER = re.compile(
    r"condens|kondensator|elektret|electret|statique|boundary|grenzflache|\bpzm\b|electreto", re.IGNORECASE
)
_RIBBON = re.compile(
    r"\bribbon|bandchen|\bruban|\bcinta\b|\bnastro\b|\blint\w*microfoon|bandmicrofoon", re.IGNORECASE
)
_ACTIVE = re.compile(r"\b(?:activ[eao]|actif|aktiv\w*|attiv[ao]|actie(?:f|ve))\b", re.IGNORECASE)
_POWERED_ITSELF = re.compile(r"batter|akku|\bpile\b|\bpila\b", re.IGNORECASE)

_NO_PREAMP = ("line", "digital", "playback", "wireless", "mix", "return")


def is_di(channel: Channel) -> bool:
    """Whether a channel comes through a DI box: by its kind, or by a word of what it stands on (`DI aktiv`)."""
    words, kinds = fold(channel.transducer), vocabulary().kinds
    return channel.kind == "di" or any(kinds.get(word) == "di" for word in (words, *words.split()))


def needs_phantom(channel: Channel) -> bool:
    """Whether a channel's microphone or DI works only with phantom: what its list says, else its words."""
    if channel.needs_power is not None:
        return channel.needs_power
    if channel.kind in ("line", "digital", "wireless", "mix", "return"):
        return False
    words = fold(f"{channel.transducer} {channel.notes if is_di(channel) else ''}")
    if _POWERED_ITSELF.search(words):
        return False
    return bool(_CONDENSER.search(words) or (is_di(channel) and _ACTIVE.search(words)))


def harmed_by_phantom(channel: Channel) -> Literal["", "source", "ribbon"]:
    """What a channel is where phantom can harm it: a line or other "source" with an output of its own, or a "ribbon"."""
    words = fold(channel.transducer)
    if _RIBBON.search(words) and not (channel.needs_power or _ACTIVE.search(words)):
        return "ribbon"
    return "source" if channel.kind in _NO_PREAMP and not is_di(channel) else ""


@rule("phantom-missing", "error", care="phantom")
def phantom_missing(facts: Facts) -> Said:
    """A condenser or an active DI without phantom; a warning where its list leaves it open.

    Fails:
        Slot,Name,Mic,Phantom
        1,Kick,large dynamic,no
        2,Overhead,small condenser,no
    Passes:
        Slot,Name,Mic,Phantom
        1,Kick,large dynamic,no
        2,Overhead,small condenser,yes
    """
    stated = any(channel.phantom != "unknown" for channel in facts.map.channels)
    needing = [channel for channel in facts.map.channels if needs_phantom(channel)]
    if not stated:
        yield Unjudged("no list says where phantom is on")
    for channel in needing if stated else ():
        what = channel.transducer or "what it stands on"
        if channel.phantom == "off":
            yield Found(
                facts.where(channel),
                f"{channel.name!r} ({what}) needs phantom and has it off; switch it on, or check what it is",
                (channel,),
            )
        elif channel.phantom == "unknown":
            message = f"{channel.name!r} ({what}) needs phantom and the list does not say; write yes or no"
            yield Found(facts.where(channel), message, (channel,), "warning")


@rule("phantom-on-line", "error", care="phantom")
def phantom_on_line(facts: Facts) -> Said:
    """Phantom on a line, playback, digital or wireless source, a mix or a return, whose output it can harm.

    Fails:
        Slot,Name,Mic,Phantom
        1,Playback,line,yes
    Passes:
        Slot,Name,Mic,Phantom
        1,Playback,line,no
    """
    for channel in facts.map.channels:
        if channel.phantom == "on" and harmed_by_phantom(channel) == "source":
            message = f"{channel.name!r} is a {channel.kind} source and has phantom on; switch it off, or put a DI or isolator before it"
            yield Found(facts.where(channel), message, (channel,))


@rule("phantom-on-ribbon", "warning", care="phantom")
def phantom_on_ribbon(facts: Facts) -> Said:
    """Phantom on a ribbon microphone, which a bad cable or a patch can then destroy.

    Fails:
        Slot,Name,Mic,Phantom
        1,Trumpet,ribbon,yes
    Passes:
        Slot,Name,Mic,Phantom
        1,Trumpet,ribbon,no
    """
    for channel in facts.map.channels:
        if channel.phantom == "on" and harmed_by_phantom(channel) == "ribbon":
            yield Found(
                facts.where(channel),
                f"{channel.name!r} is a ribbon and has phantom on; switch it off unless its maker asks for it",
                (channel,),
            )


@rule("phantom-supplier", "error", needs="devices", care="phantom")
def phantom_supplier(facts: Facts) -> Said:
    """At a copper split: phantom from two suppliers, from none though it is needed, or from behind a transformer.

    Fails:
        Socket,Name,Mic,Phantom
        1,Overhead,small condenser,yes
        [[device]]
        id = "split"
        split = {box = "A", direct = ["desk"], isolated = ["monitors"], phantom = ["desk", "monitors"]}
        [[device]]
        id = "monitors"
    Passes:
        Socket,Name,Mic,Phantom
        1,Overhead,small condenser,yes
        [[device]]
        id = "split"
        split = {box = "A", direct = ["desk"], isolated = ["monitors"], phantom = ["desk"]}
        [[device]]
        id = "monitors"
    """
    for device in facts.devices:
        split = device.split
        if not split:
            continue
        where = f"device {device.id}"
        blocked = [name for name in split.phantom if name in split.isolated]
        here = [
            channel
            for channel in facts.map.channels
            if any(slot.port == split.box for slot in facts.sockets.get(channel.id, ()))
        ]
        needing = tuple(channel for channel in here if channel.phantom == "on" or needs_phantom(channel))
        if len(split.phantom) > 1:
            yield Found(
                where,
                f"{both(split.phantom)} supply phantom to box {split.box}; agree on the one that is wired straight through",
            )
        elif blocked:
            yield Found(
                where,
                f"{blocked[0]} hangs on an isolated output, which passes no phantom; let {' or '.join(split.direct) or 'a direct output'} supply it",
            )
        elif not split.phantom and needing:
            yield Found(
                where,
                f'box {split.box} has {named(needing)} that need phantom and no one supplies it; name who does: phantom = ["…"]',
                needing,
                "warning",
            )


def _left(given: CablePower) -> float:
    """Watts that a source has for the device at the far end."""
    return given.watts if given.watts is not None else AT_DEVICE_W[given.power_class or 0]


def _used(taken: CablePower) -> float:
    """Watts that a device takes at its end."""
    return taken.watts if taken.watts is not None else AT_DEVICE_W[taken.power_class or 0]


def _sent(taken: CablePower) -> float:
    """Watts that its source must send for it: those of its class, or of the least class that does."""
    if taken.not_standard:
        return _used(taken)
    if taken.power_class is not None:
        return AT_SOURCE_W[taken.power_class]
    return min(
        (sent for sent, left in zip(AT_SOURCE_W, AT_DEVICE_W, strict=True) if left >= _used(taken)),
        default=_used(taken),
    )


def _powered(facts: Facts) -> Iterator[tuple[Link, DevicePort | None, DevicePort, Device]]:
    """Cables to a port that takes power: with the port at the other end, if one is named, and the device that takes."""
    for link in facts.links:
        for end in (0, 1):
            taker, giver = port_at(facts, link, end), port_at(facts, link, 1 - end)
            device = device_of(facts, link.devices[end])
            if taker and taker.takes and device and link.plugged is not False:
                yield link, giver, taker, device


@rule("cable-power-class", "error", needs="links", care="power")
def cable_power_class(facts: Facts) -> Said:
    """Power over a cable that does not suffice, or that follows no class at one end only.

    Fails:
        [[device]]
        id = "hub"
        ports = [{id = "1", gives = {class = 3}}]
        [[device]]
        id = "desk"
        ports = [{id = "net", takes = {class = 4}}]
        [[link]]
        id = "main"
        ends = ["hub.1", "desk.net"]
    Passes:
        [[device]]
        id = "hub"
        ports = [{id = "1", gives = {class = 4}}]
        [[device]]
        id = "desk"
        ports = [{id = "net", takes = {class = 4}}]
        [[link]]
        id = "main"
        ends = ["hub.1", "desk.net"]
    """
    for link, giver, taker, device in _powered(facts):
        takes, gives = taker.takes, giver.gives if giver else None
        if not takes:
            continue
        where = f"link {link.id}"
        if not gives:
            if giver and not device.circuit:
                yield Found(
                    where,
                    f"{device.id} takes power from this cable and the other end gives none; put an injector or another supply",
                    (),
                    "warning",
                )
        elif fold(gives.not_standard) != fold(takes.not_standard):
            odd = f"{gives.not_standard or 'a class'} at one end and {takes.not_standard or 'a class'} at the other"
            yield Found(where, f"the power is {odd}; the two do not mix and may break gear")
        elif _used(takes) > _left(gives):
            yield Found(
                where,
                f"{device.id} takes {_used(takes):g} W and {_left(gives):g} W arrive; use a port of a higher class, or its own supply",
            )


@rule("cable-power-budget", "error", needs="links", care="power")
def cable_power_budget(facts: Facts) -> Said:
    """A device that powers others over cables with more watts than its budget.

    Fails:
        [[device]]
        id = "hub"
        budget_w = 50
        ports = [{id = "1", gives = {class = 4}}, {id = "2", gives = {class = 4}}]
        [[device]]
        id = "desk"
        ports = [{id = "net", takes = {class = 4}}]
        [[device]]
        id = "A"
        ports = [{id = "net", takes = {class = 4}}]
        [[link]]
        id = "one"
        ends = ["hub.1", "desk.net"]
        [[link]]
        id = "two"
        ends = ["hub.2", "A.net"]
    Passes:
        [[device]]
        id = "hub"
        budget_w = 60
        ports = [{id = "1", gives = {class = 4}}, {id = "2", gives = {class = 4}}]
        [[device]]
        id = "desk"
        ports = [{id = "net", takes = {class = 4}}]
        [[device]]
        id = "A"
        ports = [{id = "net", takes = {class = 4}}]
        [[link]]
        id = "one"
        ends = ["hub.1", "desk.net"]
        [[link]]
        id = "two"
        ends = ["hub.2", "A.net"]
    """
    loads: dict[str, list[float]] = {}
    for link, giver, taker, device in _powered(facts):
        source = next(name for name in link.devices if name != device.id)
        if giver and giver.gives and taker.takes:
            loads.setdefault(source, []).append(_sent(taker.takes))
    for name, load in loads.items():
        source_device = device_of(facts, name)
        budget = source_device.budget_w if source_device else None
        if budget is None:
            yield Unjudged(f"{name} states no budget_w")
        elif sum(load) > budget:
            yield Found(
                f"device {name}",
                f"it powers {len(load)} cables with {sum(load):g} W and has {budget:g} W; feed one of them otherwise",
            )


RULES = (
    phantom_missing,
    phantom_on_line,
    phantom_on_ribbon,
    phantom_supplier,
    cable_power_class,
    cable_power_budget,
)
