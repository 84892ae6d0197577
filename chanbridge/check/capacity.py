"""Capacities and sampling rates: what fits, and whether both ends run alike."""

from __future__ import annotations

from chanbridge.check.rule import Facts, Found, Said, Unjudged, named, rule
from chanbridge.check.wiring import carried, carries_nothing, device_of, on_link, port_at
from chanbridge.names import counted
from chanbridge.system import Link

WORD_BITS = 24
"""Bits of a sample on a network transport (common practice)."""

NEARLY = 0.9
"""The share of a network cable above which samples leave too little for framing: 40 channels at 24 bit and
96 kHz are 92.16 Mbit/s and fill a 100 Mbit/s hop (computed)."""


@rule("over-capacity", "error", needs="show")
def over_capacity(facts: Facts) -> Said:
    """More channels than a feed's mode, an AES10 port or a network cable has room for; a note if all are not for air.

    Fails:
        [[block]]
        id = "one"
        slots = 64
        [[device]]
        id = "A"
        ports = [{id = "out", mode = "56@48000", carries = ["one"]}]
    Passes:
        [[block]]
        id = "one"
        slots = 40
        [[device]]
        id = "A"
        ports = [{id = "out", mode = "56@48000", carries = ["one"]}]
    """
    sizes, rates = slots(facts), block_rates(facts)
    feeds = facts.file.feed if facts.file else ()
    for feed in feeds:
        given_up = facts.overflow.get(feed.id, ())
        lost = tuple(sorted(given_up, key=lambda channel: channel.audience.air == "not allowed"))
        if lost:
            group = [item for item in feeds if feed.id in (item.id, item.continues)]
            total = len(lost) + sum(len(facts.standing.get(item.id, ())) for item in group)
            modes = " + ".join(str(item.mode) for item in group)
            quiet = all(channel.audience.air == "not allowed" for channel in lost)
            advice = "none of them is for air" if quiet else "choose a mode or a second feed that holds them"
            message = (
                f"{modes} holds {total - len(lost)} of {total} channels, without {named(lost)}; {advice}"
            )
            yield Found(feed.id, message, lost, "note" if quiet else None)
    for device in facts.devices:
        for port in device.ports:
            need = sum(sizes[name] for name in port.carries if name not in _feeds(facts))
            if port.mode and need > port.mode.slots:
                message = f"{' and '.join(port.carries)} have {counted(need, 'slot')}, and {port.mode} holds {port.mode.slots}; make it a feed, or take two ports"
                yield Found(f"{device.id}.{port.id}", message)
    for link in facts.links:
        names = on_link(facts, link)
        if link.speed_mbit and names:
            bits = sum(sizes[name] * WORD_BITS * rates[name] for name in names) / 1e6
            if bits > NEARLY * link.speed_mbit:
                full = bits > link.speed_mbit
                text = "do not fit on" if full else "leave too little for framing on"
                message = f"{bits:.2f} Mbit/s of samples each way {text} {link.speed_mbit} Mbit/s; use a faster cable and nothing else on it"
                yield Found(f"link {link.id}", message, (), None if full else "warning")


def _feeds(facts: Facts) -> set[str]:
    return {feed.id for feed in facts.file.feed} if facts.file else set()


def slots(facts: Facts) -> dict[str, int]:
    """Block, feed or return → its slots."""
    file = facts.file
    if not file:
        return {}
    found = {block.id: block.slots for block in file.block}
    found |= {feed.id: feed.mode.slots for feed in file.feed}
    return found | {sent.id: 1 + sent.stereo for sent in file.returns}


def block_rates(facts: Facts) -> dict[str, int]:
    """Block, feed or return → its sampling rate in Hz; a return runs at the show's."""
    file = facts.file
    if not file:
        return {}
    found = {sent.id: file.rate for sent in file.returns}
    found |= {block.id: block.rate or file.rate for block in file.block}
    return found | {feed.id: feed.mode.rate_hz for feed in file.feed}


def _end_rates(facts: Facts, link: Link) -> list[int]:
    """The rates in Hz that the ends of a link state, one for each that does."""
    rates = []
    for end in (0, 1):
        port = port_at(facts, link, end)
        device = device_of(facts, link.devices[end])
        rate = (port.rate_hz if port else None) or (device.rate if device and not device.conversion else None)
        rates += [rate] if rate else []
    return rates


@rule("rate-differs", "error", needs="links", care="sound")
def rate_differs(facts: Facts) -> Said:
    """Two ends of a link, or a link and what it carries, that run at different sampling rates.

    Fails:
        [[device]]
        id = "A"
        rate = 48000
        [[device]]
        id = "desk"
        rate = 96000
        [[link]]
        id = "main"
        ends = ["A", "desk"]
    Passes:
        [[device]]
        id = "A"
        rate = 48000
        [[device]]
        id = "desk"
        rate = 48000
        [[link]]
        id = "main"
        ends = ["A", "desk"]
    """
    rates = block_rates(facts)
    silent = []
    for link in facts.links:
        ends = _end_rates(facts, link)
        on = {rates[name] for name in on_link(facts, link)}
        stated = {*ends, *([link.rate] if link.rate else []), *on}
        if len(stated) > 1:
            said = " and ".join(f"{rate} Hz" for rate in sorted(stated))
            carries = f" with {' and '.join(sorted(on_link(facts, link)))}" if on else ""
            yield Found(
                f"link {link.id}",
                f"{' and '.join(link.ends)}{carries} run at {said}; set one rate, or declare a conversion",
            )
        elif len(ends) < 2 and not link.rate and not carries_nothing(facts, link):
            silent.append(link.id)
    if silent:
        yield Unjudged(f"ends of {', '.join(silent)} state no rate")


@rule("mode-differs", "error", needs="links")
def mode_differs(facts: Facts) -> Said:
    """Two ends of a link, or a port and its feed, in different AES10 modes at one rate.

    Fails:
        [[device]]
        id = "A"
        ports = [{id = "out", mode = "64@48000"}]
        [[device]]
        id = "desk"
        ports = [{id = "in", mode = "56@48000"}]
        [[link]]
        id = "main"
        ends = ["A.out", "desk.in"]
    Passes:
        [[device]]
        id = "A"
        ports = [{id = "out", mode = "64@48000"}]
        [[device]]
        id = "desk"
        ports = [{id = "in", mode = "64@48000"}]
        [[link]]
        id = "main"
        ends = ["A.out", "desk.in"]
    """
    for link in facts.links:
        ports = (port_at(facts, link, 0), port_at(facts, link, 1))
        modes = {f"{link.ends[end]} in": port.mode for end, port in enumerate(ports) if port and port.mode}
        feeds = facts.file.feed if facts.file else ()
        modes |= {f"{feed.id} in": feed.mode for feed in feeds if feed.id in on_link(facts, link)}
        alike = {mode.rate_hz for mode in modes.values()}
        if len({(mode.slots, mode.varispeed) for mode in modes.values()}) > 1 and len(alike) == 1:
            said = ", ".join(f"{who} {mode}" for who, mode in modes.items())
            yield Found(f"link {link.id}", f"{said}; set one mode at both ends")


@rule("layout-differs", "error", needs="links", care="sound")
def layout_differs(facts: Facts) -> Said:
    """Two ends of an AES10 link that lay 96 kHz out in two ways: one frame a sample, or two slots a channel.

    Fails:
        [[device]]
        id = "A"
        ports = [{id = "out", mode = "28@96000 pairs"}]
        [[device]]
        id = "desk"
        ports = [{id = "in", mode = "28@96000"}]
        [[link]]
        id = "main"
        ends = ["A.out", "desk.in"]
    Passes:
        [[device]]
        id = "A"
        ports = [{id = "out", mode = "28@96000 pairs"}]
        [[device]]
        id = "desk"
        ports = [{id = "in", mode = "28@96000 pairs"}]
        [[link]]
        id = "main"
        ends = ["A.out", "desk.in"]
    """
    for link in facts.links:
        modes = [
            port.mode for port in (port_at(facts, link, 0), port_at(facts, link, 1)) if port and port.mode
        ]
        if len({mode.layout for mode in modes}) > 1 and len({mode.rate_hz for mode in modes}) == 1:
            message = f"{' and '.join(link.ends)} lay {modes[0].rate_hz} Hz out in frames at one end and in pairs at the other; set both alike"
            yield Found(f"link {link.id}", message)


@rule("conversion-undeclared", "warning", needs="show")
def conversion_undeclared(facts: Facts) -> Said:
    """A device that handles two sampling rates and declares no conversion.

    Fails:
        [[device]]
        id = "desk"
        ports = [{id = "in", rate = 96000}, {id = "out", rate = 48000}]
    Passes:
        [[device]]
        id = "desk"
        ports = [{id = "in", rate = 96000}, {id = "out", rate = 48000}]
        conversion = "in its output card"
    """
    rates = block_rates(facts)
    for device in facts.devices:
        stated = {port.rate_hz for port in device.ports if port.rate_hz}
        settled = {name for port in device.ports if port.rate_hz for name in port.carries}
        stated |= {rates[name] for name in carried(facts, device) - settled}
        if len(stated) > 1 and not device.conversion:
            said = " and ".join(f"{rate} Hz" for rate in sorted(stated))
            yield Found(
                f"device {device.id}",
                f'it handles {said} and nothing says what converts; write conversion = "…"',
            )
    taken = {
        item.id: {rates[name] for name in item.takes} for item in (facts.file.recipient if facts.file else ())
    }
    known = {device.id for device in facts.devices}
    for recipient, found in taken.items():
        if len(found) > 1 and recipient not in known:
            said = " and ".join(f"{rate} Hz" for rate in sorted(found))
            yield Found(
                recipient, f"it takes blocks at {said}; declare it as a [[device]] with its conversion"
            )


@rule("blocks-joined", "error", needs="links", care="sound")
def blocks_joined(facts: Facts) -> Said:
    """Listeners of two blocks plugged into one switch, which then mixes the two transports.

    Fails:
        [[block]]
        id = "one"
        [[block]]
        id = "two"
        [[device]]
        id = "desk"
        ports = [{id = "a", carries = ["one"], role = "listens"}, {id = "b", carries = ["two"], role = "listens"}]
        [[device]]
        id = "hub"
        switch = true
        [[link]]
        id = "a"
        ends = ["hub", "desk.a"]
        [[link]]
        id = "b"
        ends = ["hub", "desk.b"]
    Passes:
        [[block]]
        id = "one"
        [[block]]
        id = "two"
        [[device]]
        id = "desk"
        ports = [{id = "a", carries = ["one"], role = "listens"}, {id = "b", carries = ["two"], role = "listens"}]
        [[device]]
        id = "hub"
        switch = true
        [[link]]
        id = "a"
        ends = ["hub", "desk.a"]
    """
    blocks = {block.id for block in facts.file.block} if facts.file else set()
    for device in facts.devices:
        if device.switch:
            here = [link for link in facts.links if device.id in link.devices]
            names = [name for link in here for name in sorted(on_link(facts, link))]
            joined = sorted({*names} & blocks)
            if len(joined) > 1:
                message = f"{' and '.join(joined)} meet in one switch and disturb each other; give each a switch of its own"
                yield Found(f"device {device.id}", message)


RULES = (over_capacity, rate_differs, mode_differs, layout_differs, conversion_undeclared, blocks_joined)
