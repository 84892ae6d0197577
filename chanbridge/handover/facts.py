"""What the rules of `chanbridge check` are given of a show, or of a sheet alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from chanbridge.assemble import Planned
from chanbridge.check.rule import Facts, Missing, Sheet
from chanbridge.errors import Location
from chanbridge.sheets.ledger import Reading
from chanbridge.show import Show


def sheet_facts(reading: Reading) -> Facts:
    """A plain sheet: its map, where each channel stood, and what was noticed while reading."""
    return Facts(reading.map, None, reading.origins, reading.problems)


def show_facts(show: Show, planned: Planned) -> Facts:
    """A show as it is planned, with every sheet that it names."""
    origins: dict[str, Location] = {}
    for reading in show.sheets.values():
        for name, where in reading.origins.items():
            channel, read = planned.map.channel(name), reading.map.channel(name)
            if channel and read and channel.name == read.name:
                origins.setdefault(name, where)
    file = show.file
    sheets = [Sheet(box.sheet, box.id, "box", show.sheets[box.id].map) for box in file.box]
    for item in file.recipient:
        if item.sheet:
            sheets.append(Sheet(item.sheet, item.id, "kept", show.kept[item.id].map))
        if item.wants:
            sheets.append(Sheet(item.wants, item.id, "wants", show.wants[item.id].map))
    sheets += [
        Sheet(feed.keep, feed.id, "issued", show.issued[feed.id].map) for feed in file.feed if feed.keep
    ]
    sheets += [Sheet(act.sheet, act.id, "act", show.acts[act.id].map) for act in file.act if act.sheet]
    problems = [
        *planned.problems,
        *(problem for reading in show.kept.values() for problem in reading.problems),
    ]
    acts = tuple(
        (act.act.id, replace(_facts(show, act.planned, origins), clashes=act.problems))
        for act in planned.acts
    )
    facts = _facts(show, planned, origins)
    each = [planned, *(act.planned for act in planned.acts)]
    ungiven = {
        name: tuple(text for text in texts if all(text in one.ungiven.get(name, ()) for one in each))
        for name, texts in planned.ungiven.items()
    }
    return replace(
        facts, problems=tuple(problems), unplaced=planned.unplaced, ungiven=ungiven, sheets=tuple(sheets), acts=acts
    )  # fmt: skip


def _facts(show: Show, planned: Planned, origins: Mapping[str, Location]) -> Facts:
    """What differs from act to act."""
    missing = [
        Missing(delivery.recipient.id, item.channel, item.reason, item.wanted)
        for delivery in planned.deliveries
        for item in delivery.missing
    ]
    channels = {channel.id: channel for channel in planned.map.channels}
    left_off = {
        feed.id: tuple(channels[out.channel] for out in planned.feeds[feed.id].left_out)
        for feed in show.file.feed
        if not feed.continues
    }
    return Facts(planned.map, show.file, origins, missing=tuple(missing), left_off=left_off)
