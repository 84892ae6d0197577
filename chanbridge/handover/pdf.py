"""A paper as PDF/A: A4 or Letter, black and white first."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from chanbridge.handover.letters import Letters
from chanbridge.handover.paper import PAPERS, Notes, Page, Part, Picture, Row, Style, Table
from chanbridge.handover.press import press
from chanbridge.handover.qr import qr_svg
from chanbridge.handover.words import Words

MARGIN_MM = 9
_ABOVE_MM, _BELOW_MM = 31, 9
_PT_MM = 25.4 / 72
_ONE_COLUMN = 24
"""More rows than this stand in two columns on a big page."""

_SCALE: dict[Style, float] = {
    "number": 1.4, "zero": 0.82, "name": 1.1, "label": 0.97, "text": 0.94, "small": 0.82, "mark": 0.9, "pair": 0.86,
    "tick": 1.0,
}  # fmt: skip
"""Size of a style's letters as sheet.typ has them, a bold face counted a little larger."""

_LEAST: dict[Style, float] = {"pair": 4.0, "tick": 7.0, "name": 24.0}
"""A column's least width in mm, where that is not 5."""

_YIELDS: tuple[Style, ...] = ("name", "text", "small", "label", "mark", "pair")
"""Columns whose text may be broken into lines."""


def pdf(
    page: Page, words: Words, paper: str = "a4", letters: Letters | None = None, fonts: Sequence[str] = ()
) -> bytes:
    """The paper as PDF. `paper`: "a4" or "letter". Letters that no font has are spelled out and noted below."""
    letters = letters or Letters(fonts)
    return letters.printed(
        [*page.texts()], lambda: press("sheet.typ", _data(page, words, paper, letters), letters.fonts)
    )


def _data(page: Page, words: Words, paper: str, letters: Letters) -> dict[str, Any]:
    """What sheet.typ is given."""
    said = page.told(letters.spelled)
    spelled = {
        new: None for old, new in zip(page.texts(), said.texts(), strict=True) if old != new and "[U+" in new
    }
    names = [text for text in spelled if not text.startswith("<svg")]
    if names:
        said = said._replace(parts=(*said.parts, Notes("", (words("spelled", names=", ".join(names)),))))
    width, height = PAPERS[paper][::-1] if page.wide else PAPERS[paper]
    tables = [*page.tables()]
    rows = max((len(table.rows) for table in tables), default=0)
    size, air = _sizes(page, height, rows)
    inner = float(width - 2 * MARGIN_MM)
    if page.big and rows > _ONE_COLUMN:
        inner = (inner - 6) / 2
    heading = said.heading
    date = heading.date
    return {
        "title": f"{heading.show}: {heading.recipient}",
        "show": breakable(cut(heading.show, 90)),
        "recipient": breakable(cut(heading.recipient, 64)),
        "revised": heading.revised(words("revision")),
        "day": date.isoformat() if date else "",
        "date": [date.year, date.month, date.day] if date else None,
        "page-of": words("page_of"),
        "first": tables[0].columns[0].heading if len(tables) == 1 else "",
        "qr": qr_svg(heading.hash) if heading.hash else None,
        "scan": words("scan", hash=heading.hash),
        "language": words.language,
        "width": width,
        "height": height,
        "size": size,
        "air": air,
        "halves": page.big and rows > _ONE_COLUMN,
        "big": page.big,
        "parts": [_part(part, inner, height, size) for part in said.parts],
    }


def _sizes(page: Page, height: float, rows: int) -> tuple[float, float]:
    """Size of letters in points and air above and below each row in mm."""
    if not page.big:
        return 10.2, 1.2
    deep = (rows + 1) // 2 if rows > _ONE_COLUMN else rows
    notes = sum(len(part.lines) for part in page.parts if isinstance(part, Notes))
    pitch = (height - _ABOVE_MM - _BELOW_MM - 10 - 7 * notes) / max(deep + 1, 10)
    size = min(22.0, pitch / _PT_MM / 1.75)
    return round(size, 2), round(max(0.2, (pitch - size * _PT_MM * 1.05) / 2), 2)


def _part(part: Part, inner: float, height: float, size: float) -> dict[str, Any]:
    if isinstance(part, Notes):
        return {
            "is": "notes",
            "title": part.title,
            "lines": [breakable(line) for line in part.lines],
            "careful": part.careful,
        }
    if isinstance(part, Picture):
        deepest = height - _ABOVE_MM - _BELOW_MM - 12
        mm = min(inner, deepest * part.width / part.height)
        return {
            "is": "picture",
            "title": part.title,
            "svg": part.svg,
            "words": " ".join(part.words),
            "mm": round(mm, 2),
        }
    widths = column_widths(part, inner - 1.6, size)
    return {
        "is": "table",
        "title": breakable(part.title),
        "columns": [
            {"heading": column.heading, "style": column.style, "mm": mm}
            for column, mm in zip(part.columns, widths, strict=True)
        ],
        "rows": [_row(row) for row in part.rows],
    }


def _row(row: Row) -> dict[str, Any]:
    return {
        "said": [breakable(cell) for cell in row.cells],
        "spare": row.spare,
        "careful": row.careful,
        "changed": row.changed,
        "bracket": row.bracket,
    }


def column_widths(table: Table, inner: float, size: float) -> list[float]:
    """Widths in mm, together at most `inner`: each as its longest text wants; the widest give way, texts get what is left."""
    natural = []
    for at, column in enumerate(table.columns):
        em = size * _SCALE[column.style] * _PT_MM
        longest = (
            max((ems(row.cells[at]) for row in table.rows), default=0) * em if column.style != "tick" else 0
        )
        head = max((ems(word) for word in column.heading.split()), default=0) * 8.6 * _PT_MM
        frame = 2.6 if column.style == "mark" else 0.0
        natural.append(max(longest + frame, head, _LEAST.get(column.style, 5.0) - 2.4) + 2.4)
    over = sum(natural) - inner
    if over > 0:
        give = [at for at, column in enumerate(table.columns) if column.style in _YIELDS]
        while over > 0.01 and give:
            widest = max(natural[at] for at in give)
            top = [at for at in give if natural[at] > widest - 0.01]
            below = max((natural[at] for at in give if at not in top), default=12.0)
            step = min(over / len(top), max(widest - below, 0.0) or widest - 12.0)
            if step <= 0:
                break
            for at in top:
                natural[at] -= step
            over -= step * len(top)
    else:
        wide = [at for at, column in enumerate(table.columns) if column.style in ("name", "small", "text")]
        for at in wide:
            fills = not any(row.cells[at] for row in table.rows)  # room to write in by hand
            natural[at] += -over / len(wide) if fills else min(-over / len(wide), 30.0)
    return [round(mm, 2) for mm in natural]


def cut(text: str, most: int) -> str:
    """The text, or its beginning with an ellipsis: headings have one or two lines."""
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


_LONG_WORD = re.compile(r"\S{15,}")


def breakable(text: str) -> str:
    """The text with places to break a line, which cannot be seen, every ten letters of very long words."""
    if len(text) < 15:
        return text
    return _LONG_WORD.sub(lambda word: "\u200b".join(re.findall(".{1,10}", word[0])), text)


def ems(text: str) -> float:
    """About how wide a text is, in its own size, set a little narrow as on the sheets."""
    total = 0.0
    for letter in text:
        if letter in "ilj.,;:'|! ":
            total += 0.29
        elif letter in "tfrIJ()[]/-":
            total += 0.4
        elif letter.isupper() or letter in "mwMW%@—…":
            total += 0.68
        elif letter.isascii() or letter.islower():
            total += 0.57
        else:
            total += 0.9
    return total * 0.94
