"""chanbridge compare."""

from __future__ import annotations

from pathlib import Path

from tests.cli.conftest import Run, failed

# Planted by hand in examples/winter-concert/stream.csv.
PLANTED = {
    ("polarity", ("Snare bottom",)),
    ("moved", ("Timecode",)),
    ("missing", ("Oboe",)),
    ("renamed", ("Harp", "Celtic harp")),
    ("resourced", ("Lectern",)),
    ("extra", ("Stream host",)),
}


def test_the_six_planted_differences_and_nothing_else(run: Run, example: Path) -> None:
    result = run("compare", example / "front-of-house.csv", example / "stream.csv", "--json")
    assert result.status == 1
    data = result.json()
    assert len(data["changes"]) == 6
    assert {(change["kind"], tuple(change["channels"])) for change in data["changes"]} == PLANTED
    assert data["same"] == 63
    for change in data["changes"]:
        assert (change["reference"] is None) == (change["kind"] == "extra")
        assert (change["other"] is None) == (change["kind"] == "missing")
    lectern = next(change for change in data["changes"] if change["kind"] == "resourced")
    assert (lectern["reference"]["socket"], lectern["other"]["socket"]) == (26, 27)
    assert lectern["other"]["row"] == 61


def test_text_names_every_difference(run: Run, example: Path) -> None:
    result = run("compare", example / "front-of-house.csv", example / "stream.csv")
    assert result.status == 1
    for kind, names in PLANTED:
        assert any(
            line.startswith(kind) and all(name in line for name in names) for line in result.text.splitlines()
        )


def test_the_boxes_agree_with_front_of_house(run: Run, tmp_path: Path, example: Path) -> None:
    assert run("handover", example, "-o", tmp_path).status == 0
    assert (
        run("compare", tmp_path / "front-of-house" / "sheet.csv", example / "front-of-house.csv").status == 0
    )
    assert run("compare", example / "box-b.xml", example / "box-b.xml").status == 0


def test_mistakes(run: Run, tmp_path: Path, example: Path) -> None:
    failed(run("compare", example / "front-of-house.csv", tmp_path / "none.csv"), "no such file")
