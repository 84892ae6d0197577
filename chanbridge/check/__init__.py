"""What is wrong with a map or a show, rule by rule."""

from __future__ import annotations

from collections.abc import Collection

from chanbridge.check import (
    audience,
    cabling,
    capacity,
    clock,
    gain,
    latency,
    naming,
    numbering,
    pairs,
    paper,
    power,
)
from chanbridge.check.rule import Facts, Report, Rule, ask_all

RULES: tuple[Rule, ...] = (
    *numbering.RULES, *pairs.RULES, *capacity.RULES, *clock.RULES, *power.RULES, *gain.RULES, *cabling.RULES,
    *latency.RULES, *audience.RULES, *naming.RULES, *paper.RULES,
)  # fmt: skip
"""Every rule, subject by subject."""


def check(facts: Facts, only: Collection[str] = (), without: Collection[str] = ()) -> Report:
    """Ask every rule, or those named in `only`, but none of those in `without`."""
    return ask_all(RULES, facts, only, without)
