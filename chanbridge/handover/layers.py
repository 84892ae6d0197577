"""A layered drawing: what stands in which layer, in which order and how high, so that few lines cross.

After Sugiyama, Tagawa and Toda (1981): lines over several layers get a place in each, the order in a layer comes
from the middle of the neighbours, sweep by sweep, from several orders to begin with, and the best met is kept.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import accumulate, pairwise
from typing import NamedTuple

SWEEPS = 12
BEND_HEIGHT = 16.0


class Bend(NamedTuple):
    """The place of a line (by its number) in a layer between its ends."""

    line: int
    layer: int


Thing = str | Bend
Step = tuple[Thing, Thing]
Order = Sequence[Sequence[Thing]]


class Laid(NamedTuple):
    """Layers from top to bottom, the height of each thing's upper edge, and the height of the whole."""

    layers: tuple[tuple[Thing, ...], ...]
    tops: Mapping[Thing, float]
    height: float


def lay(
    layers: Sequence[Sequence[str]],
    lines: Sequence[tuple[str, str]],
    heights: Mapping[str, float],
    gap: float,
) -> Laid:
    """Order and heights. `lines` run from an earlier layer to a later one; `heights` and `gap` in the drawing's unit."""
    at = {name: number for number, layer in enumerate(layers) for name in layer}
    whole: list[list[Thing]] = [list(layer) for layer in layers]
    steps: list[Step] = []
    for number, (start, end) in enumerate(lines):
        bends = [Bend(number, layer) for layer in range(at[start] + 1, at[end])]
        for bend in bends:
            whole[bend.layer].append(bend)
        steps += pairwise((start, *bends, end))
    near: dict[Thing, list[Thing]] = {thing: [] for layer in whole for thing in layer}
    for left, right in steps:
        near[left].append(right)
        near[right].append(left)
    best: Order = whole
    fewest = _crossings(whole, steps)
    first = whole[0] if whole else []
    # Sweeps go no further than the order that they begin with lets them.
    for thing in first if fewest else ():
        others = [one for one in first if one != thing]
        found, crossings = _swept([[thing, *others], *whole[1:]], steps, near)
        if crossings < fewest:
            best, fewest = found, crossings
    tall = {thing: BEND_HEIGHT if isinstance(thing, Bend) else heights[thing] for thing in near}
    return _raised(best, near, tall, gap)


def _swept(
    begun: Sequence[Sequence[Thing]], steps: Sequence[Step], near: Mapping[Thing, Sequence[Thing]]
) -> tuple[Order, int]:
    """The best order met in sweeps up and down from one to begin with, and its crossings."""
    whole = [list(layer) for layer in begun]
    best: Order = begun
    fewest = _crossings(begun, steps)
    for sweep in range(SWEEPS):
        down = sweep % 2 == 0
        for number in range(1, len(whole)) if down else range(len(whole) - 2, -1, -1):
            rank = {thing: index for index, thing in enumerate(whole[number - 1 if down else number + 1])}
            middles = {}
            for mine, thing in enumerate(whole[number]):
                ranks = [rank[one] for one in near[thing] if one in rank]
                middles[thing] = sum(ranks) / len(ranks) if ranks else float(mine)
            whole[number].sort(key=middles.__getitem__)
        crossings = _crossings(whole, steps)
        if crossings < fewest:
            best, fewest = [list(layer) for layer in whole], crossings
    return best, fewest


def _crossings(layers: Order, steps: Sequence[Step]) -> int:
    place = {thing: number for number, layer in enumerate(layers) for thing in layer}
    rank = {thing: index for layer in layers for index, thing in enumerate(layer)}
    count = 0
    for number in range(len(layers) - 1):
        here = [(rank[left], rank[right]) for left, right in steps if place[left] == number]
        count += sum(
            (one[0] - two[0]) * (one[1] - two[1]) < 0
            for index, one in enumerate(here)
            for two in here[:index]
        )
    return count


def _raised(
    layers: Sequence[Sequence[Thing]],
    near: Mapping[Thing, Sequence[Thing]],
    tall: Mapping[Thing, float],
    gap: float,
) -> Laid:
    """Everything beside the middle of its neighbours, as far as the order and the gaps let it."""
    tops: dict[Thing, float] = {}
    for layer in layers:
        below = 0.0
        for thing in layer:
            tops[thing] = below
            below += tall[thing] + gap
    longest = max(range(len(layers)), key=lambda number: sum(tall[thing] + gap for thing in layers[number]))
    order = [*range(longest - 1, -1, -1), *range(longest + 1, len(layers))]
    for number in order:
        layer = layers[number]
        settled = {*layers[number + 1 if number < longest else number - 1]}
        wish = []
        for thing in layer:
            middles = [tops[one] + tall[one] / 2 for one in near[thing] if one in settled]
            wish.append(sum(middles) / len(middles) - tall[thing] / 2 if middles else tops[thing])
        tops |= zip(layer, _apart(wish, [tall[thing] + gap for thing in layer]), strict=True)
    lowest = min(tops.values(), default=0.0)
    tops = {thing: top - lowest for thing, top in tops.items()}
    height = max((top + tall[thing] for thing, top in tops.items()), default=0.0)
    return Laid(tuple(map(tuple, layers)), tops, height)


def _apart(wishes: Sequence[float], steps: Sequence[float]) -> list[float]:
    """Places as near to the wishes as can be (least squares), each at least its step after the one before.

    Isotonic regression by pooling neighbours that would be out of order (Ayer and others, 1955).
    """
    offsets = [0.0, *accumulate(steps)][:-1] if steps else []
    pools: list[tuple[float, int]] = []  # sum of what is pooled, and how many
    for wish, offset in zip(wishes, offsets, strict=True):
        pools.append((wish - offset, 1))
        while len(pools) > 1 and pools[-2][0] / pools[-2][1] > pools[-1][0] / pools[-1][1]:
            (total, count), (more, others) = pools[-2:]
            pools[-2:] = [(total + more, count + others)]
    middles = [total / count for total, count in pools for _ in range(count)]
    return [middle + offset for middle, offset in zip(middles, offsets, strict=True)]
