"""A paper as plain text, for a terminal by torch light."""

from __future__ import annotations

from chanbridge.formats.text import draw, plain
from chanbridge.handover.paper import Notes, Page, Table
from chanbridge.handover.words import Words


def text(page: Page, words: Words) -> str:
    """The paper as text: its heading, its tables, its notes; a picture as the words for it."""
    heading = page.heading
    about = [
        heading.recipient,
        heading.revised(words("revision")),
        heading.date.isoformat() if heading.date else "",
    ]
    lines = [plain(heading.show), "   ".join(plain(part) for part in about if part)]
    for part in page.parts:
        lines.append("")
        if part.title:
            lines += [
                plain(f"! {part.title}" if isinstance(part, Notes) and part.careful else part.title),
                "",
            ]
        if isinstance(part, Table):
            headings = [column.heading for column in part.columns]
            lines += draw(headings, [_row(part, at) for at in range(len(part.rows))])
        elif isinstance(part, Notes):
            lines += [f"* {plain(line)}" for line in part.lines]
        else:
            lines += map(plain, part.words)
    return "\n".join(lines).rstrip() + "\n"


def _row(table: Table, at: int) -> list[str]:
    row = table.rows[at]
    return [
        "[ ]" if column.style == "tick" and not row.spare else cell
        for column, cell in zip(table.columns, row.cells, strict=True)
    ]
