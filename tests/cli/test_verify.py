"""chanbridge verify: whether a hand-over and its plan still agree, file by file."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from tests.cli.conftest import Run, failed

pytestmark = pytest.mark.slow


@pytest.fixture
def made(run: Run, tmp_path: Path, example: Path) -> tuple[Path, Path]:
    """A copy of the example show and its hand-over, with a few papers."""
    show, out = Path(shutil.copytree(example, tmp_path / "show")), tmp_path / "out"
    run("handover", show, "-o", out, "--formats", "csv,txt,svg")
    return out, show


def test_fresh_papers_agree(run: Run, made: tuple[Path, Path]) -> None:
    out, show = made
    result = run("verify", out, show)
    assert result.status == 0
    assert "Paper and plan agree." in result.text
    assert "truck" in result.text
    alone = run("verify", out)
    assert alone.status == 0
    assert f"chanbridge verify {out} SHOW" in alone.text


def test_a_paper_that_was_altered_or_lost(run: Run, made: tuple[Path, Path]) -> None:
    out, _ = made
    (out / "truck" / "sheet.csv").write_bytes(b"other")
    (out / "monitors" / "sheet.txt").unlink()
    (out / "monitors" / "mine.txt").write_text("x")
    result = run("verify", out)
    assert result.status == 1
    assert "!! truck/sheet.csv: not as it was made" in result.text
    assert "!! monitors/sheet.txt: listed, and not there" in result.text
    assert "   monitors/mine.txt: no part of this hand-over" in result.text
    assert "2 files not to be relied on" in result.text


def test_a_plan_that_moved_on(run: Run, made: tuple[Path, Path]) -> None:
    out, show = made
    sheet = show / "box-a.csv"
    sheet.write_bytes(sheet.read_bytes().replace(b"Kick in", b"Kick low"))
    result = run("verify", out, show, "--json")
    assert result.status == 1
    said = result.json()
    assert said["inputs_changed"] == ["box-a.csv"]
    verdicts = {item["name"]: item["verdict"] for item in said["files"]}
    assert verdicts["truck/sheet.csv"] == "outdated"
    assert verdicts["flow.svg"] == "agrees", "the picture does not name channels"
    assert "Changed since: box-a.csv" in run("verify", out, show).text


def test_a_late_change_makes_paper_old(run: Run, made: tuple[Path, Path]) -> None:
    out, show = made
    run("amend", show, "rename Oboe to English horn", "--yes")
    text = run("verify", out, show).text
    assert "truck/sheet.csv .txt: the plan says something else by now" in text
    assert "The plan has moved on to revision A, word " in text


def test_a_late_change_leaves_the_papers_that_it_does_not_concern(
    run: Run, tmp_path: Path, example: Path
) -> None:
    """The letter and the word of a show move on with every late change; a paper is old where it says otherwise."""
    show, out = Path(shutil.copytree(example, tmp_path / "show")), tmp_path / "out"
    run(
        "handover", show, "-o", out, "--revision", "A", "--date", "2026-12-12", "--formats", "csv,txt,svg,pdf"
    )
    run("amend", show, "phantom off for Oboe", "--yes")
    result = run("verify", out, show)
    assert result.status == 1
    assert "!! truck/sheet" in result.text, "who supplies phantom stands on the truck's sheet"
    for name in ("truck/labels", "recorder/labels", "flow"):
        assert f"!! {name}" not in result.text, "labels and flow say nothing of phantom"
    assert "The plan has moved on to revision A+1, word " in result.text


def test_papers_made_alone_later(run: Run, made: tuple[Path, Path]) -> None:
    """Monitors' paper of before a change still shows as old after the truck alone got a new one."""
    out, show = made
    sheet = show / "box-a.csv"
    sheet.write_bytes(sheet.read_bytes().replace(b"Kick in", b"Kick low"))
    run("handover", show, "-o", out, "--formats", "csv,txt,svg", "--only", "truck")
    result = run("verify", out, show)
    assert result.status == 1
    assert "!! monitors/sheet.csv .txt: the plan says something else by now" in result.text
    assert "!! truck" not in result.text


def test_a_revision_is_made_again_as_on_the_day(run: Run, made: tuple[Path, Path]) -> None:
    out, show = made
    run("handover", show, "-o", out, "--revision", "A", "--date", "2026-12-10", "--formats", "csv,txt")
    run("amend", show, "rename Oboe to English horn", "--yes")
    run("handover", show, "-o", out, "--revision", "B", "--date", "2026-12-11", "--formats", "csv,txt")
    result = run("verify", out, show)
    assert result.status == 0, result.text
    assert "revision B" in result.text
    assert (out / "earlier" / "A" / "truck" / "sheet.csv").exists()
    run("amend", show, "Ana to B36", "--yes")
    assert "truck/sheet.csv .txt: the plan says something else by now" in run("verify", out, show).text


def test_recipients_that_come_and_go(run: Run, made: tuple[Path, Path]) -> None:
    out, show = made
    file = show / "show.toml"
    file.write_text(file.read_text("utf-8").replace('id = "recorder"', 'id = "tape"'), "utf-8")
    text = run("verify", out, show).text
    assert "recorder/sheet.csv .txt: the plan makes no such paper any more" in text
    assert "tape/sheet.csv .txt: not made; the plan makes this paper too by now" in text


def test_what_cannot_be_verified(run: Run, tmp_path: Path, made: tuple[Path, Path]) -> None:
    out, show = made
    failed(run("verify", tmp_path / "none"), "no folder")
    (tmp_path / "empty").mkdir()
    failed(run("verify", tmp_path / "empty"), "manifest.json", "no hand-over lies here")
    path = out / "manifest.json"
    whole = json.loads(path.read_text("utf-8"))
    path.write_text("{}")
    failed(run("verify", out), "no manifest of a hand-over")
    for key, value in (
        ("language", "xx"),
        ("formats", "pdf"),
        ("label_mm", "wide"),
        ("date", "soon"),
        ("only", None),
    ):
        path.write_text(json.dumps(whole | {"asked": whole["asked"] | {key: value}}))
        failed(run("verify", out, show), "does not say how the papers were made")
    del whole["asked"]["paper"]
    path.write_text(json.dumps(whole))
    failed(run("verify", out, show), "'paper'")
