"""Label strips are true to size: measured in the PDF, in millimetres."""

from __future__ import annotations

import pypdfium2
import pypdfium2.raw as raw
import pytest

from chanbridge.errors import WriteError
from chanbridge.handover.labels import Label, Strip, Tag, strips_pdf, tags_pdf
from chanbridge.handover.letters import Letters
from chanbridge.handover.words import Words
from tests.handover.made import HEADING, texts

WORDS = Words()
LABELS = tuple(
    Label(
        str(at),
        (f"Choir soprano {at}", f"Sop {at}") if at % 7 else (),
        ("band", "choir", "speech")[at % 3],
        at == 5,
    )
    for at in range(1, 41)
)


def strip(mm: float, a_row: int, paper: str = "a4", labels: tuple[Label, ...] = LABELS) -> bytes:
    return strips_pdf(HEADING, [Strip("", labels, mm, a_row)], WORDS, paper, Letters())


def cut_marks(data: bytes, at: int = 0) -> list[list[float]]:
    """The middles in mm of the upright lines above and below each strip, from above; bounds hold a line's width too."""
    page = pypdfium2.PdfDocument(data)[at]
    height = page.get_height()
    rows: dict[int, set[float]] = {}
    for item in page.get_objects(filter=[raw.FPDF_PAGEOBJ_PATH]):
        left, bottom, right, top = (value / 72 * 25.4 for value in item.get_bounds())
        if right - left < 0.6 and 2.0 < top - bottom < 2.7:
            rows.setdefault(round((height / 72 * 25.4 - top) * 2), set()).add(round((left + right) / 2, 3))
    return [sorted(marks) for _, marks in sorted(rows.items())]


@pytest.mark.parametrize(
    ("mm", "a_row"), [(25.0, 8), (22.5, 8), (16.0, 12), (11.3, 16), (33.3, 8), (60.0, 3)]
)
def test_the_printed_pitch_is_the_one_asked_for(mm: float, a_row: int) -> None:
    marks = cut_marks(strip(mm, a_row))
    assert marks
    for row in marks:
        for at, mark in enumerate(row):
            assert mark - row[0] == pytest.approx(at * mm, abs=0.05), "no error adds up along the strip"


def test_so_many_labels_stand_in_a_row() -> None:
    rows = cut_marks(strip(25.0, 8))
    assert [len(row) - 1 for row in rows[::2]] == [8] * 5


def test_a_strip_longer_than_the_paper_is_cut_between_labels() -> None:
    """A4 across has 277 mm inside its margins: eight of 33.3 mm."""
    rows = cut_marks(strip(33.3, 16))
    assert [len(row) - 1 for row in rows[::2]][:2] == [8, 8]
    assert all(row[-1] <= 297 - 9.9 for row in rows)


def test_the_ruler_is_100_mm_long() -> None:
    page = pypdfium2.PdfDocument(strip(25.0, 8))[0]
    lengths = []
    for item in page.get_objects(filter=[raw.FPDF_PAGEOBJ_PATH]):
        left, bottom, right, top = (value / 72 * 25.4 for value in item.get_bounds())
        if top - bottom < 0.5:
            lengths.append(right - left - (top - bottom))
    assert any(length == pytest.approx(100, abs=0.05) for length in lengths)
    assert "Print at 100 %" in texts(strip(25.0, 8))[0]


def test_every_number_and_a_name_that_fits() -> None:
    wide, narrow = (" ".join(texts(strip(mm, 8))) for mm in (30.0, 12.0))
    for label in LABELS:
        assert f" {label.number} " in f" {wide} "
    assert "Choir soprano 1" in wide
    assert "Choir soprano 1" not in narrow
    assert "Sop 1" in narrow
    assert all(group in wide for group in ("band", "choir", "speech"))


@pytest.mark.parametrize(
    ("mm", "a_row", "words"), [(5.9, 8, "6 to 100 mm"), (101, 8, "6 to 100 mm"), (25, 0, "one label")]
)
def test_sizes_that_cannot_be(mm: float, a_row: int, words: str) -> None:
    with pytest.raises(WriteError, match=words):
        strip(mm, a_row)


def test_long_and_foreign_names_stay_inside() -> None:
    odd = (Label("1", ("x" * 60,)), Label("2", ("漢字",)), Label("3", ("#[x]",)), Label("4"))
    said = texts(strip(10.0, 4, labels=odd))[0]
    assert "[U+6F22 U+5B57]" in said
    assert "#[x]" in said


def test_tags_for_both_ends() -> None:
    tags = (Tag("A.main", "> desk.a", "stage-left: 70 m"), Tag("desk.a", "> A.main", "stage-left: 70 m"))
    said = texts(tags_pdf(HEADING._replace(show="合"), tags, WORDS, "letter", Letters()))[0]
    assert "A.main" in said
    assert "> A.main" in said
    assert "[U+5408]" in said


def test_the_same_bytes_again() -> None:
    assert strip(25.0, 8) == strip(25.0, 8)
