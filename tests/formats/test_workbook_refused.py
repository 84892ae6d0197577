"""Workbooks that are damaged, locked, too large or none at all: one clear refusal, within bounds."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge.apart.sheet import SECONDS
from chanbridge.errors import ReadError
from chanbridge.sheets.grid import Grid
from tests.formats import books
from tests.formats.books import BARS, ROWS, grid, grids, problems


def refusal(data: bytes) -> str:
    """What is said of a workbook that is refused."""
    with pytest.raises(ReadError) as caught:
        grids(data)
    assert caught.value.where.file == "show.xlsx"
    return caught.value.message


def test_a_renamed_list_is_told_apart() -> None:
    assert "this is text" in refusal(b"Ch,Name\r\n1,Kick\r\n")
    assert "this is text" in refusal("Ch;Name\n1;Kick".encode("utf-16"))
    assert "XML or HTML" in refusal(b"<html><table><tr><td>1</td></tr></table></html>")
    assert "neither XLSX" in refusal(b"\x89PNG\r\n\x1a\n\0\0\0")


def test_a_workbook_whose_sheets_are_all_hidden_or_empty() -> None:
    assert "holds any text" in refusal(books.xlsx([]))
    table = books.ods_table("9|Tuba", name="Old").replace(
        "<table:table ", '<table:table table:style-name="ta2" '
    )
    style = '<style:style style:name="ta2" style:family="table"><style:table-properties table:display="false"/></style:style>'
    assert "'Old'" in refusal(books.ods(table, style))


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


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the bound on memory is one of POSIX")
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
    assert time.monotonic() - start < SECONDS / 4


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
    doctype = f'<!DOCTYPE worksheet [<!ENTITY leak SYSTEM "{secret.as_uri()}"><!ENTITY own "<c><v>do not tell</v></c>">]>'
    for cells in (
        '<c r="A1" t="str"><f>1</f><v>&leak;</v></c>',
        '<c t="e"><v>&leak;</v></c>',
        '&own;<c t="e"><v>#N/A</v></c>',
    ):
        parts = books.xlsx_parts(f'<row r="1">{cells}</row>')
        sheet = doctype + str(parts["xl/worksheets/sheet1.xml"])
        found = read_or_refused(books.zipped(parts | {"xl/worksheets/sheet1.xml": sheet}))
        assert "do not tell" not in repr(found)


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


@pytest.mark.parametrize("sheet", ["Inputs", "A & B's <1>", "Ærø"])
def test_a_sheet_is_found_by_any_name(sheet: str) -> None:
    rows = '<row r="1"><c r="A1" t="e"><v>#N/A</v></c></row>'
    name = sheet.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    found = grid(books.zipped(books.xlsx_parts(rows, name=name)))
    assert (found.sheet, found.rows) == (sheet, [["#N/A"]])


def test_a_missing_part_is_named() -> None:
    parts = books.unzipped(books.xlsx(ROWS))
    del parts["xl/worksheets/sheet1.xml"]
    assert "damaged" in refusal(books.zipped(parts))
    parts = books.unzipped(books.xlsx(ROWS))
    del parts["xl/_rels/workbook.xml.rels"]
    assert "xl/_rels/workbook.xml.rels is missing" in refusal(books.zipped(parts))


def test_a_date_beyond_all_bounds() -> None:
    cells = '<cellXfs><xf numFmtId="14"/><xf numFmtId="46"/></cellXfs>'
    styles = f'<styleSheet xmlns="{books.MAIN}">{cells}</styleSheet>'
    rows = '<row r="1"><c r="A1" s="1"><v>1e18</v></c></row>'
    assert "beyond all bounds" in refusal(books.zipped(books.xlsx_parts(rows) | {"xl/styles.xml": styles}))
