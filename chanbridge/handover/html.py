"""A paper as one self-contained HTML file: no network, works from a file on a phone."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.resources import files
from itertools import compress
from typing import TYPE_CHECKING

from chanbridge.handover.paper import Column, Notes, Page, Picture, Row, Table
from chanbridge.handover.qr import qr_svg
from chanbridge.handover.words import Words

if TYPE_CHECKING:
    from jinja2 import Template

_FEW = 40
"""A filter with more values than this is no help."""


def html(page: Page, words: Words) -> bytes:
    """The paper as HTML in UTF-8, the same bytes for the same paper; ticks are kept by the browser for this revision."""
    from markupsafe import Markup

    rows = [row for table in page.tables() for row in table.rows]
    heading = page.heading
    about = "\n".join((heading.show, heading.recipient, heading.revision, heading.hash))
    filters = []
    for key in ("box", "group"):
        values = sorted({value for row in rows if (value := getattr(row, key))}, key=_by_number)
        if 1 < len(values) <= _FEW:
            filters.append((key, values))
    said = _template().render(
        page=page,
        heading=heading,
        revised=heading.revised(words("revision")),
        words=words,
        code=Markup(qr_svg(heading.hash)) if heading.hash else "",
        parts=[(_kind(part), part) for part in page.parts],
        rows=[_rows(part) if isinstance(part, Table) else [] for part in page.parts],
        listed=page.ticks and bool(rows),
        filters=filters,
        changed=any(row.changed for row in rows),
        spares=any(row.spare for row in rows),
        place="chanbridge " + hashlib.sha256(about.encode("utf-8", "surrogatepass")).hexdigest()[:16],
    )
    return said.encode("utf-8", "backslashreplace")


def _kind(part: Table | Notes | Picture) -> str:
    return "table" if isinstance(part, Table) else "notes" if isinstance(part, Notes) else "picture"


def _rows(table: Table) -> list[tuple[Row, str, list[tuple[Column, str]]]]:
    """Each row with what its tick box is called, and its cells beside their columns."""
    shown = [column.style != "tick" for column in table.columns]
    names = [at for at, column in enumerate(table.columns) if column.style in ("number", "name")]
    return [
        (
            row,
            " ".join(row.cells[at] for at in names),
            list(compress(zip(table.columns, row.cells, strict=True), shown)),
        )
        for row in table.rows
    ]


def _by_number(text: str) -> tuple[int, str]:
    digits = "".join(letter for letter in text if letter.isdecimal())
    return (int(digits) if digits else 0, text)


@cache
def _template() -> Template:
    from jinja2 import Environment, StrictUndefined

    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return environment.from_string(files("chanbridge.handover").joinpath("sheet.html").read_text("utf-8"))
