"""Files made wrong by chance: a reading or one of our errors. The long run is `python -m tests.faults --minutes 60`."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.faults.mutate import mutated
from tests.faults.targets import TARGETS, met

EXAMPLES = 1000 if settings().max_examples > 500 else 5


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fuzz")


@pytest.mark.parametrize("name", TARGETS)
@settings(max_examples=EXAMPLES, suppress_health_check=[*HealthCheck])
@given(seed=st.integers(0, 2**32))
def test_a_file_made_wrong_is_read_or_refused(name: str, folder: Path, seed: int) -> None:
    pick = random.Random(seed)
    target = TARGETS[name]
    met(name, mutated(pick, pick.choice(target.seeds()), target.ways), folder)


@pytest.mark.parametrize("name", TARGETS)
def test_what_it_begins_with_is_taken(name: str, folder: Path) -> None:
    """Or nothing would be tested but how the first byte is refused."""
    assert any(met(name, data, folder) == "" for data in TARGETS[name].seeds())
