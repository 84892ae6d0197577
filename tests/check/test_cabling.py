"""Loops and ways, beside the rules' own examples."""

from __future__ import annotations

from pathlib import Path

import pytest

from chanbridge.check import check
from chanbridge.check.rule import NotJudged
from tests.check.examples import example

LOOP = (
    '[[device]]\nid = "A"\nports = [{id = "1", carries = ["one"]}]\n[[device]]\nid = "desk"\n'
    '[[link]]\nid = "main"\nends = ["A.1", "desk"]\n[[link]]\nid = "second"\nends = ["A", "desk"]\n'
)


@pytest.mark.parametrize(
    ("added", "found"),
    [
        ("", ["link second"]),  # it does not say what it carries: what both devices carry
        ("backup = true\n", ["link second"]),
        ("backup = true\nplugged = false\n", []),
        ('redundancy = "spanning tree"\n', []),
        ('medium = "coax"\n', []),
        ('medium = "analogue"\n', []),
        ('direction = "one way"\n', []),
    ],
)
def test_what_closes_a_loop(added: str, found: list[str], tmp_path: Path) -> None:
    facts = example(LOOP + added, tmp_path)
    assert [item.where for item in check(facts, only=["backup-loop"]).findings] == found


def test_a_ring_of_three_is_a_loop_and_two_blocks_side_by_side_are_none(tmp_path: Path) -> None:
    devices = "".join(f'[[device]]\nid = "{name}"\n' for name in ("A", "desk", "x"))
    ring = "".join(
        f'[[link]]\nid = "{at}"\nends = ["{one}", "{two}"]\ncarries = ["one"]\n'
        for at, (one, two) in enumerate((("A", "desk"), ("desk", "x"), ("x", "A")), 1)
    )
    assert [
        item.where for item in check(example(devices + ring, tmp_path), only=["backup-loop"]).findings
    ] == ["link 3"]
    blocks = '[[block]]\nid = "one"\nslots = 8\n[[block]]\nid = "two"\n'
    apart = ring.replace('carries = ["one"]', 'carries = ["two"]', 1)
    assert check(example(blocks + devices + apart, tmp_path), only=["backup-loop"]).findings == ()


def test_a_way_that_is_not_plugged_is_not_judged(tmp_path: Path) -> None:
    text = '[[device]]\nid = "A"\n[[device]]\nid = "desk"\nbears_ms = 2\n[[link]]\nid = "l"\nends = ["A", "desk"]\nplugged = false\n'
    report = check(example(text, tmp_path), only=["latency-over"])
    assert report.not_judged == (NotJudged("latency-over", "no plugged cables lead from A to desk"),)


def test_a_sound_alone_and_in_a_mix(tmp_path: Path) -> None:
    text = (
        'Socket,Name\n1,Ana\n2,Bass\n[[recipient]]\nid = "desk"\ntakes = ["one"]\n[[recipient]]\nid = "truck"\ntakes = ["one"]\n'
        '[[return]]\nid = "stem"\nfrom = "desk"\nto = ["truck"]\ncontents = ["Ana"]\n'
        '[[device]]\nid = "A"\nlatency_ms = 0.5\n[[device]]\nid = "desk"\nlatency_ms = 1\n[[device]]\nid = "truck"\nlatency_ms = 0.5\n'
        '[[link]]\nid = "main"\nends = ["A", "desk"]\n[[link]]\nid = "split"\nends = ["A", "truck"]\ndirection = "one way"\n'
        '[[link]]\nid = "stem"\nends = ["desk", "truck"]\ndirection = "one way"\ncarries = ["stem"]\n'
    )
    found = check(example(text, tmp_path), only=["latency-ways-meet"]).findings
    assert [(item.where, item.channels) for item in found] == [("truck", ("stem", "Ana"))]
    assert (
        "'Ana': alone after 1 ms (A 0.5 declared + truck 0.5 declared), in 'stem' after" in found[0].message
    )
    assert (
        "after 2 ms (A 0.5 declared + desk 1 declared + truck 0.5 declared), 1 ms apart" in found[0].message
    )
    assert "first notch is at 500 Hz" in found[0].message
