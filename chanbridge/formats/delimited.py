"""CSV and its kin: comma, semicolon or tab; written after RFC 4180."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter

from chanbridge.errors import Location, ReadError, WriteError
from chanbridge.files import LARGEST
from chanbridge.model import ChannelMap
from chanbridge.names import vocabulary
from chanbridge.sheets import columns, values
from chanbridge.sheets.grid import Grid, Options

DELIMITERS = ",;\t|"

csv.field_size_limit(LARGEST)  # a setting of the whole process; a file is never larger


def decode(data: bytes, source: str) -> str:
    """Bytes as text: by byte order mark, else as UTF-8. Raises ReadError for anything else."""
    marks = {b"\xef\xbb\xbf": "utf-8-sig", b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}
    encoding = next((name for mark, name in marks.items() if data.startswith(mark)), "utf-8")
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        binary = b"\0" in data[:4096]
        raise ReadError(
            "this is a binary file, not a list; save it as CSV, XML or text"
            if binary
            else f"byte 0x{data[error.start]:02X} is not {encoding.upper().removesuffix('-SIG')}; save the sheet as 'CSV UTF-8'",
            Location(source, "", None if binary else line),
        ) from None
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise ReadError(
            "there is a NUL character here: a binary or damaged file; save the sheet again as CSV UTF-8",
            Location(source, "", line),
        )
    return text


def read(data: bytes, source: str, options: Options) -> list[Grid]:
    """One grid of the file's records. Rows are counted as records, as a spreadsheet shows them."""
    text = decode(data, source)
    delimiter = guess_delimiter(text)
    return [Grid.of(source, records(text, delimiter, source))]


def records(text: str, delimiter: str, source: str) -> list[list[str]]:
    """The records of a text after RFC 4180, section 2. Raises ReadError where a quote never closes."""
    stream = io.StringIO(text, newline="")
    reader = csv.reader(stream, delimiter=delimiter, strict=True)
    rows: list[list[str]] = []
    try:
        opened = 1
        for row in reader:
            rows.append(row)
            opened = reader.line_num + 1
    except csv.Error as error:
        what = str(error)
        if "unexpected end" in what:
            raise ReadError(
                "a quote opens in this line and never closes; close it, or write it twice inside a quoted cell",
                Location(source, "", opened),
            ) from None
        if "expected after" in what:
            raise ReadError(
                "text follows a closing quote in this line; write a quote inside a quoted cell twice",
                Location(source, "", reader.line_num),
            ) from None
        raise ReadError(f"this line is not CSV: {what}", Location(source, "", reader.line_num)) from None
    return rows


def guess_delimiter(text: str) -> str:
    """The delimiter that cuts the first lines into the same number of cells most often; comma if none does."""
    for mark in DELIMITERS:
        if text.startswith(mark.join(columns.FIRST)):
            return mark  # our own heading row
    head = re.sub(r'"(?:[^"]|"")*"', "", text[:65536])
    sample = [line for line in re.split(r"\r\n|\r|\n", head) if line.strip()][:50]

    def steadiness(mark: str) -> tuple[int, int]:
        counts = Counter(line.count(mark) for line in sample)
        counts.pop(0, None)
        times = max(counts.values(), default=0)
        return times, max((count for count in counts if counts[count] == times), default=0)

    return max(DELIMITERS, key=lambda mark: (*steadiness(mark), -DELIMITERS.index(mark)))


def write(whole: ChannelMap, port: str | None, suffix: str) -> bytes:
    """The list of a port as CSV after RFC 4180, in UTF-8: CRLF, quotes where needed; tabs for .tsv.

    Raises WriteError for a character that no text file can hold.
    """
    columns.check_writable(whole, port)
    words = vocabulary()
    heading, rows = columns.table(whole, port, lambda text: values.is_nothing(text, words))
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter="\t" if suffix == ".tsv" else ",", lineterminator="\r\n")
    writer.writerow(heading)
    writer.writerows(rows)
    return encode(out.getvalue())


def encode(text: str) -> bytes:
    """Text as UTF-8. Raises WriteError naming a character that cannot be written and what it stands in."""
    wrong = re.search("[\0\ud800-\udfff]", text)
    if wrong:
        near = text[max(0, wrong.start() - 20) : wrong.end() + 20]
        raise WriteError(
            f"the character U+{ord(wrong[0]):04X} cannot be written; it stands in {near!r}: take it out of the name"
        )
    return text.encode("utf-8")


def dropped(whole: ChannelMap, port: str | None) -> list[str]:
    """What a plain list cannot carry of this map."""
    return columns.dropped(whole, port)
