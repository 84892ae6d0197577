"""chanbridge read: how a sheet was understood, and clear words for what cannot be read."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
import xlsxwriter

from chanbridge.formats.text import width
from tests.cli.conftest import Run, failed

SHEET = """\
Winter Concert,,,,,,
Revision C,2026-12-05,,,,,
Ch,Source,Box,Socket,48V,Ø,Colour,Colour
1,Kick in,A,1,x,,red,
2,"Keys L",A,2,,,,blue
3,"Keys R",A,3,,,green,blue
4,spare,A,4,,,,
5,,A,5,,,,
7.0,Ana,A,7,optional,Ø,,
x7,Jonas,A,8,,,,
8,Click,,,,,,
Total,8,,,,,
* all stands are black,,,,,,
"""


def test_json(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "sheet.csv"
    path.write_text(SHEET)
    result = run("read", path, "--json")
    assert result.status == 0
    data = result.json()
    assert data["source"] == str(path)
    assert data["rows"] == sum(data["verdicts"].values()) == len(data["ledger"]) == 13
    assert data["verdicts"] == {
        "title": 2, "heading": 1, "channel": 5, "spare": 2, "rejected": 1, "total": 1, "note": 1
    }  # fmt: skip
    assert data["layout"]["name"] == "Source"
    assert data["layout"]["number"] == "Ch"
    assert data["revision"] == "C"
    assert data["date"] == "2026-12-05"
    kick, left, right, ana, click = data["channels"]
    assert (kick["number"], kick["box"], kick["socket"], kick["phantom"]) == (1, "A", 1, "on")
    assert kick["extras"] == [["Colour", "red"]]
    assert left["pair"] == {"with": right["id"], "side": "left"}
    assert right["extras"] == [["Colour", "green"], ["Colour", "blue"]]
    assert left["extras"] == [["Colour", ""], ["Colour", "blue"]]  # which of the two columns is kept
    assert (ana["number"], ana["phantom"], ana["polarity"]) == (7, "optional", "reversed")
    assert (click["socket"], click["box"], click["audience"]["air"]) == (None, "", "not allowed")
    assert data["spares"] == [
        {"number": 4, "box": "A", "socket": 4, "text": "spare"},
        {"number": 5, "box": "A", "socket": 5, "text": ""},
        {"number": 6, "box": "", "socket": None, "text": ""},
    ]
    codes = {problem["code"]: problem for problem in data["problems"]}
    assert set(codes) == {"repaired", "number", "role"}
    assert "x7 | Jonas | A | 8" in codes["number"]["message"]
    assert codes["number"]["where"] == f"{path}:10:Ch"


def test_for_people_in_80_columns(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "sheet.csv"
    path.write_text(SHEET)
    text = run("read", path).text
    assert max(map(len, text.splitlines())) <= 80 or str(tmp_path) in text
    assert text.index("Kick in") < text.index("Not understood") < text.index("To look at")
    assert "x7 | Jonas" in text


@pytest.mark.parametrize(
    ("name", "content", "expected"),
    [
        ("a.csv", b"Ch#,Name,Mic\n1,Kick,dyn\n9,Vox,hh\n", [(1, "Kick", "", None), (9, "Vox", "", None)]),
        (
            "a.csv",
            b"Input #,Instrument,48V?\n1,Kick,\n9,Vox,\n",
            [(1, "Kick", "", None), (9, "Vox", "", None)],
        ),
        (
            "a.csv",
            b"Ch,Name,Stagebox\n1,Kick,1-1\n2,Bass,2-1\n3,Vox,1-2\n",
            [(1, "Kick", "1", 1), (2, "Bass", "2", 1), (3, "Vox", "1", 2)],
        ),
        ("a.csv", b"Ch,Name,Patch\n1,Kick,1-1\n2,Bass,1-2\n", [(1, "Kick", "1", 1), (2, "Bass", "1", 2)]),
        ("a.csv", b"Ch;Name\r\n1;Fu\xdf\r\n", [(1, "Fuß", "", None)]),
        (
            "a.xml",
            b'<l><i id="1" label="Kick"/><i id="9" label="Vox"/></l>',
            [(1, "Kick", "", None), (9, "Vox", "", None)],
        ),
        ("a.csv", b"Line;Wer;Name\n1;x;Kick\n2;y;Vox\n", [(1, "Kick", "", None), (2, "Vox", "", None)]),
    ],
)
def test_what_ordinary_lists_look_like(
    run: Run, tmp_path: Path, name: str, content: bytes, expected: list[tuple[object, ...]]
) -> None:
    (tmp_path / name).write_bytes(content)
    data = run("read", tmp_path / name, "--json").json()
    assert [
        (item["number"], item["name"], item["box"], item["socket"]) for item in data["channels"]
    ] == expected


def test_a_list_of_people_in_a_workbook_is_no_list_of_channels(run: Run, tmp_path: Path) -> None:
    book = xlsxwriter.Workbook(str(tmp_path / "a.xlsx"))
    for sheet, rows in (
        ("Inputs", [["Ch", "Input", "Mic"], [1, "Kick", "dyn"]]),
        ("Contacts", [["Name", "Role", "Phone"], ["Anna", "Tour manager", "0123"]]),
    ):
        page = book.add_worksheet(sheet)
        for at, row in enumerate(rows):
            page.write_row(at, 0, row)
    book.close()
    data = run("read", tmp_path / "a.xlsx", "--json").json()
    assert [item["name"] for item in data["channels"]] == ["Kick"]
    assert [problem["code"] for problem in data["problems"]] == ["sheet"]


def test_a_row_of_heading_words_is_a_channel(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("Ch,Name,Type\n47,Vox,Mic\n48,Room,Mic\n49,Ana,Mic\n")
    data = run("read", path, "--json").json()
    assert [item["name"] for item in data["channels"]] == ["Vox", "Room", "Ana"]


@pytest.mark.parametrize(
    ("name", "text", "expected"),
    [
        (
            "a.csv",
            "A1,Kick,dyn,\nA2,Snare,dyn,\nA3,Bass,DI,48V\nA4,Gtr,DI,48V\n",
            [("A", 1, "Kick"), ("A", 2, "Snare"), ("A", 3, "Bass"), ("A", 4, "Gtr")],
        ),
        (
            "a.csv",
            "1.,Kick,dyn,\n2.,Bass,DI,48V\n3.,Gtr,DI,48V\n",
            [("", 1, "Kick"), ("", 2, "Bass"), ("", 3, "Gtr")],
        ),
        (
            "a.txt",
            "Pit box, thursday\n\n  8  Kick     dyn\n  9  Snare    dyn\n 10  Bass DI  DI   48v\n 11  Gtr      dyn\n",
            [("", 8, "Kick"), ("", 9, "Snare"), ("", 10, "Bass DI"), ("", 11, "Gtr")],
        ),
        (
            "a.txt",
            "8. Kick     dyn\n9. Snare    dyn\n10. Bass DI  DI  48v\n11. Gtr      DI  48v\n",
            [
                ("", 8, "Kick     dyn"),
                ("", 9, "Snare    dyn"),
                ("", 10, "Bass DI  DI  48v"),
                ("", 11, "Gtr      DI  48v"),
            ],
        ),
    ],
)
def test_no_channel_is_taken_for_the_heading(
    run: Run, tmp_path: Path, name: str, text: str, expected: list[tuple[str, int, str]]
) -> None:
    """DI and 48V are words of headings too; what stands above a heading is a title, so its channels would be lost."""
    path = tmp_path / name
    path.write_text(text)
    data = run("read", path, "--json").json()
    assert [
        (item["box"], item["socket"] or item["number"], item["name"]) for item in data["channels"]
    ] == expected


@pytest.mark.parametrize(
    ("title", "revision", "date"),
    [
        ("Patch; Stand: 12.11.2026", "", "2026-11-12"),
        ("Patch, Stand 12. November", "", None),
        ("Patch, Stand: 3", "3", None),
        ("Patch, rev. C; 12.11.2026", "C", "2026-11-12"),
        ("Patch, Version 2026-11-12", "", "2026-11-12"),
    ],
)
def test_a_date_is_no_revision(run: Run, tmp_path: Path, title: str, revision: str, date: str | None) -> None:
    path = tmp_path / "a.csv"
    path.write_text(f"{title}\nCh,Name\n1,Kick\n2,Vox\n".replace(",", ";"))
    data = run("read", path, "--json").json()
    assert (data["revision"], data["date"]) == (revision, date)


def test_a_spare_may_be_dressed_up(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("Ch,Name\n1,Kick\n2,--- spare ---\n3,*frei*\n4,<empty>\n5,-- Vox --\n")
    data = run("read", path, "--json").json()
    assert [item["name"] for item in data["channels"]] == ["Kick", "-- Vox --"]
    assert [item["number"] for item in data["spares"]] == [2, 3, 4]


def test_text_that_does_not_keep_to_its_columns_is_no_channel(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    path.write_text("Ch  Name   Mic\n--  -----  ------\n1   Kick   lg dyn\n2   Snare top\n")
    data = run("read", path, "--json").json()
    assert [item["name"] for item in data["channels"]] == ["Kick"]
    assert data["verdicts"]["rejected"] == 1


def test_standard_input(run: Run) -> None:
    data = run("read", "-", "--json", stdin=b"Slot\tName\n1\tKick\n").json()
    assert [channel["name"] for channel in data["channels"]] == ["Kick"]
    assert data["source"] == "standard input"


@pytest.mark.parametrize("kind", ["csv", "xml", "txt"])
def test_what_we_hand_over_is_read_as_it_stands(run: Run, tmp_path: Path, example: Path, kind: str) -> None:
    assert run("handover", example, "-o", tmp_path).status == 0
    for recipient in ("truck", "stream", "monitors"):
        paper = run("read", tmp_path / recipient / f"sheet.{kind}", "--json").json()
        table = run("read", tmp_path / recipient / "sheet.csv", "--json").json()

        def told(data: dict[str, object]) -> list[tuple[object, ...]]:
            channels = data["channels"]
            assert isinstance(channels, list)
            return [
                (item["number"], item["name"], item["short"], item["box"], item["socket"], item["pair"], item["phantom"],
                 item["id"], item["audience"]["air"], item["gain_owner"])
                for item in channels
            ]  # fmt: skip

        assert told(paper) == told(table)
        assert paper["spares"] == table["spares"]
        assert not [problem for problem in paper["problems"] if problem["code"] != "role"]


CORPUS = sorted(
    path
    for path in (Path(__file__).parents[1] / "corpus").iterdir()
    if path.suffix in (".csv", ".xml", ".md", ".xlsx")
)


@pytest.mark.parametrize("path", CORPUS, ids=lambda path: path.name)
def test_every_sheet_of_the_corpus_fits_80_columns(run: Run, path: Path) -> None:
    result = run("read", path)
    if result.status == 2:
        assert len(result.err.splitlines()) == 1
        return
    lines = result.text.splitlines()
    assert str(path) in lines[0]
    assert all(width(line) <= 80 for line in lines[1:]), max(lines[1:], key=width)
    assert any(line.endswith("rows: ") or " rows: " in line or " row: " in line for line in lines)


BOMB = (
    b'<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a "aaaaaaaaaa">'
    + b"".join(b'<!ENTITY %c "%s">' % (letter, b"&%c;" % (letter - 1) * 10) for letter in range(98, 108))
    + b"]><l><c name='&k;' no='1'/></l>"
)
EXTERNAL = b'<!DOCTYPE l [<!ENTITY x SYSTEM "file:///etc/passwd">]><l><c no="1"><name>&x;</name></c></l>'


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("a.csv", b"", ["empty"]),
        ("a.csv", b"\xef\xbb\xbf\r\n \r\n", ["empty"]),
        ("a.csv", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\xff\xfe", ["binary"]),
        ("a.csv", b"Slot,Name\n1,K\0ick\n", ["NUL", ":2:"]),
        ("a.csv", b'Slot,Name\n1,Kick\n2,"Snare\n3,Hat\n', ["quote opens", ":3:"]),
        ("a.csv", b"just,some\nwords,here\n", ["no list of channels"]),
        ("a.xml", b"", ["empty"]),
        ("a.xml", b"<l><c name='Kick'>", ["not XML"]),
        ("a.xml", BOMB, ["a.xml"]),
        ("a.xml", EXTERNAL, ["DOCTYPE"]),
        ("a.xml", b"<!DOCTYPE l><l><c no='1' name='Kick'/></l>", ["DOCTYPE"]),
        ("a.xml", b"<a>" * 100_000 + b"</a>" * 100_000, ["a.xml"]),
        ("a.xml", b"<l><p>text</p></l>", ["no repeated record"]),
        ("a.xml", b'<channel-map xmlns="urn:chanbridge:channel-map:1"><port/></channel-map>', ["ports.0.id"]),
        ("a.xml", b'<channel-map xmlns="urn:chanbridge:channel-map:1"><pony/></channel-map>', ["<pony>"]),
        ("a.json", b"{", ["not JSON", ":1"]),
        ("a.json", b"[]", ["no channel map"]),
        ("a.json", b"[" * 100_000 + b"]" * 100_000, ["a.json"]),
        ("a.json", b'{"channels": [{"id": 7}]}', ["channels.0.id"]),
        ("a.json", b'{"date": ' + b"9" * 5000 + b"}", ["a.json"]),
        ("a.json", b'{"channels": [{"id": "a"}], "channels": [{"id": "b"}]}', ["'channels' stands twice"]),
        ("a.json", b'{"ports": [{"id": "p", "size": 1000000000000}]}', ["ports.0.size"]),
        (
            "a.xml",
            b'<channel-map xmlns="urn:chanbridge:channel-map:1"><channel id="a">x</channel></channel-map>',
            ["a text"],
        ),
        ("a.xml", b'<channel-map xmlns="urn:chanbridge:channel-map:1" foo="bar"/>', ["'foo'"]),
        (
            "a.csv",
            b"Ch,Name\n1,Kick\n2,Snare\nCh;Name\n3;Hat\n4;Tom\n",
            ["commas", "semicolons", "--delimiter"],
        ),
        ("a.txt", b"no table at all\n", ["no table"]),
        ("a.doc", b"Slot,Name\n1,Kick\n", ["'.doc'", ".csv"]),
        ("a.cvs", b"Slot,Name\n1,Kick\n", ["did you mean '.csv'"]),
    ],
)
def test_one_clear_line_for_what_cannot_be_read(
    run: Run, tmp_path: Path, name: str, content: bytes, words: list[str]
) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    failed(run("read", path), *words)
    failed(run("convert", path, tmp_path / "out.csv"), *words)
    assert not (tmp_path / "out.csv").exists()


def test_one_clear_line_for_what_is_no_file(run: Run, tmp_path: Path) -> None:
    failed(run("read", tmp_path / "missing.csv"), "no such file", "missing.csv")
    (tmp_path / "folder.csv").mkdir()
    failed(run("read", tmp_path / "folder.csv"), "folder")
    os.mkfifo(tmp_path / "pipe.csv")
    failed(run("read", tmp_path / "pipe.csv"), "not a regular file")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_no_permission(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("Slot,Name\n1,Kick\n")
    path.chmod(0)
    failed(run("read", path), "permissions")
