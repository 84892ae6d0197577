"""chanbridge prove"""

from __future__ import annotations

import shutil
import zipfile
from pathlib import Path

import pytest

from tests.cli.conftest import Run, failed

WORDS = "paper agrees with itself"


@pytest.fixture
def handed_over(run: Run, tmp_path: Path, example: Path) -> Path:
    """The folder of the example's hand-over, to spoil."""
    assert run("handover", example, "-o", tmp_path / "out").status == 0
    return tmp_path / "out"


def test_the_example(run: Run, example: Path) -> None:
    result = run("prove", example)
    assert result.status == 0
    assert result.err == ""
    lines = result.text.splitlines()
    assert f"truck: {WORDS}: 64 of 64; no cable tested" in lines
    assert all("no cable tested" in line for line in lines[:-1])
    assert lines[-1].startswith("Proved: ")
    assert run("prove", example / "show.toml").text == result.text


def test_channels_that_are_with_nobody_are_said(run: Run, tmp_path: Path, example: Path) -> None:
    """A box was replaced by a smaller one: what it has no socket for is in no part of the proof."""
    show = Path(shutil.copytree(example, tmp_path / "show"))
    text = (show / "show.toml").read_text("utf-8")
    (show / "show.toml").write_text(text.replace("inputs = 40", "inputs = 32", 1), "utf-8")
    said = run("prove", show).err
    assert "without a place on any box" in said
    assert "Talkback band" in said
    assert "Kick in" not in said


def test_json(run: Run, example: Path) -> None:
    found = run("prove", example, "--json").json()
    assert found["verdict"] == "proved"
    assert (found["lost"], found["unexpected"], found["problems"]) == ([], [], [])
    assert len({slot["recipient"] for slot in found["slots"]}) >= 4
    assert len(found["slots"]) > 100
    keys = {"recipient", "port", "slot", "expected", "arrived", "verdict"}
    assert all(keys <= slot.keys() and slot["verdict"] == "as printed" for slot in found["slots"])
    truck = {slot["slot"]: slot for slot in found["slots"] if slot["recipient"] == "truck"}
    assert (truck[1]["expected"], truck[1]["arrived"]) == ("Kick in", "Kick in")
    assert [*truck] == [*range(1, 65)]


def test_paper_as_it_lies_there(run: Run, example: Path, handed_over: Path) -> None:
    assert run("prove", example, "--paper", handed_over).status == 0
    sheet = handed_over / "truck" / "sheet.csv"
    lines = sheet.read_text("utf-8").splitlines()
    one, two = (line.split(",", 1) for line in lines[3:5])
    lines[3:5] = [f"{one[0]},{two[1]}", f"{two[0]},{one[1]}"]
    sheet.write_text("\n".join(lines), "utf-8")
    result = run("prove", example, "--paper", handed_over)
    assert result.status == 1
    assert f"truck: {WORDS}: 62 of 64; no cable tested" in result.text
    assert "!! truck 3: truck/sheet.csv says 'Snare bottom' and 'Snare top' arrives" in result.text
    assert "!! truck 4: truck/sheet.csv says 'Snare top' and 'Snare bottom' arrives" in result.text
    assert f"recorder: {WORDS}: 80 of 80; no cable tested" in result.text
    assert "NOT PROVED: 2 slots not as printed" in result.text
    found = run("prove", example, "--paper", handed_over, "--json").json()
    assert found["verdict"] == "not proved"
    assert [slot["slot"] for slot in found["slots"] if slot["verdict"] != "as printed"] == [3, 4]


def test_a_workbook_that_somebody_edited(run: Run, example: Path, handed_over: Path) -> None:
    assert run("handover", example, "-o", handed_over, "--formats", "xlsx", "--only", "monitors").status == 0
    path = handed_over / "monitors" / "sheet.xlsx"
    with zipfile.ZipFile(path) as book:
        parts = {name: book.read(name).replace(b"Kick out", b"Kick owt") for name in book.namelist()}
    with zipfile.ZipFile(path, "w") as book:
        for name, data in parts.items():
            book.writestr(name, data)
    result = run("prove", example, "--paper", handed_over)
    assert result.status == 1
    assert "monitors/sheet.xlsx says 'Kick owt' and 'Kick out' arrives" in result.text


def test_old_paper_of_a_show_that_changed(run: Run, tmp_path: Path, example: Path, handed_over: Path) -> None:
    show = Path(shutil.copytree(example, tmp_path / "show"))
    box = show / "box-a.csv"
    text = box.read_text("utf-8")
    assert "Kick out" in text
    box.write_text(text.replace("Kick out", "Second kick"), "utf-8")
    result = run("prove", show, "--paper", handed_over)
    assert result.status == 1
    assert result.text.count("says 'Kick out' and 'Second kick' arrives") >= 5


def test_paper_that_is_not_there(run: Run, tmp_path: Path, example: Path, handed_over: Path) -> None:
    failed(run("prove", example, "--paper", tmp_path / "nowhere"), "nowhere", "no folder")
    shutil.rmtree(handed_over / "truck")
    failed(
        run("prove", example, "--paper", handed_over),
        f"{handed_over}: ",
        "no sheet of truck",
        "truck/sheet.csv",
    )
    failed(run("prove", example / "box-a.csv", "--paper", handed_over), "--paper goes with a show")


def test_paper_with_a_row_that_nobody_understands(run: Run, example: Path, handed_over: Path) -> None:
    sheet = handed_over / "truck" / "sheet.txt"
    sheet.unlink()
    sheet.mkdir()
    failed(run("prove", example, "--paper", handed_over), "truck/sheet.txt", "folder")


@pytest.mark.parametrize("name", ["box-a.csv", "box-b.xml", "front-of-house.csv", "stream.csv"])
def test_a_sheet_alone(run: Run, example: Path, name: str) -> None:
    result = run("prove", example / name)
    assert result.status == 0, result
    assert f"{WORDS}: " in result.text
    assert "no cable tested" in result.text


def test_a_merged_feed(run: Run, tmp_path: Path, example: Path) -> None:
    sheet = tmp_path / "truck.xml"
    run("merge", example / "box-a.csv", example / "box-b.xml", "--onto", "64@48000", "-o", sheet)
    found = run("prove", sheet, "--json").json()
    assert found["verdict"] == "proved"
    feed = [slot for slot in found["slots"] if slot["port"] == "feed"]
    assert len(feed) == 64
    assert all(slot["label"] for slot in feed)


def test_a_sheet_with_faults(run: Run, tmp_path: Path) -> None:
    sheet = tmp_path / "desk.csv"
    sheet.write_text("Ch,Name\n1,Kick\n2,Snare\n2,Hat\n,Vox\n", "utf-8")
    result = run("prove", sheet)
    assert result.status == 1
    assert "slots 2: " in result.text
    assert "'Snare + Hat'" in result.text
    assert "Vox: stands on no slot" in result.text
    assert "NOT PROVED" in result.text


def test_what_cannot_be_proved(run: Run, tmp_path: Path, example: Path) -> None:
    names = tmp_path / "names.csv"
    names.write_text("Name,Mic\nKick,large dynamic\nSnare,small dynamic\n", "utf-8")
    failed(run("prove", names), "names.csv", "nothing to prove")
    failed(run("prove", tmp_path / "no-show"), "no-show")
    failed(run("prove", example / "nothing.toml"), "nothing.toml")
    failed(run("prove", tmp_path), "show.toml")
    big = tmp_path / "big.csv"
    big.write_text("Ch,Name\n" + "".join(f"{n},Chair {n}\n" for n in range(1, 5001)), "utf-8")
    failed(run("prove", big), "5,000", "4,096")
