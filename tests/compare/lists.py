"""Small lists for the tests."""

from __future__ import annotations

from chanbridge.compare.changes import Comparison
from chanbridge.formats import named, read_data
from chanbridge.model import ChannelMap


def sheet(text: str) -> ChannelMap:
    """A list, read."""
    return read_data(text.encode(), "sheet.csv", named("csv")).map


LIST = [*(["Kick in", "Kick out", "Snare top", "Snare bottom", "Hi-hat", "Tom high", "Tom low", "Overhead L", "Overhead R", "Percussion", "Bass", "Mandolin"]),
        *(f"Chair {number}" for number in range(1, 53))]  # fmt: skip


def numbered(names: list[str], first: int = 1) -> ChannelMap:
    """A list of numbers and names."""
    return sheet("Ch,Name\n" + "".join(f"{number},{name}\n" for number, name in enumerate(names, first)))


def socketed(names: list[str], box: str = "B", first: int = 1) -> ChannelMap:
    """A list of sockets and names."""
    return sheet(
        "Socket,Name\n" + "".join(f"{box}{number},{name}\n" for number, name in enumerate(names, first))
    )


def kinds(found: Comparison) -> list[str]:
    """The kinds of the changes, in their order."""
    return [change.kind for change in found.changes]
