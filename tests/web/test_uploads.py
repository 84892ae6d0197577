"""What is dropped on the page: read apart, bounded in size, rows and time, kept nowhere; attacks are refused in words."""

from __future__ import annotations

import io
import json
import os
import signal
import socket
import subprocess
import tempfile
import time
import zipfile
from pathlib import Path
from typing import Any

import pytest
import soundfile
from starlette.requests import Request

from chanbridge.errors import ReadError
from chanbridge.ident import places, play
from chanbridge.web import reader, uploads
from tests.formats import books
from tests.web.conftest import BAND, Answer, Served, small_show

ENTITIES = (
    '<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a "aaaaaaaaaa">'
    + "".join(f'<!ENTITY {two} "{f"&{one};" * 10}">' for one, two in zip("abcdefgh", "bcdefghi", strict=True))
    + "]><list><channel><name>&i;</name></channel><channel><name>x</name></channel></list>"
)
"""XML whose entities unfold to a gigabyte: each of ten times the one before (from memory, a well-known attack)."""


def compare(served: Served, data: bytes, name: str = "sheet.csv", port: str = "desk") -> Answer:
    return served.ask(f"/compare?port={port}", data, headers={"X-File-Name": name})


def test_a_sheet_is_read_and_compared(free: Served) -> None:
    answer = compare(free, BAND.replace("4,Ana,A4", "4,Ana,A5").replace("5,Jonas,A5", "5,Jonas,A4").encode())
    assert answer.status == 200
    text = answer.text
    assert "sheet.csv beside House desk" in text
    assert "swap" in text
    assert "Patch (" in text
    assert "6 rows" in text
    assert "is name" in text


def test_who_it_belongs_to_is_found(tmp_path: Path) -> None:
    folder = small_show(tmp_path / "show")
    two = (
        (folder / "show.toml").read_text()
        + '[[box]]\nid = "B"\nsheet = "b.csv"\ninputs = 4\nblock = "side"\n[[block]]\nid = "side"\nslots = 4\n'
    )
    two = two.replace(
        'id = "ears"\nname = "Ears desk"\ntakes = ["stage"]',
        'id = "ears"\nname = "Ears desk"\ntakes = ["side"]',
    )
    (folder / "show.toml").write_text(two)
    (folder / "b.csv").write_text("Ch,Name,Socket\n1,Organ,B1\n2,Harp,B2\n")
    served = Served(folder)
    try:
        answer = compare(served, b"Ch,Name,Socket\n1,Organ,B1\n2,Harp,B2\n", port="")
        assert "beside Ears desk" in answer.text
        assert "fits best" in answer.text
        assert "no difference" in answer.text
    finally:
        served.end()


def test_rows_pasted_from_a_spreadsheet(free: Served) -> None:
    answer = compare(free, BAND.replace(",", "\t").encode(), "pasted")
    assert answer.status == 200
    assert "no difference" in answer.text


def test_a_workbook(free: Served) -> None:
    answer = compare(
        free, books.xlsx([["Ch", "Name", "Socket"], [1, "Kick", "A1"], [2, "Snare", "A3"]]), "list.xlsx"
    )
    assert answer.status == 200
    assert "Snare" in answer.text


@pytest.mark.parametrize(
    ("data", "name", "words"),
    [
        (b"dear all\nsee you tonight\n", "a.csv", "a.csv"),
        (b"PK\x03\x04 no workbook", "pasted", "pasted"),
        (ENTITIES.encode(), "a.xml", "expands into too much"),
        (b'<!DOCTYPE l SYSTEM "file:///etc/passwd"><l><c n="1"/><c n="2"/></l>', "a.xml", "DOCTYPE"),
    ],
)
def test_what_is_no_list_is_refused_in_words(free: Served, data: bytes, name: str, words: str) -> None:
    answer = compare(free, data, name)
    assert answer.status == 422, answer.text
    assert words in answer.json()["error"]
    assert "Traceback" not in answer.text


@pytest.mark.parametrize(
    ("data", "name", "words"),
    [
        (b"", "a.csv", "empty"),
        (b"\x00\x01\x02" * 100, "a.bin", "a.bin"),
        (b"PK\x03\x04 no workbook", "a.xlsx", "a.xlsx"),
        (b"<list>", "a.xml", "a.xml"),
        (b"[" * 100_000, "a.json", "a.json"),
        (b"Ch,Name\n" + b"1,x\n" * (reader.MOST_ROWS + 1), "a.csv", "rows"),
        (b"\n" * (4 * reader.MOST_ROWS + 1), "a.csv", "lines"),
    ],
)
def test_the_reader_says_what_is_wrong(data: bytes, name: str, words: str) -> None:
    with pytest.raises(ReadError, match=words):
        reader.read(name, data)


def test_a_workbook_that_unfolds_is_refused(free: Served) -> None:
    parts = books.unzipped(books.xlsx([["Ch", "Name"], [1, "Kick"]]))
    sheet = next(name for name in parts if "sheet1.xml" in name)
    parts[sheet] = parts[sheet].replace(
        b"</sheetData>", b'<row r="9"><c r="A9"><v>' + b"1" * 100_000_000 + b"</v></c></row></sheetData>"
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as whole:
        for name, data in parts.items():
            whole.writestr(name, data)
    del parts
    assert len(out.getvalue()) < uploads.MOST_SHEET
    answer = compare(free, out.getvalue(), "bomb.xlsx")
    assert answer.status == 422
    assert "bomb.xlsx" in answer.json()["error"]


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("../../etc/cron.d/x.csv", "x.csv"),
        ("..%2F..%2Fetc%2Fpasswd", "passwd"),
        ("C:%5CWindows%5Cx.csv", "x.csv"),
        ("%00%0d%0aSet-Cookie.csv", "___Set-Cookie.csv"),
        ("%3Cscript%3E.csv", "_script_.csv"),
        ("..", "pasted"),
        ("%ff%fe.csv", "__.csv"),
        ("x" * 300 + ".csv", "x" * 80),
        ("", "pasted"),
    ],
)
def test_a_name_is_only_a_word(name: str, shown: str) -> None:
    scope = {"type": "http", "headers": [(b"x-file-name", name.encode())]}
    assert uploads.file_name(Request(scope)) == shown


def test_a_name_leads_nowhere(free: Served) -> None:
    before = sorted(os.listdir(free.folder))
    answer = compare(free, BAND.encode(), "../../etc/cron.d/x.csv")
    assert "<h2>x.csv beside" in answer.text
    assert sorted(os.listdir(free.folder)) == before


@pytest.mark.parametrize(
    ("path", "most"),
    [
        ("/compare", uploads.MOST_SHEET),
        ("/ident?port=desk", uploads.MOST_RECORDING),
        ("/ticks", uploads.MOST_SAID),
    ],
)
def test_what_is_too_large_is_refused_before_it_comes(free: Served, path: str, most: int) -> None:
    head = f"POST {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nOrigin: http://127.0.0.1\r\nContent-Length: {most + 1}\r\n\r\n"
    assert b"HTTP/1.1 413" in free.raw(head.encode())


@pytest.mark.parametrize("said", ["-1", "1e3", "９"])
def test_a_length_that_is_none_is_refused(free: Served, said: str) -> None:
    head = f"POST /compare HTTP/1.1\r\nHost: 127.0.0.1\r\nOrigin: http://127.0.0.1\r\nContent-Length: {said}\r\n\r\n"
    assert b"HTTP/1.1 400" in free.raw(head.encode())


def test_what_is_too_large_without_saying_so_is_cut_off(
    free: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("chanbridge.web.app.MOST_SHEET", 1000)
    head = b"POST /compare HTTP/1.1\r\nHost: 127.0.0.1\r\nOrigin: http://127.0.0.1\r\nTransfer-Encoding: chunked\r\n\r\n"
    assert b"HTTP/1.1 413" in free.raw(head + b"200\r\n" + b"x" * 512 + b"\r\n200\r\n" + b"x" * 512 + b"\r\n")


def test_what_comes_too_slowly_is_let_go(free: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(uploads, "PAUSE_S", 0.2)
    head = b"POST /compare HTTP/1.1\r\nHost: 127.0.0.1\r\nOrigin: http://127.0.0.1\r\nContent-Length: 100\r\n\r\nCh,Na"
    assert b"HTTP/1.1 408" in free.raw(head)


def test_what_drips_is_let_go(free: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("chanbridge.web.app.SHEET_S", 0.5)
    head = b"POST /compare HTTP/1.1\r\nHost: 127.0.0.1\r\nOrigin: http://127.0.0.1\r\nContent-Length: 100\r\n\r\n"
    with socket.create_connection(("127.0.0.1", free.port), timeout=20) as link:
        link.sendall(head)
        link.settimeout(0.1)
        said, sent = b"", 0
        while b"\r\n\r\n" not in said and sent < 99:
            try:
                said += link.recv(65536) or b"\r\n\r\n"
            except TimeoutError:
                link.sendall(b"x")
                sent += 1
    assert b"HTTP/1.1 408" in said


def test_a_caller_who_says_nothing_is_let_go(free: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("chanbridge.web.server.HEAD_S", 0.2)
    assert free.raw(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX: ") == b""


def test_a_crowd_from_one_address_is_let_go(free: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("chanbridge.web.server.MOST_OF_ONE", 3)
    links = [socket.create_connection(("127.0.0.1", free.port), timeout=10) for _ in range(6)]
    gone = 0
    for link in links:
        try:
            link.sendall(b"GET /static/icon.svg HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
            gone += not link.recv(100)
        except ConnectionError:
            gone += 1
    for link in links:
        link.close()
    assert 3 <= gone < 6


def test_what_takes_too_long_to_read_is_ended(free: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("chanbridge.web.app.READ_S", -5)  # over before it has begun
    answer = compare(free, BAND.encode())
    assert answer.status == 422
    assert "more than" in answer.json()["error"]


def test_a_reader_that_dies_is_no_harm(free: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    made = subprocess.Popen

    def struck(*arguments: Any, **named: Any) -> Any:
        process = made(*arguments, **named)
        os.kill(process.pid, signal.SIGKILL)
        return process

    monkeypatch.setattr(subprocess, "Popen", struck)
    assert compare(free, BAND.encode()).status == 422
    monkeypatch.undo()
    assert compare(free, BAND.encode()).status == 200


def test_a_few_are_read_at_once(free: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(uploads, "AT_ONCE", 0)
    for path in ("/compare", "/ident?port=A"):
        assert free.ask(path, BAND.encode()).status == 503


def packed(*files: tuple[str, bytes]) -> bytes:
    """Files as the page sends them: names and sizes in a line, then one after the other."""
    return (
        json.dumps([[name, len(data)] for name, data in files]).encode()
        + b"\n"
        + b"".join(data for _, data in files)
    )


def recording(served: Served, folder: Path, crossed: bool) -> bytes:
    """What a recorder at the house desk gets of the ident signals of box A, two plugs crossed or not."""
    whole = served.live.now.planned.map
    coded = places.coded(whole, places.SOCKETS)
    found = places.places(whole, "desk")
    codes = [coded.codes[place.occupants[0].source] if place.occupants else None for place in found]
    if crossed:
        codes[0], codes[1] = codes[1], codes[0]
    with (folder / "made.wav").open("wb") as stream:
        play.write(stream, play.Signals("ident", codes, 48000, 5.0, -20.0), ["x"] * len(codes), "", "")
    return (folder / "made.wav").read_bytes()


@pytest.mark.parametrize(("crossed", "words"), [(False, "As planned"), (True, "Something differs")])
def test_a_recording_says_what_arrived(free: Served, tmp_path: Path, crossed: bool, words: str) -> None:
    answer = free.ask("/ident?port=desk", packed(("take.wav", recording(free, tmp_path, crossed))))
    assert answer.status == 200, answer.text
    assert words in answer.text
    assert "take.wav" in answer.text
    assert "/tmp" not in answer.text


@pytest.mark.parametrize(
    ("data", "port", "words"),
    [
        (b"x" * 10000, "desk", "take.wav"),
        (b"", "../x", "whose inputs"),
    ],
)
def test_what_is_no_recording_is_refused(free: Served, data: bytes, port: str, words: str) -> None:
    answer = free.ask(f"/ident?port={port}", packed(("take.wav", data)))
    assert answer.status == 422
    assert words in answer.json()["error"]
    assert "chanbridge-" not in answer.json()["error"]


def test_a_recording_leaves_nothing_on_the_disk(
    free: Served, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    assert free.ask("/ident?port=desk", packed(("take.wav", b"x" * 100_000))).status == 422
    head = b'POST /ident?port=desk HTTP/1.1\r\nHost: 127.0.0.1\r\nOrigin: http://127.0.0.1\r\nContent-Length: 1000\r\n\r\n[["a.wav", 980]]\nRIFF'
    with socket.create_connection(("127.0.0.1", free.port), timeout=10) as link:
        link.sendall(head)
        end = time.monotonic() + 10
        while not any(tmp_path.iterdir()) and time.monotonic() < end:
            time.sleep(0.01)
    end = time.monotonic() + 10
    while any(tmp_path.iterdir()) and time.monotonic() < end:
        time.sleep(0.01)
    assert not any(tmp_path.iterdir())


def test_a_full_disk_is_said_so(free: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(uploads, "SPARE", 1 << 60)
    assert free.ask("/ident?port=desk", packed(("take.wav", b"x" * 1000))).status == 507


def test_tracks_of_one_channel_each_make_one_recording(free: Served, tmp_path: Path) -> None:
    data = recording(free, tmp_path, False)
    whole, rate = soundfile.read(io.BytesIO(data))
    tracks = []
    for at, samples in enumerate(whole.T, 1):
        out = io.BytesIO()
        soundfile.write(out, samples, rate, "PCM_24", format="WAV")
        tracks.append((f"track {at}.wav", out.getvalue()))
    answer = free.ask("/ident?port=desk", packed(*tracks))
    assert answer.status == 200, answer.text
    assert "As planned" in answer.text
    assert "track 1.wav, track 2.wav" in answer.text
    answer = free.ask("/ident?port=desk", packed(("whole.wav", data), tracks[0]))
    assert answer.status == 422
    assert "whole.wav 8, track 1.wav 1" in answer.json()["error"]
    assert str(tmp_path) not in answer.text


@pytest.mark.parametrize("level", ["-61", "1", "nan", "loud", "inf"])
def test_a_level_is_a_level(free: Served, level: str) -> None:
    answer = free.ask(f"/ident?port=desk&level={level}", packed(("take.wav", b"x")))
    assert answer.status == 422
    assert "-60 to 0 dBFS" in answer.json()["error"]


def test_a_level_that_was_not_played_is_seen(free: Served, tmp_path: Path) -> None:
    answer = free.ask("/ident?port=desk&level=-40", packed(("take.wav", recording(free, tmp_path, False))))
    assert answer.status == 200, answer.text
    assert answer.text.count(" 20.0 ") == 5


@pytest.mark.parametrize(
    ("data", "status"),
    [
        (b"RIFF" * 100_000, 400),
        (b"\n", 400),
        (b"[]\n", 400),
        (b'[["a.wav", -1]]\n', 400),
        (b'[["a.wav", true]]\nx', 400),
        (b'[["a.wav"]]\n', 400),
        (b"[" * 50_000 + b"\n", 400),
        (b'[["a.wav", 3]]\nabcd', 400),
        (b'[["a.wav", 3], ["b.wav", 2]]\nabcd', 400),
        (json.dumps([["a.wav", 0]] * (uploads.MOST_FILES + 1)).encode() + b"\n", 413),
    ],
)
def test_files_that_are_not_as_was_said_are_refused(
    free: Served, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, data: bytes, status: int
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    answer = free.ask("/ident?port=desk", data)
    assert answer.status == status, answer.text
    assert answer.json()["error"]
    assert not any(tmp_path.iterdir())
