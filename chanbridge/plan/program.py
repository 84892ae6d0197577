"""A small integer program, minimised level by level in HiGHS."""

from __future__ import annotations

import math
import time
from collections.abc import Iterable, Mapping
from typing import NamedTuple


class Minimum(NamedTuple):
    """The least that was found, with the columns' values; nothing is below `bound`."""

    value: int
    bound: int
    values: list[int]


class Clock:
    """Seconds that may still be spent."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self._end = time.monotonic() + seconds

    def left(self) -> float:
        """Seconds left, 0 at the least."""
        return max(0.0, self._end - time.monotonic())


class Program:
    """Columns from 0 to 1 or more (whole numbers unless said otherwise), rows over them, and costs that are whole.

    One thread and one seed, so that the same program gives the same answer.
    """

    def __init__(self, clock: Clock) -> None:
        self.clock = clock
        self._whole: list[bool] = []
        self._most: list[int] = []
        self._rows: list[tuple[list[int], list[float], float, float]] = []

    def column(self, whole: bool = True, most: int = 1) -> int:
        """A new column from 0 to `most`, by its number."""
        self._whole.append(whole)
        self._most.append(most)
        return len(self._whole) - 1

    def row(self, terms: Iterable[tuple[int, float]], least: float | None, most: float | None) -> None:
        """A row: the sum of column × factor lies between `least` and `most`."""
        columns, factors = [], []
        for column, factor in terms:
            columns.append(column)
            factors.append(float(factor))
        low = -math.inf if least is None else least
        self._rows.append((columns, factors, low, math.inf if most is None else most))

    def minimise(self, costs: Mapping[int, int], share: float = 1.0, near: float = 0.0) -> Minimum | None:
        """The least cost; None if there is no solution, or none was found in the time.

        `share`: of the time that is left. `near`: how far from the least is good enough, as a share of it. No start
        is passed on: HiGHS 1.16 loses what its presolve took off the cost of one, and calls it the best.
        """
        if not self._whole:
            return Minimum(0, 0, []) if all(row[2] <= 0 <= row[3] for row in self._rows) else None
        import highspy
        import numpy as np
        from highspy._core import _Highs  # highspy.Highs greets on standard output, where a sheet may go

        lp = highspy.HighsLp()
        count = len(self._whole)
        lp.num_col_, lp.num_row_ = count, len(self._rows)
        cost = np.zeros(count)
        for column, its in costs.items():
            cost[column] = its
        lp.col_cost_ = cost
        lp.col_lower_, lp.col_upper_ = np.zeros(count), np.array(self._most, dtype=float)
        kinds = (highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger)
        lp.integrality_ = [kinds[whole] for whole in self._whole]
        lp.row_lower_ = np.array([row[2] for row in self._rows])
        lp.row_upper_ = np.array([row[3] for row in self._rows])
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        lp.a_matrix_.start_ = np.cumsum([0, *(len(row[0]) for row in self._rows)], dtype=np.int32)
        lp.a_matrix_.index_ = np.array([at for row in self._rows for at in row[0]], dtype=np.int32)
        lp.a_matrix_.value_ = np.array([factor for row in self._rows for factor in row[1]])
        solver = _Highs()
        for name, value in (
            ("output_flag", False), ("threads", 1), ("random_seed", 0), ("mip_rel_gap", near),
            ("mip_abs_gap", 0.99), ("time_limit", max(0.05, share * self.clock.left())),
        ):  # fmt: skip
            solver.setOptionValue(name, value)
        solver.passModel(lp)
        solver.run()
        info = solver.getInfo()
        if info.primal_solution_status != 2:  # 2: a feasible point
            return None
        raw = solver.getSolution().col_value
        least = round(sum(raw[column] * its for column, its in costs.items()))
        done = solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
        bound = info.mip_dual_bound if math.isfinite(info.mip_dual_bound) else -math.inf
        if done and not near and abs(info.objective_function_value - least) < 0.5:
            bound = least
        floor = sum(min(0, its * self._most[column]) for column, its in costs.items())
        return Minimum(
            least, max(floor, math.ceil(max(bound, floor) - 1e-6)), [round(value) for value in raw]
        )
