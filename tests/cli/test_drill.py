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
    answers = unsealed((folder / SEALED).read_bytes(), "x")
    rows = "".join(f"{one.recipient};{one.fault.slots[0]};x\n" for one in answers)
    (tmp_path / "mine.csv").write_text(f"Recipient;Slot;What\n{rows}", "utf-8")
    assert run("drill", "mark", folder, tmp_path / "mine.csv").status == 0
    (folder / SEALED).write_text("nothing")
    failed(run("drill", "mark", folder), "no sealed answers")
