"""Faults as they happen on paper, planted into a recipient's list."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple

from chanbridge.model import ChannelMap
from chanbridge.sheets import columns


class Fault(NamedTuple):
    """A planted fault: its kind as `chanbridge compare` calls it, the slots concerned, and what was done."""

    kind: str
    slots: tuple[int, ...]
    what: str


@dataclass
class Paper:
    """A list as rows of cells under headings, while faults are planted. `touched`: rows that have one already."""

    heading: list[str]
    rows: list[list[str]]
    touched: set[int] = field(default_factory=set)

    @classmethod
    def of(cls, whole: ChannelMap, port: str) -> Paper:
        """The list of a port as people get it, without ids."""
        heading, rows = columns.table(whole, port, lambda text: False)
        keep = [at for at, name in enumerate(heading) if name != columns.LAST]
        return cls([heading[at] for at in keep], [[row[at] for at in keep] for row in rows if row[0]])

    def cell(self, row: int, heading: str) -> str:
        """What stands in a row under a heading; "" where there is no such column."""
        return self.rows[row][self.heading.index(heading)] if heading in self.heading else ""

    def put(self, row: int, heading: str, text: str) -> None:
        """Write into a cell."""
        self.rows[row][self.heading.index(heading)] = text

    def slot(self, row: int) -> int:
        """The slot of a row."""
        return int(self.cell(row, "Slot"))

    def free(self, fits: Callable[[int], bool]) -> list[int]:
        """Rows that fit, and that no fault has touched or stands beside."""
        return [
            row for row in range(len(self.rows)) if not self.touched & {row - 1, row, row + 1} and fits(row)
        ]


def _live(paper: Paper, row: int) -> bool:
    return bool(paper.cell(row, "Name"))


def _single(paper: Paper, row: int) -> bool:
    return _live(paper, row) and not paper.cell(row, "Pair")


def _content(paper: Paper) -> slice:
    return slice(paper.heading.index("Name"), None)


def _missing(paper: Paper, rng: random.Random) -> Fault | None:
    rows = paper.free(lambda row: _single(paper, row))
    if not rows:
        return None
    row = rng.choice(rows)
    name = paper.cell(row, "Name")
    paper.rows[row][_content(paper)] = [""] * len(paper.rows[row][_content(paper)])
    paper.touched.add(row)
    return Fault("missing", (paper.slot(row),), f"{name} is not on the list")


def _swap(paper: Paper, rng: random.Random) -> Fault | None:
    def fits(row: int) -> bool:
        singles = row + 2 < len(paper.rows) and _single(paper, row) and _single(paper, row + 1)
        return singles and paper.touched.isdisjoint((row + 1, row + 2))

    rows = paper.free(fits)
    if not rows:
        return None
    row = rng.choice(rows)
    part = _content(paper)
    paper.rows[row][part], paper.rows[row + 1][part] = paper.rows[row + 1][part], paper.rows[row][part]
    paper.touched |= {row, row + 1}
    names = f"{paper.cell(row, 'Name')} and {paper.cell(row + 1, 'Name')}"
    return Fault("swap", (paper.slot(row), paper.slot(row + 1)), f"{names} stand in each other's slots")


def _pair(paper: Paper, rng: random.Random) -> Fault | None:
    def fits(row: int) -> bool:
        here = row + 1 < len(paper.rows) and paper.cell(row, "Pair").startswith("L")
        return here and paper.cell(row + 1, "Pair").startswith("R") and row + 2 not in paper.touched

    rows = paper.free(fits)
    if not rows:
        return None
    row = rng.choice(rows)
    left, right = paper.cell(row, "Name"), paper.cell(row + 1, "Name")
    for heading in ("Name", "Short"):
        one, other = paper.cell(row, heading), paper.cell(row + 1, heading)
        paper.put(row, heading, other)
        paper.put(row + 1, heading, one)
    paper.touched |= {row, row + 1}
    return Fault(
        "pair", (paper.slot(row), paper.slot(row + 1)), f"{left} and {right} are the wrong way round"
    )


def _resourced(paper: Paper, rng: random.Random) -> Fault | None:
    rows = paper.free(lambda row: _single(paper, row) and paper.cell(row, "Socket").isdigit())
    taken = {(paper.cell(row, "Box"), paper.cell(row, "Socket")) for row in range(len(paper.rows))}
    if not rows:
        return None
    row = rng.choice(rows)
    box, socket = paper.cell(row, "Box"), paper.cell(row, "Socket")
    other = next(number for number in range(1, 200) if (box, str(number)) not in taken)
    paper.put(row, "Socket", str(other))
    paper.touched.add(row)
    return Fault(
        "resourced",
        (paper.slot(row),),
        f"{paper.cell(row, 'Name')} says socket {box}{other}, it is {box}{socket}",
    )


_STRANGERS = ("Zither", "Lute", "Sitar", "Duduk", "Theremin", "Waterphone", "Berimbau", "Launeddas")


def _renamed(paper: Paper, rng: random.Random) -> Fault | None:
    rows = paper.free(lambda row: _single(paper, row))
    used = {paper.cell(row, "Name") for row in range(len(paper.rows))}
    names = [name for name in _STRANGERS if name not in used]
    if not rows or not names:
        return None
    row, name = rng.choice(rows), rng.choice(names)
    was = paper.cell(row, "Name")
    paper.put(row, "Name", name)
    if "Short" in paper.heading:
        paper.put(row, "Short", name[:8])
    paper.touched.add(row)
    return Fault("resourced", (paper.slot(row),), f"it says {name}, it is {was}")


def _doubled(paper: Paper, rng: random.Random) -> Fault | None:
    rows = paper.free(lambda row: _single(paper, row))
    spares = paper.free(lambda row: not _live(paper, row))
    if not rows or not spares:
        return None
    row, spare = rng.choice(rows), rng.choice(spares)
    part = _content(paper)
    paper.rows[spare][part] = paper.rows[row][part]
    paper.touched |= {row, spare}
    return Fault(
        "doubled", (paper.slot(row), paper.slot(spare)), f"{paper.cell(row, 'Name')} stands on two slots"
    )


def _flip(kind: str, heading: str, words: dict[str, str]) -> Callable[[Paper, random.Random], Fault | None]:
    def plant(paper: Paper, rng: random.Random) -> Fault | None:
        rows = paper.free(lambda row: _live(paper, row) and paper.cell(row, heading) in words)
        if not rows:
            return None
        row = rng.choice(rows)
        was = paper.cell(row, heading)
        paper.put(row, heading, words[was])
        paper.touched.add(row)
        now = words[was] or "nothing"
        return Fault(
            kind, (paper.slot(row),), f"{paper.cell(row, 'Name')}: {heading.lower()} says {now}, it is {was}"
        )

    return plant


PLANTS: tuple[Callable[[Paper, random.Random], Fault | None], ...] = (
    _missing,
    _swap,
    _pair,
    _resourced,
    _renamed,
    _doubled,
    _flip("phantom", "Phantom", {"on": "off", "off": "on"}),
    _flip("polarity", "Polarity", {"normal": "reversed", "reversed": "normal"}),
    _flip("audience", "Air", {"NOT FOR AIR": ""}),
)
"""Every kind of fault that can be planted."""


def plant(papers: list[Paper], faults: int, seed: int) -> list[tuple[int, Fault]]:
    """Plant so many faults into papers, as many kinds as can be; which paper each stands on, with the fault.

    The same seed plants the same. Fewer are planted where the papers have no more room.
    """
    rng = random.Random(seed)
    kinds = list(PLANTS)
    rng.shuffle(kinds)
    done: list[tuple[int, Fault]] = []
    idle = 0
    turn = 0
    while len(done) < faults and idle < len(kinds):
        at = rng.randrange(len(papers))
        order = [at, *(other for other in range(len(papers)) if other != at)]
        made = next(
            ((one, found) for one in order if (found := kinds[turn % len(kinds)](papers[one], rng))), None
        )
        idle = 0 if made else idle + 1
        done += [made] if made else []
        turn += 1
    return done
