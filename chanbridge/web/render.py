"""The page as HTML: one template for each view, filled with what `views` says."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, NamedTuple
from urllib.parse import urlencode

from chanbridge.assemble import Planned
from chanbridge.evening.consequences import CAUTION
from chanbridge.evening.state import State, newest_recipients, unfit
from chanbridge.evening.steps import socket_text
from chanbridge.evening.words import FORMS
from chanbridge.system import ShowFile
from chanbridge.web import views
from chanbridge.web.guard import Role
from chanbridge.web.linecheck import RESULTS
from chanbridge.web.live import Live
from chanbridge.web.snapshot import Snapshot

if TYPE_CHECKING:
    from jinja2 import Environment
    from jinja2.runtime import Context

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
    "worker.js": "text/javascript",
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


class Looked(NamedTuple):
    """What someone looks at: the show as it runs, what was asked of the view, and the act."""

    live: Live
    asked: Mapping[str, str]
    act: str

    @property
    def now(self) -> Snapshot:
        """The show."""
        return self.live.now

    @property
    def planned(self) -> Planned:
        """The act."""
        return self.live.now.acts[self.act]


def page(live: Live, role: Role, asked: Mapping[str, str], papers: Mapping[str, bytes] | None = None) -> str:
    """A whole page. `asked`: the view, and what of it; `papers`: the papers, where they are made. Raises LostError."""
    view, act = asked.get("view", "sheet"), asked.get("act", "")
    makers: dict[str, Callable[[Looked], dict[str, Any]]] = {
        "sheet": _sheet, "line": _line, "late": _late, "findings": _findings, "changed": _changed, "flow": _flow,
        "compare": _compare, "papers": lambda looked: _papers(looked, papers), "channel": _channel, "find": _find,
    }  # fmt: skip
    if view not in makers:
        raise LostError(f"there is nothing called {view!r} here")
    now = live.now
    if act not in now.acts:
        raise LostError(f"there is no act {act!r}")
    more = makers[view](Looked(live, asked, act))
    template = _environment().get_template(f"{view}.html")
    here = {name: asked[name] for name in _KEPT if asked.get(name)}
    return template.render(
        now=now, file=now.show.file, role=role, view=view, views=VIEWS, results=RESULTS, signs=SIGNS, care=CARE,
        due=due(now.show.file, now.state), names=views.names_of(now.show.file), act=act, here=here, show=live.id,
        **more,
    )  # fmt: skip


_KEPT = ("port", "id", "order", "q")
"""What of a view stays as it is when another act is looked at."""


def _to(context: Context, view: str, **more: str) -> str:
    """A link to a view of the act that is looked at, or of another one."""
    asked = {"view": view, "act": context["act"]} | more
    return f"/?{urlencode({name: value for name, value in asked.items() if value})}"


def part(name: str, /, **filled: Any) -> str:
    """A piece of a page that a form is answered with."""
    return _environment().get_template(f"{name}.html").render(**filled)


def due(file: ShowFile, state: State) -> list[tuple[str, str, list[str]]]:
    """Who has not said to have what: id, name, letters and numbers, and of each whether it was told."""
    out = []
    for name, shown in views.names_of(file).items():
        untold = state.missing(name, state.told)
        missing = [
            f"{item} not told" if item in untold else f"{item} told"
            for item in state.missing(name, state.received)
        ]
        if missing:
            out.append((name, shown, missing))
    return out


def _sheet(looked: Looked) -> dict[str, Any]:
    now, planned = looked.now, looked.planned
    there = views.places(now.show.file)
    port = looked.asked.get("port") or there[0].id
    place = next((one for one in there if one.id == port), None)
    if place is None:
        raise LostError(f"there is no sheet {port!r}")
    delivery = next((one for one in planned.deliveries if one.recipient.id == port), None)
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
        "lines": views.sheet(planned, port),
        "lacking": [item for item in delivery.missing if item.wanted] if delivery else [],
        "changed": now.changed.get((looked.act, port), frozenset()),
        "waiting": waiting,
        "letters": letters,
        "told": port in views.names_of(now.show.file),
    }


def _grouped(there: Sequence[views.Place]) -> dict[str, list[views.Place]]:
    out: dict[str, list[views.Place]] = {}
    for place in there:
        out.setdefault(place.group, []).append(place)
    return out


def _channel(looked: Looked) -> dict[str, Any]:
    now, planned, live = looked.now, looked.planned, looked.live
    name = looked.asked.get("id", "")
    if name not in now.names:
        raise LostError("this channel is not there any more")
    other = []
    for act, its in now.acts.items():
        if act != looked.act:
            entry = views.entry_of(its, name) if its.map.channel(name) else None
            other.append((act, now.called[act], socket_text(entry) if entry else "not on stage"))
    channel = planned.map.channel(name)
    if channel is None:
        return {"channel": None, "name": now.names[name], "other": other}
    partner = planned.map.channel(channel.pair.partner) if channel.pair and channel.pair.partner else None
    return {
        "name": channel.name or channel.id,
        "other": other,
        "channel": channel,
        "phantom": views.phantom(channel),
        "entry": views.entry_of(planned, channel.id),
        "stops": views.stops(planned, channel.id),
        "partner": partner,
        "walk": live.walk(channel.id, looked.act),
        "line_check": {
            one.recipient.id: live.ticks.result(channel.id, one.recipient.id) for one in planned.deliveries
        },
        "socket_text": socket_text,
    }


def _find(looked: Looked) -> dict[str, Any]:
    """What is found in the act that is looked at, and what other acts have beside it."""
    said, now = looked.asked.get("q", "")[:80], looked.now
    known: set[views.Hit] = set()
    groups = []
    for act in dict.fromkeys((looked.act, *now.acts)):
        hits = [hit for hit in views.search(now.acts[act], said) if hit not in known]
        known.update(hits)
        if hits:
            groups.append((act, now.called[act], hits))
    return {"said": said, "groups": groups}


def _line(looked: Looked) -> dict[str, Any]:
    order = looked.asked.get("order", "slot")
    if order not in ORDERS:
        raise LostError(f"there is no order {order!r}")
    live, planned = looked.live, looked.planned
    rows = line_rows(looked.now, planned, order)
    walks = {row["id"]: text for row in rows if (text := live.walk(row["id"], looked.act))}
    cells = {
        (row["id"], one.recipient.id): live.ticks.result(row["id"], one.recipient.id)
        for row in rows
        for one in planned.deliveries
    }
    return {"orders": ORDERS, "order": order, "rows": rows, "walks": walks, "cells": cells,
            "destinations": [one.recipient for one in planned.deliveries if one.delivered]}  # fmt: skip


def line_rows(now: Snapshot, planned: Planned, order: str) -> list[dict[str, Any]]:
    """The channels of a line check in an order: by the first destination's slots, by box, or by group."""
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
                "places": {
                    one.recipient.id: views.tick_place(planned, one, channel.id)
                    for one in planned.deliveries
                    if channel.id in one.delivered
                },
            }
        )  # fmt: skip
    return sorted(rows, key=lambda row: row["key"])


class Standing(NamedTuple):
    """Whether someone was told something, and has said to have it. `sentence`: what it means for them."""

    id: str
    name: str
    sentence: str
    told: bool
    has: bool


def _standing(state: State, what: str | int, concerns: Mapping[str, str], names: Mapping[str, str]) -> Any:
    return [
        Standing(
            name, names.get(name, name), sentence, what in state.told.get(name, ()), what in state.received.get(name, ())
        )
        for name, sentence in concerns.items()
    ]  # fmt: skip


def _late(looked: Looked) -> dict[str, Any]:
    state = looked.now.state
    names = views.names_of(looked.now.show.file)
    young = {one.number for one in state.since()}
    newest = state.revision
    issued = sorted(newest_recipients(newest)) if newest else []
    return {
        "forms": FORMS, "unfit": unfit(looked.now.planned), "undone": state.undone(), "caution": CAUTION, "young": young, "revision": newest,
        "amendments": [(one, _standing(state, one.number, one.concerns, names)) for one in reversed(state.amendments)],
        "issued": _standing(state, newest.letter, {name: "" for name in names if name in issued}, names) if newest else [],
    }  # fmt: skip


def _findings(looked: Looked) -> dict[str, Any]:
    report = looked.now.report
    folder = re.escape(looked.now.show.source.rpartition("/")[0])
    short = re.compile(rf"^{folder}/") if folder else re.compile("(?!)")
    groups: dict[str, list[Any]] = {"error": [], "warning": [], "note": []}
    for finding in report.findings:
        groups[finding.severity].append(finding._replace(where=short.sub("", finding.where)))
    cautions = [*dict.fromkeys(finding.caution for finding in report.findings if finding.caution)]
    return {"groups": groups, "cautions": cautions, "not_judged": report.not_judged}


def _changed(looked: Looked) -> dict[str, Any]:
    """Since a revision; in an act since the act before, where no revision is asked for."""
    now, revisions, letter = looked.now, looked.now.state.revisions, looked.asked.get("since", "")
    if looked.act and not letter:
        acts = [*now.acts]
        earlier = acts[acts.index(looked.act) - 1]
        patches, stays = views.repatched(now.acts[earlier], looked.planned)
        found = views.between(now.acts[earlier], looked.planned)
    else:
        earlier, patches, stays = None, [], 0
        letter = letter or (revisions[-1].letter if revisions else "")
        before = next((one for one in revisions if one.letter == letter), None)
        if letter and before is None:
            raise LostError(f"there is no revision {letter!r}")
        found = views.since(looked.planned, before, looked.act) if before else []
    return {"revisions": revisions, "letter": letter, "found": found, "patches": patches, "stays": stays,
            "before": "" if earlier is None else now.called[earlier], "caution": CAUTION}  # fmt: skip


def _flow(looked: Looked) -> dict[str, Any]:
    from markupsafe import Markup

    from chanbridge.web.lit import lit

    planned = looked.planned
    flow, picture = looked.now.flow(looked.act)
    channel = planned.map.channel(looked.asked.get("id", ""))
    steps = views.touched(planned, channel.id) if channel else frozenset()
    names = [(one.id, one.name or one.id) for one in planned.map.channels]
    return {"svg": Markup(lit(flow, picture.svg, steps)), "words": picture.words, "channel": channel,
            "channels": sorted(names, key=lambda item: item[1].casefold())}  # fmt: skip


def _compare(looked: Looked) -> dict[str, Any]:
    return {"places": _grouped(views.places(looked.now.show.file)), "port": looked.asked.get("port", "")}


def _papers(looked: Looked, papers: Mapping[str, bytes] | None) -> dict[str, Any]:
    folders: dict[str, list[tuple[str, str, int]]] = {}
    for path, data in (papers or {}).items():
        folder, _slash, name = path.rpartition("/")
        folders.setdefault(folder, []).append((name, path, len(data)))
    called = {one.id: one.name or one.id for one in looked.now.show.file.recipient}
    return {"folders": folders, "called": called, "made": papers is not None}


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined, pass_context

    made = Environment(
        loader=PackageLoader("chanbridge.web", "pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    made.globals["to"] = pass_context(_to)
    return made


@cache
def static(name: str) -> bytes:
    """One of the files in STATIC."""
    return files("chanbridge.web").joinpath("pages", name).read_bytes()
