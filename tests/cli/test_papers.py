"""chanbridge handover: every paper of the example, and the options about papers."""

from __future__ import annotations

import io
import shutil
import zipfile
from pathlib import Path

import pypdfium2
import pytest

from chanbridge.handover.printed import FORMATS
from chanbridge.journal import Journal
from tests.cli.conftest import Run, failed, runner

EVERYTHING = ("--formats", ",".join(FORMATS))


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Everything that the example's hand-over holds."""
    out = tmp_path_factory.mktemp("whole") / "out"
    with pytest.MonkeyPatch.context() as patch:
        example = Path(__file__).parents[2] / "examples" / "winter-concert"
        result = runner(patch)("handover", example, "-o", out, *EVERYTHING)
    assert result.status == 0
    assert "\x1b" not in result.err, "no progress where nobody looks"
    return out


def said(path: Path) -> str:
    document = pypdfium2.PdfDocument(path.read_bytes())
    text = " ".join(document[at].get_textpage().get_text_range() for at in range(len(document)))
    return " ".join(text.replace("\u200b", "").replace("\ufffe", "-").split())


def test_everyone_has_every_kind(whole: Path) -> None:
    for name in ("front-of-house", "monitors", "stream", "truck", "recorder", "crew"):
        there = {path.name for path in (whole / name).iterdir()}
        assert {f"sheet.{kind}" for kind in FORMATS if kind != "svg"} | {"labels.pdf"} <= there
    assert {path.name for path in whole.iterdir() if path.is_file()} == {
        "cover.html", "cover.pdf", "flow.html", "flow.pdf", "flow.svg", "manifest.json", "summary.txt",
    }  # fmt: skip
    assert (whole / "crew" / "cables.pdf").exists()
    assert "Celtic harp" in said(whole / "stream" / "own-list.pdf")


def test_who_is_on_37(whole: Path) -> None:
    document = pypdfium2.PdfDocument((whole / "truck" / "sheet.pdf").read_bytes())
    assert len(document) == 2
    page = document[0].get_textpage().get_text_range()
    assert "Choir tenor L" in next(line for line in page.splitlines() if line.startswith("37"))


def test_word_and_cautions_are_on_the_cover(whole: Path) -> None:
    cover = said(whole / "cover.pdf")
    assert "no cable tested" in cover
    assert "stage-left-backup" in cover.replace(" ", "")
    assert "box-a.csv:11" in cover
    assert "examples" not in cover, "no folder of this machine"


def test_workbooks_hold_the_same_list(whole: Path, run: Run) -> None:
    one, two = (
        run("read", whole / "truck" / f"sheet.{kind}", "--json").json()["channels"]
        for kind in ("csv", "xlsx")
    )
    assert [(item["number"], item["name"]) for item in one] == [
        (item["number"], item["name"]) for item in two
    ]
    with zipfile.ZipFile(io.BytesIO((whole / "truck" / "sheet.xlsx").read_bytes())) as book:
        assert {item.date_time[0] for item in book.infolist()} == {1980}


def test_the_same_bytes_again(run: Run, tmp_path: Path, whole: Path, example: Path) -> None:
    run("handover", example / "show.toml", "-o", tmp_path / "out", *EVERYTHING)
    for path in whole.rglob("*.*"):
        assert path.read_bytes() == (tmp_path / "out" / path.relative_to(whole)).read_bytes(), path.name


def test_only_and_formats(run: Run, tmp_path: Path, example: Path) -> None:
    run("handover", example, "-o", tmp_path / "a", "--only", "truck", "--formats", "pdf,csv")
    assert sorted(path.relative_to(tmp_path / "a").as_posix() for path in (tmp_path / "a").rglob("*.*")) == [
        "manifest.json", "summary.txt", "truck/labels.pdf", "truck/sheet.csv", "truck/sheet.pdf",
    ]  # fmt: skip
    run(
        "handover",
        example,
        "-o",
        tmp_path / "b",
        "--only",
        "flow, Front of House",
        "--formats",
        "svg,txt",
    )
    assert sorted(path.name for path in (tmp_path / "b").rglob("*.*")) == [
        "flow.svg", "manifest.json", "questions.txt", "sheet.txt", "summary.txt"
    ]  # fmt: skip


def test_language_paper_and_counting_from_zero(run: Run, tmp_path: Path, example: Path) -> None:
    run(
        "handover", example, "-o", tmp_path, "--only", "truck", "--formats", "pdf,html", "--language", "fr", "--paper", "letter", "--from-zero",
    )  # fmt: skip
    sheet = said(tmp_path / "truck" / "sheet.pdf")
    for word in ("PAS À L'ANTENNE", "Fantôme", "page 1 sur 2", "Depuis 0"):
        assert word.replace(" ", "") in sheet.replace(" ", "").replace("\r\n", ""), word
    size = pypdfium2.PdfDocument((tmp_path / "truck" / "sheet.pdf").read_bytes())[0].get_size()
    assert size == pytest.approx((612, 792), abs=1.5)
    assert 'lang="fr"' in (tmp_path / "truck" / "sheet.html").read_text("utf-8")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--only", "truk"), ["did you mean 'truck'"]),
        (("--only", "nobody at all"), ["there are front-of-house, "]),
        (("--only", "truck", "--revision", "B"), ["leave --only out"]),
        (("--fonts", "nowhere", "--formats", "pdf"), ["no such folder"]),
    ],
)
def test_what_is_not_there(
    run: Run, tmp_path: Path, example: Path, arguments: tuple[str, ...], words: list[str]
) -> None:
    show = shutil.copytree(example, tmp_path / "show")
    failed(run("handover", show, "-o", tmp_path / "out", *arguments), *words)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--formats", "pdf,docx"), "there is no kind 'docx'"),
        (("--formats", "htm"), "did you mean 'html'"),
        (("--language", "xx"), "'xx' is none of"),
        (("--paper", "a5"), "'a5' is none of"),
        (("--label-width", "3"), "3.0 is no number from 6"),
        (("--label-width", "wide"), "'wide' is no number from 6"),
        (("--labels-in-row", "0"), "0 is no number from 1 to 200"),
    ],
)
def test_options_that_cannot_be(
    run: Run, tmp_path: Path, example: Path, arguments: tuple[str, ...], words: str
) -> None:
    result = run("handover", example, "-o", tmp_path / "out", *arguments)
    assert result.status == 2
    assert words in result.err
    assert not (tmp_path / "out").exists()


def test_a_revision_brings_change_bars_and_a_page_of_changes(run: Run, tmp_path: Path, example: Path) -> None:
    show, out = shutil.copytree(example, tmp_path / "show"), tmp_path / "out"
    run("handover", show, "-o", out, "--revision", "A", "--formats", "csv")
    run("amend", show, "rename Oboe to English horn", "--yes")
    run("handover", show, "-o", out, "--revision", "B", "--formats", "csv,html,pdf")
    sheet = (out / "truck" / "sheet.html").read_text("utf-8")
    assert sheet.count("(changed)") == 1
    assert "only what changed" in sheet
    page = said(out / "truck" / "changes.pdf")
    assert "Changed against revision A" in page
    assert "rename to English horn" in page
    assert "Revision B (" in page
    assert "Nothing changed for you" not in page


def test_the_cover_tells_how_far_the_line_check_is(run: Run, tmp_path: Path, example: Path) -> None:
    show, out = Path(shutil.copytree(example, tmp_path / "show")), tmp_path / "out"
    run("handover", show, "-o", out, "--only", "cover", "--formats", "pdf")
    assert "Nothing has been ticked yet" in said(out / "cover.pdf")
    tick = {
        "id": "0123456789abcdef",
        "channel": "a-kick-in",
        "at": "truck",
        "result": "arrived",
        "who": "Ana",
    }
    Journal(show).append("tick", {"ticks": [tick]}, at="2026-12-12T16:00:00Z")
    run("handover", show, "-o", out, "--only", "cover", "--formats", "pdf")
    assert "Broadcast truck: 1 of 64 arrived" in said(out / "cover.pdf")
    assert run("verify", out, show).status == 0, "more ticks do not make paper wrong"


def test_changes_between_two_lists_to_print(run: Run, tmp_path: Path, example: Path) -> None:
    result = run("compare", example / "front-of-house.csv", example / "stream.csv", "-o", tmp_path / "c.pdf")
    assert result.status == 1
    assert "Celtic harp" in said(tmp_path / "c.pdf")


def test_names_of_every_kind(run: Run, tmp_path: Path) -> None:
    """Markup, right-to-left, CJK, 60 letters, 200 rows: nothing breaks, and nothing is lost."""
    odd = ["#strong[Ana] <b>&", "שלום", "漢字曲", "x" * 60, "=SUM(A1)", "$x$ {{y}}", "a_b*c`d"]
    names = [f"{odd[at % len(odd)]} {at}" for at in range(200)]
    rows = "\n".join(f'{at},"{name}"' for at, name in enumerate(names, 1))
    (tmp_path / "a.csv").write_text(f"Socket,Name\n{rows}\n", "utf-8")
    (tmp_path / "show.toml").write_text(
        'title = "T <#>"\nrate = 48000\n[[box]]\nid = "A"\nsheet = "a.csv"\ninputs = 200\nblock = "k"\n'
        '[[block]]\nid = "k"\nslots = 200\n[[recipient]]\nid = "desk"\nname = "漢 desk"\ntakes = ["k"]\n',
        "utf-8",
    )
    result = run("handover", tmp_path, "-o", tmp_path / "out", *EVERYTHING)
    assert result.status == 0
    sheet = "".join(said(tmp_path / "out" / "desk" / "sheet.pdf").split())
    for at, name in enumerate(names):
        plain = name.replace("漢字曲", "[U+6F22 U+5B57 U+66F2]").replace(" ", "")
        assert plain in sheet or ("שלום" in name and f"{at}" in sheet), name
    assert "Thefontslacktheseletters" in sheet
    html = (tmp_path / "out" / "desk" / "sheet.html").read_text("utf-8")
    assert "漢字曲" in html
    assert "<b>&" not in html


def test_reasons_and_what_to_do_speak_the_language_too(run: Run, tmp_path: Path, example: Path) -> None:
    """What the planner says on a paper, not only its headings; spreadsheets and text keep the English headings."""
    show, out = Path(shutil.copytree(example, tmp_path / "show")), tmp_path / "out"
    said = ["--language", "de", "--formats", "html,txt"]
    run("handover", show, "-o", out, "--revision", "A", *said)
    sheet = (out / "truck" / "sheet.html").read_text("utf-8")
    assert "nicht zu senden: macht Platz auf einer Leitung mit 64 Slots" in sheet
    assert "gives way" not in sheet
    assert "64 von 68 Kanälen gehen mit" in sheet
    run("amend", show, "rename Oboe to English horn", "--yes")
    run("handover", show, "-o", out, "--revision", "B", *said)
    assert "umbenennen in English horn" in (out / "truck" / "changes.html").read_text("utf-8")
    assert "rename to English horn" in (out / "truck" / "changes.txt").read_text("utf-8")
