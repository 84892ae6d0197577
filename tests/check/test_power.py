"""Phantom and preamps, beside the rules' own examples."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from chanbridge.check import check
from chanbridge.check.power import needs_phantom
from chanbridge.check.rule import Facts
from chanbridge.model import Channel, ChannelMap, Entry, Port, Slot
from tests.check.examples import example, on_slots, said


@pytest.mark.parametrize(
    ("fields", "needs"),
    [
        ({"transducer": "small condenser"}, True), ({"transducer": "Kleinmembran-Kondensator"}, True),
        ({"transducer": "statique"}, True), ({"transducer": "Grenzfläche"}, True), ({"transducer": "active DI"}, True),
        ({"transducer": "DI", "kind": "di", "notes": "aktive DI"}, True), ({"transducer": "DI", "kind": "di"}, False),
        ({"transducer": "large dynamic"}, False), ({"transducer": "condenser, battery"}, False),
        ({"transducer": "condenser", "kind": "wireless"}, False), ({"transducer": "condenser", "needs_power": False}, False),
        ({"transducer": "dynamic", "needs_power": True}, True),
        ({"transducer": "DI aktiv"}, True), ({"transducer": "DI (actif)"}, True), ({"transducer": "DI passiv"}, False),
        ({"transducer": "DI attivo", "kind": "di"}, True), ({"transducer": "actief, DI"}, True),
    ],
)  # fmt: skip
def test_what_needs_phantom(fields: dict[str, Any], needs: bool) -> None:
    assert needs_phantom(Channel(id="a", **fields)) == needs


def test_an_open_cell_is_a_warning_and_no_column_is_not_judged() -> None:
    mic, other = Channel(id="a", name="a", transducer="condenser"), Channel(id="b", name="b", phantom="off")
    assert said(on_slots(mic, other)) == [("phantom-missing", "warning", ("a",))]
    report = check(on_slots(mic), only=["phantom-missing"])
    assert (report.findings, [item.rule for item in report.not_judged]) == ((), ["phantom-missing"])


def split(phantom: str, folder: Path, mic: str = "small condenser") -> list[str]:
    text = (
        f"Socket,Name,Mic,Phantom\n1,Overhead,{mic},yes\n"
        f'[[device]]\nid = "split"\nsplit = {{box = "A", direct = ["desk"], isolated = ["truck"], phantom = [{phantom}]}}\n'
        '[[device]]\nid = "truck"\n'
    )
    return [item.message for item in check(example(text, folder), only=["phantom-supplier"]).findings]


def test_who_supplies_phantom_at_a_split(tmp_path: Path) -> None:
    assert split('"desk"', tmp_path) == []
    assert "desk and truck both supply phantom" in split('"desk", "truck"', tmp_path)[0]
    assert "isolated output, which passes no phantom" in split('"truck"', tmp_path)[0]
    assert "no one supplies it" in split("", tmp_path)[0]


def test_an_owner_whom_nobody_knows(tmp_path: Path) -> None:
    text = 'Socket,Name,Gain owner\n1,Kick,fohh\n2,Ana,Desk\n[[recipient]]\nid = "desk"\ntakes = ["one"]\n'
    found = check(example(text, tmp_path), only=["gain-owner"]).findings
    assert [item.channels for item in found] == [("Kick",)]
    assert "'fohh'" in found[0].message


def test_two_owners_of_one_socket() -> None:
    channels = (
        Channel(id="a", name="Ana", gain_owner="house"),
        Channel(id="b", name="Ana FX", gain_owner="truck"),
    )
    whole = ChannelMap(
        channels=channels, ports=(Port(id="A", device="A", kind="sockets"),),
        entries=tuple(Entry(channel.id, Slot("A", 1)) for channel in channels),
    )  # fmt: skip
    assert said(Facts(whole), "gain-two-owners") == [("gain-two-owners", "error", ("Ana", "Ana FX"))]


@pytest.mark.parametrize("kind", ["line", "digital", "playback", "wireless", "mix", "return"])
def test_phantom_on_what_has_an_output_of_its_own(kind: Any) -> None:
    for phantom, found in (("on", [("phantom-on-line", "error", ("a",))]), ("off", [])):
        assert said(on_slots(Channel(id="a", name="a", kind=kind, phantom=phantom))) == found
    through = Channel(id="a", name="a", kind=kind, transducer="DI", phantom="on")
    assert said(on_slots(through)) == []
