"""Hypothesis profiles: `quick` for every day, `thorough` with HYPOTHESIS_PROFILE=thorough."""

from __future__ import annotations

import os
import re
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "quick",
    max_examples=20,
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


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """The corpus summed up, and what tests record as a "figure"."""
    counts: dict[str, Counter[str]] = {}
    for outcome in ("passed", "failed"):
        for report in terminalreporter.stats.get(outcome, []):
            found = re.search(r"test_a_sheet_is_read_as_an_engineer_would\[([a-z]+)-", report.nodeid)
            if found and report.when == "call":
                counts.setdefault(found[1], Counter())[outcome] += 1
    if counts:
        terminalreporter.section("sheets of the corpus")
        for topic, outcomes in sorted(counts.items()):
            terminalreporter.line(
                f"{topic:<12}{outcomes['passed']:>4} read rightly{outcomes['failed']:>4} not"
            )
        total = sum((outcomes for outcomes in counts.values()), Counter[str]())
        terminalreporter.line(f"{'all':<12}{total['passed']:>4} read rightly{total['failed']:>4} not")
    said = [
        f"{text}"
        for outcome in ("passed", "failed")
        for report in terminalreporter.stats.get(outcome, [])
        for name, text in getattr(report, "user_properties", ())
        if name == "figure"
    ]
    if said:
        terminalreporter.section("figures")
        for line in said:
            terminalreporter.line(line)
