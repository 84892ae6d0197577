"""What the long runs have found, each as small as it goes."""

from __future__ import annotations

import base64
import json
import shutil
import sqlite3
import zlib
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from chanbridge.drill.exercise import LARGEST, mark, unsealed
from chanbridge.errors import ChanbridgeError, ReadError, ShowError
from chanbridge.evening.state import read_state
from chanbridge.evening.words import LONGEST, AmendError, understand
from chanbridge.formats import named, read_data, write
from chanbridge.formats.characters import decode
from chanbridge.handover.manifest import read_manifest
from chanbridge.journal import Journal, JournalError
from chanbridge.model import Channel, ChannelMap
from chanbridge.show import parse
from chanbridge.web.linecheck import KIND, TickError, Ticks, understood
from tests.faults.child import run
from tests.faults.evening import served
from tests.faults.targets import TARGETS
from tests.formats import books
from tests.web.conftest import BAND, SHOW, tick

AT = "2026-12-12T18:00:00Z"
LONG = "x" * 5000


def test_numbers_on_rows_of_their_own_are_read_to_the_end() -> None:
    reading = read_data(b"1\nKick\n2\nSnare\n3\nVox Ana\n4\n\n5\nKeys L\n6\nKeys R\n", "x.txt", named("text"))
    assert [channel.name for channel in reading.map.channels] == [
        "Kick",
        "Snare",
        "Vox Ana",
        "Keys L",
        "Keys R",
    ]
    read_data(
        b"Ch,Instrument,Mic\n1,,\n,Kick,dynamic\n2,,\n,Snare,small,\n3,,\n,Vox Ana,dynamic\n",
        "x.csv",
        named("csv"),
    )


@pytest.mark.parametrize("unseen", ["\u2028", " ", "\u3000\x85"])
def test_an_id_of_which_nothing_is_seen_is_none(unseen: str) -> None:
    whole = ChannelMap(channels=(Channel(id="kick", name="Kick"), Channel(id="snare", name="Snare")))
    data = write(whole, named("csv")).replace(b"kick", unseen.encode())
    assert [one.id for one in read_data(data, "x.csv", named("csv")).map.channels] == ["kick", "snare"]


def test_a_gain_beyond_all_numbers_is_kept_as_it_stands() -> None:
    reading = read_data(b"Ch,Name,Gain\n1,Kick,1e999\n2,Snare,12\n", "x.csv", named("csv"))
    kick, snare = reading.map.channels
    assert (kick.gain_db, snare.gain_db) == (None, 12)
    assert ("Gain", "1e999") in [(extra.heading, extra.text) for extra in kick.extras]


def test_bytes_where_the_journal_has_texts_are_set_aside(tmp_path: Path) -> None:
    journal = Journal(tmp_path)
    journal.append("told", {"recipient": "desk", "what": [1]}, at=AT, who="Ana")
    with closing(sqlite3.connect(journal.path)) as link:
        link.execute("INSERT INTO entries VALUES (2, ?, ?, 'told', '{}', 'x')", (AT, b"\xff\x00"))
        link.commit()
    damaged = Journal(tmp_path)
    assert [entry.number for entry in damaged.entries()] == [1]
    assert "damaged" in damaged.repaired


def test_a_box_of_which_nothing_is_seen_has_sockets_all_the_same() -> None:
    data = "Slot,Name,Short,Box,Socket,Id\r\n1,Kick,,\u2028,3,kick\r\n".encode()
    reading = read_data(data, "x.csv", named("csv"))
    assert [(line.channel and line.channel.name, line.socket) for line in reading.map.lines("slots")] == [
        ("Kick", 3)
    ]


def test_a_pair_with_more_digits_than_a_number_has_is_not_understood() -> None:
    data = f"Slot,Name,Short,Pair,Id\r\n1,Kick,,L with {'9' * 5000},kick\r\n".encode()
    reading = read_data(data, "x.csv", named("csv"))
    assert [problem.code for problem in reading.problems] == ["pair"]


def test_a_refused_tick_with_half_a_letter_for_its_name_is_answered() -> None:
    answer = served().ask("/ticks", b'{"ticks": [{"id": "\xed\xa0\x80", "result": {"x": 1}}]}')
    assert answer.status == 200
    assert [*answer.json()["refused"]] == ["\ud800"]


@pytest.mark.parametrize("label_row", ["1e999", "null", '"x"'])
def test_a_manifest_that_says_no_number_is_refused(tmp_path: Path, label_row: str) -> None:
    made = json.loads(TARGETS["manifest"].seeds()[0])
    text = json.dumps(made).replace('"label_row": 8', f'"label_row": {label_row}')
    with pytest.raises(ReadError, match="does not say how the papers were made"):
        TARGETS["manifest"].read(text.encode(), tmp_path)


def test_messages_quote_no_more_than_can_be_read() -> None:
    made = json.loads(TARGETS["manifest"].seeds()[0]) | {"x" * 9000: 1}
    with pytest.raises(ReadError) as refused:
        read_manifest(json.dumps(made).encode(), "manifest.json")
    assert len(str(refused.value)) < 1500
    assert str(refused.value).endswith("make the hand-over again")


BODIES: dict[str, tuple[str, Any]] = {
    "nobody": ("told", {"what": [1]}),
    "what is no list": ("told", {"recipient": "desk", "what": 1}),
    "lists in a list": ("received", {"recipient": "desk", "what": [[1]]}),
    "a rehearsal without a recorder": ("rehearsal", {"on": True}),
    "an amendment without steps": ("amendment", {"said": "Ana to A7"}),
    "a step with a key more": (
        "amendment",
        {"said": "x", "steps": [{"change": "note", "channel": "a", "x": 1}], "concerns": {}, "stands": {}},
    ),
    "a channel that is none": (
        "amendment",
        {"said": "x", "steps": [{"change": "add", "channel": "a", "fields": {"x": 1}}], "concerns": {}, "stands": {}},
    ),
    "stands that are a list": ("amendment", {"said": "x", "steps": [], "concerns": {}, "stands": {"feed": []}}),
    "a slot before the first": ("amendment", {"said": "x", "steps": [], "concerns": {}, "stands": {"feed": {"a": 0}}}),
    "a revision of another version": (
        "revision",
        {"letter": "A", "date": "", "hash": "00", "map": "{}", "stands": {}, "files": {}},
    ),
    "a revision whose hash is no number": (
        "revision", {"letter": "A", "date": "", "hash": "no", "stands": {}, "files": {}, "parts": {}},
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BODIES)
def test_an_entry_of_another_version_is_said_with_its_number(name: str, tmp_path: Path) -> None:
    journal = Journal(tmp_path)
    kind, body = BODIES[name]
    journal.append("told", {"recipient": "desk", "what": [1]}, at=AT)
    journal.append(kind, body, at=AT)
    with pytest.raises(JournalError, match=f"entry 2 .{kind}. says what this version does not understand"):
        read_state(journal)
    assert len(Journal(tmp_path).entries()) == 2  # it is not damaged, and stays


def test_ticks_that_are_no_list_are_said(tmp_path: Path) -> None:
    journal = Journal(tmp_path)
    journal.append(KIND, {"ticks": 1}, at=AT)
    with pytest.raises(TickError, match="entry 1"):
        Ticks.of(journal.entries())


def test_half_a_letter_is_refused_and_not_kept(tmp_path: Path) -> None:
    """JSON may say it, and so may a command line whose bytes are no text; no file of text can hold it."""
    with pytest.raises(TickError, match="note"):
        understood(tick(1, note=json.loads('"\\ud800"')))
    journal = Journal(tmp_path)
    with pytest.raises(JournalError, match="no letter"):
        journal.append("told", {"recipient": "\ud800", "what": []}, at=AT)
    with pytest.raises(JournalError, match="no letter"):
        journal.append("told", {"recipient": "desk", "what": []}, at=AT, who="\udcff")
    assert journal.entries() == ()


def test_half_a_letter_from_a_phone_is_a_question_mark() -> None:
    """A page cuts a note within an emoji; the answer quoted it and could not be written, so the phone sent it for ever."""
    sent = b'{"ticks": [{"id": "\\ud800"}, {"id": "tick-00000077", "channel": "a-kick", "at": "desk", "result": "noisy", "note": "\\ud83c"}]}'
    answer = served().ask("/ticks", sent)
    assert answer.status == 200
    assert answer.json()["kept"] == ["tick-00000077"]
    assert [*answer.json()["refused"]] == ["?"]
    notes = {one["id"]: one.get("note") for one in served().ask("/ticks").json()["ticks"]}
    assert notes["tick-00000077"] == "?"
    assert served().ask("/late/look", b'{"said": "note Ana: \\udcff"}').status == 200


def test_a_late_change_is_one_short_sentence() -> None:
    with pytest.raises(AmendError, match=f"at most {LONGEST}"):
        understand(f"note Ana: {LONG}")


def test_a_slot_of_thousands_of_digits_is_no_number_of_a_slot() -> None:
    with pytest.raises(ReadError, match=r"findings.csv:2: slot '9+' is no number") as caught:
        mark([], [["Recipient", "Slot"], ["truck", "9" * 5000]], "findings.csv")
    assert len(str(caught.value)) < 200


@pytest.mark.parametrize(
    "told",
    [
        b"[" * 100_000, b" " * (LARGEST + 100), b"{}", b'[{"recipient": "truck", "kind": "name", "slots": ["x"], "what": ""}]',
        b'[{"recipient": 1, "kind": "name", "slots": [1], "what": ""}]',
    ],
    ids=["nested", "unpacks to more than it may", "no list", "no slot", "nobody"],
)  # fmt: skip
def test_sealed_answers_that_are_none(told: bytes) -> None:
    with pytest.raises(ReadError, match="no sealed answers"):
        unsealed(b"x\n" + base64.encodebytes(zlib.compress(told)), "answers.sealed")


def test_a_message_quotes_no_more_than_a_line_of_what_it_found() -> None:
    broken = books.ods(books.ods_table(books.ods_row("<a:" + LONG + "/>")))
    for data, kind in (
        (json.dumps({"channels": [{"id": "a", LONG: 1}]}).encode(), "json"),
        (f'{{"{LONG}": 1, "{LONG}": 2}}'.encode(), "json"),
        (broken, "workbook"),
        (f"<a><b:{LONG}/></a>".encode(), "xml"),
    ):
        with pytest.raises(ReadError) as caught:
            read_data(data, "x", named(kind))
        assert len(str(caught.value)) < 500
    whole = ChannelMap(channels=(Channel(id="a", name=f"{LONG}\x14"),))
    with pytest.raises(ChanbridgeError, match="U\\+0014") as refused:
        write(whole, named("xml"))
    assert len(str(refused.value)) < 500


def test_an_encoding_that_no_name_can_have() -> None:
    for name in ("\0", "a\0b", "base64", "x" * 5000):
        with pytest.raises(ReadError, match="there is no encoding"):
            decode(b"Slot,Name\n1,Kick\n", "x.csv", name)


def test_a_key_as_long_as_a_line_is_cut_in_the_message() -> None:
    with pytest.raises(ShowError, match="there is no key") as caught:
        parse(f'{SHOW}\n"{"k" * 3000}" = 1\n', "show.toml")
    assert len(str(caught.value)) < 3600


def test_a_very_long_argument_is_shown_in_part(tmp_path: Path) -> None:
    work = tmp_path / "work"
    work.mkdir()
    (work / "band.csv").write_text(BAND, "utf-8")
    ended = run(("read", "band.csv", "--from", LONG), work)
    assert ended.status == 2
    assert len(ended.err) < 1100
    assert ended.err.startswith("chanbridge: there is no format 'xxx")


def test_a_damaged_journal_is_in_its_place_whatever_ends_its_repair(tmp_path: Path) -> None:
    """It was renamed before the new one was there: a kill in between lost every late change in silence."""
    ready = tmp_path / "ready"
    (ready / "show").mkdir(parents=True)
    (ready / "show" / "show.toml").write_text(SHOW, "utf-8")
    (ready / "show" / "band.csv").write_text(BAND, "utf-8")
    journal = Journal(ready / "show")
    for number in range(3):
        journal.append("told", {"recipient": "desk", "what": [number]}, at=AT)
    path = ready / "show" / "journal.sqlite"
    path.write_bytes(path.read_bytes().replace(b'"what": [1]', b'"what": [7]'))
    steps = _repaired(ready, tmp_path / "0", 0)
    for step in range(1, steps + 1, max(1, steps // 6)):
        _repaired(ready, tmp_path / str(step), step)


def _repaired(ready: Path, folder: Path, kill_before: int) -> int:
    work = folder / "work"
    shutil.copytree(ready, work)
    ended = run(("status", "show"), work, kill_before=kill_before)
    assert ended.status == (-9 if kill_before else 0), ended
    again = Journal(work / "show")
    assert [entry.body["what"] for entry in again.entries()] == [[0], [2]]
    assert [*(work / "show").glob("journal.damaged-*.sqlite")]
    return ended.steps
