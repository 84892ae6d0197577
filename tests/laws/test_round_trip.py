"""Any map survives every format that claims to carry it, and every chain of two."""

from __future__ import annotations

import csv
import io
import itertools

import pytest
from hypothesis import given

from chanbridge.formats import FORMATS, dropped, named, of_suffix, read_data, write
from chanbridge.model import Channel, ChannelMap
from tests.strategies import lists, maps

WHOLE = ("xml", "json")
LISTS = ("csv",)


def through(whole: ChannelMap, name: str, suffix: str = "") -> ChannelMap:
    """A map written and read back."""
    known = named(name)
    return read_data(write(whole, known, suffix=suffix), f"map{known.suffixes[0]}", known).map


def by_id(whole: ChannelMap) -> dict[str, Channel]:
    return {channel.id: channel for channel in whole.channels}


@pytest.mark.parametrize("name", WHOLE)
@given(whole=maps())
def test_a_format_for_whole_maps_keeps_everything(name: str, whole: ChannelMap) -> None:
    assert through(whole, name) == whole
    assert dropped(whole, named(name)) == []


@pytest.mark.parametrize(("suffix", "comma"), [(".csv", ","), (".tsv", "\t")])
@given(whole=lists())
def test_a_list_keeps_a_tidy_sheet_whole(suffix: str, comma: str, whole: ChannelMap) -> None:
    if not whole.channels:
        return
    data = write(whole, of_suffix(f"x{suffix}"), suffix=suffix)
    assert data.split(b"\r\n")[0].decode().startswith(comma.join(("Slot", "Name", "Short", "Box", "Socket")))
    assert read_data(data, "x", of_suffix(f"x{suffix}")).map == whole


@pytest.mark.parametrize("name", [*WHOLE, *LISTS])
@given(whole=maps())
def test_no_channel_is_lost_added_or_changed(name: str, whole: ChannelMap) -> None:
    if whole.channels:
        assert by_id(through(whole, name)) == by_id(whole)


@pytest.mark.parametrize("chain", list(itertools.permutations((*WHOLE, *LISTS), 2)))
@given(whole=maps())
def test_no_channel_is_lost_in_a_chain_of_two(chain: tuple[str, str], whole: ChannelMap) -> None:
    if whole.channels:
        assert by_id(through(through(whole, chain[0]), chain[1])) == by_id(whole)


@given(whole=maps())
def test_a_list_keeps_slots_and_sockets(whole: ChannelMap) -> None:
    port = whole.listed_port()
    if not whole.channels:
        return
    back = through(whole, "csv")
    before = {
        (line.number, line.channel.id, line.box, line.socket) for line in whole.lines(port) if line.channel
    }
    after = {
        (line.number, line.channel.id, line.box, line.socket)
        for line in back.lines(back.listed_port())
        if line.channel
    }
    assert after == before


@given(whole=maps())
def test_the_same_map_gives_the_same_bytes(whole: ChannelMap) -> None:
    for one in FORMATS:
        assert write(whole, one) == write(ChannelMap.model_validate_json(whole.model_dump_json()), one)


@given(whole=lists())
def test_csv_is_written_after_rfc_4180(whole: ChannelMap) -> None:
    """RFC 4180, section 2: CRLF after every record, the same number of fields in each, quotes doubled."""
    text = write(whole, named("csv")).decode("utf-8")
    rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert text.endswith("\r\n")
    assert {len(row) for row in rows} == {len(rows[0])}
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\r\n").writerows(rows)
    assert out.getvalue() == text


@given(lists())
def test_the_plain_list_has_the_lines_that_the_long_way_gives(whole: ChannelMap) -> None:
    port = whole.listed_port()
    quick = whole.lines(port)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ChannelMap, "_is_plain", lambda self, port_id: False)
        assert whole.lines(port) == quick
