"""A line check under load: phones that tick over loopback while the server is struck dead again and again."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import re
import resource
import shutil
import signal
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from chanbridge.journal import Journal
from tests.web.conftest import small_show

EXAMPLES = Path(__file__).parents[2] / "examples"


class Load(NamedTuple):
    """What became of it. Times in ms: from a tick to its answer, and to its sight on another phone."""

    sent: int
    kept: int
    twice: int
    kills: int
    answered_ms: list[float]
    seen_ms: list[float]

    def lines(self) -> list[str]:
        """For people."""
        out = [f"{self.sent} ticks sent, {self.kept} in the journal, {self.twice} twice, {self.kills} kills"]
        for name, times in (("answered", self.answered_ms), ("seen elsewhere", self.seen_ms)):
            if len(times) > 1:
                out.append(
                    f"  {name}: median {statistics.median(times):.0f} ms, 95 % within {percentile(times):.0f} ms"
                )
        return out


def percentile(times: list[float]) -> float:
    """The 95th."""
    return statistics.quantiles(times, n=20)[-1]


class Server:
    """`chanbridge serve` in a process of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port = folder, 0
        self.start()

    def start(self) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "chanbridge", "serve", str(self.folder), "--port", str(self.port)],
            stdout=subprocess.PIPE, text=True, env=_compiled(),
        )  # fmt: skip
        assert self.process.stdout
        found = re.search(r"127\.0\.0\.1:(\d+)", self.process.stdout.readline())
        assert found
        self.port = int(found[1])

    def strike(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        self.start()

    def end(self) -> None:
        self.process.kill()
        self.process.wait()


class Phone(threading.Thread):
    """Ticks at its own pace, keeps what was not answered, and sends it again, as the page does."""

    def __init__(
        self, number: int, server: Server, pace_s: float, until: float, born: dict[str, float]
    ) -> None:
        super().__init__(daemon=True)
        self.number, self.server, self.pace_s, self.until, self.born = number, server, pace_s, until, born
        self.answered: dict[str, float] = {}
        self.sent: list[str] = []

    def run(self) -> None:
        queue: list[str] = []
        link: http.client.HTTPConnection | None = None
        due = time.monotonic() + self.pace_s * self.number / 20
        give_up = self.until + 60
        while time.monotonic() < self.until or (queue and time.monotonic() < give_up):
            now = time.monotonic()
            while due <= now and due < self.until:
                name = f"phone-{self.number:02}-{len(self.sent):06}"
                self.sent.append(name)
                self.born[name] = now
                queue.append(name)
                due += self.pace_s
            if not queue:
                time.sleep(max(0.001, min(due, self.until) - time.monotonic()))
                continue
            link = link or http.client.HTTPConnection("127.0.0.1", self.server.port, timeout=5)
            batch = queue[:50]
            ticks = [
                {"id": name, "channel": "a-kick", "at": f"desk-{self.number}", "result": "arrived"}
                for name in batch
            ]
            try:
                link.request(
                    "POST",
                    "/ticks",
                    json.dumps({"ticks": ticks}),
                    {"Origin": f"http://127.0.0.1:{self.server.port}"},
                )
                answer = link.getresponse()
                said = json.loads(answer.read())
                kept = {*said["kept"]} if answer.status == 200 else set()
            except (OSError, http.client.HTTPException, ValueError):
                link.close()
                link, kept = None, set()
                time.sleep(0.05)
            self.answered |= dict.fromkeys(kept, time.monotonic())
            queue = [name for name in queue if name not in kept]
        if link:
            link.close()


class Watcher(threading.Thread):
    """A page that only looks on."""

    def __init__(self, server: Server) -> None:
        super().__init__(daemon=True)
        self.server, self.over = server, False
        self.seen: dict[str, float] = {}

    def run(self) -> None:
        while not self.over:
            link = http.client.HTTPConnection("127.0.0.1", self.server.port, timeout=2)
            with contextlib.suppress(
                OSError, http.client.HTTPException
            ):  # the server was struck; on to the next
                link.request("GET", "/events")
                for line in link.getresponse().fp:
                    if line.startswith(b'data: {"ticks"'):
                        now = time.monotonic()
                        for tick in json.loads(line[6:])["ticks"]:
                            self.seen.setdefault(tick["id"], now)
                    if self.over:
                        break
            link.close()
            time.sleep(0.02)


def load(
    folder: Path, *, phones: int = 20, rate: float = 40.0, seconds: float = 30.0, kills: int = 0
) -> Load:
    """Phones that tick `rate` times a second altogether, while the server is struck `kills` times."""
    server = Server(small_show(folder))
    born: dict[str, float] = {}
    watcher = Watcher(server)
    try:
        watcher.start()
        begun = time.monotonic()
        crew = [Phone(at, server, phones / rate, begun + seconds, born) for at in range(phones)]
        for phone in crew:
            phone.start()
        for strike in range(kills):
            time.sleep(max(0.0, begun + seconds * (strike + 0.5) / kills - time.monotonic()))
            server.strike()
        for phone in crew:
            phone.join()
        time.sleep(0.5)
    finally:
        watcher.over = True
        server.end()
    sent = [name for phone in crew for name in phone.sent]
    kept = [one["id"] for entry in Journal(folder).entries("tick") for one in entry.body["ticks"]]
    answered = {name: at for phone in crew for name, at in phone.answered.items()}
    assert {*answered} <= {*kept}, "a tick was answered and is not in the journal"
    return Load(
        len(sent), len({*kept} & {*sent}), len(kept) - len({*kept}), kills,
        [1000 * (at - born[name]) for name, at in answered.items()],
        [1000 * (at - born[name]) for name, at in watcher.seen.items() if name in born],
    )  # fmt: skip


def usable_s(show: Path) -> tuple[float, float]:
    """Seconds from `chanbridge serve` to a page with its rows and all that it is made of, and those of the processor."""
    begun, spent = time.monotonic(), _processor_s()
    server = Server(show)
    try:
        link = http.client.HTTPConnection("127.0.0.1", server.port, timeout=5)
        for path in ("/", *(f"/static/{name}" for name in ("style.css", "page.js", "line.js", "forms.js"))):
            link.request("GET", path)
            answer = link.getresponse()
            text = answer.read()
            assert answer.status == 200, path
            assert path != "/" or b'<th scope="row">' in text
        taken = time.monotonic() - begun
    finally:
        server.end()
    return taken, _processor_s() - spent


def _checked_s(show: Path) -> float:
    """Seconds that `chanbridge check` takes, which reads and plans the same show."""
    begun = time.monotonic()
    subprocess.run(
        [sys.executable, "-m", "chanbridge", "check", str(show)], capture_output=True, env=_compiled()
    )
    return time.monotonic() - begun


def _compiled() -> dict[str, str]:
    return {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}


def _processor_s() -> float:
    """Seconds of the processor that all processes took which were started here and have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def live_s(show: Path) -> float | None:
    """The same until a browser says that its page is live; None where there is no browser to ask."""
    chromium = shutil.which("chromium")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        return None
    if chromium is None:
        return None
    with sync_playwright() as running:
        rights = ["--no-sandbox"] if os.geteuid() == 0 else []
        browser = running.chromium.launch(executable_path=chromium, args=rights)
        page = browser.new_page(viewport={"width": 360, "height": 740})
        begun = time.monotonic()
        server = Server(show)
        try:
            page.goto(f"http://127.0.0.1:{server.port}/")
            page.get_by_text("live", exact=True).wait_for()
            return time.monotonic() - begun
        finally:
            server.end()
            browser.close()


def appended_ms(folder: Path, entries: int, times: int = 50) -> float:
    """The median ms that a journal of so many entries takes for one more, on the disk."""
    folder.mkdir(exist_ok=True)
    journal = Journal(folder)
    at = len(journal.entries())
    body = {"ticks": [{"id": "0" * 32, "channel": "a-kick", "at": "desk", "result": "arrived"}]}
    taken = []
    for number in range(at, entries + times):
        begun = time.perf_counter()
        journal.append("tick", body, at="2026-12-12T18:00:00Z")
        if number >= entries:
            taken.append(1000 * (time.perf_counter() - begun))
    return statistics.median(taken)


def opening(folder: Path) -> Iterator[str]:
    """How soon the page is there, and what an entry of the journal takes."""
    for name in ("winter-concert", "sunday"):
        show = shutil.copytree(EXAMPLES / name, folder / name)
        usable, spent = map(statistics.median, zip(*(usable_s(show) for _ in range(5)), strict=True))
        seen = [one for one in (live_s(show) for _ in range(3)) if one is not None]
        browser = f", live in a browser after {statistics.median(seen):.2f} s" if seen else ""
        checked = statistics.median(_checked_s(show) for _ in range(5))
        yield (
            f"serve {name}: a usable page after {usable:.2f} s ({spent:.2f} s of the processor){browser}; "
            f"chanbridge check {checked:.2f} s: ratio {usable / checked:.2f}"
        )
    few = appended_ms(folder / "journal", 400)
    many = appended_ms(folder / "journal", 4000)
    yield f"journal: one more entry takes {few:.1f} ms after 400, {many:.1f} ms after 4000: ratio {many / few:.2f}"


def lines(folder: Path) -> Iterator[str]:
    """How soon the page is there; the load run without kills, and with 20 of them."""
    yield from opening(folder)
    yield "Line check, 20 phones, 40 ticks a second, 30 s:"
    yield from load(folder / "calm").lines()
    yield "The same, the server struck dead 20 times:"
    yield from load(folder / "struck", kills=20, seconds=60).lines()
