"""chanbridge new: a show to start from."""

from __future__ import annotations

import shlex
from pathlib import Path

from tests.cli.conftest import Run, failed


def test_a_new_show_is_whole(run: Run, tmp_path: Path) -> None:
    folder = tmp_path / "my show"
    result = run("new", folder)
    assert result.status == 0
    assert shlex.split(result.text.splitlines()[-2]) == ["chanbridge", "check", str(folder)]
    assert run("check", folder).status == 0
    out = tmp_path / "out"
    assert run("handover", folder, "-o", out).status == 0
    assert "9     Lead vocal" in (out / "front-of-house" / "sheet.txt").read_text("utf-8")


def test_the_truck_in_its_remarks_works(run: Run, tmp_path: Path) -> None:
    folder = tmp_path / "show"
    run("new", folder)
    lines = (folder / "show.toml").read_text("utf-8").splitlines()
    start = lines.index("# [[feed]]")
    text = "\n".join([*lines[:start], *(line.removeprefix("# ").removeprefix("#") for line in lines[start:])])
    (folder / "show.toml").write_text(text, "utf-8")
    assert run("handover", folder, "-o", tmp_path / "out").status == 0
    assert (tmp_path / "out" / "truck" / "sheet.csv").exists()


def test_nothing_is_written_over(run: Run, tmp_path: Path) -> None:
    (tmp_path / "box-a.csv").write_text("mine")
    failed(run("new", tmp_path), "box-a.csv", "there already")
    assert (tmp_path / "box-a.csv").read_text() == "mine"
    assert not (tmp_path / "show.toml").exists()
