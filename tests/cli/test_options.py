"""The options that say how to read a sheet, on the command line and in show.toml."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Run, failed

ODD = "A;B;C\n1;A1;Kick\n2;A2;Snare\n"


def channels(run: Run, *arguments: str | Path) -> list[tuple[object, ...]]:
    data = run("read", *arguments, "--json").json()
    return [(item["number"], item["name"], item["box"], item["socket"]) for item in data["channels"]]


def test_columns(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "odd.csv"
    path.write_text(ODD)
    failed(run("read", path), "no list of channels")
    told = [(1, "Kick", "A", 1), (2, "Snare", "A", 2)]
    assert channels(run, path, "--columns", "C=name,A=number,B=socket") == told
    assert channels(run, path, "--columns", "C=name,A=number,#2=socket") == told
    failed(run("read", path, "--columns", "C=nme"), "did you mean 'name'?")
    failed(run("read", path, "--columns", "C"), "HEADING=FIELD")
    failed(run("read", path, "--columns", "A=name,B=name"), "two columns")


def test_columns_overrule_the_heading(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "note.csv"
    path.write_text("Ch,Name,Note\n1,small condenser,Kick\n2,boom,Snare\n")
    assert [row[1] for row in channels(run, path, "--columns", "Note=name,Name=transducer")] == [
        "Kick",
        "Snare",
    ]


@pytest.mark.parametrize("suffix", ["csv", "json", "xml"])
def test_columns_are_refused_where_the_words_are_our_own(run: Run, tmp_path: Path, suffix: str) -> None:
    path, own = tmp_path / "odd.csv", tmp_path / f"own.{suffix}"
    path.write_text("Ch,Name,Note\n1,Kick,small condenser\n2,Snare,boom\n")
    assert run("convert", path, own).status == 0
    failed(run("read", own, "--columns", "Name=notes"), "mean what they say")


def test_vocabulary(run: Run, tmp_path: Path) -> None:
    path, words = tmp_path / "odd.csv", tmp_path / "words.toml"
    path.write_text("Pos;Wer;Leitung\n1;Kick;A1\n2;nix da;A2\n")
    words.write_text(
        '[headings]\nname = ["Wer"]\nsocket = ["Leitung"]\n[values]\nnothing = ["nix da"]\n', "utf-8"
    )
    assert channels(run, path, "--vocabulary", words) == [(1, "Kick", "A", 1)]
    for wrong, said in (
        ('[heading]\nname = ["Wer"]\n', "[headings]"),
        ('[headings]\nnme = ["Wer"]\n', "'nme'"),
        ('[headings]\nname = "Wer"\n', "list of words"),
        ("[headings\n", "no file of words"),
    ):
        words.write_text(wrong)
        failed(run("read", path, "--vocabulary", words), "words.toml", said)


def test_encoding_and_delimiter(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes("Ch:Name\n1:Flügel\n".encode("cp1252"))
    assert channels(run, path, "--encoding", "cp1252", "--delimiter", ":") == [(1, "Flügel", "", None)]
    failed(run("read", path, "--encoding", "pony"), "no encoding 'pony'")
    failed(run("read", path, "--encoding", "utf-8"), "not UTF-8", ":2:")
    failed(run("read", path, "--delimiter", "::"), "one character")
    path.write_bytes(b"Ch\tName\n1\tKick\n")
    assert channels(run, path, "--delimiter", "tab") == [(1, "Kick", "", None)]


def test_record(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a.xml"
    path.write_text(
        '<s><o><out no="1" name="Wedge"/></o><i><in no="1" name="Kick"/><in no="2" name="Vox"/></i></s>'
    )
    failed(run("read", path), "s/i/in", "s/o/out", "--record")
    assert [row[1] for row in channels(run, path, "--record", "s/o/out")] == ["Wedge"]
    failed(run("read", path, "--record", "s/x"), "no element 's/x'")


def test_records_of_two_names_side_by_side_are_one_list(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a.xml"
    path.write_text('<l><ch no="1" name="Kick"/><ch no="2" name="Snare"/><rf no="3" name="Vox"/></l>')
    assert [row[1] for row in channels(run, path)] == ["Kick", "Snare", "Vox"]


def test_why(run: Run, example: Path) -> None:
    text = run("read", example / "stream.csv", "--why").text
    assert "'Signal' is name (one-meaning)" in text
    assert "'Source' is socket (values)" in text
    assert max(map(len, text.splitlines()[1:])) <= 80


@pytest.mark.parametrize("key", ['columns = { C = "name", A = "number", B = "socket" }', 'delimiter = ":"'])
def test_in_show_toml(run: Run, tmp_path: Path, key: str) -> None:
    (tmp_path / "a.csv").write_text(ODD if "columns" in key else "Ch:Name\n1:Kick\n2:Snare\n")
    show = (
        f'title = "T"\nrate = 48000\n[[box]]\nid = "A"\nsheet = "a.csv"\nblock = "b"\n{key}\n[[block]]\nid = "b"\n'
        '[[recipient]]\nid = "desk"\ntakes = ["b"]\n'
    )
    (tmp_path / "show.toml").write_text(show)
    assert run("handover", tmp_path, "-o", tmp_path / "out").status == 0
    assert [row[1] for row in channels(run, tmp_path / "out" / "desk" / "sheet.csv")] == ["Kick", "Snare"]
    (tmp_path / "show.toml").write_text(show.replace('"name"', '"nme"'))
    if "columns" in key:
        failed(run("handover", tmp_path, "-o", tmp_path / "out"), "did you mean 'name'", "show.toml:5")


def test_workbooks(run: Run, tmp_path: Path, example: Path) -> None:
    assert run("convert", example / "box-a.csv", tmp_path / "a.xlsx").status == 0
    one, two = (run("read", path, "--json").json() for path in (example / "box-a.csv", tmp_path / "a.xlsx"))
    assert one["channels"] == two["channels"]
    assert one["spares"] == two["spares"]
    result = run("convert", tmp_path / "a.xlsx", tmp_path / "a.ods")
    assert result.status == 2
    assert "write .xlsx" in result.err
