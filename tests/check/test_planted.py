"""Clean lists and shows of 300 channels are silent; one planted fault is found, and nothing beside it."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chanbridge import formats
from chanbridge.check import check
from chanbridge.handover.facts import sheet_facts
from tests.check.clean import Line, clean_lines, pairs_of, sheet, singles_of, write_show
from tests.check.examples import facts_of

few = settings(max_examples=max(4, settings().max_examples // 10))
seeds = st.integers(0, 2**32 - 1)

Planted = tuple[list[Line], set[tuple[str, frozenset[str]]]]


def found(lines: list[Line]) -> set[tuple[str, frozenset[str]]]:
    reading = formats.read_data(sheet(lines), "list.csv", formats.named("csv"))
    return {(item.rule, frozenset(item.channels)) for item in check(sheet_facts(reading)).findings}


@few
@given(seed=seeds)
def test_a_clean_list_is_silent(seed: int) -> None:
    assert found(clean_lines(Random(seed))) == set()


def _reversed(lines: list[Line], at: int, other: int) -> Planted:
    left, right = lines[at], lines[at + 1]
    lines[at : at + 2] = [left.but(name=right.name), right.but(name=left.name)]
    return lines, {("pair-reversed", frozenset((left.name, right.name)))}


def _half(lines: list[Line], at: int, other: int) -> Planted:
    lines[at + 1] = lines[at + 1].but(name="spare", mic="", phantom="")
    return lines, {("pair-half", frozenset((lines[at].name,)))}


def _doubled(lines: list[Line], at: int, other: int) -> Planted:
    lines[at + 1] = lines[at + 1].but(name=lines[at].name)
    return lines, {("pair-doubled", frozenset((lines[at].name,)))}


def _one_side_powered(lines: list[Line], at: int, other: int) -> Planted:
    lines[at : at + 2] = [lines[at].but(mic="DI", phantom="yes"), lines[at + 1].but(mic="DI", phantom="no")]
    return lines, {("pair-unlike", frozenset((lines[at].name, lines[at + 1].name)))}


def _on_two_boxes(lines: list[Line], at: int, other: int) -> Planted:
    lines[at + 1] = lines[at + 1].but(box="Z", socket=1)
    return lines, {("pair-split", frozenset((lines[at].name, lines[at + 1].name)))}


def _socket_twice(lines: list[Line], at: int, other: int) -> Planted:
    lines[at] = lines[at].but(box=lines[other].box, socket=lines[other].socket)
    return lines, {("socket-twice", frozenset((lines[at].name, lines[other].name)))}


def _slot_twice(lines: list[Line], at: int, other: int) -> Planted:
    lines[at] = lines[at].but(number=lines[other].number)
    return lines, {("slot-twice", frozenset((lines[at].name, lines[other].name)))}


def _name_twice(lines: list[Line], at: int, other: int) -> Planted:
    lines[at] = lines[at].but(name=lines[other].name)
    return lines, {("name-twice", frozenset((lines[other].name,)))}


def _unnamed(lines: list[Line], at: int, other: int) -> Planted:
    lines.append(lines[at].but(name="", number=len(lines) + 1, mic="", phantom=""))
    return lines, {("unnamed-live", frozenset())}


def _unpowered(lines: list[Line], at: int, other: int) -> Planted:
    lines[at] = lines[at].but(mic="kleines Kondensator", phantom="nein")
    return lines, {("phantom-missing", frozenset((lines[at].name,)))}


def _powered_line(lines: list[Line], at: int, other: int) -> Planted:
    lines[at] = lines[at].but(mic="line", phantom="yes")
    return lines, {("phantom-on-line", frozenset((lines[at].name,)))}


def _powered_ribbon(lines: list[Line], at: int, other: int) -> Planted:
    lines[at] = lines[at].but(mic="old ribbon", phantom="yes")
    return lines, {("phantom-on-ribbon", frozenset((lines[at].name,)))}


IN_PAIRS = (_reversed, _half, _doubled, _one_side_powered, _on_two_boxes)
IN_SINGLES = (_socket_twice, _slot_twice, _name_twice, _unnamed, _unpowered, _powered_line, _powered_ribbon)


@pytest.mark.parametrize("plant", [*IN_PAIRS, *IN_SINGLES])
@few
@given(seed=seeds)
def test_one_fault_is_found_exactly(plant: Callable[[list[Line], int, int], Planted], seed: int) -> None:
    random = Random(seed)
    lines = clean_lines(random)
    places = pairs_of(lines) if plant in IN_PAIRS else singles_of(lines)
    spoilt, wanted = plant([*lines], *random.sample(places, 2))
    assert found(spoilt) == wanted


def show_of(lines: list[Line], old: str = "", new: str = "") -> set[tuple[str, str]]:
    """Rules and places that are found in the clean show with one text replaced; nothing may be left unjudged."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        text = write_show(folder, lines)
        assert old in text
        (folder / "show.toml").write_text(text.replace(old, new, 1), "utf-8")
        report = check(facts_of(folder))
    assert not report.not_judged, report.not_judged
    return {(item.rule, item.where.removeprefix(f"{folder}/")) for item in report.findings}


@few
@given(seed=seeds)
def test_a_clean_show_is_silent_and_judged_in_full(seed: int) -> None:
    assert show_of(clean_lines(Random(seed))) == set()


FAULTS = {
    "a desk arrives set to lead": (
        'ports = [{id = "A", carries = ["block-A"], role = "listens"}',
        'ports = [{id = "A", carries = ["block-A"], role = "leads"}',
        {("transport-leaders", "block-A")},
    ),
    "two clocks": ('id = "monitors"\nclock = "house"', 'id = "monitors"\nclock = "own"', {("clock-leaders", "clock")}),
    "clocked by what leaves": ('clock = "own"\n', 'clock = "own"\nleaves = true\n', {("clock-leaves", "device house")}),
    "a clock that does not arrive": (
        'id = "converter"\nclock = "house"', 'id = "converter"\nclock = "truck"',
        {("clock-unreached", "device converter"), ("clock-leaves", "device truck")},
    ),
    "another domain": (
        'id = "truck"\nclock = "house"', 'id = "truck"\nclock = "own"\ndomain = "van"',
        {("clock-domains-meet", "link feed")},
    ),
    "reels too long": ("length_m = 40, stranded", "length_m = 60, stranded", {("run-too-long", "link main-A")}),
    "thin reels": ("length_m = 40, stranded_awg = 24", "length_m = 40, stranded_awg = 26", {("run-too-long", "link main-A")}),
    "the backup plugged": ("plugged = false", "plugged = true", {("backup-loop", "link backup-A")}),
    "coax to the generator": ('medium = "multimode fibre"\nsegments = [{length_m = 300}]', 'medium = "coax"\nsegments = [{length_m = 50}]', {("coax-two-supplies", "link feed")}),
    "long fibre": ("length_m = 300", "length_m = 2001", {("run-too-long", "link feed")}),
    "the wrong mode": ('role = "listens", mode = "56@48000"', 'role = "listens", mode = "64@48000"', {("mode-differs", "link feed")}),
    "the wrong rate": ('id = "monitors"\nclock = "house"\nrate = 48000', 'id = "monitors"\nclock = "house"\nrate = 96000', {("rate-differs", "link monitors-A"), ("rate-differs", "link monitors-B")}),
    "a weak port": ("gives = {class = 4}", "gives = {class = 3}", {("cable-power-class", "link power")}),
    "no class": ('gives = {class = 4}', 'gives = {watts = 60, not_standard = "injector"}', {("cable-power-class", "link power")}),
    "over budget": ("budget_w = 40", "budget_w = 29", {("cable-power-budget", "device house")}),
    "slow ears": ("bears_ms = 2.5", "bears_ms = 2.2", {("latency-over", "monitors")}),
    "two ways": ('segments = [{length_m = 2}]\n[[link]]\nid = "feed"', 'segments = [{length_m = 2}]\n[[link]]\nid = "x"\nends = ["A", "converter"]\nmedium = "twisted pair"\nsegments = [{length_m = 2}]\ncarries = ["block-A"]\nredundancy = "both are wanted"\n[[link]]\nid = "feed"', {("latency-ways-meet", "house"), ("latency-ways-meet", "monitors"), ("latency-ways-meet", "truck")}),
    "no freeze": ('gain_frozen = "18:30"', "", {("gain-not-frozen", "show")}),
    "nobody's gains": ('gain_owner = "house"', 'gain_owner = "nobody"', {("gain-owner", "A.csv:2")}),
    "a short display": ('bears_ms = 2.5\ndisplay = 16', "bears_ms = 2.5\ndisplay = 4", {("label-too-long", "monitors")}),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_one_fault_of_the_wiring_is_found_exactly(name: str) -> None:
    old, new, wanted = FAULTS[name]
    lines = [
        Line(at, f"Vox {at}", "AB"[at > 40], (at - 1) % 40 + 1, "large dynamic", "no") for at in range(1, 61)
    ]
    assert show_of(lines, old, new) == wanted
