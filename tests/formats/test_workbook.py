"""Workbooks: what people's spreadsheets hold comes out as typed, and what is written reads back the same."""

from __future__ import annotations

import datetime
import io
import re
import time
import zipfile
from pathlib import Path
from typing import Any

import pytest
import xlsxwriter
from hypothesis import given
from hypothesis import strategies as st

from chanbridge import formats
from chanbridge.apart import sheet as limits
from chanbridge.apart.marks import shown
from chanbridge.errors import ReadError, WriteError
from chanbridge.formats import workbook
from chanbridge.model import Channel, ChannelMap, Entry, Extra, Patch, Port, Slot
from chanbridge.sheets.grid import Grid, Options
from chanbridge.sheets.interpret import interpret
from chanbridge.sheets.ledger import Reading
from tests.formats import books
from tests.strategies import EATEN, lists, maps

HEADING = ["Ch", "Name", "Box", "Socket"]
ROWS: list[list[Any]] = [HEADING, [1, "Kick", "A", 1], [2, "Snare", "A", 2], [3, "Keys", "B", 1]]
BARS = ["|".join(map(str, row)) for row in ROWS]
HIDDEN = Options(hidden=True)


def grids(data: bytes, options: Options = Options(), source: str = "show.xlsx") -> list[Grid]:
    return workbook.read(data, source, options)


def grid(data: bytes, options: Options = Options()) -> Grid:
    (only,) = grids(data, options)
    return only


def reading(data: bytes) -> Reading:
    return interpret(grids(data), "workbook")


def problems(found: Grid) -> list[tuple[str, int | None, str, str]]:
    return [(item.code, item.where.row, item.where.column, item.message) for item in found.problems]


def book(fill: Any) -> bytes:
    """A workbook of xlsxwriter, filled by a function that is given the workbook and its first sheet."""
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True}) as made:
        fill(made, made.add_worksheet("Inputs"))
    return out.getvalue()


def refusal(data: bytes) -> str:
    with pytest.raises(ReadError) as caught:
        grids(data)
    assert caught.value.where.file == "show.xlsx"
    return caught.value.message


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


# Reading


@pytest.mark.parametrize(
    "data",
    [books.xlsx(ROWS), books.ods(books.ods_table(*BARS)), books.xls(ROWS)],
    ids=["xlsx", "ods", "xls"],
)
def test_the_same_list_in_every_kind_of_workbook(data: bytes) -> None:
    found = grid(data)
    assert found.rows == [[str(cell) for cell in row] for row in ROWS]
    assert (found.numbers, found.sheet, found.source) == ([1, 2, 3, 4], "Inputs", "show.xlsx")
    whole = reading(data).map
    assert [
        (line.number, line.channel and line.channel.name, line.box, line.socket)
        for line in whole.lines("slots")
    ] == [
        (1, "Kick", "A", 1),
        (2, "Snare", "A", 2),
        (3, "Keys", "B", 1),
    ]


@pytest.mark.parametrize("name", ["box-a.csv", "front-of-house.csv", "stream.csv"])
def test_an_example_sheet_reads_the_same_from_a_workbook(name: str, example: Path) -> None:
    source = formats.read(str(example / name))
    cells = (example / name).read_text("utf-8-sig").splitlines()
    delimiter = max(",;\t", key=cells[-1].count)
    typed = [[int(cell) if cell.isdecimal() else cell for cell in line.split(delimiter)] for line in cells]
    assert reading(books.xlsx(typed)).map == source.map


def test_rows_are_numbered_as_the_spreadsheet_shows_them() -> None:
    def fill(_: Any, sheet: Any) -> None:
        for row, cells in ((4, HEADING), (5, ROWS[1]), (9, ROWS[2])):
            for at, cell in enumerate(cells, 2):
                sheet.write(row, at, cell)

    assert grid(book(fill)).numbers == [5, 6, 10]
    assert grid(book(fill)).rows[0] == HEADING


def test_each_sheet_with_text_is_a_grid() -> None:
    data = books.xlsx(ROWS, Empty=[], Blank=[["  "]], Stream=[["Ch", "Name"], [1, "Choir"]])
    assert [found.sheet for found in grids(data)] == ["Inputs", "Stream"]


def test_numbers_come_back_as_they_were_typed() -> None:
    typed = [16, 2.5, -18, 0, 0.1, 1e15, 1234567, 17.25, 0.1 + 0.2, -0.0, 123456789012345]
    assert grid(books.xlsx([typed])).rows == [
        ["16", "2.5", "-18", "0", "0.1", "1e+15", "1234567", "17.25", "0.3", "0", "123456789012345"]
    ]
    assert not grid(books.xlsx([typed])).problems


def test_truth_values_are_text() -> None:
    assert grid(books.xlsx([["x", True, False]])).rows == [["x", "TRUE", "FALSE"]]
    cell = '<table:table-cell office:value-type="boolean" office:boolean-value="true"><text:p>WAHR</text:p></table:table-cell>'
    assert grid(books.ods(books.ods_table(f"<table:table-row>{cell}</table:table-row>"))).rows == [["TRUE"]]


def with_date(day: datetime.date, number_format: str, **where: Any) -> bytes:
    def fill(made: Any, sheet: Any) -> None:
        for row, cells in enumerate(ROWS):
            books.fill(sheet, row, cells)
        sheet.write_datetime(2, 0, day, made.add_format({"num_format": number_format}))

    return book(fill)


@pytest.mark.parametrize(
    ("day", "number_format", "text"),
    [
        (datetime.date(2026, 2, 1), "d-mmm", "1-2"),
        (datetime.date(2026, 1, 2), "d-mmm", "1-2"),
        (datetime.date(2026, 9, 16), "d. mmm", "9-16"),
        (datetime.date(2026, 1, 16), "[$-407]d/m;@", "1-16"),
        (datetime.date(2026, 3, 3), "dd/mm", "3-3"),
        (datetime.date(1948, 1, 1), "mmm-yy", "1-48"),
        (datetime.date(2013, 12, 1), "mmm-yy", "12-13"),
    ],
)
def test_a_range_that_became_a_date_is_a_range_again_and_is_reported(
    day: datetime.date, number_format: str, text: str
) -> None:
    found = grid(with_date(day, number_format))
    assert found.rows[2] == [text, "Snare", "A", "2"]
    ((code, row, column, message),) = problems(found)
    assert (code, row, column) == ("date-cell", 3, "A")
    assert str(day) in message
    assert repr(text) in message


@pytest.mark.parametrize(
    ("day", "number_format"),
    [
        (datetime.date(2026, 2, 1), "yyyy-mm-dd"),
        (datetime.date(2026, 2, 1), "dd.mm.yy"),
        (datetime.date(2005, 2, 1), "mmm-yy"),  # 2-5 would have become a day
        (datetime.date(2026, 2, 2), "mmm-yy"),
        (datetime.date(2048, 1, 1), "mmm-yy"),  # typed with four digits
        (datetime.date(2026, 2, 1), '"dm" yyyy'),
    ],
)
def test_a_date_that_may_be_one_is_kept_and_reported(day: datetime.date, number_format: str) -> None:
    found = grid(with_date(day, number_format))
    assert found.rows[2] == [str(day), "Snare", "A", "2"]
    ((code, row, column, message),) = problems(found)
    assert (code, row, column) == ("date-cell", 3, "A")
    assert str(day) in message


@pytest.mark.parametrize("number_format", ["yyyy-mm-dd", "d-mmm"])
def test_the_date_of_a_sheet_above_its_table_needs_no_report(number_format: str) -> None:
    def fill(made: Any, sheet: Any) -> None:
        day = made.add_format({"num_format": number_format})
        sheet.write_string(0, 0, "Winter concert")
        sheet.write_datetime(0, 1, datetime.date(2026, 12, 5), day)
        for row, cells in enumerate(ROWS, 2):
            books.fill(sheet, row, cells)

    assert not grid(book(fill)).problems
    assert reading(book(fill)).map.date == datetime.date(2026, 12, 5)


def test_times_moments_and_durations_are_kept_and_reported() -> None:
    def fill(made: Any, sheet: Any) -> None:
        for at, (value, code) in enumerate(
            [
                (2 / 24 + 7 / 1440, "h:mm"),
                (26 / 24, "[h]:mm:ss"),
                (46054.5, "d/m/yyyy h:mm"),
                (1 / 86400, "h:mm:ss"),
            ]
        ):
            sheet.write_number(0, at, value, made.add_format({"num_format": code}))

    found = grid(book(fill))
    assert found.rows == [["2:07", "26:00", "2026-02-01 12:00", "0:00:01"]]
    assert [(code, row, column) for code, row, column, _ in problems(found)] == [
        ("date-cell", 1, at) for at in "ABCD"
    ]
    assert all(text in item.message for text, item in zip(found.rows[0], found.problems, strict=True))


@pytest.mark.parametrize(
    ("code", "letters"),
    [
        ("d-mmm", "dm"), ("mmm-yy", "my"), ("m/d/yyyy", "dmy"), ("h:mm", "h"), ("[h]:mm:ss", "h"), ("mm:ss.0", "h"),
        ("[Red]0.0", ""), ('"day" 0', ""), ("mmmm", "m"), ("yyyy-mm-dd hh:mm", "dmyh"), ("[$-407]d/m;@", "dm"), ("\\d0", ""),
    ],
)  # fmt: skip
def test_what_a_number_format_shows(code: str, letters: str) -> None:
    """Number format codes after ECMA-376, part 1, clause 18.8.31 (from memory)."""
    assert shown(code) == letters


def test_ods_dates_are_read_by_their_styles() -> None:
    styles = (
        '<number:date-style style:name="N1"><number:day/><number:text>.</number:text><number:month/></number:date-style>'
        '<style:style style:name="ce1" style:family="table-cell" style:data-style-name="N1"/>'
    )
    date = 'office:value-type="date" office:date-value="2026-02-01"'
    rows = [
        f'<table:table-row><table:table-cell table:style-name="ce1" {date}/>{books.ods_row("Kick|A")}</table:table-row>',
        f"<table:table-row>{books.ods_row('2')}<table:table-cell {date}/>{books.ods_row('A')}</table:table-row>",
        f"<table:table-row>{books.ods_row('3|x|y')}<table:table-cell {date}/></table:table-row>",
    ]
    table = books.ods_table(*rows).replace(
        '"Inputs">',
        '"Inputs"><table:table-column table:number-columns-repeated="3"/><table:table-column table:default-cell-style-name="ce1"/>',
    )
    found = grid(books.ods(table, styles))
    assert [row[:4] for row in found.rows] == [
        ["1-2", "Kick", "A", ""],
        ["2", "2026-02-01", "A", ""],
        ["3", "x", "y", "1-2"],
    ]
    assert [(row, column) for _, row, column, _ in problems(found)] == [(1, "A"), (2, "B"), (3, "D")]


def test_an_ods_time_of_more_than_a_day() -> None:
    cell = '<table:table-cell office:value-type="time" office:time-value="PT26H05M30S"><text:p>26:05:30</text:p></table:table-cell>'
    found = grid(books.ods(books.ods_table(f"<table:table-row>{cell}</table:table-row>")))
    assert found.rows == [["26:05:30"]]
    assert problems(found)[0][:3] == ("date-cell", 1, "A")


# Errors and formulas


def test_error_cells_keep_their_text_and_are_reported() -> None:
    rows = (
        '<row r="1"><c r="A1"><v>1</v></c><c r="B1" t="e"><v>#N/A</v></c><c r="AB1" t="e"><f>B2</f><v>#REF!</v></c></row>'
        '<row r="3"><c r="A3" t="e"><v>#DIV/0!</v></c></row>'
    )
    found = grid(books.zipped(books.xlsx_parts(rows)))
    assert found.rows[0][:2] == ["1", "#N/A"]
    assert found.rows[0][27] == "#REF!"
    assert (found.rows[1][0], found.numbers) == ("#DIV/0!", [1, 3])
    assert [item[:3] for item in problems(found)] == [
        ("cell-error", 1, "B"),
        ("cell-error", 1, "AB"),
        ("cell-error", 3, "A"),
    ]
    assert "#N/A" in problems(found)[0][3]


def test_cells_that_do_not_say_where_they_are_follow_one_another() -> None:
    """In XLSX the reference of a cell or row may be left out: ECMA-376, part 1, clause 18.3.1.4 (from memory)."""
    rows = '<row><c><v>1</v></c><c t="e"><v>#N/A</v></c><c r="D1"><f>A1</f></c><c><f>A1</f></c></row><row hidden="1"><c><v>2</v></c></row>'
    found = grid(books.zipped(books.xlsx_parts(rows)))
    assert [row[:2] for row in found.rows] == [["1", "#N/A"]]
    assert [item[:3] for item in problems(found)] == [
        ("hidden", 2, ""),
        ("cell-error", 1, "B"),
        ("formula", 1, "D"),
        ("formula", 1, "E"),
    ]


def test_formulas_without_a_stored_result_are_reported() -> None:
    rows = "".join(
        f'<row r="{row}"><c r="A{row}"><v>{row}</v></c><c r="B{row}"><f>A{row}</f></c></row>'
        for row in (1, 2, 3, 7)
    )
    rows += '<row r="8"><c r="A8"><f>1+1</f><v>2</v></c><c r="B8" t="str"><f>""</f><v></v></c><c r="C8"><f>1+1</f><v></v></c></row>'
    found = grid(books.zipped(books.xlsx_parts(rows)))
    assert [row[0] for row in found.rows] == ["1", "2", "3", "7", "2"]
    assert [item[:3] for item in problems(found)] == [
        ("formula", 1, "B"),
        ("formula", 7, "B"),
        ("formula", 8, "C"),
    ]
    assert "row 3" in problems(found)[0][3]


def test_ods_errors_and_formulas() -> None:
    cells = (
        '<table:table-cell table:formula="of:=NA()" office:value-type="string" office:string-value="" calcext:value-type="error"><text:p>#N/A</text:p></table:table-cell>'
        '<table:table-cell table:formula="of:=[.A9]" office:value-type="float" office:value="0"><text:p>Err:502</text:p></table:table-cell>'
        '<table:table-cell table:formula="of:=1+1"/>'
        '<table:table-cell table:formula="of:=1+1" office:value-type="float" office:value="2"><text:p>2</text:p></table:table-cell>'
    )
    found = grid(books.ods(books.ods_table("Ch|Name", f"<table:table-row>{cells}</table:table-row>")))
    assert found.rows[1] == ["#N/A", "Err:502", "", "2"]
    assert [item[:3] for item in problems(found)] == [
        ("cell-error", 2, "A"),
        ("cell-error", 2, "B"),
        ("formula", 2, "C"),
    ]


def test_a_typed_text_that_looks_like_an_error_is_a_text() -> None:
    found = grid(books.xlsx([["#N/A", "=1+1", "x"]]))
    assert (found.rows, found.problems) == ([["#N/A", "=1+1", "x"]], [])


def test_tabs_and_line_breaks_of_ods_are_kept() -> None:
    texts = [
        "a<text:tab/>b",
        "a<text:line-break/>b",
        "a<text:s text:c='3'/>b",
        "<text:span>a</text:span>b",
        "a<![CDATA[&]]>b",
    ]
    cells = "".join(
        f'<table:table-cell office:value-type="string"><text:p>{text}</text:p></table:table-cell>'
        for text in texts
    )
    found = grid(books.ods(books.ods_table(f"<table:table-row>{cells}</table:table-row>")))
    assert found.rows == [["a\tb", "a\nb", "a   b", "ab", "a&b"]]


# Hidden


def hidden_book() -> bytes:
    def fill(made: Any, sheet: Any) -> None:
        for row, cells in enumerate(ROWS):
            books.fill(sheet, row, cells)
        for row in (1, 3, 40):
            sheet.set_row(row, None, None, {"hidden": True})
        for name, way in (("Old", "hide"), ("Older", "very_hidden")):
            other = made.add_worksheet(name)
            books.fill(other, 0, HEADING)
            books.fill(other, 1, [9, "Tuba", "C", 1])
            getattr(other, way)()

    return book(fill)


def test_hidden_sheets_and_rows_are_left_out_and_named() -> None:
    found = grid(hidden_book())
    assert (found.sheet, found.numbers) == ("Inputs", [1, 3])
    (rows, sheets) = [item for item in found.problems if item.code == "hidden"]
    assert (rows.where.sheet, rows.where.row) == ("Inputs", 2)
    assert "rows 2, 4 " in rows.message
    assert "'Old', 'Older'" in sheets.message
    assert len(found.problems) == 2


def test_hidden_sheets_and_rows_are_read_where_asked_for() -> None:
    found = grids(hidden_book(), HIDDEN)
    assert [item.sheet for item in found] == ["Inputs", "Old", "Older"]
    assert found[0].numbers == [1, 2, 3, 4]
    assert [[problem.code for problem in item.problems] for item in found] == [
        ["hidden"],
        ["hidden"],
        ["hidden"],
    ]
    assert found[1].rows[1][1] == "Tuba"


def test_hidden_rows_and_sheets_of_ods() -> None:
    rows = [
        "Ch|Name",
        '<table:table-row table:visibility="collapse">' + books.ods_row("1|Kick") + "</table:table-row>",
        "2|Snare",
    ]
    style = '<style:style style:name="ta2" style:family="table"><style:table-properties table:display="false"/></style:style>'
    old = books.ods_table("9|Tuba", name="Old").replace(
        "<table:table ", '<table:table table:style-name="ta2" '
    )
    data = books.ods(books.ods_table(*rows) + old, style)
    found = grid(data)
    assert found.numbers == [1, 3]
    assert [(item[0], item[1]) for item in problems(found)] == [("hidden", 2), ("hidden", None)]
    assert [item.numbers for item in grids(data, HIDDEN)] == [[1, 2, 3], [1]]


def test_a_workbook_whose_sheets_are_all_hidden_or_empty() -> None:
    assert "holds any text" in refusal(books.xlsx([]))
    table = books.ods_table("9|Tuba", name="Old").replace(
        "<table:table ", '<table:table table:style-name="ta2" '
    )
    style = '<style:style style:name="ta2" style:family="table"><style:table-properties table:display="false"/></style:style>'
    assert "'Old'" in refusal(books.ods(table, style))


def test_xls_says_what_it_cannot_say() -> None:
    assert [item.code for item in grid(books.xls(ROWS)).problems] == ["xls"]


# Merged cells


def merged_book() -> bytes:
    def fill(_: Any, sheet: Any) -> None:
        sheet.merge_range(0, 0, 1, 3, "Winter concert, all boxes")
        books.fill(sheet, 2, ["Box", "Input", "Source"])
        sheet.merge_range(3, 0, 5, 0, "A")
        sheet.merge_range(6, 0, 7, 0, "B")
        for row, (number, name) in enumerate(
            [(1, "Kick"), (2, "Snare"), (3, "Keys"), (1, "Choir"), (2, "Speech")], 3
        ):
            books.fill(sheet, row, [None, number, name])
        sheet.merge_range(8, 0, 8, 2, "Total 5")

    return book(fill)


def test_a_box_merged_over_its_rows_reaches_each_and_a_title_stays_one() -> None:
    found = grid(merged_book())
    assert [row[:3] for row in found.rows] == [
        ["Winter concert, all boxes", "", ""],
        ["Box", "Input", "Source"],
        ["A", "1", "Kick"],
        ["A", "2", "Snare"],
        ["A", "3", "Keys"],
        ["B", "1", "Choir"],
        ["B", "2", "Speech"],
        ["Total 5", "", ""],
    ]
    assert found.numbers == [1, 3, 4, 5, 6, 7, 8, 9]


def test_merged_cells_of_ods() -> None:
    span = '<table:table-cell office:value-type="string" table:number-rows-spanned="2"><text:p>A</text:p></table:table-cell>'
    rows = [
        "Box|Input|Source",
        f"<table:table-row>{span}{books.ods_row('1|Kick')}</table:table-row>",
        f"<table:table-row><table:covered-table-cell/>{books.ods_row('2|Snare')}</table:table-row>",
    ]
    assert grid(books.ods(books.ods_table(*rows))).rows[1:] == [["A", "1", "Kick"], ["A", "2", "Snare"]]


def test_a_block_merged_over_the_whole_sheet_takes_no_time() -> None:
    after = '<mergeCells count="2"><mergeCell ref="A1:XFD1048576"/><mergeCell ref="B1:C4000000000"/></mergeCells>'
    rows = '<row r="1"><c r="A1" t="inlineStr"><is><t>Title</t></is></c></row>'
    assert grid(books.zipped(books.xlsx_parts(rows, after))).rows == [["Title"]]


# What is no workbook, or a trap


def test_a_renamed_list_is_told_apart() -> None:
    assert "this is text" in refusal(b"Ch,Name\r\n1,Kick\r\n")
    assert "this is text" in refusal("Ch;Name\n1;Kick".encode("utf-16"))
    assert "XML or HTML" in refusal(b"<html><table><tr><td>1</td></tr></table></html>")
    assert "neither XLSX" in refusal(b"\x89PNG\r\n\x1a\n\0\0\0")


def test_a_zip_that_is_no_workbook() -> None:
    assert "letter.txt" in refusal(books.zipped({"letter.txt": "Dear all"}))
    assert "no workbook" in refusal(
        books.zipped({"mimetype": "application/vnd.oasis.opendocument.text", "content.xml": "<a/>"})
    )
    assert "XLSB" in refusal(books.zipped({"xl/workbook.bin": b"\0"}))


@pytest.mark.parametrize("data", [books.xlsx(ROWS), books.ods(books.ods_table(*BARS))], ids=["xlsx", "ods"])
def test_a_workbook_cut_off_anywhere(data: bytes) -> None:
    for part in (0.01, 0.5, 0.9, 0.999):
        assert "cut off" in refusal(data[: int(part * len(data))])


def test_an_xls_cut_off() -> None:
    data = books.xls(ROWS)
    for length in (16, 600, 1100, len(data) - 3500):
        assert "damaged" in refusal(data[:length])


def test_encrypted_workbooks_are_named_as_such() -> None:
    locked = "<manifest:manifest xmlns:manifest='m'><manifest:encryption-data/></manifest:manifest>"
    parts = books.unzipped(books.ods(books.ods_table(*BARS)))
    flagged = bytearray(books.xlsx(ROWS))
    flagged[flagged.index(b"PK\1\2") + 8] |= (
        1  # APPNOTE.TXT, section 4.4.4: bit 0 says encrypted (from memory)
    )
    for data in (
        books.compound({"EncryptionInfo": b"x", "EncryptedPackage": b"y"}),
        books.zipped(parts | {"META-INF/manifest.xml": locked.encode()}),
        books.xls(ROWS, password=True),
        bytes(flagged),
    ):
        assert "encrypted" in refusal(data)


def resized(data: bytes, name: str, size: int) -> bytes:
    """A ZIP file that states another size for one of its parts, in both places."""
    out = bytearray(data)
    for mark, at, name_at in ((b"PK\3\4", 22, 30), (b"PK\1\2", 24, 46)):
        start = -1
        while (start := out.find(mark, start + 1)) >= 0:
            if out[start + name_at : start + name_at + len(name)] == name.encode():
                out[start + at : start + at + 4] = size.to_bytes(4, "little")
    return bytes(out)


def test_a_part_that_is_larger_than_it_says() -> None:
    rows = "".join(f'<row r="{row}"><c r="A{row}"><v>{row}</v></c></row>' for row in range(1, 2000))
    data = books.zipped(books.xlsx_parts(rows))
    assert grid(data).numbers[-1] == 1999
    assert "damaged" in refusal(resized(data, "xl/worksheets/sheet1.xml", 300))


def test_bombs_are_refused_before_they_are_opened() -> None:
    many = b" " * (70 << 20)
    assert "would unpack to" in refusal(books.zipped(books.xlsx_parts("") | {"xl/media/a.xml": many}))
    data = books.zipped(books.xlsx_parts("") | {"a.xml": b"x", "b.xml": b"x"})
    assert "would unpack to" in refusal(resized(resized(data, "a.xml", 300 << 20), "b.xml", 300 << 20))
    assert "more than 10,000" in refusal(b"PK\3\4" + b"PK\1\2" * 10_001)


@pytest.mark.skipif(not hasattr(__import__("os"), "fork"), reason="the bound on memory is one of POSIX")
@pytest.mark.parametrize(
    "data",
    [
        books.zipped(
            books.xlsx_parts(
                '<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
            )
        ),
        books.ods(
            books.ods_table(
                '<table:table-row table:number-rows-repeated="1048576"><table:table-cell office:value-type="string" table:number-columns-repeated="16384"><text:p>x</text:p></table:table-cell></table:table-row>'
            )
        ),
    ],
    ids=["far apart", "repeated"],
)
def test_a_small_workbook_of_a_huge_sheet_is_refused_within_bounds(data: bytes) -> None:
    start = time.monotonic()
    assert "memory" in refusal(data) or "damaged" in refusal(data)
    assert time.monotonic() - start < limits.SECONDS / 4


def test_the_empty_repeats_at_the_end_of_every_ods_sheet_are_nothing() -> None:
    end = '<table:table-row table:number-rows-repeated="1048570"><table:table-cell table:number-columns-repeated="16384"/></table:table-row>'
    row = f'<table:table-row>{books.ods_row("1|Kick")}<table:table-cell table:number-columns-repeated="16382"/></table:table-row>'
    start = time.monotonic()
    found = grid(books.ods(books.ods_table("Ch|Name", row, end)))
    assert (found.rows, found.numbers) == ([["Ch", "Name"], ["1", "Kick"]], [1, 2])
    assert time.monotonic() - start < 2


def test_repeated_rows_and_cells_of_ods_count() -> None:
    rows = [
        '<table:table-row table:number-rows-repeated="3"><table:table-cell/></table:table-row>',
        '<table:table-row table:number-rows-repeated="2"><table:table-cell table:number-columns-repeated="2"/>'
        '<table:table-cell table:formula="of:=1" table:number-columns-repeated="2"/>'
        + books.ods_row("x")
        + "</table:table-row>",
    ]
    found = grid(books.ods(books.ods_table(*rows)))
    assert found.numbers == [4, 5]
    assert [item[:3] for item in problems(found)] == [("formula", 4, "C"), ("formula", 4, "D")]


def test_entities_are_not_followed(tmp_path: Path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("do not tell", "utf-8")
    parts = books.xlsx_parts(
        '<row r="1"><c r="A1" t="str"><f>1</f><v>&leak;</v></c><c r="B1" t="e"><v>&leak;</v></c></row>'
    )
    doctype = f'<!DOCTYPE worksheet [<!ENTITY leak SYSTEM "{secret.as_uri()}">]>'
    data = books.zipped(
        parts | {"xl/worksheets/sheet1.xml": doctype + str(parts["xl/worksheets/sheet1.xml"])}
    )
    try:
        text = repr(grids(data))
    except ReadError as error:
        text = str(error)
    assert "do not tell" not in text


def test_broken_xml_inside_an_ods_does_not_hang() -> None:
    data = books.unzipped(books.ods(books.ods_table(*BARS)))
    broken = data["content.xml"].replace(b"</table:table-row>", b"</table:tabel-row>", 1)
    assert "XML is broken" in refusal(books.zipped(data | {"content.xml": broken}))


VALID = books.xlsx(ROWS)


def read_or_refused(data: bytes) -> list[Grid]:
    """The grids of a workbook, or none where it is refused in one clear message; any other exception is a fault."""
    try:
        return grids(data)
    except ReadError as error:
        return [] if str(error).startswith("show.xlsx: ") else [Grid("", [], [1])]


@given(st.lists(st.tuples(st.integers(0, len(VALID) - 1), st.integers(1, 255)), min_size=1, max_size=8))
def test_a_damaged_workbook_is_read_or_refused(flips: list[tuple[int, int]]) -> None:
    data = bytearray(VALID)
    for at, change in flips:
        data[at] ^= change
    assert all(item.rows for item in read_or_refused(bytes(data)))


@given(
    st.integers(0, 3),
    st.integers(0, 10_000),
    st.sampled_from(["", "9999999999", "-1", "nan", "<", ">", '"', "&"]),
)
def test_damaged_xml_inside_a_workbook_is_read_or_refused(part: int, at: int, text: str) -> None:
    parts = books.unzipped(VALID)
    name = ("xl/worksheets/sheet1.xml", "xl/sharedStrings.xml", "xl/workbook.xml", "xl/styles.xml")[part]
    at %= len(parts[name])
    parts[name] = parts[name][:at] + text.encode() + parts[name][at + 1 :]
    assert all(len(item.rows) == len(item.numbers) for item in read_or_refused(books.zipped(parts)))


# Writing


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
