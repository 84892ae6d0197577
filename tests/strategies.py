"""Maps for property tests: from tidy lists to maps full of contradictions."""

from __future__ import annotations

import string
from typing import Any

from hypothesis import settings
from hypothesis import strategies as st

from chanbridge.mode import Mode
from chanbridge.model import (
    AUDIENCES,
    Audience,
    Channel,
    ChannelMap,
    Entry,
    Extra,
    Pair,
    Patch,
    Port,
    Reserved,
    Slot,
)
from chanbridge.sheets.columns import trimmed_extras

EATEN = (
    "NA", "N/A", "None", "null", "TRUE", "Inf", "1E1", "2E", "007", "=1+1", "=SUM(A1)", "+4", "-18", "+48V", "@desk",
    "Vox #1", "Keys & Pads", '13"', " leading", "two  blanks", "trailing ", "O'Neil", "a,b", "a;b", "a\tb", "a\nb",
    "a\r\nb", "a\rb", '"', '""', "Ølund", "Хор", "合唱", "جوقة", "<b>", "&amp;", "]]>", "-", "n/c", "spare", "SPARE VOX RF4",
    "Slot", "Name", "Id", "Total", "* star", "Keys L", "Keys R", "Click", "Kick (gain 17.5)", "19-20", "Box A", "e\u0301",
)  # fmt: skip
"""Names that libraries, spreadsheets or a careless reader would eat or change."""

EXAMPLES = settings.get_profile(settings.get_current_profile_name()).max_examples
"""How many examples the profile asks for; slow tests take a share of it."""

_letters = st.characters(blacklist_categories=("Cs", "Cc", "Cn"), blacklist_characters="\ufffe\uffff")
texts = st.one_of(
    st.sampled_from(EATEN),
    st.text(_letters, max_size=12),
    st.text(string.printable[:95] + "\t\n\r", max_size=12),
)
"""Text that CSV, XML and JSON can all hold."""

ids = texts.filter(str.strip)
finite = st.floats(allow_nan=False, allow_infinity=False)
permissions = st.sampled_from(("allowed", "not allowed", "open"))
_FIELDS: dict[str, st.SearchStrategy[Any]] = {
    **dict.fromkeys(
        ("name", "short", "transducer", "stand", "position", "group", "gain_owner", "notes"), texts
    ),
    "kind": st.sampled_from(("mic", "di", "playback", "mix")),
    "needs_power": st.booleans(),
    "phantom": st.sampled_from(("on", "off", "optional")),
    "polarity": st.sampled_from(("normal", "reversed")),
    "priority": st.sampled_from(("want", "spare")),
    "tap": st.sampled_from(("before fader", "after fader")),
    "pad_db": finite,
    "gain_db": st.one_of(finite, st.integers(-20, 60).map(float)),
    "audience": st.builds(Audience, **dict.fromkeys(AUDIENCES, permissions)),
}


@st.composite
def channels(draw: st.DrawFn, channel_id: str, known: list[str], headings: list[str]) -> Channel:
    """A channel with any fields, partners and contents among `known`, extras under `headings`."""
    partners = st.one_of(st.none(), st.sampled_from(known), ids) if known else st.one_of(st.none(), ids)
    drawn = draw(st.sets(st.sampled_from(sorted(_FIELDS)), max_size=5))
    fields: dict[str, Any] = {name: draw(_FIELDS[name]) for name in sorted(drawn)}
    cells = [(heading, draw(st.one_of(st.just(""), texts))) for heading in headings]
    return Channel(
        id=channel_id,
        pair=draw(st.one_of(st.none(), st.builds(Pair, partner=partners, side=st.sampled_from(("left", "right", "mid", "side"))))),
        contents=tuple(draw(st.lists(st.one_of(ids, st.sampled_from(known)) if known else ids, max_size=3))),
        extras=tuple(Extra(*cell) for cell in trimmed_extras(cells)),
        **fields,
    )  # fmt: skip


@st.composite
def maps(draw: st.DrawFn) -> ChannelMap:
    """Any map: several ports, patches and entries at random, contradictions included."""
    headings = draw(st.lists(texts, max_size=3))
    known = draw(st.lists(ids, max_size=6, unique=True))
    boxes = draw(st.lists(ids, max_size=2, unique=True))
    others = [name for name in draw(st.lists(ids, max_size=3, unique=True)) if name not in boxes]
    ports = [Port(id=name, device=name, kind="sockets", size=draw(st.integers(0, 8))) for name in boxes]
    ports += [
        Port(
            id=name,
            name=draw(texts),
            kind=draw(st.sampled_from(("block", "feed", "desk", "recorder", "outputs"))),
            direction=draw(st.sampled_from(("in", "out"))),
            first=draw(st.integers(1, 40)),
            size=draw(st.integers(0, 12)),
            rate_hz=draw(st.sampled_from((None, 44_100, 48_000))),
            mode=draw(
                st.sampled_from(
                    (None, Mode(64, 48_000), Mode(56, 44_100, True), Mode(28, 96_000, layout="pairs"))
                )
            ),
            mirrors=draw(st.one_of(st.none(), texts)),
        )
        for name in others
    ]
    slots = st.builds(Slot, st.sampled_from([port.id for port in ports] or [""]), st.integers(1, 20))
    entering = st.builds(Entry, st.sampled_from(known or [""]), slots)
    most = 8 if ports else 0
    return ChannelMap(
        title=draw(texts),
        revision=draw(texts),
        date=draw(st.one_of(st.none(), st.dates())),
        rate_hz=draw(st.sampled_from((None, 48_000, 96_000))),
        headings=tuple(headings),
        channels=tuple(draw(channels(name, known, headings)) for name in known),
        entries=tuple(draw(st.lists(entering, max_size=most if known else 0))),
        ports=tuple(ports),
        patches=tuple(draw(st.lists(st.builds(Patch, slots, slots), max_size=most))),
        reserved=tuple(draw(st.lists(st.builds(Reserved, slots, texts), max_size=most))),
    )


@st.composite
def lists(draw: st.DrawFn) -> ChannelMap:
    """A tidy list, as a sheet of one port is read: numbers, sockets of some boxes, channels in slot order."""
    headings = draw(st.lists(texts, max_size=3))
    known = draw(st.lists(ids, max_size=10, unique=True))
    boxes = draw(st.lists(ids.filter(lambda name: name != "slots"), min_size=1, max_size=2, unique=True))
    entries, patches, used = [], [], []
    for place, name in enumerate(known, 1):
        socketed = draw(st.booleans())
        target = Slot("slots", place)
        if socketed:
            source = Slot(draw(st.sampled_from(boxes)), place)
            entries.append(Entry(name, source))
            patches.append(Patch(source, target))
            used.append(source.port)
        else:
            entries.append(Entry(name, target))
    ports = [Port(id=name, device=name, kind="sockets") for name in dict.fromkeys(used)]
    if known:
        ports.append(Port(id="slots", size=len(known)))
    return ChannelMap(
        headings=tuple(headings),
        channels=tuple(draw(channels(name, known, headings)) for name in known),
        entries=tuple(entries),
        ports=tuple(ports),
        patches=tuple(patches),
    )
