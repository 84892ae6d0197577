"""chanbridge lists, on the examples."""

from __future__ import annotations

from pathlib import Path

from tests.cli.conftest import Run, failed


def test_kit_and_questions_on_two_pages(run: Run, example: Path) -> None:
    result = run("lists", example)
    assert result.status == 0
    lines = result.text.splitlines()
    assert len(lines) <= 2 * 66  # A4 at six lines to the inch
    assert all(len(line) <= 80 for line in lines)
    assert "30     3      small condenser" in result.text
    assert "[x] contact   Mara in the truck, north yard, channel 3" in result.text
    assert "by which adaptor or DI these come in: Click, Cue voice" in result.text


def test_one_list_as_csv(run: Run, example: Path) -> None:
    for name, heading in (
        ("kit", "Section,What"),
        ("questions", "Recipient,Topic"),
        ("labels", "Label,This end"),
    ):
        result = run("lists", example, name, "--csv")
        assert result.status == 0
        assert result.text.startswith(heading)
        assert result.out.endswith(b"\r\n")


def test_all_of_them_in_a_folder(run: Run, example: Path, tmp_path: Path) -> None:
    result = run("lists", example, "kit", "-o", tmp_path)
    assert result.status == 0
    assert (tmp_path / "lists" / "kit.txt").read_text("utf-8") == result.text
    names = sorted(path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*.*"))
    assert {"lists/kit.csv", "lists/labels.csv", "lists/questions.csv", "truck/questions.txt"} <= {*names}
    before = [(tmp_path / name).read_bytes() for name in names]
    run("lists", example, "-o", tmp_path)
    assert before == [(tmp_path / name).read_bytes() for name in names]


def test_what_cannot_be_listed(run: Run, example: Path, tmp_path: Path) -> None:
    failed(run("lists", tmp_path), "no show.toml")
    failed(run("lists", example, "-o", example / "show.toml"), "a file stands where a folder is needed")
    for arguments in ((example, "--csv"), (example, "kit", "labels", "--csv")):
        result = run("lists", *arguments)
        assert (result.status, result.out) == (2, b"")
        assert "--csv prints one list" in result.err
    assert run("lists", example, "kitt").status == 2
