"""The server is struck dead while phones tick: what was answered is there, what was not is sent again, nothing twice."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.bench.phones import load


@pytest.mark.slow
def test_no_tick_is_lost_when_the_server_is_struck(
    tmp_path: Path, record_property: Callable[[str, str], None]
) -> None:
    found = load(tmp_path / "show", phones=6, rate=60, seconds=2, kills=2)
    assert found.sent > 50
    assert found.kept == found.sent
    assert found.twice == 0
    record_property("figure", f"line check: {found.lines()[0]}")
