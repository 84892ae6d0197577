"""chanbridge convert: by suffix or by name, from and to standard streams."""

from __future__ import annotations

from pathlib import Path

from tests.cli.conftest import Run, failed


def test_by_suffix_and_back(run: Run, tmp_path: Path, example: Path) -> None:
    for suffix in ("xml", "json", "tsv", "csv"):
        assert run("convert", example / "box-a.csv", tmp_path / f"a.{suffix}").status == 0
        back = run("read", tmp_path / f"a.{suffix}", "--json").json()
        first = run("read", example / "box-a.csv", "--json").json()
        assert back["channels"] == first["channels"]
        assert back["spares"] == first["spares"]


def test_says_what_is_dropped(run: Run, tmp_path: Path, example: Path) -> None:
    result = run("convert", example / "box-a.csv", tmp_path / "a.csv")
    assert "csv cannot carry title" in result.err
    assert "44 rows" in result.err
    assert "cannot carry" not in run("convert", example / "box-a.csv", tmp_path / "a.xml").err


def test_streams(run: Run) -> None:
    result = run("convert", "-", "-", "--from", "csv", "--to", "csv", stdin=b"Slot;Name\r\n1;=1+1\r\n")
    assert result.out == b"Slot,Name,Short,Box,Socket,Id\r\n1,'=1+1,,,,1-1\r\n"


def test_mistakes(run: Run, tmp_path: Path, example: Path) -> None:
    failed(run("convert", example / "box-a.csv", "-"), "--to csv")
    failed(run("convert", example / "box-a.csv", tmp_path / "a.xmll"), "did you mean '.xml'")
    failed(run("convert", example / "box-a.csv", tmp_path / "a.csv", "--to", "jsn"), "did you mean 'json'")
    assert list(tmp_path.iterdir()) == []


def test_rejected_rows_stop_it(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("Slot,Name\n1,Kick\nx7,Snare\n")
    failed(run("convert", path, tmp_path / "b.csv"), "x7 | Snare", ":3:", "--accept-rejected")
    assert not (tmp_path / "b.csv").exists()
    assert run("convert", path, tmp_path / "b.csv", "--accept-rejected").status == 0


def test_a_character_that_xml_cannot_hold(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(b"Slot,Name\n1,Ki\x07ck\n")
    result = run("convert", path, tmp_path / "b.xml")
    assert result.status == 2
    assert "U+0007" in result.err
    assert not (tmp_path / "b.xml").exists()


def test_a_port_that_is_not_there(run: Run, tmp_path: Path, example: Path) -> None:
    result = run("convert", example / "box-a.csv", tmp_path / "b.csv", "--port", "pony")
    assert result.status == 2
    assert "no port 'pony'" in result.err
