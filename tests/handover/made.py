"""Papers made up for the tests, and what is in a PDF."""

from __future__ import annotations

import datetime
from typing import Any

import pypdfium2

from chanbridge.handover.paper import Column, Heading, Notes, Page, Row, Table

HEADING = Heading(
    "Harvest Play", "Broadcast truck", "B", "kolumi", "0123456789abcdef" * 4, datetime.date(2026, 10, 3)
)

COLUMNS = (
    Column("slot", "Slot", "number"),
    Column("name", "Name", "name"),
    Column("short", "Short", "label"),
    Column("owner", "Gain by", "text"),
    Column("pair", "Pair", "pair"),
    Column("mark", "Air", "mark"),
    Column("notes", "Notes", "small"),
)


def page(names: list[str], *, changed: frozenset[int] = frozenset(), big: bool = False) -> Page:
    """A sheet with one row a name; an empty name is a spare."""
    rows = tuple(
        Row(
            f"truck {at}",
            (str(at), name or "spare", name[:8], "front-of-house" if name else "", "", "NOT FOR AIR" if at == 3 else "", ""),
            spare=not name,
            careful=at == 3,
            changed=at in changed,
            box="AB"[at % 2],
            group=("band", "choir")[at % 3 == 0],
        )
        for at, name in enumerate(names, 1)
    )  # fmt: skip
    parts = (Table("", COLUMNS, rows), Notes("Take care", ("Mute first.",), careful=True))
    return Page(HEADING, parts, big=big, ticks=True)


def texts(data: bytes) -> list[str]:
    """The text of each page of a PDF, on one line, without the marks that allow a line break."""
    document = pypdfium2.PdfDocument(data)
    pages = [document[at].get_textpage().get_text_range() for at in range(len(document))]
    return [" ".join(text.replace("\u200b", "").replace("\ufffe", "-").split()) for text in pages]


def ink(data: bytes, at: int = 0, scale: float = 2) -> Any:
    """A page as a matrix of greys, 0 for black; 72 × `scale` dots an inch."""
    document = pypdfium2.PdfDocument(data)
    return document[at].render(scale=scale, grayscale=True).to_numpy().copy()
