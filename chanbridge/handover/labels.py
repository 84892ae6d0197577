"""Label strips and cable labels as PDF, true to size."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any, NamedTuple

from chanbridge.errors import WriteError
from chanbridge.handover.letters import Letters
from chanbridge.handover.paper import PAPERS, Heading
from chanbridge.handover.pdf import cut
from chanbridge.handover.press import press
from chanbridge.handover.words import Words

MARGIN_MM = 10
NARROWEST_MM, WIDEST_MM = 6.0, 100.0


class Label(NamedTuple):
    """One place on a strip. `texts`: the same name, longest first; the first that fits is printed."""

    number: str
    texts: tuple[str, ...] = ()
    group: str = ""
    careful: bool = False


class Strip(NamedTuple):
    """Labels side by side, `a_row` of them before a new strip begins, each `mm` wide and `tall` mm high."""

    title: str
    labels: tuple[Label, ...]
    mm: float
    a_row: int
    tall: float = 13.0


class Tag(NamedTuple):
    """A label for one end of a cable: large, below it smaller, and small."""

    large: str
    middle: str
    small: str = ""


def strips_pdf(
    heading: Heading, strips: Sequence[Strip], words: Words, paper: str, letters: Letters
) -> bytes:
    """Strips with cut marks; one that is longer than the paper is cut into whole labels. Raises WriteError."""
    for strip in strips:
        if not NARROWEST_MM <= strip.mm <= WIDEST_MM:
            raise WriteError(
                f"a label is {NARROWEST_MM:g} to {WIDEST_MM:g} mm wide, not {strip.mm:g} mm; measure from slot to slot"
            )
        if strip.a_row < 1:
            raise WriteError("at least one label stands in a row")
    width, height = PAPERS[paper]
    if any(min(strip.a_row, len(strip.labels)) * strip.mm > width - 2 * MARGIN_MM for strip in strips):
        width, height = height, width
    groups = [*dict.fromkeys(label.group for strip in strips for label in strip.labels if label.group)]
    kinds = {group: at for at, group in enumerate(groups, 1)}
    made = []
    for strip in strips:
        fits = max(1, int((width - 2 * MARGIN_MM + 0.001) // strip.mm))
        labels = [_label(label, kinds) for label in strip.labels]
        rows = [labels[start : start + strip.a_row] for start in range(0, len(labels), strip.a_row)]
        rows = [row[at : at + fits] for row in rows for at in range(0, len(row), fits)]
        made.append({"title": strip.title, "rows": rows, "mm": strip.mm, "tall": strip.tall})
    return _pressed(heading, words, letters, width, height, strips=made, groups=groups)


def tags_pdf(heading: Heading, tags: Sequence[Tag], words: Words, paper: str, letters: Letters) -> bytes:
    """Labels for the ends of cables, to be folded round them."""
    return _pressed(heading, words, letters, *PAPERS[paper], tags=[list(tag) for tag in tags])


def _label(label: Label, kinds: dict[str, int]) -> dict[str, Any]:
    return {
        "number": label.number,
        "texts": list(label.texts),
        "kind": kinds.get(label.group, 0),
        "spare": not label.texts,
        "careful": label.careful,
    }


def _pressed(
    heading: Heading, words: Words, letters: Letters, width: int, height: int, **parts: Any
) -> bytes:
    date = heading.date
    data = {
        "title": f"{heading.show}: {heading.recipient}",
        "show": cut(heading.show, 60),
        "recipient": cut(heading.recipient, 48),
        "revised": heading.revised(words("revision")),
        "day": date.isoformat() if date else "",
        "date": [date.year, date.month, date.day] if date else None,
        "page-of": words("page_of"),
        "true-size": words("true_size"),
        "language": words.language,
        "width": width,
        "height": height,
        "size": 10,
        "strips": [],
        "groups": [],
        "tags": [],
        "tag-mm": 47,
        "tag-tall": 20,
    } | parts
    texts = [*_texts(data)]
    return letters.printed(texts, lambda: press("labels.typ", _told(data, letters.spelled), letters.fonts))


def _texts(data: Any) -> Iterator[str]:
    """Every text in plain data."""
    if isinstance(data, str):
        yield data
    elif isinstance(data, dict):
        for value in data.values():
            yield from _texts(value)
    elif isinstance(data, list):
        for value in data:
            yield from _texts(value)


def _told(data: Any, tell: Callable[[str], str]) -> Any:
    """Plain data with every text put through `tell`."""
    if isinstance(data, str):
        return tell(data)
    if isinstance(data, dict):
        return {key: _told(value, tell) for key, value in data.items()}
    return [_told(value, tell) for value in data] if isinstance(data, list) else data
