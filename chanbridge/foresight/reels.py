"""Cables for the ways of a show: which medium reaches, and which pieces of the store make each run."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from chanbridge.foresight.allot import Option, allot, covers
from chanbridge.foresight.needs import Store, StoreCable
from chanbridge.foresight.sized import Run
from chanbridge.gear import LIMITS, counted_m

MOST_PIECES = 5
"""Pieces in one run: structured cabling allows four joints (from memory)."""

NETWORK = ("twisted pair", "multimode fibre", "single-mode fibre")
"""The media of a block's cable, the usual one first."""


class Way(NamedTuple):
    """A cable that is wanted. `media`: those that it may be of, the first best; `distance_m`: None where not said."""

    id: str
    start: str
    end: str
    carries: str
    distance_m: float | None
    media: tuple[str, ...] = NETWORK
    backup: bool = False


class Reels:
    """The cables of a store; `slack_percent`: how much longer a cable is than its way."""

    def __init__(self, store: Store, slack_percent: float | None) -> None:
        self.kinds = store.cable
        self.slack = 1 + (slack_percent or 0) / 100
        self.wrong: list[str] = []
        self.unsure: list[str] = []

    def runs(self, ways: Sequence[Way]) -> Iterator[Run]:
        """A run for each way: the first medium that reaches and that the store can make, and its pieces for it."""
        media, options = [], []
        lengths = [round((way.distance_m or 0) * self.slack, 3) for way in ways]
        for way, length in zip(ways, lengths, strict=True):
            made = {medium: self._combinations(medium, length) for medium in way.media}
            reach = [medium for medium in way.media if length <= _most(medium)]
            medium = next((medium for medium in reach if made[medium]), (reach or list(way.media))[0])
            media.append(medium)
            options.append(made[medium] if way.distance_m is not None else [])
        served = [at for at, there in enumerate(options) if there]
        metres = [math.ceil(kind.length_m) for kind in self.kinds]
        chosen = allot([options[at] for at in served], [kind.have for kind in self.kinds], metres)
        found = dict(zip(served, chosen, strict=True))
        for at, way in enumerate(ways):
            counts = found.get(at, (0,) * len(self.kinds))
            pieces = tuple(kind for kind, count in zip(self.kinds, counts, strict=True) for _ in range(count))
            yield self._run(way, media[at], lengths[at], pieces)

    def _run(self, way: Way, medium: str, length: float, pieces: tuple[StoreCable, ...]) -> Run:
        limit = LIMITS.get(medium)
        used = round(sum(map(_counted, pieces)) if pieces else length, 2)
        if way.distance_m is not None and limit and used > limit.most:
            self.wrong.append(
                f"{way.id}: {length:g} m of {medium}, and {limit.most:g} m are the most; use fibre or a repeater"
            )
        elif way.distance_m is not None and self.kinds and not pieces:
            self.wrong.append(f"{way.id}: no {medium} of the kit makes {length:g} m within its limit")
        elif way.distance_m is not None and limit and used > limit.sure:
            self.unsure.append(
                f"whether {used:g} m of {medium} work for {way.id}: {limit.sure:g} to {limit.most:g} m are the most "
                f"({limit.source}); ask the makers, and test it"
            )
        most = limit.most if limit else None
        return Run(way.id, way.start, way.end, way.carries, medium, length, pieces, used, most, way.backup)

    def _combinations(self, medium: str, length: float) -> list[Option]:
        """What pieces of a medium make a run, within its limit and of at most MOST_PIECES."""
        limit = _most(medium)
        sizes = [(round(kind.length_m * 1000) if kind.medium == medium else 0,) for kind in self.kinds]
        return [
            option
            for option in covers(sizes, (max(1, round(length * 1000)),), MOST_PIECES)
            if sum(count * _counted(kind) for count, kind in zip(option, self.kinds, strict=True)) <= limit
        ]


def _most(medium: str) -> float:
    """The longest run of a medium in m."""
    limit = LIMITS.get(medium)
    return limit.most if limit else math.inf


def _counted(cable: StoreCable) -> float:
    return counted_m(cable.length_m, cable.stranded_awg, cable.medium)
