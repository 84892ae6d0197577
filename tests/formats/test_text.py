"""Texts built to keep a reader busy."""

from __future__ import annotations

import pytest

from chanbridge.errors import ReadError
from chanbridge.formats import of_suffix, read_data


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("x.txt", "Ch  Name\n" + "-" * 200 + "x\n1  Kick\n"),
        ("x.txt", "Ch  Name\n" + "- " * 400 + "x\n1  Kick\n"),
        ("x.csv", "Ch,Name\n1," + '"' * 20_001),
        ("x.csv", "Ch,Name\n1," + " " * 50_000 + "x;\n"),
        ("x.csv", "Ch,Name\n1," + "-(" * 20_000 + "\n"),
        ("x.csv", "Ch,Name\n" + "1-" * 20_000 + ",Kick\n"),
        ("x.md", "Ch|Name\n" + "-|" * 5_000 + "x\n1|Kick\n"),
        ("x.txt", " " * 50_000 + "\n1 Kick\n2 Snare\n"),
    ],
)
def test_no_text_makes_a_pattern_try_every_way(name: str, text: str) -> None:
    """A pattern that does would not come back within the life of the machine."""
    try:
        reading = read_data(text.encode(), name, of_suffix(name))
    except ReadError as error:
        assert str(error)
        return
    assert reading.ledger
