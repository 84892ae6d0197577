"""What the values of a column look like."""

from __future__ import annotations

import itertools
import re

from chanbridge.names import Vocabulary, fold
from chanbridge.sheets import values

_SHORT_SOCKET = re.compile(r"[^\W\d_]{1,2}\d?\s*[-–_.:/ ]?\s*\d{1,3}|\d{1,3}(\.\d{2})?|\d{1,2}[-–]\d{1,3}")


def bears_out(
    field: str, cells: list[str], vocabulary: Vocabulary, named: bool, options: tuple[str, ...]
) -> bool:
    """Whether a column's filled cells look like a field; a heading without a choice needs but a third of them."""
    said = [cell for cell in cells if fold(cell) not in vocabulary.values["nothing"]]
    if not said:
        return len(options) == 1 or field not in ("number", "socket", "count")
    share = share_of_numbers(said)
    if len(options) == 1:
        sockets = sum(values.sockets(cell) is not None for cell in said) / len(said)
        return {"number": share, "socket": sockets}.get(field, 1) >= 0.3
    match field:
        case "number":
            return share >= 0.7 and not ("count" in options and _counts(said))
        case "socket":
            loose = sum(values.sockets(cell) is not None for cell in said) / len(said)
            return _share_of_sockets(said) >= 0.7 or (named and loose >= 0.7)
        case "count":
            return _counts(said)
        case "name" | "short" | "transducer" | "position" | "group" | "notes" | "kind" | "box":
            return share < 0.7
    return True


def _counts(cells: list[str]) -> bool:
    """Whether numbers say how many, not which: small, repeated and in no order."""
    small = all(cell in ("1", "2", "3", "4", "5", "6", "7", "8") for cell in cells)
    return small and len(set(cells)) < len(cells) and cells != sorted(cells)


def share_of_numbers(cells: list[str]) -> float:
    """The part of these cells that are numbers, from 0 to 1."""
    return sum(values.numbers(cell) is not None for cell in cells) / len(cells)


def by_values(columns: list[list[str]], free: list[int]) -> dict[str, int]:
    """Which free column counts up, which holds sockets and which names, by their values alone."""
    rows = max((len(column) for column in columns), default=0)
    found: dict[str, int] = {}
    for at in free:
        if "number" not in found and is_count_up(columns[at], rows):
            found["number"] = at
        elif "socket" not in found and columns[at] and _share_of_sockets(columns[at]) >= 0.7:
            found["socket"] = at
    texts = [
        at for at in free if at not in found.values() and columns[at] and share_of_numbers(columns[at]) < 0.3
    ]
    if texts:
        found["name"] = max(texts, key=lambda at: (len(set(columns[at])), -at))
    return found


def is_place(cell: str) -> bool:
    """Whether a cell looks like a slot's number or a socket: `10.`, `A9`, `2-07`."""
    return bool(_SHORT_SOCKET.fullmatch(cell.strip())) or values.numbers(cell) is not None


def _share_of_sockets(cells: list[str]) -> float:
    return sum(bool(_SHORT_SOCKET.fullmatch(cell)) for cell in cells) / len(cells)


def is_count_up(cells: list[str], rows: int) -> bool:
    """Whether most of a column's cells are numbers that rise from row to row; `rows` is the length of the longest column."""
    found = [number.values[0] for cell in cells if (number := values.numbers(cell))]
    rising = sum(one < other for one, other in itertools.pairwise(found))
    return (
        len(found) >= max(1, 0.6 * rows)
        and rising >= 0.8 * (len(found) - 1)
        and len(found) >= 0.8 * len(cells)
    )
