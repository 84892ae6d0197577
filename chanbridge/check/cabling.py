"""Cables: how long they may be, how many joints, loops, and metal between two supplies."""

from __future__ import annotations

from chanbridge.check.rule import Care, Facts, Found, Said, Unjudged, both, rule
from chanbridge.check.wiring import carried, carries_nothing, device_of, on_link, port_at
from chanbridge.gear import LIMITS, Limit, counted_m
from chanbridge.system import Link

MOST_COUPLERS = 4
"""Joints in a twisted-pair channel: structured cabling allows four connections, from memory."""

_FIBRE = ("multimode fibre", "single-mode fibre")


@rule("run-too-long", "error", needs="links")
def run_too_long(facts: Facts) -> Said:
    """A run longer than its medium or its maker allows; stranded reels count for more than their length.

    24 AWG stranded loses 20 % and counts 1.25 m a metre, 26 AWG loses half and counts 2 m (TIA-568, from memory).

    Fails:
        [[device]]
        id = "A"
        [[device]]
        id = "desk"
        [[link]]
        id = "main"
        ends = ["A", "desk"]
        medium = "twisted pair"
        segments = [{length_m = 30}, {length_m = 60, stranded_awg = 24}]
    Passes:
        [[device]]
        id = "A"
        [[device]]
        id = "desk"
        [[link]]
        id = "main"
        ends = ["A", "desk"]
        medium = "twisted pair"
        segments = [{length_m = 25}, {length_m = 60, stranded_awg = 24}]
    """
    unsaid = []
    for link in facts.links:
        own = Limit(link.limit_m, link.limit_m, "its maker's limit") if link.limit_m else None
        limit = own or LIMITS.get(link.medium or "")
        if not link.segments or not link.medium:
            unsaid.append(link.id)
        if not link.segments or not limit:
            continue
        run = sum(segment.length_m for segment in link.segments)
        counted = sum(counted_m(piece.length_m, piece.stranded_awg, link.medium) for piece in link.segments)
        said = f"{run:g} m" + (
            f", which count as {counted:.4g} because some is stranded" if counted > run else ""
        )
        care: Care = "laser" if link.medium in _FIBRE else ""
        if counted > limit.most:
            message = f"{said}; {limit.most:g} m are the most ({limit.source}): shorten it, or use fibre or a repeater"
            yield Found(f"link {link.id}", message, (), None, care)
        elif counted > limit.sure:
            message = f"{said}; {limit.sure:g} to {limit.most:g} m are the most ({limit.source}): ask the makers, and test it"
            yield Found(f"link {link.id}", message, (), "warning", care)
    if unsaid:
        yield Unjudged(f"no length or medium is stated for {', '.join(unsaid)}")


@rule("couplers", "warning", needs="links")
def couplers(facts: Facts) -> Said:
    """More joints in a twisted-pair run than structured cabling allows: four (from memory).

    Segments that nothing is said about are joined by one coupler each.

    Fails:
        [[device]]
        id = "A"
        [[device]]
        id = "desk"
        [[link]]
        id = "main"
        ends = ["A", "desk"]
        medium = "twisted pair"
        couplers = 5
    Passes:
        [[device]]
        id = "A"
        [[device]]
        id = "desk"
        [[link]]
        id = "main"
        ends = ["A", "desk"]
        medium = "twisted pair"
        couplers = 2
    """
    for link in facts.links:
        if link.medium == "twisted pair" and link.joints > MOST_COUPLERS:
            yield Found(
                f"link {link.id}",
                f"{link.joints} couplers, and {MOST_COUPLERS} are the most; use longer pieces",
            )


@rule("port-twice", "error", needs="links")
def port_twice(facts: Facts) -> Said:
    """Two plugged cables in one port of a device.

    Fails:
        [[device]]
        id = "A"
        ports = [{id = "out", mode = "64@48000"}]
        [[device]]
        id = "desk"
        [[device]]
        id = "truck"
        [[link]]
        id = "one"
        ends = ["A.out", "desk"]
        [[link]]
        id = "two"
        ends = ["A.out", "truck"]
    Passes:
        [[device]]
        id = "A"
        ports = [{id = "out", mode = "64@48000"}, {id = "out 2", mode = "64@48000"}]
        [[device]]
        id = "desk"
        [[device]]
        id = "truck"
        [[link]]
        id = "one"
        ends = ["A.out", "desk"]
        [[link]]
        id = "two"
        ends = ["A.out 2", "truck"]
    """
    plugged: dict[str, list[str]] = {}
    for link in facts.links:
        for end in (0, 1):
            if link.in_use and port_at(facts, link, end):
                plugged.setdefault(link.ends[end], []).append(link.id)
    for port, links in plugged.items():
        if len(links) > 1:
            yield Found(
                f"device {port.partition('.')[0]}",
                f"links {both(links)} end in port {port}; give each a port of its own",
            )


@rule("backup-loop", "error", needs="links", care="sound")
def backup_loop(facts: Facts) -> Said:
    """A network cable that closes a loop, most often a backup that is plugged beside the main one.

    Fails:
        [[device]]
        id = "A"
        [[device]]
        id = "desk"
        [[link]]
        id = "main"
        ends = ["A", "desk"]
        medium = "twisted pair"
        [[link]]
        id = "spare"
        ends = ["A", "desk"]
        medium = "twisted pair"
        backup = true
    Passes:
        [[device]]
        id = "A"
        [[device]]
        id = "desk"
        [[link]]
        id = "main"
        ends = ["A", "desk"]
        medium = "twisted pair"
        [[link]]
        id = "spare"
        ends = ["A", "desk"]
        medium = "twisted pair"
        backup = true
        plugged = false
    """
    # (what is carried, device) → one further on in its group.
    group: dict[tuple[str, str], tuple[str, str]] = {}

    def root(at: tuple[str, str]) -> tuple[str, str]:
        while at in group:
            at = group[at]
        return at

    for link in sorted(facts.links, key=lambda link: link.backup):
        if not _is_network(facts, link) or link.plugged is False or link.redundancy:
            continue
        closes = []
        for name in _networks(facts, link):
            one, two = (root((name, device)) for device in link.devices)
            if one == two:
                closes.append(name)
            else:
                group[one] = two
        if closes:
            ends = f"{' and '.join(link.devices)} are joined already"
            on = f" for {' and '.join(closes)}" if closes[0] else ""
            advice = (
                "leave the backup unplugged and labelled"
                if link.backup
                else "take it out, or make it a backup that stays unplugged and labelled"
            )
            yield Found(
                f"link {link.id}",
                f'it closes a loop: {ends}{on}; {advice}, unless the makers allow it (redundancy = "…")',
            )


def _networks(facts: Facts, link: Link) -> list[str]:
    """What a link carries; where that is not said what both its devices carry, else the one network without a name."""
    on = on_link(facts, link)
    if not on:
        ends = [device_of(facts, name) for name in link.devices]
        on = frozenset.intersection(*(carried(facts, device) for device in ends if device))
    return sorted(on) or [""]


def _is_network(facts: Facts, link: Link) -> bool:
    """Whether a link can be part of a loop: a two-way network cable, not AES10 and not analogue."""
    ports = (port_at(facts, link, 0), port_at(facts, link, 1))
    feeds = {feed.id for feed in facts.file.feed} if facts.file else set()
    aes10 = any(port and port.mode for port in ports) or bool(feeds & on_link(facts, link))
    wired = link.medium not in ("coax", "analogue") and not carries_nothing(facts, link)
    return wired and link.direction == "both" and not aes10


@rule("coax-two-supplies", "warning", needs="links", care="mains")
def coax_two_supplies(facts: Facts) -> Said:
    """Coax between devices on two supply circuits, whose earths it joins: it hums at best.

    Fails:
        [[device]]
        id = "desk"
        circuit = "house"
        [[device]]
        id = "truck"
        circuit = "generator"
        [[link]]
        id = "feed"
        ends = ["desk", "truck"]
        medium = "coax"
    Passes:
        [[device]]
        id = "desk"
        circuit = "house"
        [[device]]
        id = "truck"
        circuit = "generator"
        [[link]]
        id = "feed"
        ends = ["desk", "truck"]
        medium = "multimode fibre"
    """
    unsaid = []
    for link in facts.links:
        if link.medium != "coax" or link.isolated:
            continue
        circuits = [device.circuit for name in link.devices if (device := device_of(facts, name))]
        if not all(circuits):
            unsaid.append(link.id)
        elif circuits[0] != circuits[1]:
            message = f"coax joins two supplies, {circuits[0]} and {circuits[1]}; use fibre or isolation"
            yield Found(f"link {link.id}", message)
    if unsaid:
        yield Unjudged(f"no supply circuit is stated at both ends of {', '.join(unsaid)}")


RULES = (run_too_long, couplers, port_twice, backup_loop, coax_two_supplies)
