"""The show's devices and cables as a graph: what carries what, and the ways that a signal can take."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from chanbridge.check.rule import Facts
from chanbridge.system import Device, DevicePort, Link


def device_of(facts: Facts, name: str) -> Device | None:
    """The device with an id, or None."""
    return next((device for device in facts.devices if device.id == name), None)


def port_at(facts: Facts, link: Link, end: int) -> DevicePort | None:
    """The port that an end (0 or 1) of a link is plugged into, where it names one."""
    return facts.file.port_at(link, end) if facts.file else None


def on_link(facts: Facts, link: Link) -> frozenset[str]:
    """The blocks and feeds on a link: those that it names, else those of its ports."""
    ports = [port for port in (port_at(facts, link, 0), port_at(facts, link, 1)) if port]
    return frozenset(link.carries or [name for port in ports for name in port.carries])


def carries_nothing(facts: Facts, link: Link) -> bool:
    """Whether a link is for power alone: both its ports are named, and neither carries a block or feed."""
    ports = [port_at(facts, link, 0), port_at(facts, link, 1)]
    powered = any(port and (port.gives or port.takes) for port in ports)
    return powered and all(ports) and not on_link(facts, link)


def carried(facts: Facts, device: Device) -> frozenset[str]:
    """The blocks and feeds on a device's ports and cables."""
    names = {name for port in device.ports for name in port.carries}
    for link in facts.links:
        if device.id in link.devices:
            names |= on_link(facts, link)
    return frozenset(names)


class Step(NamedTuple):
    """One cable of a way and the device at its end."""

    link: Link
    device: str


def steps(facts: Facts, names: frozenset[str]) -> dict[str, list[Step]]:
    """Device → where signals of these blocks and feeds can go from it; all cables where none are named.

    A cable that does not say what it carries can carry all, an analogue one no block. A port that listens sends
    nothing.
    """
    found: dict[str, list[Step]] = {device.id: [] for device in facts.devices}
    for link in facts.links:
        on = on_link(facts, link)
        if not link.in_use or (names and on and not names & on) or (names and link.medium == "analogue"):
            continue
        for here in (0, 1) if link.direction == "both" else (0,):
            port = port_at(facts, link, here)
            if not (port and port.role == "listens"):
                found[link.devices[here]].append(Step(link, link.devices[1 - here]))
    return found


MOST_WAYS = 64
"""Ways looked at between two devices."""


def ways(facts: Facts, start: str, end: str, names: frozenset[str]) -> Iterator[tuple[Step, ...]]:
    """The ways from one device to another for these blocks and feeds, shortest first, no device twice."""
    onward = steps(facts, names)
    queue: list[tuple[Step, ...]] = [()]
    said = 0
    for way in queue:
        here = way[-1].device if way else start
        if here == end:
            yield way
            said += 1
            if said == MOST_WAYS:
                return
            continue
        passed = {start, *(step.device for step in way)}
        if len(queue) < 10_000:
            queue += [(*way, step) for step in onward.get(here, ()) if step.device not in passed]
