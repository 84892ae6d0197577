"""The HTML sheet in Debian's chromium: searched, filtered, ticked, printed, on a phone, by keyboard, and by axe."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pypdfium2
import pytest

from chanbridge.handover.cover import LeftOut, Share, Told, cover_page
from chanbridge.handover.flow import Card, Flow, picture
from chanbridge.handover.html import html
from chanbridge.handover.paper import Page
from chanbridge.handover.words import Words
from tests.handover.made import HEADING, page

sync_api = pytest.importorskip("playwright.sync_api")
CHROMIUM = "/usr/bin/chromium"

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not os.path.exists(CHROMIUM), reason="there is no chromium here"),
]

NAMES = [f"Chair {at}" for at in range(1, 41)]
NAMES[6], NAMES[11], NAMES[20] = "Zoë <b>", "", "x" * 60


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with sync_api.sync_playwright() as play:
        started = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield started
        started.close()


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("sheet") / "sheet.html"
    path.write_bytes(html(page(NAMES, changed=frozenset({5, 9})), Words()))
    return path


@pytest.fixture
def tab(browser: Any, sheet: Path) -> Iterator[Any]:
    """The sheet in a context of its own; anything that it fetches or complains about fails the test."""
    context = browser.new_context(viewport={"width": 1100, "height": 800})
    opened = context.new_page()
    wrong: list[str] = []
    opened.on("console", lambda said: wrong.append(said.text))
    opened.on("pageerror", lambda error: wrong.append(str(error)))
    opened.on("request", lambda asked: None if asked.url.startswith("file:") else wrong.append(asked.url))
    opened.goto(sheet.as_uri())
    yield opened
    context.close()
    assert wrong == []


def shown(tab: Any) -> list[str]:
    found: list[str] = tab.locator("tbody tr:visible .number").all_inner_texts()
    return [text.strip() for text in found]


def test_search_by_name_accents_aside(tab: Any) -> None:
    tab.fill("#find", "zoe")
    assert shown(tab) == ["7"]
    tab.fill("#find", "chair 3")
    assert shown(tab)[0] == "3"
    tab.fill("#find", "")
    assert len(shown(tab)) == 40


def test_a_number_finds_that_slot(tab: Any) -> None:
    tab.fill("#find", "37")
    assert shown(tab) == ["37"]
    assert "1 of 40 rows shown" in tab.inner_text("#count")


def test_filters_by_box_group_change_and_spares(tab: Any) -> None:
    tab.select_option("[data-filter=box]", "A")
    assert shown(tab) == [str(at) for at in range(2, 41, 2)]
    tab.select_option("[data-filter=box]", "")
    tab.select_option("[data-filter=group]", "choir")
    assert shown(tab) == [str(at) for at in range(3, 41, 3)]
    tab.select_option("[data-filter=group]", "")
    tab.check("#changed")
    assert shown(tab) == ["5", "9"]
    tab.uncheck("#changed")
    tab.check("#filled")
    assert "12" not in shown(tab)


def test_ticks_survive_a_reload(tab: Any) -> None:
    tab.get_by_label("Done: 4 Chair 4").check()
    tab.get_by_label("Done: 8 Chair 8").check()
    tab.reload()
    assert tab.get_by_label("Done: 4 Chair 4").is_checked()
    assert "2 ticked" in tab.inner_text("#count")
    tab.check("#open")
    assert {"4", "8", "12"}.isdisjoint(shown(tab))
    tab.on("dialog", lambda asked: asked.accept())
    tab.click("#untick")
    tab.reload()
    assert "0 ticked" in tab.inner_text("#count")


def test_by_keyboard_alone(tab: Any) -> None:
    tab.keyboard.press("Tab")
    assert tab.evaluate("document.activeElement.className") == "skip"
    tab.keyboard.press("Tab")
    tab.keyboard.type("chair 9")
    assert shown(tab) == ["9", *[str(at) for at in range(10, 41) if "9" in str(at)]]
    while tab.evaluate("document.activeElement.closest('tbody') === null"):
        tab.keyboard.press("Tab")
    tab.keyboard.press("Space")
    assert "1 ticked" in tab.inner_text("#count")


def test_on_a_phone_nothing_is_cut_off(browser: Any, sheet: Path) -> None:
    phone = browser.new_page(viewport={"width": 360, "height": 740})
    phone.goto(sheet.as_uri())
    assert phone.evaluate("document.documentElement.scrollWidth") <= 360
    wide = phone.evaluate(
        "[...document.querySelectorAll('tbody tr *')].filter(e => e.getBoundingClientRect().right > 361).length"
    )
    assert wide == 0
    phone.close()


@pytest.mark.parametrize(("width", "scheme"), [(1100, "light"), (360, "dark")])
def test_axe_finds_nothing(browser: Any, sheet: Path, width: int, scheme: str) -> None:
    """axe-core's rules for WCAG 2.0 to 2.2, levels A and AA, contrast among them."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    opened = browser.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme)
    opened.goto(sheet.as_uri())
    rules = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    found = axe.run(opened, options={"runOnly": rules})
    assert [(one["id"], one["nodes"][0]["html"]) for one in found.response["violations"]] == []
    assert len(found.response["passes"]) > 10
    opened.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_other_pages(browser: Any, tmp_path: Path, scheme: str) -> None:
    """The cover and a page with a picture: tables without ticks, fields to fill in, a drawing with its words."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    words = Words("de")
    shares = [Share("Truck", "3 von 4", "1–3", 1), Share("Pult", "4 von 4", "1–4", 0)]
    cover = cover_page(
        HEADING, shares, [LeftOut("Truck", "Oboe", "voll", True)], Told((("error", "x", "y"),)), words
    )
    drawn = picture(Flow(("Boxen",), (Card("a", 0, "Box A", ("3 von 8",), True, "box"),), ()), words)
    for name, made in (("cover", cover), ("flow", Page(HEADING, (drawn,)))):
        (tmp_path / f"{name}.html").write_bytes(html(made, words))
        opened = browser.new_page(color_scheme=scheme)
        opened.goto((tmp_path / f"{name}.html").as_uri())
        assert [(one["id"], one["nodes"][0]["html"]) for one in axe.run(opened).response["violations"]] == []
        opened.close()


def test_it_prints(tab: Any) -> None:
    tab.get_by_label("Done: 1 Chair 1").check()
    document = pypdfium2.PdfDocument(tab.pdf(format="A4"))
    said = " ".join(document[at].get_textpage().get_text_range() for at in range(len(document)))
    assert "Chair 40" in said
    assert "Search" not in said, "tools are for the screen"
