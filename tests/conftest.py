"""Hypothesis profiles: `quick` for every day, `thorough` with HYPOTHESIS_PROFILE=thorough."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "quick",
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
settings.register_profile("thorough", settings.get_profile("quick"), max_examples=1000)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "quick"))

EXAMPLE = Path(__file__).parents[1] / "examples" / "winter-concert"


@pytest.fixture
def example() -> Path:
    """The folder of the example show."""
    return EXAMPLE
