"""Devices and links in show.toml: what may be left out, and mistakes named with line and key."""

from __future__ import annotations

from pathlib import Path

import pytest

from chanbridge.errors import ShowError
from chanbridge.show import parse
from tests.check.examples import example, said

SHOW = """title = "T"
rate = 48000
[[box]]
id = "A"
sheet = "a.csv"
block = "one"
[[block]]
id = "one"
[[recipient]]
id = "desk"
takes = ["one"]
"""
DEVICES = '[[device]]\nid = "A"\nports = [{id = "out"}]\n[[device]]\nid = "desk"\n'


def test_everything_is_optional() -> None:
    assert parse(SHOW, "show.toml").device == ()
    file = parse(f'{SHOW}{DEVICES}[[link]]\nid = "main"\nends = ["A.out", "desk"]\n', "show.toml")
    assert file.device[1].clock == ""
    assert file.link[0].end(0) == ("A", "out")
    assert file.link[0].end(1) == ("desk", "")
    assert file.link[0].segments == ()


@pytest.mark.parametrize(
    ("added", "words"),
    [
        ('[[device]]\nid = "A"\nclok = "own"\n', [":14:clok", "did you mean 'clock'"]),
        ('[[device]]\nid = "A"\nclock = "dsk"\n', [":14:clock", "there is no 'dsk'"]),
        ('[[device]]\nid = "A"\nclock = "A"\n', [":14:clock", "follows itself"]),
        ('[[device]]\nid = "one"\n', [":13:id", "'one' is taken"]),
        ('[[device]]\nid = "a"\n', [":13:id", "write 'A'"]),
        ('[[device]]\nid = "x"\n[[device]]\nid = "X"\n', [":15:id", "'X' is taken"]),
        ('[[device]]\nclock = "own"\n', [":12:id", "[[device]] lacks the key 'id'"]),
        ('[device]\nid = "A"\n', [":12:device", "two brackets"]),
        ('[[device]]\nid = "A"\nports = [{id = "x", role = "lead"}]\n', [":14:role", "did you mean 'leads'"]),
        ('[[device]]\nid = "A"\nports = [{id = "x", rolle = "leads"}]\n', [":14:rolle", "did you mean 'role'"]),
        ('[[device]]\nid = "A"\nports = [{role = "leads"}]\n', [":14:id", "one of ports lacks the key 'id'"]),
        ('[[device]]\nid = "A"\nports = ["x"]\n', [":14:", "table in braces", "{id = "]),
        ('[[device]]\nid = "A"\nports = [{id = "x"}, {id = "x"}]\n', [":14:ports", "two ports 'x'"]),
        ('[[device]]\nid = "A"\nports = [{id = "x", carries = ["on"]}]\n', [":14:ports", "did you mean 'one'"]),
        ('[[device]]\nid = "A"\nports = [{id = "x", mode = "64@96000"}]\n', [":14:mode", "32@96000"]),
        ('[[device]]\nid = "A"\nports = [{id = "x", gives = {class = 9}}]\n', [":14:class", "at most 8"]),
        ('[[device]]\nid = "A"\nports = [{id = "x", gives = {}}]\n', [":14:gives", "class = 0 to 8"]),
        ('[[device]]\nid = "A"\nlatency_ms = "1"\n', [":14:latency_ms", "without quotes"]),
        ('[[device]]\nid = "A"\nlatency_ms = nan\n', [":14:latency_ms"]),
        ('[[device]]\nid = "A"\nswitch = "yes"\n', [":14:switch", "true or false"]),
        ('[[device]]\nid = "A"\nsplit = {box = "C"}\n', [":14:split", "there is no 'C'"]),
        ('[[device]]\nid = "A"\nsplit = {box = "A", direct = ["dest"]}\n', [":14:split", "did you mean 'desk'"]),
        ('[[device]]\nid = "A"\nsplit = {box = "A", phantom = ["desk"]}\n', [":14:split", "there is no 'desk'"]),
        (f'{DEVICES}[[link]]\nid = "l"\nends = ["A.in", "desk"]\n', [":19:ends", "there is no 'in'; there is only out"]),
        (f'{DEVICES}[[link]]\nid = "l"\nends = ["A", "dsk"]\n', [":19:ends", "did you mean 'desk'"]),
        (f'{DEVICES}[[link]]\nid = "l"\nends = ["A", "A.out"]\n', [":19:ends", "a link joins two devices"]),
        (f'{DEVICES}[[link]]\nid = "l"\nends = ["A"]\n', [":19:ends", "two are needed"]),
        (f'{DEVICES}[[link]]\nid = "l"\nends = "A"\n', [":19:ends", "square brackets"]),
        (f'{DEVICES}[[link]]\nid = "l"\nends = ["A", "desk"]\ncarries = ["two"]\n', [":20:carries", "there is no 'two'"]),
        (f'{DEVICES}[[link]]\nid = "l"\nends = ["A", "desk"]\nmedium = "coaxial"\n', [":20:medium", "did you mean 'coax'"]),
        (f'{DEVICES}[[link]]\nid = "l"\nends = ["A", "desk"]\nsegments = [30]\n', [":20:segments", "{length_m = "]),
        (f'{DEVICES}[[link]]\nid = "l"\nends = ["A", "desk"]\nsegments = [{{length_m = 0}}]\n', [":20:length_m", "more than 0"]),
        (f'{DEVICES}[[link]]\nid = "l"\nends = ["A", "desk"]\n[[link]]\nid = "l"\nends = ["A", "desk"]\n', [":21:id", "'l' is taken"]),
    ],
)  # fmt: skip
def test_a_mistake_names_line_and_key(added: str, words: list[str]) -> None:
    with pytest.raises(ShowError) as caught:
        parse(SHOW + added, "show.toml")
    for word in words:
        assert word in str(caught.value), str(caught.value)
    assert "\n" not in str(caught.value)


def test_an_analogue_line_carries_no_clock(tmp_path: Path) -> None:
    devices = '[[device]]\nid = "A"\nclock = "desk"\n[[device]]\nid = "desk"\nclock = "own"\n'
    link = '[[link]]\nid = "main"\nends = ["A", "desk"]\n'
    for medium, found in (("analogue", [("clock-unreached", "error", ())]), ("coax", [])):
        facts = example(f'{devices}{link}medium = "{medium}"\n', tmp_path)
        assert said(facts, "clock-unreached") == found
