"""What a workbook's own XML says beside the values of its cells: hidden rows, errors, formulas without a result.

XLSX after ECMA-376, part 1, clause 18 (from memory); ODS after OpenDocument 1.2, part 1 (from memory).
"""

from __future__ import annotations

import io
import posixpath
import re
from collections.abc import Iterator, Set
from typing import Any

from lxml import etree

from chanbridge.apart import hardened
from chanbridge.apart.package import Package, damaged
from chanbridge.errors import ReadError

Cell = tuple[int, int]
"""A row, counted from 1, and a column, counted from 0."""
Range = tuple[Cell, Cell]
"""The first and the last cell of a block."""

MOST = 1_000_000
"""More marked cells than this in one sheet are no channel list's."""


class Marks:
    """What is known of one sheet.

    `hidden` are runs of rows, first and last; `dates` is what the number format of a date or time shows, as
    letters among d, m, y and h; `texts` are cells that calamine reads wrongly.
    """

    def __init__(self) -> None:
        self.hidden: list[tuple[int, int]] = []
        self.errors: dict[Cell, str] = {}
        self.formulas: list[Cell] = []
        self.dates: dict[Cell, str] = {}
        self.merged: list[Range] = []
        self.texts: dict[Cell, str] = {}


def _records(data: bytes, *tags: str) -> Iterator[Any]:
    """Elements of these names in any namespace as they end, emptied once they have been looked at."""
    events = etree.iterparse(
        io.BytesIO(data),
        events=("end",),
        tag=[f"{{*}}{tag}" for tag in tags],
        **hardened.XML,
    )
    try:
        for _, element in events:
            yield element
            element.clear()
            while element.getprevious() is not None:
                del element.getparent()[0]
    except etree.XMLSyntaxError as error:
        raise damaged(f"its XML is broken ({error.msg[:200]})") from None


def _name(element: Any) -> str:
    return etree.QName(element).localname


def _get(element: Any, name: str) -> str:
    """An attribute by its local name; "" where it is missing."""
    value = element.get(name)
    if value is None:
        value = next((text for key, text in element.attrib.items() if key.endswith(f"}}{name}")), "")
    return str(value)


# XLSX

_REFERENCE = re.compile(r"([A-Za-z]{1,3})(\d{1,7})")
_ODD_CELLS: Any = etree.XPath(
    '*[@t="e" or (*[local-name()="f"] and not(@t="str") and not(string(*[local-name()="v"])))]'
)
_YES = ("1", "true", "on")

# Number formats that XLSX has without naming them: ECMA-376, part 1, clause 18.8.30.
_BUILT_IN = {14: "dmy", 15: "dmy", 16: "dm", 17: "my", 22: "dmyh"}
_BUILT_IN |= dict.fromkeys((18, 19, 20, 21, 45, 46, 47), "h")


class Xlsx:
    """The parts of an XLSX package that belong to its sheets."""

    def __init__(self, package: Package) -> None:
        self.package = package
        targets = {
            _get(element, "Id"): posixpath.normpath(posixpath.join("/xl", _get(element, "Target")))[1:]
            for element in _records(package.read("xl/_rels/workbook.xml.rels"), "Relationship")
        }
        self.paths = {
            _get(element, "name"): targets.get(_get(element, "id"), "")
            for element in _records(package.read("xl/workbook.xml"), "sheet")
        }
        self._formats: list[str] | None = None

    def marks(self, sheet: str, dates: Set[Cell]) -> Marks:
        """The marks of a sheet; `dates` are the cells whose number format is asked for."""
        marks = Marks()
        data = self.package.read(self.paths.get(sheet, ""))
        if not dates and not _has_signs(data):
            return marks
        dated_rows = {row for row, _ in dates}
        number = 0
        for row in _records(data, "row"):
            stated = row.get("r", "")
            number = int(stated) if stated.isdecimal() and len(stated) < 8 else number + 1
            if row.get("hidden") in _YES:
                marks.hidden.append((number, number))
            cells = _ODD_CELLS(row)
            if number in dated_rows or any(cell.get("r") is None for cell in cells):
                cells = list(row.iterchildren(etree.Element))
            at = -1
            for cell in cells:
                reference = _REFERENCE.fullmatch(cell.get("r", ""))
                where = (int(reference[2]), _column(reference[1])) if reference else (number, at + 1)
                at = where[1]
                self._mark(cell, where, where in dates, marks)
        return marks

    def _mark(self, cell: Any, where: Cell, dated: bool, marks: Marks) -> None:
        parts = {_name(part): part.text or "" for part in cell if isinstance(part.tag, str)}
        if cell.get("t") == "e":
            marks.errors[where] = parts.get("v", "")
        elif "f" in parts and not parts.get("v") and cell.get("t") != "str":
            marks.formulas.append(where)
        if dated:
            style = cell.get("s", "")
            formats = self._shown()
            marks.dates[where] = (
                formats[int(style)] if style.isdecimal() and int(style) < len(formats) else ""
            )
        _check_number(marks)

    def _shown(self) -> list[str]:
        """For each cell style, what its number format shows of a date."""
        if self._formats is None:
            codes: dict[str, str] = {}
            self._formats = []
            for element in _records(
                self.package.read("xl/styles.xml", b"<styleSheet/>"), "numFmt", "cellXfs"
            ):
                if _name(element) == "numFmt":
                    codes[element.get("numFmtId", "")] = element.get("formatCode", "")
                    continue
                for style in element.iterchildren(etree.Element):
                    number = style.get("numFmtId", "0")
                    built_in = _BUILT_IN.get(int(number), "") if number.isdecimal() else ""
                    self._formats.append(shown(codes[number]) if number in codes else built_in)
        return self._formats


_HIDDEN = re.compile(rb"row\s[^>]*hidden")
# A formula that no value, or an empty one, follows.
_UNVALUED = re.compile(
    rb"(?:</(?:\w+:)?f\s*>|<(?:\w+:)?f(?:\s[^>]*)?/>)\s*(?:</|<(?!(?:\w+:)?v[\s>])|<(?:\w+:)?v(?:\s[^>]*)?>\s*</)"
)


def _has_signs(data: bytes) -> bool:
    """Whether a sheet's XML may hold formulas without a result, errors or hidden rows: a look at the bytes."""
    if b'"e"' in data or (b"'" in data and b"'e'" in data):
        return True
    if b"hidden" in data and _HIDDEN.search(data):
        return True
    named = b"<f" in data or (b":worksheet" in data[:4096] and b":f" in data)
    return named and _UNVALUED.search(data) is not None


def shown(code: str) -> str:
    """What a number format such as `d-mmm` or `[h]:mm` shows, as letters among d, m, y and h."""
    plain = re.sub(r'"[^"]*"|[\\_*].|\[(?![hms]+\])[^\]]*\]', "", code.lower()).split(";")[0]
    letters = {letter for letter in "dyh" if letter in plain}
    if "s" in plain:
        letters.add("h")
    if "m" in plain and (letters & {"d", "y"} or not letters):
        letters.add("m")
    return "".join(letter for letter in "dmyh" if letter in letters)


def _column(letters: str) -> int:
    at = 0
    for letter in letters.upper():
        at = at * 26 + ord(letter) - ord("A") + 1
    return at - 1


# ODS

_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
_CALC = "{urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0}"
_ERROR = re.compile(r"#(?:N/A|REF!|NAME\?|VALUE!|DIV/0!|NULL!|NUM!)|Err:\d{3}")
_SHOWN = {"day": "d", "month": "m", "year": "y", "hours": "h", "minutes": "h", "seconds": "h"}
_WIDEST, _LONGEST = 1 << 14, 1 << 20  # columns, rows
_SMALL = 16 * 1024**2  # bytes

# Signs in the bytes of a content.xml that there is something to mark. The last two are what calamine
# drops from a text; so it does with CDATA.
_SIGNS = (
    b":formula=", b":visibility=", b"rows-spanned=", b"time-value=", b'"error"', b"<text:tab", b"<text:line-break",
    b"<![CDATA[",
)  # fmt: skip


class Ods:
    """The content of an ODS package.

    Its cells are gone through only if there is a sign of something to mark. The XML of a small one is parsed at
    once, so that broken XML is found before calamine sees it (which would never come to an end of it).
    """

    def __init__(self, package: Package) -> None:
        self.package = package
        self.data = package.read("content.xml")
        self.cdata = b"<![CDATA[" in self.data
        self.quiet = b"xmlns:text=" in self.data and not any(sign in self.data for sign in _SIGNS)
        self._sheets: dict[str, Marks] | None = None
        if len(self.data) < _SMALL:
            if self.quiet:
                for _ in _records(self.data, "table-row", "table"):
                    pass
            else:
                self._sheets = self._read()

    def marks(self, sheet: str, dates: Set[Cell]) -> Marks:
        """The marks of a sheet; `dates` are the cells that hold dates."""
        if self._sheets is None:
            if self.quiet and not dates:
                return Marks()
            self._sheets = self._read()
        return self._sheets.get(sheet, Marks())

    def _read(self) -> dict[str, Marks]:
        formats = self._formats()
        sheets: dict[str, Marks] = {}
        sheet = _OdsSheet(formats, self.cdata)
        for element in _records(self.data, "table-row", "table-column", "table"):
            if element.tag == f"{_TABLE}table-column":
                sheet.columns.append((_repeat(element, "columns", _WIDEST), _style(element)))
            elif element.tag == f"{_TABLE}table-row":
                sheet.row(element)
            else:
                sheets.setdefault(element.get(f"{_TABLE}name", ""), sheet.marks)
                sheet = _OdsSheet(formats, self.cdata)
        return sheets

    def _formats(self) -> dict[str, str]:
        """Cell style → what its number format shows of a date."""
        formats: dict[str, str] = {}
        used: dict[str, tuple[str, str]] = {}
        for data in (self.package.read("styles.xml", b"<none/>"), self.data):
            for element in _records(data, "date-style", "time-style", "style"):
                name = _get(element, "name")
                if _name(element) == "style":
                    used[name] = (_get(element, "data-style-name"), _get(element, "parent-style-name"))
                else:
                    parts = {_SHOWN.get(_name(part), "") for part in element if isinstance(part.tag, str)}
                    formats[name] = "".join(letter for letter in "dmyh" if letter in parts)
        return {
            name: formats.get(own or used.get(parent, ("", ""))[0], "")
            for name, (own, parent) in used.items()
        }


class _OdsSheet:
    """One table while its rows go by."""

    def __init__(self, formats: dict[str, str], cdata: bool) -> None:
        self.formats = formats
        self.cdata = cdata
        self.columns: list[tuple[int, str]] = []
        self.marks = Marks()
        self.number = 1

    def row(self, row: Any) -> None:
        """Mark a row's cells, as often as the row is repeated."""
        times = _repeat(row, "rows", _LONGEST)
        if row.get(f"{_TABLE}visibility") in ("collapse", "filter"):
            self.marks.hidden.append((self.number, self.number + times - 1))
        at = 0
        for cell in row.iterchildren(f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell"):
            wide = _repeat(cell, "columns", _WIDEST)
            if len(cell) or len(cell.attrib):
                self._cell(cell, at, wide, times, _style(row))
            at += wide
        self.number += times

    def _cell(self, cell: Any, at: int, wide: int, times: int, row_style: str) -> None:
        marks = self.marks
        kind = cell.get(f"{_OFFICE}value-type", "")
        spanned = cell.get(f"{_TABLE}number-rows-spanned", "1")
        if spanned.isdecimal() and int(spanned) > 1:
            last = min(self.number + int(spanned) - 1, _LONGEST)
            marks.merged.append(((self.number, at), (last, at)))
        paragraphs = [part for part in cell if part.tag in (f"{_TEXT}p", f"{_TEXT}h")]
        text = "\n".join(map(_text, paragraphs))
        formula = cell.get(f"{_TABLE}formula") is not None
        error = cell.get(f"{_CALC}value-type") == "error" or (formula and _ERROR.fullmatch(text))
        dated = kind in ("date", "time")
        mended = (
            kind == "string" and f"{_OFFICE}string-value" not in cell.attrib and self._is_mended(paragraphs)
        )
        if not (error or dated or mended or (formula and not kind)):
            return
        for where in ((self.number + down, at + right) for down in range(times) for right in range(wide)):
            if error:
                marks.errors[where] = text
            elif dated:
                marks.dates[where] = self.formats.get(
                    _style(cell) or row_style or self._column_style(where[1]), ""
                )
            elif mended:
                marks.texts[where] = text
            else:
                marks.formulas.append(where)
            _check_number(marks)

    def _is_mended(self, paragraphs: list[Any]) -> bool:
        return self.cdata or any(
            next(part.iter(f"{_TEXT}tab", f"{_TEXT}line-break"), None) is not None for part in paragraphs
        )

    def _column_style(self, at: int) -> str:
        for wide, style in self.columns:
            if at < wide:
                return style
            at -= wide
        return ""


def _repeat(element: Any, what: str, most: int) -> int:
    text = element.get(f"{_TABLE}number-{what}-repeated", "1")
    return min(int(text), most) if text.isdecimal() and len(text) < 10 and int(text) else 1


def _style(element: Any) -> str:
    name = "style-name" if element.tag.endswith("cell") else "default-cell-style-name"
    return str(element.get(f"{_TABLE}{name}", ""))


def _text(element: Any) -> str:
    """A paragraph's text with its tabs, line breaks and runs of blanks, without remarks on it."""
    text = element.text or ""
    for part in element:
        match part.tag:
            case str(tag) if tag == f"{_TEXT}s":
                count = part.get(f"{_TEXT}c", "1")
                text += " " * (int(count) if count.isdecimal() and len(count) < 5 else 1)
            case str(tag) if tag == f"{_TEXT}tab":
                text += "\t"
            case str(tag) if tag == f"{_TEXT}line-break":
                text += "\n"
            case str(tag) if tag != f"{_OFFICE}annotation":
                text += _text(part)
        text += part.tail or ""
    return text


def _check_number(marks: Marks) -> None:
    if len(marks.errors) + len(marks.formulas) + len(marks.dates) + len(marks.texts) > MOST:
        raise ReadError(
            f"more than {MOST:,} cells of one sheet are errors, dates or formulas without a result; "
            "no channel list is like that"
        )
