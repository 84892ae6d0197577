"""A paper as PDF: what is on it, in which order, on how many pages; its text as another library reads it."""

from __future__ import annotations

import re

import numpy as np
import pypdfium2
import pytest
import segno

from chanbridge.handover.paper import Notes, Row, Table
from chanbridge.handover.pdf import column_widths, pdf
from chanbridge.handover.words import Words
from tests.handover.made import COLUMNS, HEADING, ink, page, texts

WORDS = Words()
NAMES = [f"Chair {at} of the choir" for at in range(1, 65)]


def in_order(text: str, parts: list[str]) -> None:
    at = 0
    for part in parts:
        found = text.find(part, at)
        assert found >= 0, f"{part!r} is not on the page after {text[max(0, at - 40) : at]!r}"
        at = found + len(part)


def test_every_slot_and_every_name_in_order() -> None:
    said = texts(pdf(page(NAMES), WORDS))
    in_order(" ".join(said), [f"{at} {name}" for at, name in enumerate(NAMES, 1)])


def test_64_slots_stand_on_two_pages() -> None:
    assert len(texts(pdf(page(NAMES), WORDS))) == 2
    assert len(texts(pdf(page(NAMES), WORDS, "letter"))) == 2


def test_200_rows_with_names_of_60_letters() -> None:
    names = [f"{at:03}{'x' * 57}" for at in range(1, 201)]
    said = texts(pdf(page(names), WORDS))
    whole = " ".join(said).replace(" ", "")
    in_order(whole, names)
    assert all(re.search(rf"page {at} of {len(said)}\b", text) for at, text in enumerate(said, 1))


def test_each_page_says_whose_it_is_and_which_revision() -> None:
    said = texts(pdf(page(NAMES), WORDS))
    for at, text in enumerate(said, 1):
        in_order(text, ["Harvest Play", "Broadcast truck"])
        for part in ("Revision B (kolumi)", "2026-10-03", f"page {at} of 2"):
            assert part in text
        assert all(column.heading in text for column in COLUMNS), "the headings are on every page"
    assert re.search(r"Slot 1–\d+, page 1 of 2", said[0])
    assert re.search(r"Slot \d+–64, page 2 of 2", said[1])


@pytest.mark.parametrize(
    "name",
    [
        "#strong[Ana]",
        "*Ana* _x_",
        "$x$ \\ #",
        "<b>Ana</b>",
        "'\"`",
        "// no comment",
        "=SUM(A1)",
        "@ref <label>",
        "]]>{{x}}",
    ],
)
def test_markup_in_a_name_is_text(name: str) -> None:
    assert name in texts(pdf(page([name, "Bo"]), WORDS))[0]


def test_a_letter_that_no_font_has_is_spelled_out_and_said() -> None:
    said = texts(pdf(page(["合唱", "Choir"]), WORDS))[0]
    assert "[U+5408 U+5531]" in said
    assert "The fonts lack these letters" in said


def test_right_to_left_names_are_there() -> None:
    said = texts(pdf(page(["שלום", "Bo"]), WORDS))[0]
    assert "שלום" in said or "םולש" in said  # a reader may give the letters as they stand on the line


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_paper_sizes(paper: str, size: tuple[int, int]) -> None:
    """In points: 210 × 297 mm (ISO 216) and 8.5 × 11 inches."""
    document = pypdfium2.PdfDocument(pdf(page(NAMES[:3]), WORDS, paper))
    assert document[0].get_size() == pytest.approx(size, abs=1.5)


@pytest.mark.parametrize(
    "name", ["n" * 300, "A very long name " * 20, "漢" * 80], ids=["word", "words", "spelled"]
)
def test_long_headings_stay_in_their_place(name: str) -> None:
    long = page(NAMES)._replace(heading=HEADING._replace(show=name, recipient=name))
    said = texts(pdf(long, WORDS))
    assert len(said) == 2
    assert "…" in said[0]
    in_order(said[0], ["page 1 of 2", "1 Chair 1 of the choir"])


def test_the_same_bytes_again_and_no_time_of_making() -> None:
    first = pdf(page(NAMES), WORDS)
    assert first == pdf(page(NAMES), WORDS)
    document = pypdfium2.PdfDocument(first)
    assert document.get_metadata_dict()["CreationDate"].startswith("D:20261003")
    assert document.get_metadata_dict()["Title"] == "Harvest Play: Broadcast truck"


def test_a_show_without_a_date_or_revision() -> None:
    bare = page(NAMES[:2])._replace(heading=HEADING._replace(date=None, revision="", word="", hash=""))
    said = texts(pdf(bare, WORDS))[0]
    assert "Revision" not in said
    assert pdf(bare, WORDS) == pdf(bare, WORDS)


def test_a_change_bar_stands_beside_the_row_that_changed() -> None:
    """Black at the left margin (9 mm), nowhere without a change."""
    plain, barred = (ink(pdf(page(NAMES[:20], changed=frozenset(which)), WORDS)) for which in ((), (7,)))
    left = slice(int(9.2 / 25.4 * 144), int(10.2 / 25.4 * 144))
    new = np.flatnonzero((barred[:, left].max(axis=1) < 60) & (plain[:, left].min(axis=1) > 200))
    assert new[-1] - new[0] + 1 == len(new), "one bar, unbroken"
    assert 4 < len(new) / 144 * 25.4 < 8, "as high as a row, in mm"


def test_warnings_are_white_on_black() -> None:
    """Not told by colour alone, and not lost on a bad copier: the words are there too."""
    data = pdf(page(NAMES[:6]), WORDS)
    assert "NOT FOR AIR" in texts(data)[0]


def test_the_code_holds_the_fingerprint() -> None:
    """Each module of the printed code, at its middle, against the matrix that segno makes of the hash."""
    picture = ink(pdf(page(NAMES[:3]), WORDS), scale=10)
    matrix = np.array([list(row) for row in segno.make_qr(HEADING.hash.upper(), error="m").matrix]) > 0
    modules = len(matrix) + 8  # four quiet ones on each side (ISO/IEC 18004)
    mm = 720 / 25.4
    area = picture[: int(27 * mm), int((210 - 9 - 18) * mm) : int((210 - 9) * mm)]
    top, left = (np.flatnonzero((area < 100).any(axis=axis))[0] for axis in (1, 0))
    middles = (np.arange(len(matrix)) + 0.5) * (18 * mm / modules)
    seen = area[np.ix_((top + middles).astype(int), (left + middles).astype(int))] < 128
    assert (seen == matrix).all()


@pytest.mark.parametrize("rows", [1, 5, 24, 25, 40, 80, 120])
def test_a_big_page_is_one_page(rows: int) -> None:
    said = texts(pdf(page([f"Voice {at}" for at in range(1, rows + 1)], big=True), WORDS))
    assert len(said) == 1
    in_order(said[0], ["Voice 1"])
    assert f"Voice {rows}" in said[0]


@pytest.mark.parametrize("length", [1, 20, 60, 400])
def test_columns_keep_to_the_page(length: int) -> None:
    rows = tuple(
        Row(str(at), ("1", "n" * length, "s" * 8, "o" * length, "", "", "m" * length)) for at in range(3)
    )
    widths = column_widths(Table("", COLUMNS, rows), 190, 10)
    assert sum(widths) <= 190.1
    assert min(widths) >= 4


def test_the_printed_words_follow_the_language() -> None:
    said = texts(pdf(page(NAMES[:3]), Words("de")))[0]
    assert "Seite 1 von 1" in said
    data = pdf(page(NAMES[:3])._replace(parts=(Notes("x", ("y",)),)), Words("it"))
    assert "pagina 1 di 1" in texts(data)[0]
