"""What the page shows and takes: sheets, ways, late changes and who has them, the line check."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from chanbridge.evening.state import read_state
from chanbridge.journal import Journal
from tests.web.conftest import BAND, Serve, Served, eventually, tick


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("/", ["House desk", "Kick", "A1", "Jonas"]),
        ("/?view=sheet&port=A", ["Box A", "Snare"]),
        ("/?view=sheet&port=stage", ["Bass"]),
        ("/?view=channel&id=a-bass", ["comes in at", "A3", "House desk", "Ears desk"]),
        ("/?view=find&q=A4", ["Ana"]),
        ("/?view=find&q=desk%204", ["Ana"]),
        ("/?view=find&q=jo", ["Jonas", "A5"]),
        ("/?view=find&q=zither", ["Nothing"]),
        ("/?view=find", ["Find a channel"]),
        ("/?view=line&order=box", ["Mute loudspeakers and in-ears", "Kick", "Ears desk"]),
        ("/?view=line&order=group", ["Jonas"]),
        ("/?view=late", ["What changes", "There are none"]),
        ("/?view=findings", ["Findings"]),
        ("/?view=changed", ["No revision was issued yet"]),
        ("/?view=flow&id=a-kick", ["<svg", 'class="lit"', "Kick"]),
        ("/?view=compare", ["whoever fits best", "paste"]),
    ],
)
def test_every_view_has_its_rows_in_the_answer(free: Served, path: str, words: list[str]) -> None:
    answer = free.ask(path)
    assert answer.status == 200
    for word in words:
        assert word in answer.text


@pytest.mark.parametrize(
    "path",
    [
        "/?view=../../etc",
        "/?view=sheet&port=nobody",
        "/?view=channel&id=x",
        "/?view=line&order=x",
        "/?view=changed&since=Q",
        "/nothing",
    ],
)
def test_what_is_not_there_is_said_so(free: Served, path: str) -> None:
    answer = free.ask(path)
    assert answer.status == 404
    assert "Traceback" not in answer.text


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py",
        "/static/%2e%2e%2fapp.py",
        "/static/..%2f..%2f..%2fetc%2fpasswd",
        "/static//etc/passwd",
        "/static/page.html",
        "/papers/../show.toml",
        "/papers/%2e%2e%2fshow.toml",
        "/papers//etc/passwd",
        "/papers/desk%2f..%2f..%2fshow.toml",
        "/papers/..zip",
        "/papers/.zip",
        "/papers/journal.sqlite",
        "/show.toml",
        "/band.csv",
        "/journal.sqlite",
    ],
)
def test_no_path_leads_to_a_file(free: Served, path: str) -> None:
    assert b"HTTP/1.1 404" in free.raw(
        f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n".encode()
    )


def test_papers_are_those_of_a_hand_over(free: Served) -> None:
    from chanbridge.evening.revisions import lettered
    from chanbridge.handover import hand_over

    now = free.live.now
    eventually(lambda: "summary.txt" in free.ask("/?view=papers").text)
    assert "all of it as ZIP" in free.ask("/?view=papers").text
    for name, data in hand_over(now.show, lettered(now.planned, "", None)).files:
        answer = free.ask(f"/papers/{name}")
        assert answer.body == data, name
        assert answer.headers["content-disposition"].startswith("attachment")
    assert free.ask("/papers/desk.zip").body[:2] == b"PK"


def test_the_cover_has_the_line_check_as_it_is_now(serve: Serve) -> None:
    served = serve()
    assert "arrived" not in served.ask("/papers/cover.html").text
    for number in (1, 2):
        served.ask("/ticks", {"ticks": [tick(number, ("a-kick", "a-ana")[number - 1])]})
        assert f"House desk: {number} of 5 arrived" in served.ask("/papers/cover.html").text


def test_a_tick_is_in_the_journal_once_it_is_answered_and_counts_once(serve: Serve) -> None:
    served = serve()
    for _ in range(3):
        answer = served.ask("/ticks", {"ticks": [tick(1, who="Ana", note="hums")]})
        assert answer.json() == {"kept": ["tick-00000001"], "refused": {}}
    (entry,) = Journal(served.folder).entries()
    assert entry.kind == "tick"
    assert entry.body == {"ticks": [tick(1, who="Ana", note="hums")]}
    (said,) = served.ask("/ticks").json()["ticks"]
    assert said["when"] == entry.at
    text = served.ask("/line-check.csv").text
    assert ",Ana,a-kick,Kick,desk,arrived,,hums" in text


def test_good_ticks_are_kept_beside_bad_ones(serve: Serve) -> None:
    answer = serve().ask("/ticks", {"ticks": [tick(1), tick(2, result="fine"), "x"]})
    assert answer.json()["kept"] == ["tick-00000001"]
    assert answer.json()["refused"].keys() == {"tick-00000002", ""}


@pytest.mark.parametrize(
    "data", [b"", b"{", b"[]", b'{"ticks": 1}', b"\xff", b"[" * 30000, b'{"ticks": [' + b"1," * 300 + b"1]}"]
)
def test_what_is_no_message_is_refused(free: Served, data: bytes) -> None:
    answer = free.ask("/ticks", data)
    assert answer.status in (400, 422)
    assert answer.json()["error"]


def test_red_lines_say_where_to_walk(serve: Serve) -> None:
    served = serve()
    served.ask("/ticks", {"ticks": [tick(1, result="arrived"), tick(2, at="ears", result="dead")]})
    assert "Go to Ears desk" in served.ask("/ticks").json()["walk"][""]["a-kick"]
    assert "Go to Ears desk" in served.ask("/?view=line").text
    served.ask("/ticks", {"ticks": [tick(3, at="ears", result="arrived", sees=["tick-00000002"])]})
    assert served.ask("/ticks").json()["walk"] == {"": {}}


def test_ticks_from_many_at_once_are_all_kept(serve: Serve) -> None:
    served = serve()

    def send(phone: int) -> None:
        for number in range(10):
            assert (
                served.ask("/ticks", {"ticks": [tick(100 * phone + number, at=f"desk-{phone}")]}).status
                == 200
            )

    phones = [threading.Thread(target=send, args=(phone,)) for phone in range(8)]
    other = Journal(served.folder)  # and another process writes as well
    for phone in phones:
        phone.start()
    for number in range(5):
        other.append("told", {"recipient": "desk", "what": []}, at="2026-12-12T18:00:00Z", who=str(number))
    for phone in phones:
        phone.join()
    kept = [one["id"] for entry in Journal(served.folder).entries("tick") for one in entry.body["ticks"]]
    assert sorted(kept) == sorted(
        f"tick-{100 * phone + number:08}" for phone in range(8) for number in range(10)
    )
    assert {one["id"] for one in served.ask("/ticks").json()["ticks"]} == {*kept}


def digest_of(text: str) -> str:
    return text.partition('data-agreed="')[2].partition('"')[0]


def test_a_late_change_counts_once_its_meaning_was_agreed_to(serve: Serve) -> None:
    served = serve()
    shown = served.ask("/late/look", {"said": "Ana to A7"})
    assert "Plug Ana out of A4 into A7" in shown.text
    assert "Mute the channel" in shown.text
    assert not Journal(served.folder).entries()
    said = {"said": "Ana to A7", "agreed": digest_of(shown.text), "who": "Jonas"}
    served.ask("/ticks", {"ticks": [tick(1)]})  # a tick in between is no change of what it means
    assert served.ask("/late", said).json() == {"number": 1}
    (made,) = read_state(Journal(served.folder)).amendments
    assert (made.said, made.who, set(made.concerns)) == ("Ana to A7", "Jonas", {"crew", "desk", "ears"})
    assert "A7" in served.ask("/?view=find&q=ana").text
    text = served.ask("/").text
    assert "Not received:" in text
    assert "Ears desk (1 not told)" in text
    assert (served.folder / "band.csv").read_text() == BAND


def test_who_has_a_late_change_says_so_on_their_page(serve: Serve) -> None:
    served = serve()
    agreed = digest_of(served.ask("/late/look", {"said": "rename Ana to Mara"}).text)
    served.ask("/late", {"said": "rename Ana to Mara", "agreed": agreed})
    assert "I have 1" in served.ask("/?view=sheet&port=ears").text
    assert served.ask("/received", {"recipient": "ears", "what": [1], "who": "Levi"}).status == 200
    assert "I have 1" not in served.ask("/?view=sheet&port=ears").text
    assert "Ears desk (1 not told)" not in served.ask("/").text
    assert "House desk (1 not told)" in served.ask("/").text


@pytest.mark.parametrize(
    "said", [{"recipient": "nobody", "what": [1]}, {"recipient": "desk", "what": [9]}, {"recipient": "desk", "what": []},
             {"recipient": "desk", "what": [[1]]}, {"recipient": ["desk"], "what": [1]}, {}],
)  # fmt: skip
def test_nobody_receives_what_is_not_there(free: Served, said: dict[str, object]) -> None:
    assert free.ask("/received", said).status == 422


def test_what_means_something_else_by_now_is_shown_again(serve: Serve) -> None:
    served = serve()
    agreed = digest_of(served.ask("/late/look", {"said": "Ana to A7"}).text)
    other = digest_of(served.ask("/late/look", {"said": "Ana to A6"}).text)
    assert served.ask("/late", {"said": "Ana to A6", "agreed": other}).status == 200
    answer = served.ask("/late", {"said": "Ana to A7", "agreed": agreed})
    assert answer.status == 409
    assert "Look at it again" in answer.text
    assert "out of A6 into A7" in answer.text
    assert served.ask("/late", {"said": "Ana to A7", "agreed": digest_of(answer.text)}).json() == {
        "number": 2
    }


def test_a_late_change_is_taken_back(serve: Serve) -> None:
    served = serve()
    served.ask(
        "/late",
        {"said": "Ana to A7", "agreed": digest_of(served.ask("/late/look", {"said": "Ana to A7"}).text)},
    )
    shown = served.ask("/late/look", {"undoes": 1})
    assert "undo 1: Ana to A7" in shown.text
    assert served.ask("/late", {"undoes": 1, "agreed": digest_of(shown.text)}).json() == {"number": 2}
    assert "(taken back)" in served.ask("/?view=late").text
    assert served.ask("/late/look", {"undoes": 1}).status == 422


@pytest.mark.parametrize("said", ["Zoe to A7", "Ana to A2", "Ana to A99", "", "x" * 301, "dance"])
def test_what_cannot_be_is_said_so(free: Served, said: str) -> None:
    answer = free.ask("/late/look", {"said": said})
    assert answer.status == 422
    assert answer.json()["error"]


def test_a_saved_sheet_is_on_every_page(serve: Serve) -> None:
    served = serve()
    (served.folder / "band.csv").write_text(BAND.replace("4,Ana,A4", "4,Ana,A6"), "utf-8")
    eventually(lambda: served.live.now.number == 2)
    text = served.ask("/").text
    assert 'class="changed"' in text
    assert "News:" in text
    assert "House desk" in text
    (served.folder / "band.csv").write_text("no list\n", "utf-8")
    eventually(lambda: bool(served.live.now.trouble))
    text = served.ask("/").text
    assert "The files cannot be read as they are now" in text
    assert "band.csv" in text
    assert "Ana" in text
    (served.folder / "band.csv").write_text(BAND, "utf-8")
    eventually(lambda: not served.live.now.trouble)
    assert "cannot be read as they are" not in served.ask("/").text


def test_what_the_command_line_writes_is_on_every_page(serve: Serve) -> None:
    served = serve()
    Journal(served.folder).append(
        "rehearsal", {"on": True, "recorder": "desk", "live": []}, at="2026-12-12T18:00:00Z"
    )
    eventually(lambda: served.live.now.state.rehearsal is not None)
    assert "Rehearsal:" in served.ask("/").text


def test_changes_since_a_revision(serve: Serve, tmp_path: Path) -> None:
    from chanbridge.evening.revisions import body_of

    served = serve()
    body = body_of("A", "2026-12-12", served.live.now.planned, {"desk/sheet.csv": b"", "ears/sheet.csv": b""})
    Journal(served.folder).append("revision", body, at="2026-12-12T17:00:00Z")
    eventually(lambda: served.live.now.letter == "A")
    assert "Revision A is out" in served.ask("/?view=sheet&port=desk").text
    (served.folder / "band.csv").write_text(BAND.replace("Bass", "Cello"), "utf-8")
    eventually(lambda: "Cello" in str(served.live.now.names))
    text = served.ask("/?view=changed").text
    assert "Changed since revision A" in text
    assert "Cello" in text
    assert served.ask("/received", {"recipient": "desk", "what": ["A"]}).status == 200


def test_everybody_is_told_as_it_happens(serve: Serve) -> None:
    import http.client

    served = serve()
    link = http.client.HTTPConnection("127.0.0.1", served.port, timeout=20)
    link.request("GET", "/events")
    stream = link.getresponse()
    assert stream.headers["content-type"].startswith("text/event-stream")

    def heard(event: str) -> str:
        while True:
            if stream.fp.readline().decode().strip() == f"event: {event}":
                data: str = stream.fp.readline().decode()
                return data

    assert heard("hello") == "data: 1\n"
    served.ask("/ticks", {"ticks": [tick(1, result="dead")]})
    data = heard("ticks")
    assert "tick-00000001" in data
    assert "go to A1" in data
    served.ask("/reading", {"channel": "a-ana"})
    assert "a-ana" in heard("reading")
    (served.folder / "band.csv").write_text(BAND.replace("Bass", "Cello"), "utf-8")
    assert heard("show") == 'data: {"number": 2}\n'
    link.close()


def test_pages_that_do_not_listen_are_let_go(serve: Serve) -> None:
    import asyncio

    from chanbridge.web.live import WAITING

    served = serve()

    async def crowd() -> None:
        page = served.live.listen()
        for number in range(WAITING + 5):
            served.live.tell("reading", {"channel": str(number)})
        heard = [page.get_nowait() for _ in range(page.qsize())]
        assert heard[-1] is None
        assert len(heard) <= WAITING + 1

    asyncio.run(crowd())
