"""A paper as HTML: one file, no network, every text escaped, tables that a screen reader can read."""

from __future__ import annotations

import re

import pytest
from lxml import html as parser

from chanbridge.handover.html import html
from chanbridge.handover.paper import Notes, Page, Picture
from chanbridge.handover.words import Words
from tests.handover.made import HEADING, page

WORDS = Words()
ODD = [
    "<script>alert(1)</script>",
    '"><img src=x>',
    "{{ 7 * 7 }}",
    "</table>",
    "שלום",
    "漢字 & co",
    "x" * 60,
    "",
]


def tree(data: bytes) -> parser.HtmlElement:
    return parser.document_fromstring(data.decode("utf-8"))


def test_names_stand_there_as_they_are() -> None:
    found = tree(html(page(ODD), WORDS))
    names = [cell.text_content() for cell in found.findall(".//tbody//th")]
    assert names == [*ODD[:-1], "spare"]
    assert len(found.findall(".//script")) == 1, "ours alone"
    assert not found.findall(".//img")


def test_nothing_is_fetched() -> None:
    data = html(page(ODD), WORDS).decode("utf-8")
    attributes = [
        (key, value)
        for node in tree(data.encode()).iter()
        for key, value in node.attrib.items()
        if key in ("src", "href")
    ]
    assert attributes == [("href", "#list")]
    assert not re.search(r"url\(|@import|fetch\(|XMLHttp|//[a-z]+\.[a-z]", re.sub(r'xmlns="[^"]*"', "", data))
    assert "default-src 'none'" in data


def test_the_table_tells_what_its_cells_are() -> None:
    found = tree(html(page(["Ana", "Bo", "Cy"]), WORDS))
    table = found.find(".//table")
    assert table.find("caption").text_content().strip() == "Broadcast truck"
    assert {cell.get("scope") for cell in table.findall(".//thead//th")} == {"col"}
    assert {cell.get("scope") for cell in table.findall(".//tbody//th")} == {"row"}
    boxes = table.findall(".//input")
    assert [box.get("aria-label") for box in boxes] == ["Done: 1 Ana", "Done: 2 Bo", "Done: 3 Cy"]
    assert all(box.getparent().tag == "label" for box in found.findall(".//form//input"))
    assert found.get("lang") == "en"


def test_a_spare_has_nothing_to_tick_and_is_numbered() -> None:
    row = tree(html(page(["Ana", ""]), WORDS)).findall(".//tbody/tr")[1]
    assert row.find(".//input") is None
    assert "2" in row.text_content()
    assert "spare" in row.get("class")


def test_a_change_is_said_in_words_too() -> None:
    rows = tree(html(page(["Ana", "Bo"], changed=frozenset({2})), WORDS)).findall(".//tbody/tr")
    assert "changed" not in rows[0].text_content()
    assert "(changed)" in rows[1].text_content()


@pytest.mark.parametrize("what", ["changed", "filled", "open"])
def test_filters_are_there_only_where_they_filter(what: str) -> None:
    all_of_them = page(["Ana", "", "Cy"], changed=frozenset({1}))
    none_of_them = page(["Ana", "Bo", "Cy"])._replace(ticks=False)
    assert tree(html(all_of_them, WORDS)).get_element_by_id(what) is not None
    with pytest.raises(KeyError):
        tree(html(none_of_them, WORDS)).get_element_by_id(what)


def test_ticks_belong_to_one_revision() -> None:
    def place(made: Page) -> str:
        found = re.search(r'const place = "([^"]*)"', html(made, WORDS).decode("utf-8"))
        assert found
        return found[1]

    same = page(["Ana"])
    assert place(same) == place(same)
    assert place(same) != place(same._replace(heading=HEADING._replace(hash="ff" * 32)))
    assert place(same) != place(same._replace(heading=HEADING._replace(recipient="Recorder")))


def test_the_same_bytes_again() -> None:
    assert html(page(ODD), WORDS) == html(page(ODD), WORDS)


def test_a_picture_has_words_beside_it() -> None:
    drawn = Picture(
        "Flow", '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"/>', ("A > desk: 3 of 8",), 1, 1
    )
    found = tree(html(Page(HEADING, (drawn, Notes("Take care", ("Mute.",), careful=True))), WORDS))
    assert found.find(".//svg") is not None
    assert "A > desk: 3 of 8" in found.text_content()
    assert "! Take care" in found.text_content()


def test_words_follow_the_language() -> None:
    found = tree(html(page(["Ana"]), Words("fr")))
    assert found.get("lang") == "fr"
    assert "Chercher" in found.find(".//form").text_content()
