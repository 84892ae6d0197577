"""Which pieces of a store serve which demand: the fewest hired, then the fewest, then the smallest."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from operator import mul
from typing import NamedTuple

Option = tuple[int, ...]
"""One way to serve a demand: how many of each kind."""


MOST_COVERS = 5000
"""How many choices are looked for at most, those with the largest pieces first."""

MOST_WEIGHED = 200
"""How many choices of one demand are weighed against those of the others: those that are best by themselves."""


def covers(sizes: Sequence[Sequence[int]], wanted: Sequence[int], most: int = 1000) -> list[Option]:
    """Every choice of kinds that reaches what is wanted in each measure, none with a piece too many.

    `sizes`: kind → its measures, such as inputs and outputs. `most`: pieces in one choice. No more than MOST_COVERS.
    """
    order = sorted(range(len(sizes)), key=lambda kind: -sum(sizes[kind]))
    found: list[Option] = []

    def choose(option: Option, missing: Sequence[int]) -> None:
        """Add counts of the kinds that are left; `missing`: what the option still lacks in each measure."""
        if len(found) == MOST_COVERS:
            return
        if max(missing) <= 0:
            counts = dict(zip(order, option, strict=False))
            whole = tuple(counts.get(kind, 0) for kind in range(len(sizes)))
            if not any(
                count and all(size <= -lack for size, lack in zip(sizes[kind], missing, strict=True))
                for kind, count in enumerate(whole)
            ):
                found.append(whole)
        elif len(option) < len(order):
            here = sizes[order[len(option)]]
            useful = max(
                (math.ceil(lack / size) for lack, size in zip(missing, here, strict=True) if size), default=0
            )
            for count in range(max(0, min(useful, most - sum(option))), -1, -1):
                choose(
                    (*option, count), [lack - count * size for lack, size in zip(missing, here, strict=True)]
                )

    choose((), wanted)
    return found


class _Group(NamedTuple):
    """Demands that have the same options."""

    options: tuple[Option, ...]
    demands: tuple[int, ...]


def allot(demands: Sequence[Sequence[Option]], have: Sequence[int], sizes: Sequence[int]) -> list[Option]:
    """An option for each demand; every demand has at least one. `have`: of each kind; `sizes`: to waste little."""
    if not demands:
        return []
    alike: dict[tuple[Option, ...], list[int]] = {}
    for at, options in enumerate(demands):
        alike.setdefault(_likely(options, have, sizes), []).append(at)
    groups = [_Group(options, tuple(ats)) for options, ats in alike.items()]
    chosen: list[Option] = [()] * len(demands)
    for group, counts in zip(groups, _solve(groups, have, sizes), strict=True):
        each = (option for option, count in zip(group.options, counts, strict=True) for _ in range(count))
        for at, option in zip(group.demands, each, strict=True):
            chosen[at] = option
    return chosen


def _likely(options: Sequence[Option], have: Sequence[int], sizes: Sequence[int]) -> tuple[Option, ...]:
    """The choices that would be best if there were no other demand."""

    def cost(option: Option) -> tuple[int, int, int]:
        hired = sum(max(0, count - there) for count, there in zip(option, have, strict=True))
        return hired, sum(option), sum(map(mul, option, sizes))

    return tuple(sorted(options, key=cost)[:MOST_WEIGHED])


def _solve(groups: Sequence[_Group], have: Sequence[int], sizes: Sequence[int]) -> Iterator[list[int]]:
    """How often each option of each group is taken: an integer program, minimised level by level in HiGHS."""
    import highspy
    from highspy._core import _Highs  # highspy.Highs greets on standard output

    columns = [(group, option) for group in groups for option in group.options]
    kinds = range(len(have))
    solver = _Highs()
    for name, value in (
        ("output_flag", False), ("threads", 1), ("random_seed", 0), ("mip_rel_gap", 0.0), ("mip_abs_gap", 0.5),
        ("presolve", "off"),  # it takes a minute of three thousand options that are solved in two seconds
    ):  # fmt: skip
        solver.setOptionValue(name, value)
    for group, _ in columns:
        solver.addVar(0.0, float(len(group.demands)))
    for _ in kinds:  # how many of each kind are hired
        solver.addVar(0.0, math.inf)
    count = len(columns) + len(have)
    for at in range(count):
        solver.changeColIntegrality(at, highspy.HighsVarType.kInteger)

    def row(terms: Counter[int], least: float, most: float) -> None:
        used = sorted(at for at, factor in terms.items() if factor)
        solver.addRow(least, most, len(used), used, [float(terms[at]) for at in used])

    for group in groups:
        own = Counter({at: 1 for at, (other, _) in enumerate(columns) if other is group})
        row(own, len(group.demands), len(group.demands))
    for kind in kinds:
        terms = Counter({at: option[kind] for at, (_, option) in enumerate(columns)})
        terms[len(columns) + kind] = -1
        row(terms, -math.inf, have[kind])
    levels = [
        Counter({len(columns) + kind: 1 for kind in kinds}),
        Counter({at: sum(option) for at, (_, option) in enumerate(columns)}),
        Counter({at: sum(map(mul, option, sizes)) for at, (_, option) in enumerate(columns)}),
    ]
    values: list[int] = []
    for costs in levels:
        for at in range(count):
            solver.changeColCost(at, float(costs[at]))
        solver.run()
        values = [round(value) for value in solver.getSolution().col_value]
        least = sum(costs[at] * values[at] for at in range(count))
        row(costs, -math.inf, least)
    at = 0
    for group in groups:
        yield values[at : at + len(group.options)]
        at += len(group.options)
