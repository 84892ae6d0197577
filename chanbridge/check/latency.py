"""Latency: what each way adds up to, and where two ways of one sound meet."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from chanbridge.check.audience import inside, mixes
from chanbridge.check.rule import Facts, Found, Said, Unjudged, named, rule
from chanbridge.check.wiring import Step, device_of, ways
from chanbridge.model import Channel


class Term(NamedTuple):
    """What one device or cable adds, in ms, and where the figure is from."""

    what: str
    ms: float
    origin: str

    def __str__(self) -> str:
        return f"{self.what} {self.ms:g} {self.origin}"


class Way(NamedTuple):
    """A way from a box to a recipient. `unsaid`: devices on it that state no latency."""

    terms: tuple[Term, ...]
    unsaid: tuple[str, ...]

    @property
    def total_ms(self) -> float:
        """What all that is known of it adds up to, in ms."""
        return sum(term.ms for term in self.terms)

    def __str__(self) -> str:
        return f"{self.total_ms:.4g} ms ({' + '.join(map(str, self.terms))})"


def _way(facts: Facts, box: str, path: tuple[Step, ...]) -> Way:
    terms, unsaid = [], []
    for step in (None, *path):
        if step and step.link.latency_ms:  # a cable without a figure adds microseconds
            terms.append(Term(step.link.id, step.link.latency_ms, step.link.latency_origin))
        device = device_of(facts, step.device if step else box)
        if device and device.latency_ms is not None:
            terms.append(Term(device.id, device.latency_ms, device.latency_origin))
        elif device:
            unsaid.append(device.id)
    return Way(tuple(terms), tuple(unsaid))


def all_ways(facts: Facts) -> dict[tuple[str, str], list[Way]]:
    """(box, recipient) → the ways between them by plugged cables, for what the recipient takes of the box."""
    found: dict[tuple[str, str], list[Way]] = {}
    file = facts.file
    if not file:
        return found
    carrying = {
        feed.id: next((item.blocks for item in file.feed if item.id == feed.continues), feed.blocks)
        for feed in file.feed
    }
    on: dict[str, set[str]] = {}
    for source, target in facts.map.patches:
        on.setdefault(source.port, set()).add(target.port)
    for box in dict.fromkeys(port.id for port in facts.map.ports if port.kind == "sockets"):
        blocks = on.get(box, set()) & {block.id for block in file.block}
        carries = blocks | {feed for feed, on in carrying.items() if blocks & {*on}}
        for recipient in file.recipient:
            takes = {*recipient.heard}
            takes |= {block for feed in takes for block in carrying.get(feed, ())}
            names = frozenset(takes & carries)
            if names and device_of(facts, recipient.id):
                paths = ways(facts, box, recipient.id, names)
                found[box, recipient.id] = [_way(facts, box, path) for path in paths]
    return found


@rule("latency-over", "warning", needs="links")
def latency_over(facts: Facts) -> Said:
    """A way from a box to a recipient that takes longer than the recipient can bear, term by term.

    Published listening tests put the limit anywhere from 42 ms down to under 1.4 ms (Lester and Boley, AES, 2007,
    at second hand): so the show says it, with bears_ms.

    Fails:
        [[device]]
        id = "A"
        latency_ms = 0.6
        [[device]]
        id = "desk"
        latency_ms = 1.8
        latency_origin = "common practice"
        bears_ms = 2
        [[link]]
        id = "main"
        ends = ["A", "desk"]
    Passes:
        [[device]]
        id = "A"
        latency_ms = 0.6
        [[device]]
        id = "desk"
        latency_ms = 1.2
        bears_ms = 2
        [[link]]
        id = "main"
        ends = ["A", "desk"]
    """
    limits = {device.id: device.bears_ms for device in facts.devices if device.bears_ms is not None}
    if not limits:
        yield Unjudged("no device says what latency it can bear (bears_ms)")
    for (box, recipient), found in all_ways(facts).items():
        if recipient not in limits:
            continue
        if not found:
            yield Unjudged(f"no plugged cables lead from {box} to {recipient}")
            continue
        way, most = max(found, key=lambda way: way.total_ms), limits[recipient]
        if round(way.total_ms, 6) > most:
            yield Found(
                recipient, f"from {box} it takes {way}, and {most:g} ms can be borne; take a shorter way"
            )
        elif way.unsaid:
            yield Unjudged(f"no latency is stated for {', '.join(way.unsaid)}")


def first_notch_hz(apart_ms: float) -> float:
    """The frequency in Hz at which two like sounds this far apart first cancel: 1 / (2 Δt)."""
    return 1000 / (2 * apart_ms)


@rule("latency-ways-meet", "warning", needs="links", care="sound")
def latency_ways_meet(facts: Facts) -> Said:
    """Two ways of one sound to a recipient that take unlike times, one of them perhaps in a mix: they cancel in part.

    Fails:
        [[device]]
        id = "A"
        latency_ms = 0.5
        [[device]]
        id = "bridge"
        latency_ms = 1
        [[device]]
        id = "desk"
        latency_ms = 0.5
        [[link]]
        id = "direct"
        ends = ["A", "desk"]
        [[link]]
        id = "first"
        ends = ["A", "bridge"]
        [[link]]
        id = "second"
        ends = ["bridge", "desk"]
    Passes:
        [[device]]
        id = "A"
        latency_ms = 0.5
        [[device]]
        id = "bridge"
        latency_ms = 1
        [[device]]
        id = "desk"
        latency_ms = 0.5
        [[link]]
        id = "first"
        ends = ["A", "bridge"]
        [[link]]
        id = "second"
        ends = ["bridge", "desk"]
    """
    for (box, recipient), found in all_ways(facts).items():
        known = sorted((way for way in found if not way.unsaid), key=lambda way: way.total_ms)
        if len(known) > 1:
            said = f"{box} arrives by two ways, {known[0]} and {known[-1]}"
            yield from _apart(recipient, said, known[0], known[-1], "use one of them", ())
    for mix, recipient, channels, direct, within in _mixed(facts):
        unsaid = dict.fromkeys((*direct.unsaid, *within.unsaid))
        if unsaid:
            yield Unjudged(f"no latency is stated for {', '.join(unsaid)}")
            continue
        said = f"{named(channels)}: alone after {direct}, in {mix.name!r} after {within}"
        yield from _apart(recipient, said, direct, within, "do not open both", (mix, *channels))


def _apart(where: str, said: str, one: Way, two: Way, remedy: str, channels: tuple[Channel, ...]) -> Said:
    apart = round(abs(one.total_ms - two.total_ms), 6)
    if apart:
        notch = f"with like polarity and level the first notch is at {first_notch_hz(apart):.0f} Hz, with unlike level it is partial"
        yield Found(where, f"{said}, {apart:g} ms apart; {remedy}. Heard together {notch}", channels)


def _mixed(facts: Facts) -> Iterator[tuple[Channel, str, tuple[Channel, ...], Way, Way]]:
    """Mixes that a recipient gets beside channels in them: with the way of those channels, alone and in the mix."""
    recipients = [item.id for item in facts.file.recipient if device_of(facts, item.id)] if facts.file else []
    makers = {name: facts.map.port(slot.port).device for name, slot in facts.map.entries}
    for mix in mixes(facts):
        maker = makers.get(mix.id, "")
        for recipient in recipients if device_of(facts, maker) else ():
            here = facts.standing[recipient]
            both = [channel for channel in inside(facts.map, mix) if channel.id in here and mix.id in here]
            for box in dict.fromkeys(
                slot.port for channel in both for slot in facts.sockets.get(channel.id, ())
            ):
                alone, first, then = (
                    next(ways(facts, start, end, frozenset()), None)
                    for start, end in ((box, recipient), (box, maker), (maker, recipient))
                )
                if recipient != maker and alone and first and then:
                    of_box = tuple(
                        item
                        for item in both
                        if any(slot.port == box for slot in facts.sockets.get(item.id, ()))
                    )
                    within = _way(facts, box, (*first, *then))
                    yield mix, recipient, of_box, _way(facts, box, alone), within


RULES = (latency_over, latency_ways_meet)
