"""CSV after RFC 4180, section 2, clause by clause, and what is not CSV."""

from __future__ import annotations

import csv
import gzip
import io
import zipfile

import pytest

from chanbridge.errors import ReadError
from chanbridge.formats import named, of_suffix, read_data, write
from chanbridge.model import Channel, ChannelMap, Entry, Extra, Port, Slot
from chanbridge.sheets.ledger import Reading


def read(text: str | bytes) -> Reading:
    data = text if isinstance(text, bytes) else text.encode()
    return read_data(data, "x.csv", named("csv"))


def told(reading: Reading) -> list[tuple[int | None, str, str]]:
    lines = reading.map.lines(reading.map.listed_port())
    return [(line.number, line.channel.name, line.channel.notes) for line in lines if line.channel]


TWO = [(1, "Kick", "a"), (2, "Snare", "b")]


@pytest.mark.parametrize(
    ("clause", "text", "expected"),
    [
        ("1: each record on a line of its own, CRLF", "Slot,Name,Notes\r\n1,Kick,a\r\n2,Snare,b\r\n", TWO),
        ("1, and LF alone", "Slot,Name,Notes\n1,Kick,a\n2,Snare,b\n", TWO),
        ("1, and CR alone", "Slot,Name,Notes\r1,Kick,a\r2,Snare,b\r", TWO),
        ("2: the last record may lack its line break", "Slot,Name,Notes\r\n1,Kick,a\r\n2,Snare,b", TWO),
        ("3: a heading line, in any order", "Notes,Name,Slot\r\na,Kick,1\r\nb,Snare,2\r\n", TWO),
        ("4: blanks are part of a field", "Slot,Name,Notes\r\n1, Kick ,a\r\n", [(1, " Kick ", "a")]),
        (
            "4: fewer fields than headings",
            "Slot,Name,Notes\r\n1,Kick\r\n2,Snare,b\r\n",
            [(1, "Kick", ""), (2, "Snare", "b")],
        ),
        ("5: a field may be quoted", '"Slot","Name","Notes"\r\n"1","Kick","a"\r\n2,Snare,"b"\r\n', TWO),
        (
            "6: line breaks and commas in quotes",
            'Slot,Name,Notes\r\n1,"Kick, in","a\r\nb"\r\n',
            [(1, "Kick, in", "a\r\nb")],
        ),
        (
            "7: a quote in quotes is written twice",
            'Slot,Name,Notes\r\n1,"13"" tom",a\r\n',
            [(1, '13" tom', "a")],
        ),
        (
            "5, and a quote inside an unquoted field stays",
            'Slot,Name,Notes\r\n1,13" tom,a\r\n',
            [(1, '13" tom', "a")],
        ),
    ],
)
def test_rfc_4180_section_2(clause: str, text: str, expected: list[tuple[int, str, str]]) -> None:
    assert told(read(text)) == expected, clause


def test_a_quote_that_never_closes_names_its_line() -> None:
    with pytest.raises(ReadError, match=r"x\.csv:4: a quote opens in this line"):
        read('Slot,Name\n1,"Kick\nin"\n2,"Snare\n3,Hat\n')


def test_text_after_a_closing_quote() -> None:
    with pytest.raises(ReadError, match=r"x\.csv:2: text follows a closing quote"):
        read('Slot,Name\n1,"Kick"in\n')


def test_a_delimiter_at_the_end_of_data_rows_only() -> None:
    assert told(read("Slot,Name,Notes\n1,Kick,a,\n2,Snare,b,\n")) == TWO


def test_too_many_cells_are_rejected() -> None:
    reading = read("Slot,Name,Notes\n1,Kick, in,a\n2,Snare,b\n3,Hat,c\n4,Tom,d\n")
    assert [row.row for row in reading.rejected()] == [2]


@pytest.mark.parametrize("suffix", [".csv", ".tsv", ".txt", ".md", ".xml", ".json"])
def test_bombs_and_archives_are_refused(suffix: str) -> None:
    archive = io.BytesIO()
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as bomb:
        bomb.writestr("sheet.csv", b"0" * 50_000_000)
    for data in (gzip.compress(b"Slot,Name\n1,Kick\n" * 3_000_000), archive.getvalue()):
        with pytest.raises(ReadError):
            read_data(data, f"x{suffix}", of_suffix(f"x{suffix}"))


@pytest.mark.parametrize(
    ("encoding", "said"),
    [("utf-8-sig", "UTF-8"), ("utf-16", "UTF-16"), ("cp1252", "cp1252"), ("mac_roman", "mac-roman")],
)
def test_encodings_are_found_and_reported(encoding: str, said: str) -> None:
    text = "Kanal;Quelle;Bemerkung\r\n1;Flügel links;große Bühne\r\n2;Flügel rechts;\r\n"
    reading = read(text.encode(encoding))
    assert [name for _, name, _ in told(reading)] == ["Flügel links", "Flügel rechts"]
    assert reading.how == (f"{said}, cells parted by semicolon",)
    assert any(problem.code == "encoding" for problem in reading.problems) == (
        said in ("cp1252", "mac-roman")
    )


# What a spreadsheet takes for a formula: text that begins with one of = + - @, and after them a tab or a return
# (OWASP's page on CSV injection lists these; from memory).
@pytest.mark.parametrize("suffix", [".csv", ".tsv"])
@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("=1+2", "'=1+2"), ("+48V", "'+48V"), ("@home", "'@home"), ("-Vox-", "'-Vox-"), ("'=x", "''=x"), ("\tx", "'\tx"),
        ("+4", "+4"), ("-18", "-18"), ("-18,5 dB", "-18,5 dB"), ("-", "-"), ("'tis", "'tis"), ("Kick", "Kick"),
    ],
)  # fmt: skip
def test_cells_that_a_spreadsheet_would_run_are_guarded_and_come_back(
    text: str, written: str, suffix: str
) -> None:
    whole = ChannelMap(
        channels=(Channel(id="a", name="Kick", notes=text, extras=(Extra("=Cue", text),)),),
        headings=("=Cue",),
        entries=(Entry("a", Slot("slots", 1)),),
        ports=(Port(id="slots", size=1),),
    )
    data = write(whole, named("csv"), suffix=suffix)
    heading, row = csv.reader(
        io.StringIO(data.decode(), newline=""), delimiter="\t" if suffix == ".tsv" else ","
    )
    assert row[heading.index("Notes")] == written
    assert row[heading.index("'=Cue")] == written
    assert read_data(data, f"x{suffix}", named("csv")).map == whole


def test_apostrophes_in_sheets_of_others_stay() -> None:
    assert told(read("Slot,Name,Notes\n1,Kick,'=x\n")) == [(1, "Kick", "'=x")]


def test_a_quote_inside_a_bare_cell_is_kept_and_reported() -> None:
    reading = read('Slot,Name,Notes\n1,Kick,"7"" off\nthe head"\n2,Snare,7" stand\n')
    assert told(reading) == [(1, "Kick", '7" off\nthe head'), (2, "Snare", '7" stand')]
    assert [problem.code for problem in reading.problems] == ["stray-quote"]
    assert "line 4" in reading.problems[0].message
