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
    assert data["questions"] == []
    assert data["newer"] is None
    assert len(data["matches"]) == 67
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
    assert len(result.text.splitlines()) <= 40


def test_the_boxes_agree_with_front_of_house(run: Run, tmp_path: Path, example: Path) -> None:
    assert run("handover", example, "-o", tmp_path).status == 0
    assert (
        run("compare", tmp_path / "front-of-house" / "sheet.csv", example / "front-of-house.csv").status == 0
    )
    clean = run("compare", example / "box-b.xml", example / "box-b.xml")
    assert clean.status == 0
    assert len(clean.text.splitlines()) == 2


def test_a_page(run: Run, tmp_path: Path, example: Path) -> None:
    sheets = (example / "front-of-house.csv", example / "stream.csv")
    page = tmp_path / "diff.html"
    result = run("compare", *sheets, "-o", page)
    assert result.status == 1
    assert result.text == run("compare", *sheets).text
    assert "Celtic harp" in page.read_text("utf-8")
    assert page.read_bytes().startswith(b"<!DOCTYPE html>")
    failed(run("compare", *sheets, "-o", tmp_path / "diff.doc"), "diff.doc", ".html")
    failed(run("compare", *sheets, "-o", tmp_path / "none" / "diff.html"), "no folder")
    assert [path.name for path in tmp_path.iterdir()] == ["diff.html"]


def test_by_and_show(run: Run, tmp_path: Path, example: Path) -> None:
    slots, sockets, named = tmp_path / "slots.csv", tmp_path / "sockets.csv", tmp_path / "names.csv"
    names = [f"Chair {chr(96 + n)}{chr(97 + 7 * n % 26)}x" for n in range(1, 13)]
    slots.write_text("Ch,Name\n" + "".join(f"{n + 40},{name}\n" for n, name in enumerate(names, 1)))
    sockets.write_text("Socket,Name\n" + "".join(f"B{n},{name}\n" for n, name in enumerate(names, 1)))
    named.write_text("Name\n" + "".join(f"{name}\n" for name in names))
    asked = run("compare", slots, sockets, "--json")
    assert asked.status == 1
    assert asked.json()["changes"] == []
    assert [question["kind"] for question in asked.json()["questions"]] == ["offset"]
    assert run("compare", slots, sockets, "--show", example).status == 0
    assert run("compare", slots, sockets, "--by", "name").status == 1  # the places are still open
    assert run("compare", slots, slots, "--by", "slot").status == 0
    assert run("compare", named, slots, "--by", "name").status == 0
    failed(run("compare", slots, sockets, "--by", "socket"), "both lists must give sockets")
    failed(run("compare", slots, sockets, "--show", tmp_path / "none.toml"), "no such file")
    result = run("compare", slots, sockets, "--by", "colour")
    assert result.status == 2
    assert "socket" in result.err


def test_a_users_abbreviations(run: Run, tmp_path: Path) -> None:
    one, two, words = tmp_path / "one.csv", tmp_path / "two.csv", tmp_path / "words.toml"
    one.write_text("Name\nBass\nTheremin\n")
    two.write_text("Name\nBass\nEtherophon\n")
    apart = run("compare", one, two, "--json").json()
    assert [change["kind"] for change in apart["changes"]] == ["missing", "extra"]
    words.write_text('[abbreviations]\ntheremin = ["etherophon"]\n')
    told = run("compare", one, two, "--vocabulary", words, "--json").json()
    assert [change["kind"] for change in told["changes"]] == ["renamed"]
    for wrong, said in (
        ("[abbreviation]\n", "[abbreviations]"),
        ('[abbreviations]\nkick = "bum"\n', "list of words"),
    ):
        words.write_text(wrong)
        failed(run("compare", one, two, "--vocabulary", words), "words.toml", said)


def test_an_older_sheet_is_said_to_be(run: Run, tmp_path: Path) -> None:
    for name, revision in (("one", "C"), ("two", "B")):
        (tmp_path / f"{name}.csv").write_text(
            f"The Show revision {revision}\nCh,Name\n1,Kick\n2,Bass\n3,Harp\n"
        )
    result = run("compare", tmp_path / "one.csv", tmp_path / "two.csv")
    assert result.status == 0
    assert "two.csv is the OLDER one" in result.text.splitlines()[-1]


def test_mistakes(run: Run, tmp_path: Path, example: Path) -> None:
    failed(run("compare", example / "front-of-house.csv", tmp_path / "none.csv"), "no such file")
    (tmp_path / "empty.csv").write_bytes(b"")
    failed(run("compare", example / "front-of-house.csv", tmp_path / "empty.csv"), "empty")
    (tmp_path / "bad.csv").write_text("Ch,Name\n1,Kick\nx7,Snare\n")
    failed(run("compare", example / "front-of-house.csv", tmp_path / "bad.csv"), "x7", "--accept-rejected")
