"""The door: nothing without a secret, nothing by another name, nothing written from elsewhere."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from chanbridge.errors import ReadError, ShowError
from chanbridge.web.address import checked
from chanbridge.web.guard import HEADERS, KEPT_S, WRONG_MOST, links_in
from tests.web.conftest import BAND, LINKS, Serve, Served, small_show, tick

PATHS = (
    "/",
    "/?view=line",
    "/static/page.js",
    "/worker.js",
    "/events",
    "/ticks",
    "/line-check.csv",
    "/papers/summary.txt",
    "/nothing",
)


def test_on_this_machine_the_page_is_there_at_once(free: Served) -> None:
    answer = free.ask("/")
    assert answer.status == 200
    assert "Kick" in answer.text
    assert "location" not in answer.headers


def test_without_the_secret_nothing_is_served(shared: Served) -> None:
    served = shared
    for path in PATHS:
        answer = served.ask(path)
        assert answer.status == 403, path
        assert "Boat House" not in answer.text
    assert served.ask("/ticks", {"ticks": [tick(1)]}).status == 403
    assert not served.live.ticks.kept


def test_the_link_lets_in_and_is_kept_by_the_browser(shared: Served) -> None:
    served = shared
    answer = served.ask(f"/?key={LINKS.tick}")
    assert answer.status == 200
    cookie = answer.headers["set-cookie"]
    assert all(word in cookie for word in ("HttpOnly", "SameSite=Strict", f"Max-Age={KEPT_S}"))
    again = served.ask("/ticks", headers={"Cookie": cookie.partition(";")[0]})
    assert again.status == 200
    assert "set-cookie" not in again.headers


def test_wrong_secrets_are_counted_and_then_nobody_from_there_is_answered(
    serve: Serve, monkeypatch: pytest.MonkeyPatch
) -> None:
    served = serve(links=LINKS)
    for _ in range(WRONG_MOST):
        assert served.ask("/?key=" + "x" * 22).status == 403
    answer = served.ask(f"/?key={LINKS.steer}")  # else trying on would pay
    assert answer.status == 429
    assert 0 < int(answer.headers["retry-after"]) <= 60
    monkeypatch.setattr("chanbridge.web.guard.WRONG_S", 0.0)
    assert served.ask(f"/?key={LINKS.steer}").status == 200


@pytest.mark.parametrize("secret", [LINKS.look[:-1], LINKS.look + "0", "", "é" * 22, "%00", "look"])
def test_what_is_nearly_the_secret_is_wrong(serve: Serve, secret: str) -> None:
    served = serve(links=LINKS)
    cookie = f"x=1; chanbridge-{served.port}={secret}".encode().decode("latin-1")
    assert served.ask("/", headers={"Cookie": cookie}).status == 403
    assert served.ask(f"/?key={secret if secret.isascii() else '%C3%A9'}").status == 403


@pytest.mark.parametrize(
    ("role", "path", "data", "status"),
    [
        ("look", "/ticks", {"ticks": [tick(1)]}, 403),
        ("look", "/received", {"recipient": "desk", "what": [1]}, 403),
        ("look", "/reading", {"channel": "a-kick"}, 403),
        ("look", "/compare", b"Ch,Name\n1,Kick\n", 403),
        ("look", "/late/look", {"said": "Ana to A7"}, 403),
        ("tick", "/ticks", {"ticks": [tick(1)]}, 200),
        ("look", "/told", {"recipient": "desk", "what": [1]}, 403),
        ("look", "/ident", b"[]\n", 403),
        ("tick", "/told", {"recipient": "desk", "what": [1]}, 403),
        ("tick", "/late/look", {"said": "Ana to A7"}, 403),
        ("tick", "/late", {"said": "Ana to A7"}, 403),
        ("steer", "/late/look", {"said": "Ana to A7"}, 200),
    ],
)
def test_a_link_lets_do_what_it_says(shared: Served, role: str, path: str, data: object, status: int) -> None:
    answer = shared.ask(path, data, role=role)
    assert answer.status == status, answer.text
    if status == 403:
        assert "ask for the link to" in answer.json()["error"]


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:1"},
        {"Origin": "https://127.0.0.1"},
        {"Origin": ""},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "none"},
    ],
)
def test_only_our_own_pages_write(free: Served, headers: dict[str, str]) -> None:
    served = free
    for path in ("/ticks", "/late", "/late/look", "/received", "/told", "/compare", "/ident", "/reading"):
        answer = served.ask(path, {"ticks": [tick(1)]}, headers=headers)
        assert answer.status == 403, path
    assert not served.live.ticks.kept


@pytest.mark.parametrize("host", ["elsewhere.example", "127.0.0.1.elsewhere.example", "", "[", "0.0.0.0"])
def test_no_other_name_leads_here(free: Served, shared: Served, host: str) -> None:
    """A page that makes its own name lead to this machine is not let in."""
    assert free.ask("/", headers={"Host": host}).status == 421
    assert shared.ask("/", headers={"Host": host}, role="steer").status == 421


@pytest.mark.parametrize(
    "path", [*(path for path in PATHS if path != "/events"), "/?view=nothing", "/papers/%2e%2e"]
)
def test_every_answer_carries_the_policy(free: Served, shared: Served, path: str) -> None:
    for served, role in ((free, ""), (shared, "look"), (shared, "")):
        answer = served.ask(path, role=role)
        for name, value in HEADERS.items():
            assert answer.headers[name] == value, (path, answer.status)
    assert "'unsafe" not in HEADERS["content-security-policy"]


def test_no_page_has_a_script_or_a_style_inside(free: Served) -> None:
    served = free
    for view in (
        "sheet",
        "line",
        "late",
        "findings",
        "changed",
        "flow",
        "compare",
        "papers",
        "find",
        "channel&id=a-kick",
    ):
        text = served.ask(f"/?view={view}").text.lower()
        assert text.count("<script") == 1
        assert '<script type="module" src="/static/page.js"></script>' in text
        assert "<style" not in text
        assert " style=" not in text
        assert " onclick" not in text
        assert "javascript:" not in text
        assert "http://" not in text.replace("http://www.w3.org/", "")
        assert "https://" not in text


@pytest.mark.parametrize(
    "name", ["<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "{{ 7 * 7 }}"]
)
def test_names_are_text_wherever_they_stand(serve: Serve, name: str, tmp_path: Path) -> None:
    folder = small_show(tmp_path / "show")
    quoted = name.replace('"', '""')
    (folder / "band.csv").write_text(BAND.replace("Kick", f'"{quoted}"'), "utf-8")
    served = serve(folder)
    found = served.live.now.planned.map.channels[0]
    assert found.name == name
    shown = name.replace("<", "&lt;").replace(">", "&gt;").replace('"', "&#34;")
    for path in ("/", "/?view=line", f"/?view=channel&id={found.id}", "/?view=flow", "/?view=find&q=a1"):
        text = served.ask(path).text
        assert shown in text, path
        assert "<script>" not in text
        assert "<img" not in text
    assert "<script>" not in served.ask("/?view=find&q=%3Cscript%3E").text


def test_links_are_kept_for_the_next_start_and_only_ours_to_read(tmp_path: Path) -> None:
    path = str(tmp_path / "share.keys")
    first = links_in(path, anew=False)
    assert len(set(first)) == 3
    assert all(len(secret) == 22 for secret in first)
    assert stat.S_IMODE(os.stat(path).st_mode) == 0o600
    assert links_in(path, anew=False) == first
    assert links_in(path, anew=True) != first
    Path(path).write_text("short\n")
    with pytest.raises(ReadError, match="--new-links"):
        links_in(path, anew=False)


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("0.0.0.0", "audio network"),
        ("::", "audio network"),
        ("224.0.0.1", "no interface"),
        ("255.255.255.255", "no interface"),
        ("stage.example", "address of one interface"),
        ("", "address of one interface"),
        ("10.0.0.0/8", "address of one interface"),
    ],
)
def test_only_one_interface_is_shared(address: str, words: str) -> None:
    with pytest.raises(ShowError, match=words):
        checked(address)
