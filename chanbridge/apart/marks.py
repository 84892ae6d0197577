"""What a workbook's own XML says beside the values of its cells: hidden rows, errors, formulas without a result.

XLSX after ECMA-376, part 1, clause 18 (from memory); ODS after OpenDocument 1.2, part 1 (from memory).
"""

from __future__ import annotations

import io
import posixpath
import re
from collections.abc import Iterator, Set
from dataclasses import dataclass, field
from typing import Any

from lxml import etree

from chanbridge.apart.package import Package, damaged

Cell = tuple[int, int]
"""A row, counted from 1, and a column, counted from 0."""
Range = tuple[Cell, Cell]
"""The first and the last cell of a block."""

MOST = 1_000_000
"""More marked cells than this in one sheet are no channel list's."""


@dataclass
class Marks:
    """What is known of one sheet. `hidden` are runs of rows, first and last; `dates` is what the number format
    of a date or time shows, as letters among d, m, y and h."""

    hidden: list[tuple[int, int]] = field(default_factory=list)
    errors: dict[Cell, str] = field(default_factory=dict)
    formulas: list[Cell] = field(default_factory=list)
    dates: dict[Cell, str] = field(default_factory=dict)
    merged: list[Range] = field(default_factory=list)
    texts: dict[Cell, str] = field(default_factory=dict)


def _records(data: bytes, *tags: str) -> Iterator[Any]:
    """Elements of these names in any namespace as they end, emptied once they have been looked at."""
    events = etree.iterparse(
        io.BytesIO(data),
        events=("end",),
        tag=[f"{{*}}{tag}" for tag in tags],
        resolve_entities=False,
        no_network=True,
        load_dtd=False,
        huge_tree=False,
        remove_comments=True,
        remove_pis=True,
    )
    try:
        for _, element in events:
            yield element
            element.clear()
            while element.getprevious() is not None:
                del element.getparent()[0]
    except etree.XMLSyntaxError as error:
        raise damaged(f"its XML is broken ({error.msg})") from None


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
_ODD_CELLS = etree.XPath('*[local-name()="c"][@t="e" or *[local-name()="f"]]')
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
        quiet = not any(sign in data for sign in (b"<f", b":f>", b":f ", b"hidden", b'"e"', b"'e'"))
        if quiet and not dates:
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
                cells = row
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
                for style in element:
                    number = style.get("numFmtId", "0")
                    built_in = _BUILT_IN.get(int(number), "") if number.isdecimal() else ""
                    self._formats.append(shown(codes[number]) if number in codes else built_in)
        return self._formats


def shown(code: str) -> str:
    """What a number format such as `d-mmm` or `[h]:mm` shows, as letters among d, m, y and h."""
    plain = re.sub(r'"[^"]*"|\\.|\[\$[^\]]*\]|_.', "", code.split(";")[0]).lower()
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

_ERROR = re.compile(r"#(?:N/A|REF!|NAME\?|VALUE!|DIV/0!|NULL!|NUM!)|Err:\d{3}")
_STYLE_PARTS = {"day": "d", "month": "m", "year": "y", "hours": "h", "minutes": "h", "seconds": "h"}
_SIGNS = (b":formula=", b":visibility=", b"rows-spanned=", b"<text:tab", b"<text:line-break", b"<![CDATA[")


class Ods:
    """The content of an ODS package."""

    def __init__(self, package: Package) -> None:
        self.package = package
        self.data = package.read("content.xml")
        self.quiet = not any(sign in self.data for sign in _SIGNS)
        self._sheets: dict[str, Marks] | None = None

    def marks(self, sheet: str, dates: Set[Cell]) -> Marks:
        """The marks of a sheet; the whole content is gone through once, where there is a reason to."""
        if self._sheets is None:
            if self.quiet and not dates:
                return Marks()
            self._sheets = self._read()
        return self._sheets.get(sheet, Marks())

    def _read(self) -> dict[str, Marks]:
        styles = self._styles()
        sheets: dict[str, Marks] = {}
        marks, row_number, columns = Marks(), 0, list[tuple[int, str]]()
        for element in _records(self.data, "table-row", "table-column", "table"):
            match _name(element):
                case "table-column":
                    columns.append((_repeat(element), _get(element, "default-cell-style-name")))
                case "table-row":
                    times = _repeat(element)
                    if _get(element, "visibility") in ("collapse", "filter"):
                        marks.hidden.append((row_number + 1, row_number + times))
                    for repeated in range(times if len(element) > 1 or len(element.xpath(".//*")) > 1 else 1):
                        _mark_row(element, row_number + 1 + repeated, columns, styles, marks)
                        if not (marks.errors or marks.formulas or marks.dates or marks.texts):
                            break  # nothing in this row is worth a mark, so nor is anything in its repeats
                    row_number += times
                case _:
                    sheets[_get(element, "name")] = marks
                    marks, row_number, columns = Marks(), 0, []
        return sheets

    def _styles(self) -> dict[str, str]:
        """Cell style → what its date or time format shows."""
        formats: dict[str, str] = {}
        used: dict[str, tuple[str, str]] = {}
        for data in (self.package.read("styles.xml", b"<none/>"), self.data):
            for element in _records(data, "date-style", "time-style", "style"):
                name = _get(element, "name")
                if _name(element) == "style":
                    used[name] = (_get(element, "data-style-name"), _get(element, "parent-style-name"))
                else:
                    parts = {
                        _STYLE_PARTS.get(_name(part), "") for part in element if isinstance(part.tag, str)
                    }
                    formats[name] = "".join(letter for letter in "dmyh" if letter in parts)
        return {
            name: formats.get(own or used.get(parent, ("", ""))[0], "")
            for name, (own, parent) in used.items()
        }


def _repeat(element: Any) -> int:
    text = _get(element, f"number-{'columns' if _name(element) != 'table-row' else 'rows'}-repeated")
    return min(int(text), 1 << 20) if text.isdecimal() and text != "0" else 1
