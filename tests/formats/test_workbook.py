"""Reading workbooks: what people's spreadsheets hold comes out as it was typed."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import pytest

from chanbridge import formats
from chanbridge.apart.marks import shown
from chanbridge.sheets.grid import Options
from tests.formats import books
from tests.formats.books import BARS, ROWS, book, grid, grids, problems, reading

HEADING = ROWS[0]


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
    found = grids(hidden_book(), Options(hidden=True))
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
    assert [item.numbers for item in grids(data, Options(hidden=True))] == [[1, 2, 3], [1]]


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
    after = (
        '<mergeCells count="2"><mergeCell ref="A1:XFD1048576"/><mergeCell ref="B1:C4000000000"/></mergeCells>'
    )
    rows = '<row r="1"><c r="A1" t="inlineStr"><is><t>Title</t></is></c></row>'
    assert grid(books.zipped(books.xlsx_parts(rows, after))).rows == [["Title"]]
