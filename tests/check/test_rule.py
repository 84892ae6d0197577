"""Every rule has a failing and a passing example, and they fail and pass."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given

from chanbridge.check import RULES, check
from chanbridge.check.rule import CARE, Facts, Rule, ask_all, named, rule
from chanbridge.model import Channel, ChannelMap
from tests.check.examples import example
from tests.strategies import maps

each_rule = pytest.mark.parametrize("each", RULES, ids=lambda each: each.name)


@each_rule
def test_the_failing_example_fails(each: Rule, tmp_path: Path) -> None:
    findings = ask_all([each], example(each.examples()[0], tmp_path)).findings
    assert findings
    assert any(item.severity == each.severity for item in findings), findings
    for item in findings:
        assert item.rule == each.name
        assert item.where
        assert not item.message.endswith(".")
        assert len(item.message) < 400
        assert re.search(r"; \w+|: ", item.message), f"no remedy: {item.message}"


@each_rule
def test_the_passing_example_passes_and_could_be_judged(each: Rule, tmp_path: Path) -> None:
    assert ask_all([each], example(each.examples()[1], tmp_path)) == ((), ())


def test_names_are_words_and_one_each() -> None:
    names = [each.name for each in RULES]
    assert len({*names}) == len(names)
    assert all(re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", name) for name in names)
    assert {each.care for each in RULES} <= {*CARE}


def test_a_rule_without_examples_is_refused() -> None:
    @rule("bare", "note")
    def bare(facts: Facts):  # type: ignore[no-untyped-def]
        """Says nothing."""
        yield from ()

    with pytest.raises(ValueError, match="bare lacks an example"):
        bare.examples()


def test_only_and_without(tmp_path: Path) -> None:
    facts = example("Slot,Name\n1,Keys R\n2,Keys L\n2,Kick", tmp_path)
    names = {item.rule for item in check(facts).findings}
    assert names == {"slot-twice", "pair-reversed"}
    assert {item.rule for item in check(facts, only=["slot-twice"]).findings} == {"slot-twice"}
    assert {item.rule for item in check(facts, without=["slot-twice"]).findings} == {"pair-reversed"}


def test_the_worst_comes_first(tmp_path: Path) -> None:
    facts = example("Slot,Name\n2,Keys L\n3,Keys R\n4,Kick\n4,Snare\n5,Vox L", tmp_path)
    assert [item.severity for item in check(facts).findings] == ["error", "warning", "note"]


def test_many_names_are_cut_short() -> None:
    channels = [Channel(id=str(number), name=f"N{number}") for number in range(9)]
    assert named(channels[:2]) == "'N0' and 'N1'"
    assert named(channels) == "'N0', 'N1', 'N2' and 6 more"


@given(whole=maps())
def test_any_map_can_be_checked(whole: ChannelMap) -> None:
    report = check(Facts(whole))
    names = {channel.name or channel.id for channel in whole.channels}
    for item in report.findings:
        assert {*item.channels} <= names
        assert item.message
    assert check(Facts(whole)) == report
