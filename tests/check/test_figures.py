"""Rules against published figures, each with its source."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge.check import check
from chanbridge.check.latency import first_notch_hz
from chanbridge.gear import AT_DEVICE_W, AT_SOURCE_W, counted_m
from tests.check.examples import example


def rules(text: str, folder: Path) -> dict[str, str]:
    """Rule → the message of its first finding."""
    found: dict[str, str] = {}
    for item in check(example(text, folder)).findings:
        found.setdefault(item.rule, item.message)
    return found


# IEEE 802.3 power classes, watts at the source and at the device: from a published table.
POWER = {
    0: (15.4, 12.95), 1: (4, 3.84), 2: (7, 6.49), 3: (15.4, 12.95), 4: (30, 25.5), 5: (45, 40), 6: (60, 51),
    7: (75, 62), 8: (90, 71.3),
}  # fmt: skip


def test_power_over_the_cable_by_class() -> None:
    assert dict(enumerate(zip(AT_SOURCE_W, AT_DEVICE_W, strict=True))) == POWER


TWO = '[[device]]\nid = "A"\n[[device]]\nid = "desk"\n[[link]]\nid = "main"\nends = ["A", "desk"]\n'


def powered(gives: str, takes: str, more: str = "") -> str:
    return (
        f'[[device]]\nid = "A"\n{more}ports = [{{id = "p", gives = {{{gives}}}}}]\n'
        f'[[device]]\nid = "desk"\nports = [{{id = "p", takes = {{{takes}}}}}]\n'
        '[[link]]\nid = "main"\nends = ["A.p", "desk.p"]\n'
    )


@pytest.mark.parametrize("given_class", range(1, 9))
@pytest.mark.parametrize("taken_class", range(1, 9))
def test_a_class_feeds_its_own_and_lower(given_class: int, taken_class: int, tmp_path: Path) -> None:
    found = rules(powered(f"class = {given_class}", f"class = {taken_class}"), tmp_path)
    assert ("cable-power-class" in found) == (POWER[taken_class][1] > POWER[given_class][1])


def test_watts_beside_a_class(tmp_path: Path) -> None:
    assert "cable-power-class" not in rules(powered("class = 4", "watts = 25.5"), tmp_path)
    assert "25.5 W arrive" in rules(powered("class = 4", "watts = 26"), tmp_path)["cable-power-class"]


def test_a_budget_counts_what_leaves_the_source(tmp_path: Path) -> None:
    assert "cable-power-budget" not in rules(powered("class = 4", "class = 4", "budget_w = 30\n"), tmp_path)
    assert (
        "30 W" in rules(powered("class = 4", "class = 4", "budget_w = 29\n"), tmp_path)["cable-power-budget"]
    )
    # 20 W at the device are class 4, which sends 30 W
    assert (
        "30 W" in rules(powered("class = 4", "watts = 20", "budget_w = 29\n"), tmp_path)["cable-power-budget"]
    )


def test_an_injector_of_no_class(tmp_path: Path) -> None:
    odd = 'watts = 24, not_standard = "injector, 24 V"'
    assert "cable-power-class" in rules(powered(odd, "class = 2"), tmp_path)
    assert "cable-power-class" in rules(powered("class = 4", odd), tmp_path)
    assert "cable-power-class" not in rules(powered(odd, odd), tmp_path)


@pytest.mark.parametrize(
    ("medium", "segments", "limit", "found"),
    [
        # twisted pair: 100 m a channel (structured cabling)
        ("twisted pair", "{length_m = 100}", "", ""),
        ("twisted pair", "{length_m = 100.5}", "", "error"),
        ("twisted pair", "{length_m = 60}, {length_m = 41}", "", "error"),
        # stranded: about 20 % less at 24 AWG, 50 % at 26 AWG (TIA-568 annexes, from memory)
        ("twisted pair", "{length_m = 80, stranded_awg = 24}", "", ""),
        ("twisted pair", "{length_m = 81, stranded_awg = 24}", "", "error"),
        ("twisted pair", "{length_m = 50, stranded_awg = 26}", "", ""),
        ("twisted pair", "{length_m = 51, stranded_awg = 26}", "", "error"),
        # fibre: 2 km on multimode (AES10; 100BASE-FX, full duplex)
        ("multimode fibre", "{length_m = 2000}", "", ""),
        ("multimode fibre", "{length_m = 2001}", "", "error"),
        ("single-mode fibre", "{length_m = 9000}", "", ""),
        # AES10 on coax: of the order of 50 to 100 m (from memory)
        ("coax", "{length_m = 50}", "", ""),
        ("coax", "{length_m = 51}", "", "warning"),
        ("coax", "{length_m = 101}", "", "error"),
        # what the maker says counts before all that
        ("coax", "{length_m = 80}", "limit_m = 90\n", ""),
        ("twisted pair", "{length_m = 80}", "limit_m = 70\n", "error"),
    ],
)
def test_runs(medium: str, segments: str, limit: str, found: str, tmp_path: Path) -> None:
    text = f'{TWO}medium = "{medium}"\nsegments = [{segments}]\n{limit}'
    said = [item.severity for item in check(example(text, tmp_path), only=["run-too-long"]).findings]
    assert said == ([found] if found else [])


def test_a_fibre_carries_its_caution(tmp_path: Path) -> None:
    text = f'{TWO}medium = "multimode fibre"\nsegments = [{{length_m = 2001}}]\n'
    assert (
        "Never look into a fibre" in check(example(text, tmp_path), only=["run-too-long"]).findings[0].caution
    )


def test_stranded_metres_count_for_more_on_twisted_pair_alone() -> None:
    assert counted_m(40, 24, "twisted pair") == pytest.approx(50)
    assert counted_m(40, 24, "coax") == 40


def test_a_nearly_full_hop(tmp_path: Path) -> None:
    # 40 channels at 24 bit and 96 kHz are 92.16 Mbit/s (computed: 40 x 24 x 96 000)
    block = '[[block]]\nid = "one"\nslots = 40\nrate = 96000\n'
    found = rules(block + TWO + 'carries = ["one"]\nspeed_mbit = 100\n', tmp_path)
    assert "92.16 Mbit/s" in found["over-capacity"]
    assert (
        check(example(block + TWO + 'carries = ["one"]\nspeed_mbit = 100\n', tmp_path)).findings[0].severity
    )
    assert "over-capacity" not in rules(block + TWO + 'carries = ["one"]\nspeed_mbit = 1000\n', tmp_path)


def test_the_first_notch() -> None:
    # two like paths 1 ms apart first cancel at 500 Hz, where 1 ms is half a period (f = 1 / (2 dt))
    assert first_notch_hz(1) == 500
    assert first_notch_hz(0.5) == 1000


@given(apart_ms=st.floats(0.01, 100))
def test_at_the_notch_the_paths_are_half_a_period_apart(apart_ms: float) -> None:
    assert first_notch_hz(apart_ms) * apart_ms / 1000 == pytest.approx(0.5)


def test_latency_names_each_term_with_its_origin(tmp_path: Path) -> None:
    text = (
        '[[device]]\nid = "A"\nlatency_ms = 0.6\n'
        '[[device]]\nid = "desk"\nlatency_ms = 1.8\nlatency_origin = "common practice"\nbears_ms = 2\n'
        '[[link]]\nid = "main"\nends = ["A", "desk"]\nlatency_ms = 0.1\nlatency_origin = "standard"\n'
    )
    said = rules(text, tmp_path)["latency-over"]
    assert "2.5 ms (A 0.6 declared + main 0.1 standard + desk 1.8 common practice)" in said
    assert "2 ms can be borne" in said
