"""Workbooks for tests, put together by hand where a library would not write what is wanted."""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Mapping, Sequence
from typing import Any

import xlsxwriter

from chanbridge.formats import workbook
from chanbridge.sheets.grid import Grid, Options
from chanbridge.sheets.interpret import interpret
from chanbridge.sheets.ledger import Reading

ROWS: list[list[Any]] = [
    ["Ch", "Name", "Box", "Socket"],
    [1, "Kick", "A", 1],
    [2, "Snare", "A", 2],
    [3, "Keys", "B", 1],
]
BARS = ["|".join(map(str, row)) for row in ROWS]


def grids(data: bytes, options: Options = Options()) -> list[Grid]:
    """The grids of a workbook called show.xlsx."""
    return workbook.read(data, "show.xlsx", options)


def grid(data: bytes, options: Options = Options()) -> Grid:
    """The one grid of a workbook."""
    (only,) = grids(data, options)
    return only


def reading(data: bytes) -> Reading:
    """A workbook as a list of channels."""
    return interpret(grids(data), "workbook")


def problems(found: Grid) -> list[tuple[str, int | None, str, str]]:
    """Code, row, column and message of a grid's problems."""
    return [(item.code, item.where.row, item.where.column, item.message) for item in found.problems]


MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
LINKS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"


def zipped(parts: Mapping[str, str | bytes]) -> bytes:
    """A ZIP file of these parts."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        for name, content in parts.items():
            package.writestr(name, content)
    return out.getvalue()


def unzipped(data: bytes) -> dict[str, bytes]:
    """The parts of a ZIP file."""
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        return {name: package.read(name) for name in package.namelist()}


def xlsx_parts(rows: str, after: str = "", name: str = "Inputs") -> dict[str, str | bytes]:
    """The parts of the smallest XLSX with one sheet, its rows given as XML."""
    return {
        "[Content_Types].xml": '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"/>',
        "_rels/.rels": f'<Relationships xmlns="{PACKAGE}"><Relationship Id="r1" Type="{LINKS}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{PACKAGE}"><Relationship Id="r1" Type="{LINKS}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{MAIN}" xmlns:r="{LINKS}"><sheets><sheet name="{name}" sheetId="1" r:id="r1"/></sheets></workbook>',
        "xl/worksheets/sheet1.xml": f'<worksheet xmlns="{MAIN}"><sheetData>{rows}</sheetData>{after}</worksheet>',
    }


def xlsx(rows: Sequence[Sequence[Any]], **sheets: Sequence[Sequence[Any]]) -> bytes:
    """A workbook as a person's spreadsheet saves it: numbers as numbers, other cells as text."""
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True}) as book:
        for name, lines in {"Inputs": rows, **sheets}.items():
            sheet = book.add_worksheet(name)
            for at, line in enumerate(lines):
                fill(sheet, at, line)
    return out.getvalue()


def book(fill: Any) -> bytes:
    """A workbook of xlsxwriter, filled by a function that is given the workbook and its first sheet."""
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True}) as made:
        fill(made, made.add_worksheet("Inputs"))
    return out.getvalue()


def fill(sheet: Any, row: int, cells: Sequence[Any]) -> None:
    """Put a row into a worksheet of xlsxwriter."""
    for at, cell in enumerate(cells):
        if isinstance(cell, str):
            sheet.write_string(row, at, cell)
        elif cell is not None:
            sheet.write(row, at, cell)


_NAMESPACES = " ".join(
    f'xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{urn}:1.0"'
    for name, urn in {
        "office": "office",
        "table": "table",
        "text": "text",
        "style": "style",
        "number": "datastyle",
    }.items()
)
_CALC = 'xmlns:calcext="urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0"'
ODS = "application/vnd.oasis.opendocument.spreadsheet"


def ods(tables: str, styles: str = "", **parts: str) -> bytes:
    """An ODS of these tables, given as XML."""
    content = (
        f'<?xml version="1.0" encoding="UTF-8"?><office:document-content {_NAMESPACES} {_CALC} office:version="1.2">'
        f"<office:automatic-styles>{styles}</office:automatic-styles>"
        f"<office:body><office:spreadsheet>{tables}</office:spreadsheet></office:body></office:document-content>"
    )
    manifest = f'<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"><manifest:file-entry manifest:full-path="/" manifest:media-type="{ODS}"/></manifest:manifest>'
    return zipped({"mimetype": ODS, "content.xml": content, "META-INF/manifest.xml": manifest, **parts})


def ods_table(*rows: str, name: str = "Inputs") -> str:
    """A table of rows, each given as XML or as cells parted by bars."""
    lines = [
        row if row.startswith("<") else f"<table:table-row>{ods_row(row)}</table:table-row>" for row in rows
    ]
    return f'<table:table table:name="{name}">{"".join(lines)}</table:table>'


def ods_row(cells: str) -> str:
    """Cells parted by bars as XML; whole numbers are numbers."""
    return "".join(
        f'<table:table-cell office:value-type="float" office:value="{cell}"><text:p>{cell}</text:p></table:table-cell>'
        if cell.isdecimal()
        else f'<table:table-cell office:value-type="string"><text:p>{cell}</text:p></table:table-cell>'
        if cell
        else "<table:table-cell/>"
        for cell in cells.split("|")
    )


def xls(rows: Sequence[Sequence[str | float]], password: bool = False) -> bytes:
    """An XLS (BIFF8 in a compound file) of one sheet. Records and sectors from memory."""

    def record(kind: int, body: bytes) -> bytes:
        return struct.pack("<HH", kind, len(body)) + body

    def text(value: str, length: str) -> bytes:
        return struct.pack(length, len(value)) + b"\1" + value.encode("utf-16-le")

    begin = record(0x0809, struct.pack("<HHHHII", 0x0600, 0x0005, 0, 0, 0, 0))
    locked = record(0x002F, struct.pack("<HHH48x", 1, 1, 1)) if password else b""
    bound = len(record(0x0085, struct.pack("<IBB", 0, 0, 0) + text("Inputs", "<B")))
    start = len(begin) + len(locked) + bound + 4
    cells = b"".join(
        record(0x0204, struct.pack("<HHH", row, at, 0) + text(cell, "<H"))
        if isinstance(cell, str)
        else record(0x0203, struct.pack("<HHHd", row, at, 0, cell))
        for row, line in enumerate(rows)
        for at, cell in enumerate(line)
    )
    stream = (
        begin
        + locked
        + record(0x0085, struct.pack("<IBB", start, 0, 0) + text("Inputs", "<B"))
        + record(0x000A, b"")
    )
    stream += record(0x0809, struct.pack("<HHHHII", 0x0600, 0x0010, 0, 0, 0, 0)) + cells + record(0x000A, b"")
    return compound({"Workbook": stream})


def compound(streams: Mapping[str, bytes]) -> bytes:
    """A compound file: one sector of allocation table, one of directory, then the streams."""
    free, end = 0xFFFFFFFF, 0xFFFFFFFE
    table = [0xFFFFFFFD, end]
    entries = [_entry("Root Entry", 5, end, 0, child=1 if streams else free)]
    body = b""
    for at, (name, content) in enumerate(streams.items(), 1):
        content = content.ljust(4096, b"\0")
        sectors = -(-len(content) // 512)
        first = len(table)
        table += [*range(first + 1, first + sectors), end]
        entries.append(_entry(name, 2, first, len(content), right=at + 1 if at < len(streams) else free))
        body += content.ljust(512 * sectors, b"\0")
    if len(table) > 128 or len(entries) > 4:
        raise ValueError("this small builder has one sector of each")
    header = bytes.fromhex("D0CF11E0A1B11AE1") + bytes(16) + struct.pack("<HHHHH6x", 0x3E, 3, 0xFFFE, 9, 6)
    header += struct.pack("<IIIIIIIII", 0, 1, 1, 0, 4096, end, 0, end, 0) + struct.pack(
        "<109I", 0, *[free] * 108
    )
    allocation = struct.pack("<128I", *table, *[free] * (128 - len(table)))
    return header + allocation + b"".join(entries).ljust(512, b"\0") + body


def _entry(
    name: str, kind: int, first: int, size: int, child: int = 0xFFFFFFFF, right: int = 0xFFFFFFFF
) -> bytes:
    text = name.encode("utf-16-le")
    return (
        text.ljust(64, b"\0")
        + struct.pack("<HBBIII", len(text) + 2, kind, 1, 0xFFFFFFFF, right, child)
        + bytes(36)
        + struct.pack("<IQ", first, size)
    )
