"""Writing workbooks: what is written reads back the same, prints well and holds no times."""

from __future__ import annotations

import datetime
import io
import re
import time
import zipfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge import formats
from chanbridge.errors import WriteError
from chanbridge.formats import workbook
from chanbridge.model import Channel, ChannelMap, Entry, Extra, Patch, Port, Slot
from tests.formats import books
from tests.formats.books import grid, reading
from tests.strategies import EATEN, lists, maps


def written(whole: ChannelMap, port: str | None = None) -> bytes:
    return workbook.write(whole, port or whole.listed_port(), ".xlsx")


def named(*names: str) -> ChannelMap:
    """A list of channels with these names, the first in socket A1."""
    return ChannelMap(
        headings=("Wireless pack",),
        channels=tuple(
            Channel(
                id=f"id {at}", name=name, notes=name, extras=(Extra("Wireless pack", name),) if name else ()
            )
            for at, name in enumerate(names, 1)
        ),
        ports=(Port(id="A", device="A", kind="sockets"), Port(id="slots", size=len(names))),
        entries=tuple(Entry(f"id {at}", Slot("A", at)) for at in range(1, len(names) + 1)),
        patches=tuple(Patch(Slot("A", at), Slot("slots", at)) for at in range(1, len(names) + 1)),
    )


NAMES = (
    *EATEN, "1-2", "+4", "=cmd()", "_x0041_", "_x0041_x0042_", "_x005F_x0041_", "_x0041\rx", "_x000D_", "<r>x</r>", "<r></r>",
    "A" * 60, "x" * 32_767, "\x7f\x85\u2028", "😀", "  ", "#N/A", "1.0", "2026-02-01",
)  # fmt: skip


def test_names_that_spreadsheets_eat_survive() -> None:
    whole = named(*(name for name in NAMES if name.strip()))
    assert reading(written(whole)).map == whole


@given(st.lists(st.text("_x0041F5 \r\n<r>&", max_size=20), min_size=1, max_size=5))
def test_texts_like_the_escapes_of_xlsx_survive(names: list[str]) -> None:
    whole = named(*names)
    assert [channel.notes for channel in reading(written(whole)).map.channels] == names


@given(whole=lists())
def test_a_tidy_list_survives(whole: ChannelMap) -> None:
    if whole.channels:
        assert reading(written(whole)).map == whole


@given(whole=maps())
def test_no_channel_is_lost_and_the_list_is_that_of_csv(whole: ChannelMap) -> None:
    if whole.channels:
        csv = formats.read_data(formats.write(whole, formats.named("csv")), "x", formats.named("csv")).map
        assert reading(written(whole)).map == csv


@pytest.mark.parametrize("name", ["box-a.csv", "front-of-house.csv", "stream.csv"])
def test_an_example_sheet_survives(name: str, example: Path) -> None:
    csv = formats.named("csv")
    source = formats.read(str(example / name)).map
    plain = formats.read_data(formats.write(source, csv), "x", csv).map
    assert plain.channels == source.channels
    assert reading(written(plain)).map == plain
    assert workbook.dropped(source, source.listed_port()) == formats.dropped(source, csv)


def test_slots_and_sockets_are_numbers_and_all_else_is_text() -> None:
    parts = books.unzipped(written(named("007", "1-2")))
    sheet = parts["xl/worksheets/sheet1.xml"].decode()
    cells = re.findall(r'<c r="([A-Z])2"([^>]*)><v>', sheet)
    assert [column for column, about in cells if 't="s"' not in about] == ["A", "E"]
    assert len(cells) > 5
    assert "<f>" not in sheet


def test_the_sheet_is_set_up_to_use_and_to_print() -> None:
    whole = named("Kick", "Snare").changed(
        title="Rhythm & Groove", revision="C", date=datetime.date(2026, 12, 5)
    )
    sheet = books.unzipped(written(whole))["xl/worksheets/sheet1.xml"].decode()
    for part in (
        'ySplit="1" topLeftCell="A2"',  # the heading stays
        '<autoFilter ref="A1:',
        'paperSize="9"',
        'orientation="landscape"',
        'fitToHeight="0"',
        "&amp;LRhythm &amp;&amp; Groove   Revision C   2026-12-05&amp;RPage &amp;P of &amp;N",
    ):
        assert part in sheet, part
    assert "Print_Titles" in books.unzipped(written(whole))["xl/workbook.xml"].decode()
    widths = [float(text) for text in re.findall(r'<col [^>]*width="([\d.]+)"', sheet)]
    assert max(widths) < 41
    styles = books.unzipped(written(whole))["xl/styles.xml"].decode()
    assert "<b/>" in styles
    assert 'bottom style="thin"' in styles
    assert set(re.findall(r'patternType="(\w+)"', styles)) <= {
        "none",
        "gray125",
    }  # the two that every workbook has


@pytest.mark.parametrize("title", ["R&G", "&G&G&P", "x" * 400, "&" * 300, "a\nb", "😀" * 100])
def test_any_title_fits_the_footer(title: str) -> None:
    whole = named("Kick").changed(title=title, revision="very long revision")
    sheet = books.unzipped(written(whole))["xl/worksheets/sheet1.xml"].decode()
    assert "Page &amp;P of &amp;N</oddFooter>" in sheet
    assert reading(written(whole)).map == named("Kick")


@pytest.mark.parametrize(
    ("port", "name"),
    [
        ("fo:h [1]/*?\\", "fo-h -1-----"), ("'quoted'", "quoted"), ("x" * 60, "x" * 31), ("😀" * 20, "😀" * 15),
        ("History", "History -"), ("' '", "Channels"), ("a\x01b", "a-b"), (None, "Channels"),
    ],
)  # fmt: skip
def test_a_port_as_the_name_of_a_sheet(port: str | None, name: str) -> None:
    assert workbook.sheet_name(port) == name


def test_any_port_can_be_written() -> None:
    for port in ("fo:h [1]", "History", "'", "x" * 60):
        whole = ChannelMap(
            channels=(Channel(id="k", name="Kick"),),
            ports=(Port(id=port, size=1),),
            entries=(Entry("k", Slot(port, 1)),),
        )
        assert grid(written(whole)).sheet == workbook.sheet_name(port)
    with pytest.raises(WriteError, match="no port 'foh'"):
        written(whole, "foh")


def test_two_runs_give_the_same_bytes_with_the_shows_date(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = named("Kick").changed(date=datetime.date(2026, 12, 5))
    first = written(whole)
    monkeypatch.setattr(time, "time", lambda: 2e9)
    monkeypatch.setattr(time, "localtime", lambda *_: time.gmtime(2e9))
    assert written(whole) == first
    with zipfile.ZipFile(io.BytesIO(first)) as package:
        assert {member.date_time for member in package.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        about = package.read("docProps/core.xml").decode()
    assert set(re.findall(r"\d{4}-\d\d-\d\dT", about)) == {"2026-12-05T"}
    undated = books.unzipped(written(named("Kick")))["docProps/core.xml"].decode()
    assert set(re.findall(r"\d{4}-\d\d-\d\dT", undated)) == {"1980-01-01T"}


@pytest.mark.parametrize("letter", ["\0", "\x01", "\x1f", "\ufffe", "\ud800"])
def test_a_character_that_xlsx_cannot_hold_is_named(letter: str) -> None:
    """XML 1.0, section 2.2: the characters that a document may have."""
    with pytest.raises(WriteError, match=f"U\\+{ord(letter):04X}.*Kick"):
        written(named(f"Kick{letter}"))
    with pytest.raises(WriteError, match=f"U\\+{ord(letter):04X}"):
        written(named("Kick").changed(title=f"Show{letter}"))


@pytest.mark.parametrize("text", ["x" * 32_768, "😀" * 16_384])
def test_a_cell_that_is_too_long_is_refused(text: str) -> None:
    """A cell holds 32 767 characters: from memory."""
    with pytest.raises(WriteError, match="32,767"):
        written(named(text))


def test_only_xlsx_is_written() -> None:
    for suffix in (".xls", ".ods", ".xlsm"):
        with pytest.raises(WriteError, match=suffix):
            workbook.write(named("Kick"), "slots", suffix)
