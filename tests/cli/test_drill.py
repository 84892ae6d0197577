"""chanbridge drill: an exercise made and marked."""

from __future__ import annotations

from pathlib import Path

from chanbridge.drill.exercise import SEALED, unsealed
from tests.cli.conftest import Run, failed


def test_by_hand(run: Run, tmp_path: Path, example: Path) -> None:
    folder = tmp_path / "exercise"
    result = run("drill", example, "--faults", "3", "-o", folder)
    assert result.status == 0
    assert "3 faults planted" in result.text
    assert b"Oboe" in (folder / "stage" / "box-B.csv").read_bytes()
    failed(run("drill", example, "-o", folder), "not written over")
    empty = run("drill", "mark", folder)
    assert empty.status == 1
    assert "0 of 3 faults found" in empty.text
    assert "Missed" not in empty.text
    assert run("drill", "mark", folder, "--answers").text.count("Missed") == 3
    answers = unsealed((folder / SEALED).read_bytes(), "x")
    rows = "".join(f"{one.recipient};{one.fault.slots[0]};x\n" for one in answers)
    (tmp_path / "mine.csv").write_text(f"Recipient;Slot;What\n{rows}", "utf-8")
    assert run("drill", "mark", folder, tmp_path / "mine.csv").status == 0
    for heading, sign in (
        ("Recipient,Slot,What is wrong", ";"),
        ("Recipient,Slot,What", ","),
        ("Recipient", "\t"),
    ):
        (tmp_path / "mine.csv").write_text(
            f"{heading}\n{rows.replace(';', sign)}", "utf-8"
        )  # a spreadsheet's own comma
        assert run("drill", "mark", folder, tmp_path / "mine.csv").status == 0
    (tmp_path / "mine.csv").write_text("Recipient,Slot,What\ntrukc,5,x\n", "utf-8")
    failed(run("drill", "mark", folder, tmp_path / "mine.csv"), "mine.csv:2", "did you mean 'truck'?")
    (folder / SEALED).write_text("nothing")
    failed(run("drill", "mark", folder), "no sealed answers")
