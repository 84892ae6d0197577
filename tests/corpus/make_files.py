"""Write the sheets of the corpus that no text editor could: `python tests/corpus/make_files.py`.

Their bytes depend on nothing but this file: no dates, no compression. A test compares them with what lies
beside it. Workbooks are put together by hand, because the odd ones among them (a size declared too small,
a formula without a result) are what no library writes.
"""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import NamedTuple
from xml.sax.saxutils import escape, quoteattr

HERE = Path(__file__).parent


# Text in encodings and line ends of its own


def text_files() -> dict[str, bytes]:
    """File name → bytes of the delimited and XML files."""
    french = "Tranche{0}Instrument{0}Micro\r\n1{0}Grosse caisse{0}gros dynamique\r\n2{0}Chant Zoé{0}dynamique chant\r\n3{0}libre{0}\r\n"
    german = (
        "Kanal;Quelle;Mikro;Bemerkung\r\n1;Pauke groß;großer Dynamiker;für Höhen öffnen\r\n"
        "2;Flöte;Kleinkondensator;auf der Bühne\r\n3;Querflöte;Kleinkondensator;über Kopf\r\n"
        "4;Sängerin – Käthe;Handsender;später\r\n"
    )
    mac = (
        "Tranche;Instrument;Micro;Remarques\r1;Grosse caisse;gros dynamique;près du trou\r"
        "2;Caisse claire;petit dynamique;côté public\r3;Clavier gauche;DI;à côté de la scène\r"
        "4;Chant Zoé;dynamique chant;micro personnel, déjà réglé\r"
    )
    plain = (
        'Ch,Name,Mic\r\n1,Kick,large dynamic\r\n2,"Snare, top",small dynamic\r\n'
        '3,"Vox ""Red""",vocal dynamic\r\n4,,\r\n'
    )
    xml = (
        '<?xml version="1.0" encoding="windows-1252"?>\r\n<list>\r\n'
        '<line no="1" name="Flöte Käthe"/>\r\n<line no="2" name="Pauke groß"/>\r\n</list>\r\n'
    )
    return {
        "file-comma-crlf.csv": plain.encode("ascii"),
        "file-cr-alone.csv": b"Ch,Name,Mic\r1,Kick,large dynamic\r2,Snare,small dynamic\r3,Vox Ana,handheld\r",
        "file-utf8-bom.csv": "Ch,Name,Mic\r\n1,Flûte,small condenser\r\n2,Flöte Jörg,small condenser\r\n".encode(
            "utf-8-sig"
        ),
        "file-utf16-le.csv": b"\xff\xfe" + french.format("\t").encode("utf-16-le"),
        "file-utf16-be.csv": b"\xfe\xff" + french.format(";").encode("utf-16-be"),
        "file-utf16-no-bom.csv": french.format(";").encode("utf-16-le"),
        "file-cp1252.csv": german.encode("cp1252"),
        "file-mac-roman.csv": mac.encode("mac-roman"),
        "file-encoding-said.csv": "Ch,Name\r1,Kick\r2,Zoé\r".encode("mac-roman"),
        "file-nul.csv": b"Ch,Name\r\n1,Kick\r\n2,Sn\0are\r\n3,Vox Ana\r\n",
        "xml-control-character.xml": (
            b'<?xml version="1.0"?>\n<list>\n<line no="1" name="Kick"/>\n'
            b'<line no="2"><name>Sn\x01are</name></line>\n</list>\n'
        ),
        "xml-windows-1252.xml": xml.encode("cp1252"),
    }


# Workbooks


class Formula(NamedTuple):
    """A formula and the result stored with it, None where none is."""

    text: str
    result: int | None


class Date(NamedTuple):
    """A day that a spreadsheet counts from 30 December 1899, shown as day and month."""

    serial: int


class Runs(NamedTuple):
    """A text in runs of differing type, the first of them bold."""

    bold: str
    rest: str


Cell = str | int | float | bool | None | Formula | Date | Runs


class Sheet(NamedTuple):
    """A sheet of a workbook; rows count from 1. `dimension` is the size that it declares."""

    name: str
    rows: list[list[Cell]]
    hidden: bool = False
    hidden_rows: tuple[int, ...] = ()
    merged: tuple[str, ...] = ()
    dimension: str = ""


_DATE_STYLE = 1
_XML = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_RELATION = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml"


def workbook(*sheets: Sheet) -> bytes:
    """The bytes of an .xlsx file (ECMA-376 part 1, chapter 18) with these sheets."""
    texts: dict[str, int] = {}
    parts = {f"xl/worksheets/sheet{at}.xml": _sheet(sheet, texts) for at, sheet in enumerate(sheets, 1)}
    overrides = [
        ("xl/workbook.xml", "sheet.main"),
        ("xl/styles.xml", "styles"),
        ("xl/sharedStrings.xml", "sharedStrings"),
        *((name, "worksheet") for name in parts),
    ]
    types = "".join(
        f'<Override PartName="/{name}" ContentType="{_TYPE}.{kind}+xml"/>' for name, kind in overrides
    )
    listed = "".join(
        f'<sheet name={quoteattr(sheet.name)} sheetId="{at}"'
        f'{" state=" + quoteattr("hidden") if sheet.hidden else ""} r:id="rId{at}"/>'
        for at, sheet in enumerate(sheets, 1)
    )
    relations = [(f"worksheets/sheet{at}.xml", "worksheet") for at in range(1, len(sheets) + 1)]
    relations += [("styles.xml", "styles"), ("sharedStrings.xml", "sharedStrings")]
    return _zip(
        {
            "[Content_Types].xml": f'{_XML}<Types xmlns="{_PACKAGE}/content-types">'
            '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
            f'<Default Extension="xml" ContentType="application/xml"/>{types}</Types>',
            "_rels/.rels": _relations([("xl/workbook.xml", "officeDocument")]),
            "xl/workbook.xml": f'{_XML}<workbook xmlns="{_MAIN}" xmlns:r="{_RELATION}">'
            f"<sheets>{listed}</sheets></workbook>",
            "xl/_rels/workbook.xml.rels": _relations(relations),
            # 16 is the built-in format for a day and a month (ECMA-376 part 1, 18.8.30)
            "xl/styles.xml": f'{_XML}<styleSheet xmlns="{_MAIN}"><fonts count="1"><font/></fonts>'
            '<fills count="1"><fill/></fills><borders count="1"><border/></borders>'
            '<cellStyleXfs count="1"><xf/></cellStyleXfs><cellXfs count="2"><xf numFmtId="0"/>'
            '<xf numFmtId="16" applyNumberFormat="1"/></cellXfs></styleSheet>',
            **parts,
            "xl/sharedStrings.xml": f'{_XML}<sst xmlns="{_MAIN}">'
            + "".join(f"<si>{text}</si>" for text in texts)
            + "</sst>",
        }
    )


def _relations(targets: list[tuple[str, str]]) -> str:
    each = "".join(
        f'<Relationship Id="rId{at}" Type="{_RELATION}/{kind}" Target="{target}"/>'
        for at, (target, kind) in enumerate(targets, 1)
    )
    return f'{_XML}<Relationships xmlns="{_PACKAGE}/relationships">{each}</Relationships>'


def _sheet(sheet: Sheet, texts: dict[str, int]) -> str:
    widest = max(len(row) for row in sheet.rows)
    size = sheet.dimension or f"A1:{chr(64 + widest)}{len(sheet.rows)}"
    rows = "".join(
        f'<row r="{number}"{" hidden=" + quoteattr("1") if number in sheet.hidden_rows else ""}>'
        + "".join(_cell(f"{chr(65 + at)}{number}", cell, texts) for at, cell in enumerate(row))
        + "</row>"
        for number, row in enumerate(sheet.rows, 1)
    )
    merged = "".join(f'<mergeCell ref="{area}"/>' for area in sheet.merged)
    return (
        f'{_XML}<worksheet xmlns="{_MAIN}"><dimension ref="{size}"/><sheetData>{rows}</sheetData>'
        + (f"<mergeCells>{merged}</mergeCells>" if merged else "")
        + "</worksheet>"
    )


def _cell(at: str, cell: Cell, texts: dict[str, int]) -> str:
    match cell:
        case None:
            return ""
        case bool():
            return f'<c r="{at}" t="b"><v>{int(cell)}</v></c>'
        case Formula(text, result):
            stored = "" if result is None else f"<v>{result}</v>"
            return f'<c r="{at}"><f>{escape(text)}</f>{stored}</c>'
        case Date(serial):
            return f'<c r="{at}" s="{_DATE_STYLE}"><v>{serial}</v></c>'
        case Runs(bold, rest):
            shared = f"<r><rPr><b/></rPr>{_text(bold)}</r><r>{_text(rest)}</r>"
        case str():
            shared = _text(cell)
        case _:
            return f'<c r="{at}"><v>{cell}</v></c>'
    return f'<c r="{at}" t="s"><v>{texts.setdefault(shared, len(texts))}</v></c>'


def _text(text: str) -> str:
    return f'<t xml:space="preserve">{escape(text)}</t>'


def _zip(parts: dict[str, str]) -> bytes:
    """A ZIP archive of texts, stored, all of them dated 1 January 1980."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for name, text in parts.items():
            archive.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), text.encode())
    return out.getvalue()


def workbooks() -> dict[str, bytes]:
    """File name → bytes of the .xlsx files."""
    visible = Sheet("Inputs", [["Ch", "Name"], [1, "Kick"], [2, "Snare"]])
    old = Sheet("Old", [["Ch", "Name"], [9, "Choir"], [10, "Organ"]], hidden=True)
    rows_hidden = Sheet(
        "Inputs",
        [["Ch", "Name"], [1, "Kick"], [2, "Snare"], [3, "Bass"], [4, "Keys"], [5, "Vox Ana"]],
        hidden_rows=(3, 6),
    )
    return {
        "workbook-second-sheet.xlsx": workbook(
            Sheet("Cover", [["Spring Revue"], ["Revision D"], ["2031-04-02"], ["Call 14:00", "doors 19:00"]]),
            Sheet(
                "Inputs",
                [
                    ["Ch", "Name", "Socket"],
                    [1, "Kick", "A1"],
                    [2, "Snare", "A2"],
                    [3, None, "A3"],
                    [4, "Vox Ana", "A4"],
                ],
            ),
        ),
        "workbook-sheet-a-recipient.xlsx": workbook(
            Sheet(
                "Front of house",
                [
                    ["Ch", "Name", "Socket"],
                    [1, "Kick", "A1"],
                    [2, "Snare", "A2"],
                    [3, "Keys", "A3"],
                    [4, "Vox Ana", "A4"],
                ],
            ),
            Sheet(
                "Monitors",
                [["Ch", "Name", "Socket"], [1, "Vox Ana", "A4"], [2, "Keys", "A3"], [3, "Kick", "A1"]],
            ),
        ),
        "workbook-hidden-sheet.xlsx": workbook(old, visible),
        "workbook-hidden-sheet-wanted.xlsx": workbook(visible, old),
        "workbook-hidden-rows.xlsx": workbook(rows_hidden),
        "workbook-hidden-rows-wanted.xlsx": workbook(rows_hidden),
        "workbook-merged-cells.xlsx": workbook(
            Sheet(
                "Inputs",
                [
                    ["Summer Concert", None, None, None],
                    ["Ch", "Box", "Socket", "Name"],
                    [1, "A", 1, "Kick"],
                    [2, None, 2, "Snare"],
                    [3, None, 3, "Bass"],
                    [4, "B", 1, "Keys"],
                    [5, None, 2, "Vox Ana"],
                ],
                merged=("A1:D1", "B3:B5", "B6:B7"),
            )
        ),
        "workbook-small-dimension.xlsx": workbook(
            Sheet(
                "Inputs",
                [
                    ["Ch", "Name", "Mic"],
                    [1, "Kick", "large dynamic"],
                    [2, "Snare", "small dynamic"],
                    [3, "Hi-hat", "small condenser"],
                    [4],
                    [5, "Vox Ana", "vocal dynamic"],
                ],
                dimension="A1:B3",
            )
        ),
        "workbook-formulas.xlsx": workbook(
            Sheet(
                "Inputs",
                [
                    ["Ch", "Name"],
                    [1, "Kick"],
                    [Formula("A2+1", 2), "Snare"],
                    [Formula("A3+1", None), "Bass"],
                    [4, "Vox Ana"],
                ],
            )
        ),
        # 1 February and 3 April 2031; 2 January and 4 March 2031
        "workbook-dates.xlsx": _dated(47880, 47941),
        "workbook-dates-month-first.xlsx": _dated(47850, 47911),
        "workbook-typed-cells.xlsx": workbook(
            Sheet(
                "Inputs",
                [
                    ["Ch", "Name", "Box", "Socket", "48V"],
                    [1.0, "Kick", "A", 16.0, False],
                    [2, True, "A", 2, True],
                    [3, 112, "A", 3, False],
                    [16.0, "1E1", "A", 4.0, None],
                ],
            )
        ),
        "workbook-side-by-side.xlsx": workbook(
            Sheet(
                "Inputs",
                [
                    ["Ch", "Name", "Mic", None, "No", "Source", "Socket"],
                    [1, "Kick", "large dynamic", None, 9, "Keys L", "B1"],
                    [2, "Snare", "small dynamic", None, 10, "Keys R", "B2"],
                    [3, "Bass", "DI"],
                    [4],
                ],
            )
        ),
        "workbook-names.xlsx": workbook(
            Sheet(
                "Inputs",
                [
                    ["Ch", "Name"],
                    [1, "NA"],
                    [2, "None"],
                    [3, "=SUM"],
                    [4, "007"],
                    [5, "-18"],
                    [6, "Keys & Pads"],
                    [7, "  Vox  Ana"],
                    [8, Runs("Gtr", " clean")],
                    [9, "Vox\nBen"],
                ],
            )
        ),
    }


def _dated(first: int, second: int) -> bytes:
    rows: list[list[Cell]] = [["Ch", "Name"], [Date(first), "Overheads L/R"], [Date(second), "Keys L/R"]]
    return workbook(Sheet("Inputs", [*rows, [5, "Vox Ana"]]))


def open_document() -> bytes:
    """An .ods file (OpenDocument 1.2 part 1) with repeated cells and rows, as office programs save them."""
    office = "urn:oasis:names:tc:opendocument:xmlns"
    kind = "application/vnd.oasis.opendocument.spreadsheet"

    def row(*cells: str) -> str:
        return f"<table:table-row>{''.join(cells)}</table:table-row>"

    def text(said: str, times: int = 1) -> str:
        again = f' table:number-columns-repeated="{times}"' if times > 1 else ""
        return (
            f'<table:table-cell office:value-type="string"{again}><text:p>{said}</text:p></table:table-cell>'
        )

    def number(value: int) -> str:
        return f'<table:table-cell office:value-type="float" office:value="{value}"><text:p>{value}</text:p></table:table-cell>'

    def empty(times: int) -> str:
        return f'<table:table-cell table:number-columns-repeated="{times}"/>'

    rows = [
        row(text("Ch"), text("Name"), text("Mic"), text("Box"), text("Socket"), empty(1019)),
        row(number(1), text("Kick"), text("large dynamic"), text("A"), number(1), empty(1019)),
        row(number(2), text("Snare"), text("small dynamic"), text("A"), number(2), empty(1019)),
        row(number(3), empty(2), text("A"), number(3), empty(1019)),
        row(number(4), text("Vox Ana"), empty(1), text("A"), number(4), empty(1019)),
        f'<table:table-row table:number-rows-repeated="1048571">{empty(1024)}</table:table-row>',
    ]
    content = (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<office:document-content xmlns:office="{office}:office:1.0" '
        f'xmlns:table="{office}:table:1.0" xmlns:text="{office}:text:1.0" office:version="1.2">'
        f'<office:body><office:spreadsheet><table:table table:name="Inputs">{"".join(rows)}'
        "</table:table></office:spreadsheet></office:body></office:document-content>"
    )
    manifest = (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<manifest:manifest xmlns:manifest="{office}:manifest:1.0" manifest:version="1.2">'
        f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{kind}"/>'
        '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/></manifest:manifest>'
    )
    return _zip({"mimetype": kind, "content.xml": content, "META-INF/manifest.xml": manifest})


def files() -> dict[str, bytes]:
    """Every made sheet: file name → bytes."""
    return text_files() | workbooks() | {"workbook-open-document.ods": open_document()}


if __name__ == "__main__":
    for name, data in files().items():
        (HERE / name).write_bytes(data)
