"""The flow picture: nothing overlaps, few lines cross, all of it is there in words too."""

from __future__ import annotations

import itertools
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from chanbridge.handover.flow import Cable, Card, Flow, Way, folded, letters_wide, picture, shortened
from chanbridge.handover.layers import Bend, Laid, lay
from chanbridge.handover.words import Words

WORDS = Words()
SVG = "{http://www.w3.org/2000/svg}"


def big(boxes: int = 3, listeners: int = 12) -> Flow:
    """Boxes on blocks of their own; every listener takes two blocks or the feed; names as long as they may be."""
    cards = [
        Card(
            f"box {at}",
            0,
            f"Box {'B' * 48 if at == 1 else at}",
            ("34 of 40", "clock from front-of-house"),
            at == 0,
            "box",
        )
        for at in range(boxes)
    ]
    cards += [
        Card(f"block {at}", 1, f"block-{at}", ("34 of 40", "48 kHz"), shape="block") for at in range(boxes)
    ]
    cards.append(Card("feed", 2, "truck-feed", ("64 of 64", "64@48000"), shape="feed"))
    cards += [
        Card(f"to {at}", 3, f"Listener number {at} at the far end", ("clock from front-of-house",), at == 2)
        for at in range(listeners)
    ]
    ways = [Way(f"box {at}", f"block {at}", f"box {at}: 34 of 40", str(at)) for at in range(boxes)]
    ways += [Way(f"block {at}", "feed", f"block {at}: 20 of 40", str(at)) for at in range(boxes)]
    for at in range(listeners):
        takes = ["feed"] if at % 4 == 3 else [f"block {at % boxes}", f"block {(at + 1) % boxes}"]
        ways += [Way(name, f"to {at}", f"{name}: 34 of 40", name) for name in dict.fromkeys(takes)]
    cables = tuple(
        Cable(
            f"box {at}.main", f"to {at}.a", "twisted pair, 70 m", "block: 34 of 40, 48 kHz", at == 1, at == 2
        )
        for at in range(boxes)
    )
    return Flow(
        ("Stage boxes", "Blocks", "Feeds", "Who listens"),
        tuple(cards),
        tuple(ways),
        cables,
        ("Ear: a 1 > B 1",),
    )


def areas(svg: str) -> list[tuple[float, float, float, float, str]]:
    """Left, top, right, bottom of each text, as wide as it can be in any usual sans."""
    found = []
    for node in etree.fromstring(svg.encode()).iter(f"{SVG}text"):
        said = (node.text or "") + "".join(child.tail or "" for child in node)
        size = float(node.get("font-size") or "nan")
        x, y = float(node.get("x") or "nan"), float(node.get("y") or "nan")
        found.append((x, y - 0.8 * size, x + letters_wide(said) * size, y + 0.22 * size, said))
    return found


@pytest.mark.parametrize(("boxes", "listeners"), [(1, 1), (2, 5), (3, 12), (6, 20)])
def test_no_text_overlaps_another_or_leaves_the_picture(boxes: int, listeners: int) -> None:
    drawn = picture(big(boxes, listeners), WORDS)
    found = areas(drawn.svg)
    for one, two in itertools.combinations(found, 2):
        apart = one[2] <= two[0] or two[2] <= one[0] or one[3] <= two[1] or two[3] <= one[1]
        assert apart, (one, two)
    assert all(
        left >= 0 and right <= drawn.width and bottom <= drawn.height for left, _, right, bottom, _ in found
    )


def test_no_card_overlaps_another() -> None:
    root = etree.fromstring(picture(big(), WORDS).svg.encode())
    cards = [
        tuple(float(node.get(key) or "nan") for key in ("x", "y", "width", "height"))
        for node in root.iter(f"{SVG}rect")
        if node.get("stroke-width") in ("1.4", "2.6")
    ]
    assert len(cards) == 3 + 3 + 1 + 12
    for (x, y, wide, tall), (x2, y2, wide2, tall2) in itertools.combinations(cards, 2):
        assert x + wide <= x2 or x2 + wide2 <= x or y + tall <= y2 or y2 + tall2 <= y


def test_black_white_and_grey_only() -> None:
    for colour in re.findall(r'(?:fill|stroke)="(#[0-9a-f]+)"', picture(big(), WORDS).svg):
        digits = colour[1:] if len(colour) == 7 else "".join(letter * 2 for letter in colour[1:])
        assert digits[:2] == digits[2:4] == digits[4:]


def test_lines_of_different_sources_look_different() -> None:
    svg = picture(big(), WORDS).svg
    lines = re.findall(r'<path d="M[^"]*C[^"]*" fill="none"[^>]*>', svg)
    dashes = {found[1] if (found := re.search(r'dasharray="([^"]*)"', line)) else "" for line in lines}
    assert len(dashes) == 5, "three blocks, the feed, and a box; boxes look as what they are carried on"


def test_everything_is_said_in_words() -> None:
    flow = big()
    said = "\n".join(picture(flow, WORDS).words)
    for way in flow.ways:
        assert way.text in said
    assert "twisted pair, 70 m" in said
    assert "backup" in said


def test_names_with_markup_make_no_markup() -> None:
    card = Card("a", 0, '<script>&"x', ("]]> </svg>",))
    svg = picture(Flow(("Stage boxes",), (card,), ()), WORDS).svg
    root = etree.fromstring(svg.encode())
    assert '<script>&"x' in "".join(map(str, root.itertext()))
    assert not list(root.iter("{*}script"))


def test_control_characters_do_not_break_it() -> None:
    card = Card("a", 0, "bell\x07 \ufffe end", ("a\nb",))
    svg = picture(Flow(("Stage boxes",), (card,), ()), WORDS).svg
    assert "bell" in "".join(map(str, etree.fromstring(svg.encode()).itertext()))


def test_the_same_picture_again() -> None:
    assert picture(big(), WORDS) == picture(big(), WORDS)


def crossings(laid: Laid, lines: list[tuple[str, str]]) -> int:
    """Pairs of lines between two layers that cross, counted slowly."""
    rank = {thing: (level, at) for level, layer in enumerate(laid.layers) for at, thing in enumerate(layer)}
    steps = []
    for number, (start, end) in enumerate(lines):
        way: list[str | Bend] = [start]
        way += [Bend(number, level) for level in range(rank[start][0] + 1, rank[end][0])]
        steps += list(itertools.pairwise([*way, end]))
    return sum(
        rank[a][0] == rank[c][0] and (rank[a][1] - rank[c][1]) * (rank[b][1] - rank[d][1]) < 0
        for (a, b), (c, d) in itertools.combinations(steps, 2)
    )


@given(
    st.integers(1, 3),
    st.integers(1, 3),
    st.lists(st.tuples(st.integers(0, 2), st.integers(0, 2)), min_size=1, max_size=7, unique=True),
)
def test_never_more_crossings_than_as_declared_and_rarely_more_than_needed(
    left: int, right: int, drawn: list[tuple[int, int]]
) -> None:
    """Two layers against every order there is; the sweep is a heuristic, so one crossing more is allowed."""
    first, second = [f"l{at}" for at in range(left)], [f"r{at}" for at in range(right)]
    lines = list(dict.fromkeys((f"l{a % left}", f"r{b % right}") for a, b in drawn))
    laid = lay([first, second], lines, dict.fromkeys([*first, *second], 10.0), 5.0)
    mine = crossings(laid, lines)
    declared = crossings(Laid((tuple(first), tuple(second)), {}, 0), lines)
    least = min(
        crossings(Laid((one, two), {}, 0), lines)
        for one in itertools.permutations(first)
        for two in itertools.permutations(second)
    )
    assert mine <= declared
    assert mine <= least + 1


def test_crossings_of_the_large_picture_are_few() -> None:
    flow = big()
    layers = [[card.id for card in flow.cards if card.layer == level] for level in range(4)]
    lines = [(way.start, way.end) for way in flow.ways]
    heights = {card.id: 60.0 for card in flow.cards}
    laid = lay(layers, lines, heights, 20.0)
    bends = [
        [Bend(at, level) for at, (a, b) in enumerate(lines) if _between(flow, a, b, level)]
        for level in range(4)
    ]
    declared = Laid(tuple((*layer, *bends[level]) for level, layer in enumerate(layers)), {}, 0)
    assert crossings(laid, lines) < crossings(declared, lines) / 2


def _between(flow: Flow, start: str, end: str, level: int) -> bool:
    layer = {card.id: card.layer for card in flow.cards}
    return layer[start] < level < layer[end]


@pytest.mark.parametrize("text", ["", "a", "Broadcast truck at the back", "W" * 80, "漢字" * 20])
def test_texts_are_kept_within_their_room(text: str) -> None:
    assert letters_wide(shortened(text, 10)) <= 10.01
    lines = folded(text, 10)
    assert len(lines) <= 2
    assert all(letters_wide(line) <= 10.01 for line in lines)
