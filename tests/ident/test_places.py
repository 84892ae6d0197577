"""Which channel stands where, and which code it has."""

from __future__ import annotations

from pathlib import Path

import pytest

from chanbridge.assemble import assemble
from chanbridge.cli.sources import read_source
from chanbridge.errors import ReadError
from chanbridge.ident.codes import numbers
from chanbridge.ident.places import coded, places
from chanbridge.model import ChannelMap, Slot
from chanbridge.show import load


def sheet(tmp_path: Path, text: str) -> ChannelMap:
    path = tmp_path / "a.csv"
    path.write_text(text)
    return read_source(str(path)).map


def test_a_list_by_slots_and_by_sockets(tmp_path: Path) -> None:
    whole = sheet(tmp_path, "Ch,Name,Socket\n1,Vox,A3\n2,Kick,A1\n4,Snare,A2\n5,Oboe,B1\n")
    assert [place.name for place in places(whole, None)] == ["Vox", "Kick", "", "Snare", "Oboe"]
    assert [place.name for place in places(whole, "sockets")] == ["Kick", "Snare", "Vox", "Oboe"]
    assert [place.name for place in places(whole, "b")] == ["Oboe"]
    found = coded(whole, None)
    assert [found.codes[place.source] for place in places(whole, None)] == [*numbers()[:5]]
    assert found.channels[numbers()[4]][0].name == "Oboe"


def test_two_channels_of_one_socket_have_one_code(tmp_path: Path) -> None:
    whole = sheet(tmp_path, "Ch,Name,Socket\n1,Ana,A5\n2,Ana FX,A5\n3,Vox,A2\n")
    found = coded(whole, None)
    first, second, third = places(whole, None)
    assert (first.name, second.name, third.name) == ("Ana", "Ana FX", "Vox")
    assert found.codes[first.source] == found.codes[second.source] == numbers()[0]
    assert [channel.name for channel in found.channels[numbers()[0]]] == ["Ana", "Ana FX"]


def test_rows_alone(tmp_path: Path) -> None:
    whole = sheet(tmp_path, "Name,Mic\nKick,large dynamic\nSnare,small dynamic\n")
    found = coded(whole, None)
    assert [found.codes[place.source] for place in places(whole, None)] == [*numbers()[:2]]
    with pytest.raises(ReadError, match="neither slots nor sockets"):
        places(whole, "sockets")


def test_a_code_is_a_socket_whatever_the_plan_calls_it(example: Path) -> None:
    whole = assemble(load(str(example))).map
    found = coded(whole, "sockets")
    assert found.codes[Slot("A", 1)] == numbers()[0]
    assert found.codes[Slot("B", 1)] == numbers()[40]
    for port in ("truck", "recorder", "block-1"):
        for place in places(whole, port):
            assert all(each.source in found.codes for each in place.occupants)


def test_a_port_that_is_not_there(example: Path) -> None:
    whole = assemble(load(str(example))).map
    with pytest.raises(ReadError, match="did you mean 'recorder'"):
        places(whole, "recordr")
