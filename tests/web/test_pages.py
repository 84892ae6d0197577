"""The page in Debian's chromium: two phones at once, a dead network, a struck server, keyboard only, accessibility."""

from __future__ import annotations

import os
import re
import shutil
import signal
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from chanbridge.ident import places, play
from chanbridge.journal import Journal
from tests.web.conftest import BAND, LINKS, Serve, Served, eventually, show_with_acts, small_show, tick

sync_api = pytest.importorskip("playwright.sync_api")
CHROMIUM = shutil.which("chromium")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="Debian's chromium is not there"),
]

VIEWS = (
    "sheet",
    "line",
    "late",
    "findings",
    "changed",
    "flow&id=a-kick",
    "compare",
    "papers",
    "find&q=a",
    "channel&id=a-kick",
    "sheet&port=A&act=duo",
    "line&act=duo",
    "changed&act=duo",
    "channel&id=a-harp",
)
PHONE, LAPTOP = {"width": 360, "height": 740}, {"width": 1280, "height": 800}

NETWORK = "phones.test"
"""A name that the browser takes to be elsewhere; .test is never a real one (RFC 2606 section 2)."""

Page = Any
Open = Callable[..., Page]


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with sync_api.sync_playwright() as running:
        made = running.chromium.launch(
            executable_path=CHROMIUM,
            args=[
                f"--host-resolver-rules=MAP {NETWORK} 127.0.0.1",
                "--disable-dev-shm-usage",
                *(["--no-sandbox"] if os.geteuid() == 0 else []),
            ],
        )
        yield made
        made.close()


@pytest.fixture
def phone(browser: Any) -> Iterator[Open]:
    """Opens a page in a browser of its own; at the end nothing was refused by the policy, and nothing went elsewhere."""
    contexts, wrong, asked = [], [], set()

    def start(url: str, *, size: dict[str, int] = PHONE, scheme: str = "dark") -> Page:
        context = browser.new_context(viewport=size, color_scheme=scheme)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on("console", lambda said: wrong.append(said.text) if "Content Security" in said.text else None)
        page.on("request", lambda request: asked.add(re.sub(r"^(\w+://[^/:]+).*", r"\1", request.url)))
        page.goto(url)
        return page

    yield start
    for context in contexts:
        context.close()
    assert not wrong
    assert asked <= {"http://127.0.0.1", f"http://{NETWORK}"}


def at_line(page: Page, who: str = "", listen: str = "") -> Page:
    page.get_by_role("link", name="Line check", exact=True).click()
    page.get_by_role("heading", name="Line check").wait_for()
    if who:
        page.get_by_label("Your name").fill(who)
        page.get_by_label("Your name").press("Tab")
    if listen:
        page.get_by_label("I listen at").select_option(label=listen)
    return page


def cell(page: Page, name: str, at: str) -> Any:
    return page.locator("#check button.cell").and_(page.get_by_label(re.compile(f"^{name} at {at}:")))


def says(page: Page, name: str, at: str, words: str) -> None:
    sync_api.expect(cell(page, name, at)).to_have_attribute("aria-label", re.compile(words))


def ask(page: Page, name: str, at: str, result: str, note: str = "") -> None:
    cell(page, name, at).click()
    dialog = page.get_by_role("dialog")
    if note:
        dialog.get_by_label("Note", exact=True).fill(note)
    dialog.get_by_role("button", name=result).click()


def test_two_tick_at_once_and_both_see_both(serve: Serve, phone: Open) -> None:
    served = serve()
    one = at_line(phone(served.base), "Ana", "House desk")
    two = at_line(phone(served.base, size=LAPTOP), "Jonas")
    one.locator("#card-buttons").get_by_role("button", name="arrived").click()
    ask(two, "Snare", "Ears desk", "noisy", "hums")
    for page in (one, two):
        says(page, "Kick", "House desk", r"arrived \(Ana, \d\d:\d\d")
        says(page, "Snare", "Ears desk", r"noisy: hums \(Jonas, ")
        sync_api.expect(page.locator("tr.walk:not([hidden])")).to_contain_text("A2")
    sync_api.expect(one.locator("#card-name")).to_have_text("Snare")  # on to the next
    eventually(lambda: len(served.live.ticks.kept) == 2)


def test_how_soon_a_tick_is_seen(
    serve: Serve, phone: Open, record_property: Callable[[str, str], None]
) -> None:
    served = serve()
    one, two = (at_line(phone(served.base), listen="House desk") for _ in range(2))
    two.evaluate(
        "new MutationObserver(() => { window.seen ??= Date.now(); }).observe(document.getElementById('check'), "
        "{ subtree: true, attributes: true, attributeFilter: ['data-said'] })"
    )
    waits = []
    for turn in range(15):
        two.evaluate("window.seen = undefined")
        result = ("dead", "noisy")[turn % 2]
        begun = one.evaluate(
            f"document.querySelector('#card-buttons [data-result={result}]').click() ?? Date.now()"
        )
        eventually(lambda: two.evaluate("window.seen") is not None)
        waits.append(two.evaluate("window.seen") - begun)
    record_property(
        "figure",
        f"a tick is seen on the other phone after {statistics.median(waits):.0f} ms (median of {len(waits)})",
    )
    eventually(lambda: len(served.live.ticks.kept) == 15)


def test_the_network_goes_and_comes_back(serve: Serve, phone: Open) -> None:
    served = serve()
    one = at_line(phone(served.base), "Ana", "House desk")
    two = at_line(phone(served.base), "Jonas", "House desk")
    sync_api.expect(one.locator("#link")).to_have_text("live")
    one.context.set_offline(True)
    one.locator("#card-buttons").get_by_role("button", name="dead").click()
    sync_api.expect(one.locator("#link")).to_have_text("No network. 1 tick waits here and will be sent")
    says(one, "Kick", "House desk", "dead .Ana, .*not sent yet")
    two.locator("#card-buttons").get_by_role("button", name="arrived").click()
    says(two, "Kick", "House desk", "arrived")
    eventually(lambda: len(Journal(served.folder).entries("tick")) == 1)
    one.context.set_offline(False)
    sync_api.expect(one.locator("#link")).to_have_text("live", timeout=15000)
    for page in (one, two):
        says(page, "Kick", "House desk", "in dispute: (?=.*arrived .Jonas)(?=.*dead .Ana)")
        sync_api.expect(page.locator("tr.walk:not([hidden])")).to_contain_text("two people say two things")
    ask(two, "Kick", "House desk", "arrived")
    for page in (one, two):
        says(page, "Kick", "House desk", ": arrived")


def test_what_waits_survives_that_the_page_is_closed(serve: Serve, phone: Open) -> None:
    served = serve()
    one = at_line(phone(served.base), "Ana", "House desk")
    one.context.set_offline(True)
    one.locator("#card-buttons").get_by_role("button", name="dead").click()
    sync_api.expect(one.locator("#link")).to_contain_text("1 tick waits")
    context = one.context
    one.close()
    context.set_offline(False)
    again = context.new_page()
    again.goto(served.base)
    sync_api.expect(again.locator("#link")).to_have_text("live")
    eventually(lambda: len(Journal(served.folder).entries("tick")) == 1)
    assert Journal(served.folder).entries("tick")[0].body["ticks"][0]["who"] == "Ana"


def test_a_reload_without_the_network_opens_the_page(serve: Serve, phone: Open) -> None:
    served = serve()
    served.ask("/ticks", {"ticks": [tick(1, "a-snare", who="Jonas")]})
    page = at_line(phone(served.base), "Ana", "House desk")
    page.locator("#card-buttons").get_by_role("button", name="dead").click()
    says(page, "Kick", "House desk", r"dead \(Ana, \d\d:\d\d\)")
    kept = "async name => await (await caches.match(name))?.text() ?? ''"
    eventually(
        lambda: "dead" in page.evaluate(kept, "/ticks") and "Line check" in page.evaluate(kept, "/?view=line")
    )
    assert page.locator("#away").is_hidden()
    served.end()
    page.reload()
    page.get_by_role("heading", name="Line check").wait_for()
    sync_api.expect(page.locator("#link")).to_contain_text("No network")
    says(page, "Snare", "House desk", "arrived .Jonas")
    says(page, "Kick", "House desk", "dead .Ana")
    sync_api.expect(page.get_by_label("I listen at")).to_have_value("desk")
    page.get_by_role("button", name="Next").click()
    page.get_by_role("button", name="Next").click()
    page.locator("#card-buttons").get_by_role("button", name="noisy").click()
    sync_api.expect(page.locator("#link")).to_contain_text("1 tick waits")
    page.reload()
    says(page, "Bass", "House desk", "noisy .Ana, .*not sent yet")
    page.get_by_role("link", name="Sheets", exact=True).click()
    sync_api.expect(page.locator("#said-now")).to_contain_text("No network: this")
    again = serve(served.folder, port=served.port)
    eventually(lambda: "noisy" in {one.tick.result for one in again.live.ticks.all()})
    sync_api.expect(page.locator("#link")).to_have_text("live", timeout=15000)


def test_a_link_that_keeps_no_page_says_so_and_keeps_the_ticks(serve: Serve, phone: Open) -> None:
    """Over plain http from elsewhere a browser has no worker; what is ticked is there when the page opens again."""
    served = serve(links=LINKS, host=NETWORK)
    page = at_line(phone(f"{served.base}/?key={LINKS.tick}"), "Ana", "House desk")
    assert page.evaluate("navigator.serviceWorker === undefined && !isSecureContext")
    sync_api.expect(page.locator("#link")).to_have_text("live")
    assert page.locator("#away").is_hidden()
    page.context.set_offline(True)
    page.locator("#card-buttons").get_by_role("button", name="dead").click()
    sync_api.expect(page.locator("#away")).to_contain_text("Leave this page open")
    sync_api.expect(page.locator("#away")).to_contain_text("kept in this browser all the same")
    with pytest.raises(sync_api.Error, match="ERR_INTERNET_DISCONNECTED"):
        page.reload()
    page.context.set_offline(False)
    page.reload()
    sync_api.expect(page.locator("#link")).to_have_text("live")
    eventually(lambda: [one.tick.result for one in served.live.ticks.all()] == ["dead"])


def test_two_pages_of_one_browser_keep_the_ticks_of_both(serve: Serve, phone: Open) -> None:
    served = serve()
    one = at_line(phone(served.base), "Ana", "House desk")
    two = one.context.new_page()
    two.goto(served.base)
    at_line(two, listen="House desk")
    context = one.context
    context.set_offline(True)
    for page, result in ((one, "dead"), (two, "noisy"), (one, "wrong")):
        page.locator("#card-buttons").get_by_role("button", name=result).click()
        sync_api.expect(page.locator("#link")).to_contain_text("wait")
    one.close()
    two.close()
    context.set_offline(False)
    again = context.new_page()
    again.goto(served.base)
    eventually(
        lambda: sorted(one.tick.result for one in served.live.ticks.all()) == ["dead", "noisy", "wrong"]
    )
    sync_api.expect(again.locator("#link")).to_have_text("live")


def test_many_long_ticks_that_wait_are_all_sent(serve: Serve, phone: Open) -> None:
    """More than one message may hold."""
    served = serve()
    page = at_line(phone(served.base), "Ana", "House desk")
    sync_api.expect(page.locator("#link")).to_have_text("live")
    page.context.set_offline(True)
    for number in range(90):
        page.evaluate(
            "note => { const field = document.getElementById('card-note'); field.value = note; "
            "document.querySelector('#card-buttons [data-result=noisy]').click(); }",
            f"{number:03} " + "ü" * 190,
        )
    sync_api.expect(page.locator("#link")).to_contain_text("90 ticks wait")
    page.context.set_offline(False)
    eventually(lambda: len(served.live.ticks.kept) == 90)
    sync_api.expect(page.locator("#link")).to_have_text("live", timeout=15000)


def test_what_is_refused_stands_nowhere(serve: Serve, phone: Open) -> None:
    served = serve()
    page = at_line(phone(served.base), listen="House desk")
    page.evaluate("localStorage.setItem(`chanbridge ${document.body.dataset.show} who`, 'x'.repeat(41))")
    page.locator("#card-buttons").get_by_role("button", name="dead").click()
    sync_api.expect(page.locator("#said-now")).to_contain_text("A tick was refused: who")
    says(page, "Kick", "House desk", "not ticked")
    assert not served.live.ticks.kept


def test_the_line_check_of_an_act(serve: Serve, phone: Open, tmp_path: Path) -> None:
    served = serve(show_with_acts(tmp_path / "show"))
    one, two = (at_line(phone(served.base), who, "House desk") for who in ("Ana", "Jonas"))
    one.locator("#card-buttons").get_by_role("button", name="arrived").click()
    says(one, "Kick", "House desk", r"arrived .Ana, \d\d:\d\d\)")
    one.get_by_role("link", name="The duo").click()
    sync_api.expect(one.locator("#acts [aria-current]")).to_have_text("The duo")
    says(one, "Kick", "House desk", "ticked when it stood at A1 > 1, check it again")
    sync_api.expect(one.locator("#card-at")).to_contain_text("0 arrived")
    ask(one, "Harp", "House desk", "dead")
    sync_api.expect(one.locator("tr.walk:not([hidden])")).to_contain_text("A1")
    one.get_by_label("I read out").check()
    sync_api.expect(one.locator("#card-name")).to_have_text("Snare")
    one.get_by_role("button", name="Back").click()  # the harp's row stands before the snare's
    sync_api.expect(two.locator("#said-now")).to_contain_text("Read out now: Harp. It is not in this act")
    one.get_by_role("link", name="Sheets", exact=True).click()
    sync_api.expect(one.locator("#main h1")).to_contain_text("The duo")
    one.get_by_label("Find").fill("harp")
    one.get_by_label("Find").press("Enter")
    one.get_by_role("link", name="Harp").click()
    sync_api.expect(one.locator("#main")).to_contain_text("At the start: not on stage")


def test_who_was_told_is_marked_and_seen(serve: Serve, phone: Open) -> None:
    served = serve(links=LINKS)
    busy(served, role="steer")
    steer = phone(f"{served.base}/?key={LINKS.steer}&view=late", size=LAPTOP)
    desk = phone(f"{served.base}/?key={LINKS.tick}&view=sheet&port=desk")
    sync_api.expect(desk.locator("#state")).to_contain_text("House desk (1 not told)")
    steer.get_by_role("button", name="I told House desk of 1").click()
    for page in (steer, desk):
        sync_api.expect(page.locator("#state")).to_contain_text("House desk (1 told)")
    desk.get_by_role("link", name="Late changes").click()
    assert desk.get_by_role("button", name="I told").count() == 0
    sync_api.expect(desk.locator(".standing")).to_contain_text("House desk was told, has not said to have it")
    desk.go_back()
    desk.get_by_role("button", name="I have 1").click()
    for page in (steer, desk):
        sync_api.expect(page.locator("#state")).not_to_contain_text("House desk")
    sync_api.expect(steer.locator(".standing li.has")).to_contain_text("House desk")


def test_the_server_is_struck_dead_and_started_again(tmp_path: Path, phone: Open) -> None:
    folder = small_show(tmp_path / "show")

    def start(port: int) -> tuple[subprocess.Popen[str], int]:
        process = subprocess.Popen(
            [sys.executable, "-m", "chanbridge", "serve", str(folder), "--port", str(port)],
            stdout=subprocess.PIPE,
            text=True,
        )
        assert process.stdout
        found = re.search(r"127\.0\.0\.1:(\d+)", process.stdout.readline())
        assert found
        return process, int(found[1])

    process, port = start(0)
    try:
        page = at_line(phone(f"http://127.0.0.1:{port}"), "Ana", "House desk")
        page.locator("#card-buttons").get_by_role("button", name="arrived").click()
        sync_api.expect(page.locator("#link")).to_have_text("live")
        says(page, "Kick", "House desk", r"\d\d:\d\d")
        process.send_signal(signal.SIGKILL)
        process.wait()
        page.locator("#card-buttons").get_by_role("button", name="dead").click()
        sync_api.expect(page.locator("#link")).to_contain_text("1 tick waits here")
        process, _ = start(port)
        sync_api.expect(page.locator("#link")).to_have_text("live", timeout=15000)
        says(page, "Snare", "House desk", r"dead \(Ana, \d\d:\d\d")
        says(page, "Kick", "House desk", r"arrived \(Ana, \d\d:\d\d")
        assert len([one for entry in Journal(folder).entries("tick") for one in entry.body["ticks"]]) == 2
    finally:
        process.kill()
        process.wait()


def test_one_reads_out_and_the_others_follow(serve: Serve, phone: Open) -> None:
    served = serve()
    reader, other = (at_line(phone(served.base), listen=desk) for desk in ("House desk", "Ears desk"))
    reader.get_by_label("I read out").check()
    reader.get_by_role("button", name="Next").click()
    for page in (reader, other):
        sync_api.expect(page.locator("#card-name")).to_have_text("Snare")
    other.locator("#card-buttons").get_by_role("button", name="arrived").click()
    sync_api.expect(other.locator("#card-name")).to_have_text("Snare")  # waits for the reader
    other.get_by_role("button", name="Undo").click()
    says(reader, "Snare", "Ears desk", "not ticked|taken back")


def test_undo_takes_back_only_what_nobody_has_answered(serve: Serve, phone: Open) -> None:
    served = serve()
    one, two = (at_line(phone(served.base), who, "House desk") for who in ("Ana", "Jonas"))
    one.locator("#card-buttons").get_by_role("button", name="dead").click()
    says(two, "Kick", "House desk", "dead .Ana")
    ask(two, "Kick", "House desk", "arrived")
    says(one, "Kick", "House desk", "arrived .Jonas")
    one.get_by_role("button", name="Undo").click()
    sync_api.expect(one.locator("#said-now")).to_contain_text("somebody has ticked it since")
    says(one, "Kick", "House desk", "arrived .Jonas")


def test_swapped_with_somebody(serve: Serve, phone: Open) -> None:
    page = at_line(phone(serve().base), listen="House desk")
    page.locator("#card-buttons").get_by_role("button", name="swapped").click()
    dialog = page.get_by_role("dialog")
    dialog.get_by_label("Swapped with").select_option(label="Ana (A4)")
    dialog.get_by_role("button", name="swapped").click()
    says(page, "Kick", "House desk", "swapped with Ana")
    sync_api.expect(page.locator("#card-walk")).to_contain_text("Ana (A4)")


def test_a_late_change_from_its_words_to_the_last_receipt(serve: Serve, phone: Open) -> None:
    served = serve(links=LINKS)
    steer = phone(f"{served.base}/?key={LINKS.steer}&view=late", size=LAPTOP)
    assert "key" not in steer.url
    desk = phone(f"{served.base}/?key={LINKS.tick}&view=sheet&port=ears")
    steer.get_by_label("What changes").fill("Ana to A7")
    steer.get_by_role("button", name="What would it mean?").click()
    sync_api.expect(steer.locator("#meant")).to_contain_text("Plug Ana out of A4 into A7")
    sync_api.expect(desk.locator("#state")).not_to_contain_text("Not received")
    steer.get_by_role("button", name="It counts").click()
    sync_api.expect(desk.locator(".receipt")).to_contain_text("Ana comes on slot 7 now, not slot 4")
    sync_api.expect(desk.locator("tr.changed")).to_have_count(2)
    sync_api.expect(desk.locator("#news")).to_contain_text("Late change 1: Ana to A7")
    desk.get_by_role("button", name="I have 1").click()
    for page in (steer, desk):
        sync_api.expect(page.locator("#state")).to_contain_text("House desk (1 not told)")
        sync_api.expect(page.locator("#state")).not_to_contain_text("Ears desk (1 not told)")


def test_a_sheet_is_pasted_and_dropped(serve: Serve, phone: Open) -> None:
    page = phone(f"{serve().base}/?view=compare")
    page.get_by_label("or paste rows from a spreadsheet").fill(
        BAND.replace("Bass", "Cello").replace(",", "\t")
    )
    page.get_by_role("button", name="Compare").click()
    sync_api.expect(page.locator("#answer")).to_contain_text("Cello")
    page.evaluate(
        "text => { const files = new DataTransfer(); files.items.add(new File([text], 'dropped.csv')); "
        "document.dispatchEvent(new DragEvent('drop', { dataTransfer: files })); }",
        BAND,
    )
    sync_api.expect(page.locator("#answer")).to_contain_text("dropped.csv beside")
    sync_api.expect(page.locator("#answer")).to_contain_text("no difference")


def test_a_recording_of_two_tracks_is_heard(serve: Serve, phone: Open, tmp_path: Path) -> None:
    served = serve()
    coded = places.coded(served.live.now.planned.map, places.SOCKETS)
    codes = [
        coded.codes[place.occupants[0].source]
        for place in places.places(served.live.now.planned.map, "desk")[:2]
    ]
    for name, code in zip(("track 10.wav", "track 2.wav"), reversed(codes), strict=True):
        with (tmp_path / name).open("wb") as stream:
            play.write(stream, play.Signals("ident", [code], 48000, 5.0, -20.0), ["x"], "", "")
    page = phone(f"{served.base}/?view=compare")
    page.get_by_label("Whose inputs were recorded").select_option(label="House desk")
    page.get_by_label(re.compile("A WAV recorded")).set_input_files(
        [tmp_path / "track 10.wav", tmp_path / "track 2.wav"]
    )
    page.get_by_role("button", name="Listen").click()
    answer = page.locator("#answer")
    sync_api.expect(answer).to_contain_text("in this order: track 2.wav, track 10.wav", timeout=30000)
    sync_api.expect(answer).to_contain_text(re.compile(r"1 +A 1 +Kick.*\n2 +A 2 +Snare"))


def test_a_saved_sheet_is_seen_without_a_touch(serve: Serve, phone: Open) -> None:
    served = serve()
    pages = [phone(served.base), phone(served.base, size=LAPTOP)]
    for page in pages:
        sync_api.expect(page.locator("#link")).to_have_text("live")
    (served.folder / "band.csv").write_text(BAND.replace("Bass", "Cello"), "utf-8")
    for page in pages:
        sync_api.expect(page.locator("tr.changed")).to_contain_text("Cello")


def test_with_the_keyboard_alone(serve: Serve, phone: Open) -> None:
    page = phone(serve().base, size=LAPTOP)
    focused = "document.activeElement.textContent.trim() || document.activeElement.id"

    def tab_to(words: str, most: int = 60) -> None:
        for _ in range(most):
            page.keyboard.press("Tab")
            if words in (
                page.evaluate("document.activeElement.getAttribute('aria-label')") or page.evaluate(focused)
            ):
                seen = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
                assert seen != "none", f"nobody sees that {words} has the focus"
                return
        raise AssertionError(f"{words} is not reached with Tab")

    tab_to("To the content", 1)
    tab_to("Line check")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Line check").wait_for()
    tab_to("Kick at House desk")
    page.keyboard.press("Enter")
    page.get_by_role("dialog").wait_for()
    page.keyboard.press("Escape")
    assert "Kick at House desk" in page.evaluate("document.activeElement.getAttribute('aria-label')")
    page.keyboard.press("Enter")
    assert "arrived" in page.evaluate(focused)
    page.keyboard.press("Enter")
    says(page, "Kick", "House desk", ": arrived")
    assert "Kick at House desk" in page.evaluate("document.activeElement.getAttribute('aria-label')")


def test_nothing_is_wider_than_a_phone_or_too_small_to_touch(
    serve: Serve, phone: Open, tmp_path: Path
) -> None:
    # 24 px: Web Content Accessibility Guidelines 2.2, criterion 2.5.8 (from memory)
    served = serve(show_with_acts(tmp_path / "show"))
    page = phone(served.base)
    for view in VIEWS:
        page.goto(f"{served.base}/?view={view}")
        assert page.evaluate("document.documentElement.scrollWidth") <= 360, view
        small = page.evaluate(
            "[...document.querySelectorAll('button, select, input, nav a, th a, summary')].filter(one => one.checkVisibility())"
            ".map(one => [one.getBoundingClientRect(), one.outerHTML.slice(0, 80)])"
            ".filter(([box]) => box.height && box.height < 24 && box.width < 100).map(([, text]) => text)"
        )
        assert [text for text in small if "checkbox" not in text] == [], view
    at_line(page, listen="House desk")
    for box in (one.bounding_box() for one in page.locator("#card-buttons button").all()):
        assert box["height"] >= 56
        assert box["width"] >= 120


@pytest.mark.parametrize("scheme", ["dark", "light"])
def test_names_roles_and_contrast(serve: Serve, phone: Open, tmp_path: Path, scheme: str) -> None:
    """Every view, with ticks, red lines and a late change in it, passes a common set of rules."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    served = serve(show_with_acts(tmp_path / "show"))
    busy(served)
    page = phone(served.base, scheme=scheme, size=LAPTOP if scheme == "light" else PHONE)
    for view in (*VIEWS, "dialog"):
        if view == "dialog":
            page.goto(f"{served.base}/?view=line")
            page.locator("#check button.cell:visible").first.click()
        else:
            page.goto(f"{served.base}/?view={view}")
        if view.startswith("line"):
            page.get_by_label("I listen at").select_option(label="House desk")
        sync_api.expect(page.locator("#link")).to_have_text("live")
        found = axe.Axe().run(page).response
        assert len(found["passes"]) > 10
        wrong = [
            f"{one['id']}: {one['nodes'][0]['html']} {one['nodes'][0]['failureSummary']}"
            for one in found["violations"]
        ]
        assert wrong == [], view


def busy(served: Served, role: str = "") -> None:
    results = ("arrived", "dead", "noisy", "swapped", "wrong")
    ticks = [
        {
            "id": f"busy-{at}-{number:04}",
            "channel": channel,
            "at": at,
            "result": result,
            "note": "a note",
            "who": "Ana",
        }
        for number, (channel, result) in enumerate(zip([*served.live.now.names][:5], results, strict=True))
        for at in ("desk", "ears")
    ]
    ticks[3]["result"] = "arrived"
    ticks.append(ticks[0] | {"id": "busy-again-0000", "result": "dead"})
    assert served.ask("/ticks", {"ticks": ticks}, role=role).status == 200
    shown = served.ask("/late/look", {"said": "Ana to A7"}, role=role).text
    agreed = shown.partition('data-agreed="')[2].partition('"')[0]
    assert served.ask("/late", {"said": "Ana to A7", "agreed": agreed}, role=role).status == 200
    time.sleep(0.05)
