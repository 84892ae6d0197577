"""Clocks: one leader in each domain, everything else following it (common practice)."""

from __future__ import annotations

from chanbridge.check.rule import Facts, Found, Said, Unjudged, both, rule
from chanbridge.check.wiring import device_of, steps
from chanbridge.system import Device


def _domains(facts: Facts) -> dict[str, list[Device]]:
    """Clock domain → the devices that say how they are clocked."""
    found: dict[str, list[Device]] = {}
    for device in facts.devices:
        if device.clock:
            found.setdefault(device.domain, []).append(device)
    return found


def _called(domain: str) -> str:
    return f"clock domain {domain}" if domain else "clock"


@rule("clock-leaders", "error", needs="devices", care="sound")
def clock_leaders(facts: Facts) -> Said:
    """A clock domain with no leader, or with two.

    Fails:
        [[device]]
        id = "A"
        clock = "own"
        [[device]]
        id = "desk"
        clock = "own"
    Passes:
        [[device]]
        id = "A"
        clock = "desk"
        [[device]]
        id = "desk"
        clock = "own"
    """
    unsaid = {device.id for device in facts.devices if not device.clock}
    for domain, devices in _domains(facts).items():
        leaders = [device.id for device in devices if device.clock == "own"]
        followed = sorted({device.clock for device in devices} & unsaid)
        if len(leaders) > 1:
            yield Found(_called(domain), f"{both(leaders)} lead; let one lead and the rest follow it")
        elif not leaders and followed:
            message = f'no device leads: {followed[0]} is followed and does not say its clock; write clock = "own" there'
            yield Found(_called(domain), message)
            unsaid -= {*followed}
    if unsaid:
        yield Unjudged(f"no clock is stated for {', '.join(sorted(unsaid))}")


@rule("transport-leaders", "error", needs="devices", care="sound")
def transport_leaders(facts: Facts) -> Said:
    """Two devices that lead one block or feed: a desk that arrives set to lead is the classic fault; a warning if none does.

    Fails:
        [[device]]
        id = "desk"
        ports = [{id = "in", carries = ["one"], role = "leads"}]
        [[device]]
        id = "monitors"
        ports = [{id = "in", carries = ["one"], role = "leads"}]
    Passes:
        [[device]]
        id = "desk"
        ports = [{id = "in", carries = ["one"], role = "leads"}]
        [[device]]
        id = "monitors"
        ports = [{id = "in", carries = ["one"], role = "listens"}]
    """
    roles: dict[str, dict[str, str]] = {}
    for device in facts.devices:
        for port in device.ports:
            for name in port.carries:
                if port.role:
                    roles.setdefault(name, {})[f"{device.id}.{port.id}"] = port.role
    if not roles:
        yield Unjudged("no port states its role")
    for name, ends in roles.items():
        leaders = [end for end, role in ends.items() if role == "leads"]
        devices = {end.partition(".")[0] for end in leaders}
        if len(devices) > 1:
            yield Found(
                name,
                f"{both(leaders)} lead {name}; set all but one to follow or listen before it is plugged",
            )
        elif not leaders:
            yield Found(
                name,
                f"nothing leads {name}, only {', '.join(ends)} follow or listen; set one to lead",
                (),
                "warning",
            )


@rule("clock-loop", "error", needs="devices", care="sound")
def clock_loop(facts: Facts) -> Said:
    """Devices that follow each other's clock in a circle.

    Fails:
        [[device]]
        id = "A"
        clock = "desk"
        [[device]]
        id = "desk"
        clock = "A"
    Passes:
        [[device]]
        id = "A"
        clock = "desk"
        [[device]]
        id = "desk"
        clock = "own"
    """
    said: set[str] = set()
    for device in facts.devices:
        way: list[str] = []
        at: Device | None = device
        while at and at.id not in way:
            way.append(at.id)
            at = device_of(facts, at.clock)
        if at:
            circle = way[way.index(at.id) :]
            if said.isdisjoint(circle):
                yield Found(
                    f"device {circle[0]}", f"{' follows '.join([*circle, circle[0]])}; let one of them lead"
                )
            said.update(circle)


@rule("clock-unreached", "error", needs="links", care="sound")
def clock_unreached(facts: Facts) -> Said:
    """A device that follows another to which no plugged cable leads; an analogue line carries no clock.

    Fails:
        [[device]]
        id = "A"
        clock = "desk"
        [[device]]
        id = "desk"
        clock = "own"
        [[link]]
        id = "main"
        ends = ["A", "desk"]
        direction = "one way"
    Passes:
        [[device]]
        id = "A"
        clock = "desk"
        [[device]]
        id = "desk"
        clock = "own"
        [[link]]
        id = "main"
        ends = ["A", "desk"]
    """
    onward = steps(facts, frozenset())
    for device in facts.devices:
        if not device_of(facts, device.clock):
            continue
        reached = [device.clock]
        for here in reached:
            reached += [
                step.device
                for step in onward[here]
                if step.link.medium != "analogue" and step.device not in reached
            ]
        if device.id not in reached:
            yield Found(
                f"device {device.id}",
                f"it follows {device.clock}, from which no plugged cable leads here; plug one, or change its clock",
            )


@rule("clock-domains-meet", "error", needs="links", care="sound")
def clock_domains_meet(facts: Facts) -> Said:
    """A cable between two clock domains with no conversion declared at either end.

    Fails:
        [[device]]
        id = "desk"
        clock = "own"
        domain = "house"
        [[device]]
        id = "truck"
        clock = "own"
        domain = "truck"
        [[link]]
        id = "feed"
        ends = ["desk", "truck"]
    Passes:
        [[device]]
        id = "desk"
        clock = "own"
        domain = "house"
        [[device]]
        id = "truck"
        clock = "own"
        domain = "truck"
        conversion = "sampling rate converters at its inputs"
        [[link]]
        id = "feed"
        ends = ["desk", "truck"]
    """
    for link in facts.links:
        ends = [device_of(facts, name) for name in link.devices]
        clocked = [device for device in ends if device and device.clock and link.medium != "analogue"]
        if (
            len(clocked) == 2
            and clocked[0].domain != clocked[1].domain
            and not any(device.conversion for device in clocked)
        ):
            domains = " and ".join(device.domain or "the unnamed one" for device in clocked)
            message = (
                f'clock domains {domains} meet here; let one follow the other, or declare conversion = "…"'
            )
            yield Found(f"link {link.id}", message)
    for device in facts.devices:
        leader = device_of(facts, device.clock)
        if leader and leader.domain != device.domain and not device.conversion:
            message = f"it follows {leader.id}, which is of the clock domain {leader.domain or 'without a name'}; put both in one domain"
            yield Found(f"device {device.id}", message)


@rule("clock-leaves", "error", needs="devices", care="sound")
def clock_leaves(facts: Facts) -> Said:
    """A clock that comes from a device which leaves, as a truck does, while others stay.

    Fails:
        [[device]]
        id = "desk"
        clock = "truck"
        [[device]]
        id = "truck"
        clock = "own"
        leaves = true
    Passes:
        [[device]]
        id = "desk"
        clock = "own"
        [[device]]
        id = "truck"
        clock = "desk"
        leaves = true
    """
    leaving = {device.id for device in facts.devices if device.leaves}
    for name in sorted(leaving):
        stays = [device.id for device in facts.devices if device.clock == name and device.id not in leaving]
        if stays:
            yield Found(
                f"device {name}",
                f"it leaves, and {', '.join(stays)} would lose the clock; clock the room from what stays",
            )


RULES = (clock_leaders, transport_leaders, clock_loop, clock_unreached, clock_domains_meet, clock_leaves)
