"""The flow picture: from the stage to whoever listens, as SVG in black, white and greys."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from typing import NamedTuple

from chanbridge.formats.characters import NOT_XML
from chanbridge.formats.text import plain
from chanbridge.handover.layers import Bend, lay
from chanbridge.handover.paper import Picture
from chanbridge.handover.words import Words

WIDE, ROOM = 176.0, 66.0
"""Width of a card and the room between two layers, in the drawing's unit."""

_TITLE, _TEXT = 14.0, 11.5
_LEADING = 1.32
_PAD = 8.0
_DASHES = ("", "9 4", "2.5 3", "14 4 3 4", "6 3 1.5 3")


class Card(NamedTuple):
    """Something on the way. `leads`: it leads the clock. `shape`: how its card is drawn."""

    id: str
    layer: int
    title: str
    lines: tuple[str, ...] = ()
    leads: bool = False
    shape: str = "desk"


class Way(NamedTuple):
    """What goes from one card to another: which lines look alike (`kin`), and how much of it is in use."""

    start: str
    end: str
    text: str
    kin: str


class Cable(NamedTuple):
    """A cable with its two ends, what it is, and what it carries."""

    start: str
    end: str
    what: str
    carries: str
    backup: bool = False
    one_way: bool = False


class Flow(NamedTuple):
    """All that the picture shows. `heads`: the name of each layer. `back`: what comes back, in words."""

    heads: tuple[str, ...]
    cards: tuple[Card, ...]
    ways: tuple[Way, ...]
    cables: tuple[Cable, ...] = ()
    back: tuple[str, ...] = ()


class _Pen:
    """Collects SVG and keeps texts within the width that they are given."""

    def __init__(self) -> None:
        self.drawn: list[str] = []

    def text(self, x: float, y: float, said: str, size: float, room: float, *, bold: bool = False) -> None:
        said = NOT_XML.sub("", plain(said))
        shown = shortened(said, room / size)
        weight = ' font-weight="700"' if bold else ""
        whole = f"<title>{escape(said)}</title>" if shown != said else ""
        self.drawn.append(
            f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}"{weight}>{whole}{escape(shown)}</text>'
        )

    def add(self, drawn: str) -> None:
        self.drawn.append(drawn)


def letters_wide(text: str) -> float:
    """At most so many times its size a text is wide, in any usual sans."""
    wide = 0.0
    for letter in text:
        if letter in "iljI.,;:'|! ":
            wide += 0.36
        elif letter.isupper() or letter in "mw%@…—":
            wide += 0.84
        elif letter.isascii() or letter.islower():
            wide += 0.64
        else:
            wide += 1.02
    return wide


def shortened(text: str, room: float) -> str:
    """The text, or as much of it as fits into `room` times its size, with an ellipsis."""
    if letters_wide(text) <= room:
        return text
    while text and letters_wide(text) + 0.9 > room:
        text = text[:-1]
    return text.rstrip() + "…"


def folded(text: str, room: float, most: int = 2) -> tuple[str, ...]:
    """The text in at most `most` lines, each of which fits; the last one is shortened."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if letters_wide(longer) <= room or not lines[-1] or len(lines) == most:
            lines[-1] = longer
        else:
            lines.append(word)
    return tuple(shortened(line, room) for line in lines)


def picture(flow: Flow, words: Words) -> Picture:
    """The drawing. No two texts overlap: each has a line of a card, or a field of the list of cables, to itself."""
    coming: dict[str, list[Way]] = {card.id: [] for card in flow.cards}
    for way in flow.ways:
        coming[way.end].append(way)
    heads = {card.id: _head(card) for card in flow.cards}
    tall = {card.id: _head_height(heads[card.id]) + 17.0 * len(coming[card.id]) + _PAD for card in flow.cards}
    layers = [[card.id for card in flow.cards if card.layer == at] for at in range(len(flow.heads))]
    laid = lay(layers, [(way.start, way.end) for way in flow.ways], tall, 20.0)
    x_of = {card.id: 10.0 + card.layer * (WIDE + ROOM) for card in flow.cards}
    y_of = {thing: 44.0 + top for thing, top in laid.tops.items()}
    pen = _Pen()
    width = 20.0 + len(flow.heads) * WIDE + (len(flow.heads) - 1) * ROOM
    for at, head in enumerate(flow.heads):
        if layers[at]:
            pen.text(10.0 + at * (WIDE + ROOM), 20.0, head, 12.0, WIDE, bold=True)
    rank = {thing: at for layer in laid.layers for at, thing in enumerate(layer)}
    kin = [*dict.fromkeys(way.kin for way in flow.ways)]
    enters = _entries(flow.ways, rank, heads, y_of)
    leaves = _exits(flow.ways, enters, y_of, tall)
    for number, way in enumerate(flow.ways):
        bends = [Bend(number, layer) for layer in range(_layer(flow, way.start) + 1, _layer(flow, way.end))]
        points = [(x_of[way.start] + WIDE, leaves[number])]
        for bend in bends:
            left = 10.0 + bend.layer * (WIDE + ROOM)
            points += [(left, y_of[bend] + 8), (left + WIDE, y_of[bend] + 8)]
        points.append((x_of[way.end] - 5.0, enters[number]))
        pen.add(_line(points, _DASHES[kin.index(way.kin) % len(_DASHES)]))
    for card in flow.cards:
        own = sorted(
            ((enters[number], way) for number, way in enumerate(flow.ways) if way.end == card.id),
            key=lambda item: item[0],
        )
        _card(pen, card, heads[card.id], x_of[card.id], y_of[card.id], tall[card.id], own)
    bottom = 44.0 + laid.height + 30.0 if flow.cards else 24.0
    bottom = _cables(pen, flow.cables, bottom, width, words)
    bottom = _back(pen, flow.back, bottom, width, words)
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {bottom:.0f}" width="{width:.0f}" height="{bottom:.0f}" '
        f'role="img" aria-label="{escape(words("flow"))}" font-family="\'Noto Sans\', sans-serif" fill="#000">'
        '<defs><marker id="tip" viewBox="0 0 8 8" refX="6" refY="4" markerWidth="8" markerHeight="8" markerUnits="userSpaceOnUse" orient="auto">'
        '<path d="M0 0.8 7.5 4 0 7.2z"/></marker></defs>'
        f'<rect width="{width:.0f}" height="{bottom:.0f}" fill="#fff"/>' + "".join(pen.drawn) + "</svg>"
    )
    return Picture(words("flow"), svg, in_words(flow, words), width, bottom)


def in_words(flow: Flow, words: Words) -> tuple[str, ...]:
    """The same for people who do not see the picture: every card, every way, every cable."""
    titles = {card.id: card.title for card in flow.cards}
    cards = [f"{card.title}: {', '.join(card.lines)}" for card in flow.cards if card.lines]
    ways = [f"{titles[way.start]} > {titles[way.end]}: {way.text}" for way in flow.ways]
    cables = [
        f"{cable.start} > {cable.end}: {cable.what}; {cable.carries}"
        + (f" ({words('backup')})" if cable.backup else "")
        for cable in flow.cables
    ]
    return (*cards, *ways, *cables, *flow.back)


def _layer(flow: Flow, name: str) -> int:
    return next(card.layer for card in flow.cards if card.id == name)


def _head(card: Card) -> tuple[tuple[str, ...], tuple[str, ...]]:
    room = WIDE - 2 * _PAD - 4
    lines = tuple(part for line in card.lines for part in folded(line, room / _TEXT))
    return folded(card.title, (room - (18 if card.leads else 0)) / _TITLE), lines


def _head_height(head: tuple[tuple[str, ...], tuple[str, ...]]) -> float:
    return _PAD + len(head[0]) * _TITLE * _LEADING + len(head[1]) * _TEXT * _LEADING + 2


def _entries(
    ways: Sequence[Way],
    rank: dict[str | Bend, int],
    heads: dict[str, tuple[tuple[str, ...], tuple[str, ...]]],
    y_of: dict[str | Bend, float],
) -> list[float]:
    """The height at which each way comes into its card: a line of its own, in the order of where they come from."""
    by_end: dict[str, list[int]] = {}
    for number, way in enumerate(ways):
        by_end.setdefault(way.end, []).append(number)

    def comes_from(number: int) -> float:
        bends = [thing for thing in rank if isinstance(thing, Bend) and thing.line == number]
        last: str | Bend = max(bends, key=lambda bend: bend.layer) if bends else ways[number].start
        return y_of[last]

    enters = [0.0] * len(ways)
    for end, numbers in by_end.items():
        for at, number in enumerate(sorted(numbers, key=comes_from)):
            enters[number] = y_of[end] + _head_height(heads[end]) + 17.0 * at + 8.5
    return enters


def _exits(
    ways: Sequence[Way], enters: Sequence[float], y_of: dict[str | Bend, float], tall: dict[str, float]
) -> list[float]:
    """The height at which each way leaves its card, spread so that they do not cross on the way out."""
    by_start: dict[str, list[int]] = {}
    for number, way in enumerate(ways):
        by_start.setdefault(way.start, []).append(number)
    leaves = [0.0] * len(ways)
    for start, numbers in by_start.items():
        step = min(12.0, (tall[start] - 12.0) / len(numbers))
        middle = y_of[start] + tall[start] / 2
        for at, number in enumerate(sorted(numbers, key=lambda one: enters[one])):
            leaves[number] = middle + (at - (len(numbers) - 1) / 2) * step
    return leaves


def _line(points: Sequence[tuple[float, float]], dash: str) -> str:
    (x, y), rest = points[0], points[1:]
    path = f"M{x:.1f} {y:.1f}"
    for at, (to_x, to_y) in enumerate(rest):
        if at % 2 == 0:
            half = (x + to_x) / 2
            path += f"C{half:.1f} {y:.1f} {half:.1f} {to_y:.1f} {to_x:.1f} {to_y:.1f}"
        else:
            path += f"L{to_x:.1f} {to_y:.1f}"
        x, y = to_x, to_y
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{path}" fill="none" stroke="#000" stroke-width="1.5"{dashed} marker-end="url(#tip)"/>'


def _card(
    pen: _Pen,
    card: Card,
    head: tuple[tuple[str, ...], tuple[str, ...]],
    x: float,
    y: float,
    tall: float,
    ways: Iterable[tuple[float, Way]],
) -> None:
    round_ = {"block": 14, "feed": 0}.get(card.shape, 3)
    pen.add(
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{WIDE:g}" height="{tall:.1f}" rx="{round_}" fill="#fff" stroke="#000" stroke-width="{2.6 if card.leads else 1.4}"/>'
    )
    if card.shape == "box":
        pen.add(f'<rect x="{x:.1f}" y="{y:.1f}" width="6" height="{tall:.1f}"/>')
    elif card.shape == "feed":
        pen.add(
            f'<rect x="{x + 3:.1f}" y="{y + 3:.1f}" width="{WIDE - 6:g}" height="{tall - 6:.1f}" fill="none" stroke="#000" stroke-width="0.8"/>'
        )
    elif card.shape == "recorder":
        pen.add(
            f'<circle cx="{x + WIDE - 14:.1f}" cy="{y + 14:.1f}" r="5" fill="none" stroke="#000" stroke-width="1.4"/>'
        )
    left = x + _PAD + 4
    below = y + _PAD + _TITLE * 0.85
    if card.leads:
        pen.add(
            f'<path d="M{left:.1f} {below - 9:.1f}h10v8h-10zM{left + 5:.1f} {below - 7:.1f}v3.5h3" stroke="#000" stroke-width="1.5" fill="none"/>'
        )
    for line in head[0]:
        pen.text(
            left + (16 if card.leads else 0), below, line, _TITLE, WIDE - 2 * _PAD - 4 - (16 if card.leads else 0), bold=True
        )  # fmt: skip
        below += _TITLE * _LEADING
    below -= 2
    for line in head[1]:
        pen.text(left, below, line, _TEXT, WIDE - 2 * _PAD - 4)
        below += _TEXT * _LEADING
    for height, way in ways:
        pen.add(f'<path d="M{x:.1f} {height - 8.5:.1f}h{WIDE:g}" stroke="#999" stroke-width="0.7"/>')
        pen.text(left, height + 4, way.text, _TEXT, WIDE - 2 * _PAD - 4)


def _cables(pen: _Pen, cables: Sequence[Cable], top: float, width: float, words: Words) -> float:
    """The cables one below the other, each with its ends, its medium on the line, and what it carries."""
    if not cables:
        return top
    pen.text(10, top, words("cables"), 12.0, width - 20, bold=True)
    end_wide, line_wide = width * 0.2, width * 0.24
    y = top + 14
    for cable in cables:
        middle = y + 13
        left, right = 10.0, 10.0 + end_wide + line_wide
        for x, said in ((left, cable.start), (right, cable.end)):
            pen.add(
                f'<rect x="{x:.1f}" y="{y:.1f}" width="{end_wide:.1f}" height="26" rx="3" fill="#fff" stroke="#000"/>'
            )
            pen.text(x + 6, middle + 4, said, _TEXT, end_wide - 12)
        dash = ' stroke-dasharray="6 4"' if cable.backup else ""
        tip = ' marker-end="url(#tip)"' if cable.one_way else ""
        pen.add(
            f'<path d="M{left + end_wide:.1f} {middle + 6:.1f}h{line_wide - 3:.1f}" fill="none" stroke="#000" stroke-width="1.6"{dash}{tip}/>'
        )
        pen.text(left + end_wide + 8, middle, cable.what, _TEXT, line_wide - 16)
        x = right + end_wide + 10
        pen.text(x, middle + 4, cable.carries, _TEXT, width - x - 10)
        y += 32
    return y + 16


def _back(pen: _Pen, back: Sequence[str], top: float, width: float, words: Words) -> float:
    if not back:
        return top
    pen.text(10, top, words("comes_back"), 12.0, width - 20, bold=True)
    for line in back:
        top += 18
        pen.text(10, top, line, _TEXT, width - 20)
    return top + 20
