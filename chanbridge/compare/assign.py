"""The globally best assignment of rows to columns, where few of the pairs are possible at all."""

from __future__ import annotations

import heapq
from collections.abc import Mapping, Sequence


def best_assignment(scores: Sequence[Mapping[int, int]]) -> dict[int, int]:
    """Row → column with the largest possible sum of scores; a row or column is used once, or left alone.

    `scores[row]` holds the possible columns with their scores, whole numbers above 0. Shortest augmenting paths
    with potentials (Jonker and Volgenant, 1987; from memory) on the sparse graph: exact, and the work is local,
    so 5 000 rows with a few candidates each take well under a second.
    """
    high = [max(row.values(), default=0) for row in scores]  # a row's potential: what it may still gain
    price: dict[int, int] = {}  # a column's potential
    owner: dict[int, int] = {}
    found: dict[int, int] = {}
    for start in range(len(scores)):
        # A row may end alone at the cost of its potential; that is a column of its own, free at any time.
        reached: dict[int, int] = {}  # column → cost so far
        came: dict[int, int] = {}  # column → the row that it was reached from
        entered = {start: 0}  # row → cost at which it was reached
        done: set[int] = set()
        heap: list[tuple[int, int, int]] = []
        row, cost = start, 0
        alone, alone_cost = start, high[start]
        while True:
            if cost + high[row] < alone_cost:
                alone, alone_cost = row, cost + high[row]
            for column, score in scores[row].items():
                if column in done:
                    continue
                through = cost + high[row] - score + price.get(column, 0)
                if through < reached.get(column, through + 1):
                    reached[column], came[column] = through, row
                    heapq.heappush(heap, (through, column, row))
            while heap and heap[0][1] in done:
                heapq.heappop(heap)
            if not heap or heap[0][0] >= alone_cost:
                end, total = None, alone_cost
                break
            cost, column, _ = heapq.heappop(heap)
            done.add(column)
            if column not in owner:
                end, total = column, cost
                break
            row = owner[column]
            entered[row] = cost
        for seen, at in entered.items():
            high[seen] -= total - at
        for column in done:
            price[column] = price.get(column, 0) + total - reached[column]
        # Hand the columns on along the path, from its end back to the row that it began with.
        row, column = (alone, found.pop(alone, -1)) if end is None else (came[end], end)
        if end is None:
            owner.pop(column, None)
            if row == start:
                continue
            row = came[column]
        while True:
            before = found.get(row, -1)
            found[row], owner[column] = column, row
            if row == start:
                break
            row, column = came[before], before
    return found
