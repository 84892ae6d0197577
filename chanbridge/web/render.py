"""The page as HTML: one template for each view, filled with what `views` says."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from chanbridge.evening.amend import socket_text
from chanbridge.evening.consequences import CAUTION
from chanbridge.evening.state import State
from chanbridge.evening.words import FORMS
from chanbridge.web import views
from chanbridge.web.guard import Role
from chanbridge.web.linecheck import RESULTS
from chanbridge.web.live import Live
from chanbridge.web.snapshot import Snapshot

if TYPE_CHECKING:
    from jinja2 import Environment

VIEWS = {
    "sheet": "Sheets",
    "line": "Line check",
    "late": "Late changes",
    "findings": "Findings",
    "changed": "Changed",
    "flow": "Flow",
    "compare": "Compare",
    "papers": "Papers",
}
"""What can be looked at, and how it is called on the page. Beside these there are "channel" and "find"."""

STATIC = {
    "style.css": "text/css",
    "page.js": "text/javascript",
    "line.js": "text/javascript",
    "forms.js": "text/javascript",
    "icon.svg": "image/svg+xml",
}
"""The files that a page is made of beside itself, and their types: nothing else is ever sent from the disk."""

CARE = (
    "Mute loudspeakers and in-ears before a signal is sent, a plug is pulled or phantom is switched; agree on it with "
    "everyone who wears in-ears. What the makers and the house say comes first."
)

ORDERS = {"slot": "By slot", "box": "By box", "group": "By group"}
SIGNS = {"arrived": "✓", "dead": "✕", "wrong": "≠", "noisy": "≈", "swapped": "⇄", "": "·", "conflict": "?!"}
"""A sign for each result, so that nobody has to tell colours apart."""


class LostError(Exception):
    """There is no such view, sheet or channel."""


def page(live: Live, role: Role, asked: Mapping[str, str], papers: Mapping[str, bytes] | None = None) -> str:
    """A whole page. `asked`: the view, and what of it; `papers`: the papers, where they are made. Raises LostError."""
    view = asked.get("view", "sheet")
    makers = {
        "sheet": _sheet, "line": _line, "late": _late, "findings": _findings, "changed": _changed, "flow": _flow,
        "compare": _compare, "papers": lambda live, _: _papers(live, papers), "channel": _channel, "find": _find,
    }  # fmt: skip
    if view not in makers:
        raise LostError(f"there is nothing called {view!r} here")
    now = live.now
    more = makers[view](live, asked)
    template = _environment().get_template(f"{view}.html")
    return template.render(
        now=now, file=now.show.file, role=role, view=view, views=VIEWS, results=RESULTS, signs=SIGNS, care=CARE,
        due=due(now.show.file, now.state), names=views.names_of(now.show.file), **more,
    )  # fmt: skip


def part(name: str, /, **filled: Any) -> str:
    """A piece of a page that a form is answered with."""
    return _environment().get_template(f"{name}.html").render(**filled)


def due(file: Any, state: State) -> list[tuple[str, str, list[str | int]]]:
    """Who has not said to have what: id, name, letters and numbers."""
    out = []
    for name, shown in views.names_of(file).items():
        missing = state.missing(name, state.received)
        if missing:
            out.append((name, shown, missing))
    return out


def _sheet(live: Live, asked: Mapping[str, str]) -> dict[str, Any]:
    now = live.now
    there = views.places(now.show.file)
    port = asked.get("port") or there[0].id
    place = next((one for one in there if one.id == port), None)
    if place is None:
        raise LostError(f"there is no sheet {port!r}")
    delivery = next((one for one in now.planned.deliveries if one.recipient.id == port), None)
    state = now.state
    waiting = [
        one
        for one in state.since()
        if port in one.concerns and one.number in state.missing(port, state.received)
    ]
    letters = [item for item in state.missing(port, state.received) if isinstance(item, str)]
    return {
        "places": _grouped(there),
        "place": place,
        "lines": views.sheet(now.planned, port),
        "lacking": [item for item in delivery.missing if item.wanted] if delivery else [],
        "changed": now.changed.get(port, frozenset()),
        "waiting": waiting,
        "letters": letters,
        "told": port in views.names_of(now.show.file),
    }


def _grouped(there: Sequence[views.Place]) -> dict[str, list[views.Place]]:
    out: dict[str, list[views.Place]] = {}
    for place in there:
        out.setdefault(place.group, []).append(place)
    return out


def _channel(live: Live, asked: Mapping[str, str]) -> dict[str, Any]:
    now = live.now
    channel = now.planned.map.channel(asked.get("id", ""))
    if channel is None:
        raise LostError("this channel is not there any more")
    partner = now.planned.map.channel(channel.pair.partner) if channel.pair and channel.pair.partner else None
    return {
        "channel": channel,
        "phantom": views.phantom(channel),
        "entry": views.entry_of(now.planned, channel.id),
        "stops": views.stops(now.planned, channel.id),
        "partner": partner,
        "walk": live.walk(channel.id),
        "line_check": {
            one.recipient.id: live.ticks.result(channel.id, one.recipient.id)
            for one in now.planned.deliveries
        },
        "socket_text": socket_text,
    }


def _find(live: Live, asked: Mapping[str, str]) -> dict[str, Any]:
    said = asked.get("q", "")[:80]
    return {"said": said, "hits": views.search(live.now.planned, said)}


def _line(live: Live, asked: Mapping[str, str]) -> dict[str, Any]:
    order = asked.get("order", "slot")
    if order not in ORDERS:
        raise LostError(f"there is no order {order!r}")
    now = live.now
    rows = line_rows(now, order)
    walks = {row["id"]: text for row in rows if (text := live.walk(row["id"]))}
    cells = {
        (row["id"], one.recipient.id): live.ticks.result(row["id"], one.recipient.id)
        for row in rows
        for one in now.planned.deliveries
    }
    return {"orders": ORDERS, "order": order, "rows": rows, "walks": walks, "cells": cells,
            "destinations": [one.recipient for one in now.planned.deliveries if one.delivered]}  # fmt: skip


def line_rows(now: Snapshot, order: str) -> list[dict[str, Any]]:
    """The channels of a line check in an order: by the first destination's slots, by box, or by group."""
    planned = now.planned
    rows = []
    boxes = [box.id for box in now.show.file.box]
    for at, channel in enumerate(planned.map.channels):
        if channel.id in planned.returns:
            continue
        stands = {
            one.recipient.id: one.delivered[channel.id]
            for one in planned.deliveries
            if channel.id in one.delivered
        }
        if not stands:
            continue
        entry = views.entry_of(planned, channel.id)
        socket = socket_text(entry) if entry else ""
        first = next(
            (stands[one.recipient.id][0] for one in planned.deliveries if one.recipient.id in stands), 0
        )
        box = (
            (boxes.index(entry.port), entry.number) if entry and entry.port in boxes else (len(boxes), first)
        )
        key: tuple[Any, ...] = (first, at)
        if order == "box":
            key = (*box, at)
        elif order == "group":
            key = (not channel.group, channel.group.casefold(), first, at)
        rows.append(
            {
                "key": key, "id": channel.id, "name": channel.name or channel.id, "socket": socket, "slot": first,
                "group": channel.group, "box": entry.port if entry else "", "phantom": views.phantom(channel),
                "stands": {name: slots[0] for name, slots in stands.items()},
                "places": {name: f"{socket} > {slots[0]}" for name, slots in stands.items()},
            }
        )  # fmt: skip
    return sorted(rows, key=lambda row: row["key"])


def _late(live: Live, _: Mapping[str, str]) -> dict[str, Any]:
    state = live.now.state
    names = views.names_of(live.now.show.file)
    said = [
        (
            one,
            [
                (name, sentence, one.number in state.received.get(name, set()))
                for name, sentence in one.concerns.items()
            ],
        )
        for one in reversed(state.amendments)
    ]
    return {"forms": FORMS, "amendments": said, "undone": state.undone(), "called": names, "caution": CAUTION}


def _findings(live: Live, _: Mapping[str, str]) -> dict[str, Any]:
    report = live.now.report
    folder = re.escape(live.now.show.source.rpartition("/")[0])
    short = re.compile(rf"^{folder}/") if folder else re.compile("(?!)")
    groups: dict[str, list[Any]] = {"error": [], "warning": [], "note": []}
    for finding in report.findings:
        groups[finding.severity].append(finding._replace(where=short.sub("", finding.where)))
    cautions = [*dict.fromkeys(finding.caution for finding in report.findings if finding.caution)]
    return {"groups": groups, "cautions": cautions, "not_judged": report.not_judged}


def _changed(live: Live, asked: Mapping[str, str]) -> dict[str, Any]:
    now = live.now
    revisions = now.state.revisions
    letter = asked.get("since") or (revisions[-1].letter if revisions else "")
    before = next((one for one in revisions if one.letter == letter), None)
    if letter and before is None:
        raise LostError(f"there is no revision {letter!r}")
    found = views.since(now.planned, before) if before else []
    return {"revisions": revisions, "letter": letter, "found": found}


def _flow(live: Live, asked: Mapping[str, str]) -> dict[str, Any]:
    from markupsafe import Markup

    from chanbridge.web.lit import lit

    flow, picture = live.now.flow
    channel = live.now.planned.map.channel(asked.get("id", ""))
    steps = views.touched(live.now.planned, channel.id) if channel else frozenset()
    return {"svg": Markup(lit(flow, picture.svg, steps)), "words": picture.words, "channel": channel,
            "channels": sorted(live.now.names.items(), key=lambda item: item[1].casefold())}  # fmt: skip


def _compare(live: Live, asked: Mapping[str, str]) -> dict[str, Any]:
    return {"places": _grouped(views.places(live.now.show.file)), "port": asked.get("port", "")}


def _papers(live: Live, papers: Mapping[str, bytes] | None) -> dict[str, Any]:
    folders: dict[str, list[tuple[str, str, int]]] = {}
    for path, data in (papers or {}).items():
        folder, _slash, name = path.rpartition("/")
        folders.setdefault(folder, []).append((name, path, len(data)))
    called = {one.id: one.name or one.id for one in live.now.show.file.recipient}
    return {"folders": folders, "called": called, "made": papers is not None}


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader("chanbridge.web", "pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )


@cache
def static(name: str) -> bytes:
    """One of the files in STATIC."""
    return files("chanbridge.web").joinpath("pages", name).read_bytes()
