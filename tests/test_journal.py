"""The journal: only ever added to, by several at once, through kills and damage."""

from __future__ import annotations

import csv
import functools
import io
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from chanbridge.journal import FILE, Entry, Journal, JournalError, StaleError, as_csv
from tests.strategies import EXAMPLES

MEMORY = "/dev/shm" if os.path.isdir("/dev/shm") else None
"""Where many small files are made: waiting for a disk proves nothing here."""

AT = "2026-12-12T18:00:00Z"
kinds = st.sampled_from(("revision", "amendment", "told"))
bodies = st.dictionaries(st.text(max_size=5), st.one_of(st.text(max_size=20), st.integers()), max_size=3)


class JournalMachine(RuleBasedStateMachine):
    """Two people with the same journal, beside a plain list of what was written."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = tempfile.mkdtemp(dir=MEMORY)
        self.people = (Journal(self.folder), Journal(self.folder))
        self.written: list[tuple[str, str, dict[str, Any]]] = []

    @rule(person=st.integers(0, 1), kind=kinds, body=bodies)
    def add(self, person: int, kind: str, body: dict[str, Any]) -> None:
        entry = self.people[person].append(kind, body, at=AT, who=f"person {person}")
        self.written.append((f"person {person}", kind, body))
        assert entry == Entry(len(self.written), AT, f"person {person}", kind, body)

    @rule(person=st.integers(0, 1), behind=st.integers(0, 2), body=bodies)
    def add_after(self, person: int, behind: int, body: dict[str, Any]) -> None:
        seen = max(0, len(self.written) - behind)
        if seen == len(self.written):
            self.people[person].append("told", body, at=AT, after=seen)
            self.written.append(("", "told", body))
        else:
            with pytest.raises(StaleError, match="someone else"):
                self.people[person].append("told", body, at=AT, after=seen)

    @rule()
    def reopen(self) -> None:
        self.people = (Journal(self.folder), self.people[0])

    @invariant()
    def both_see_all_that_was_written(self) -> None:
        for journal in self.people:
            assert [(entry.who, entry.kind, entry.body) for entry in journal.entries()] == self.written
            told = [body for _, kind, body in self.written if kind == "told"]
            assert [entry.body for entry in journal.entries("told")] == told
            assert not journal.repaired

    def teardown(self) -> None:
        shutil.rmtree(self.folder)


TestJournal = JournalMachine.TestCase
TestJournal.settings = settings(max_examples=max(12, EXAMPLES // 8), stateful_step_count=12)


def filled(folder: Path, many: int = 40) -> list[Entry]:
    journal = Journal(folder)
    return [journal.append("told", {"recipient": f"desk {n}", "text": "x" * 300}, at=AT) for n in range(many)]


@pytest.mark.parametrize("statement", ["UPDATE entries SET body = '{}'", "DELETE FROM entries"])
def test_what_is_written_stays(tmp_path: Path, statement: str) -> None:
    written = filled(tmp_path, 2)
    with (
        sqlite3.connect(tmp_path / FILE) as link,
        pytest.raises(sqlite3.IntegrityError, match="only ever added"),
    ):
        link.execute(statement)
    assert list(Journal(tmp_path).entries()) == written


def test_nothing_is_made_by_looking(tmp_path: Path) -> None:
    assert Journal(tmp_path).entries() == ()
    assert list(tmp_path.iterdir()) == []


@functools.cache
def long_journal() -> tuple[list[Entry], bytes]:
    """Entries over several pages, and the bytes of the file."""
    with tempfile.TemporaryDirectory(dir=MEMORY) as name:
        written = filled(Path(name))
        with sqlite3.connect(Path(name) / FILE) as link:
            link.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        return written, (Path(name) / FILE).read_bytes()


@given(data=st.data())
def test_damage_is_seen_set_aside_and_named(data: st.DataObject) -> None:
    with tempfile.TemporaryDirectory(dir=MEMORY) as name:
        folder = Path(name)
        written, data_before = long_journal()
        whole = bytearray(data_before)
        start = data.draw(st.integers(0, len(whole) - 1))
        noise = data.draw(st.binary(min_size=1, max_size=200))
        whole[start : start + len(noise)] = noise
        (folder / FILE).write_bytes(whole)
        journal = Journal(folder)
        found = list(journal.entries())
        assert [entry for entry in found if entry not in written] == []
        aside = [path.name for path in folder.iterdir() if "damaged" in path.name]
        if found != written:
            assert journal.repaired
            assert aside
            assert aside[0] in journal.repaired
            assert bytes(whole) in [path.read_bytes() for path in folder.iterdir() if path.name in aside]
        again = Journal(folder)
        assert list(again.entries()) == found
        last = again.append("told", {}, at=AT)
        assert list(Journal(folder).entries()) == [*found, last]


def test_a_changed_row_is_found_and_the_others_stay(tmp_path: Path) -> None:
    written = filled(tmp_path, 6)
    with sqlite3.connect(tmp_path / FILE) as link:
        link.execute("DROP TRIGGER entries_stay")
        link.execute("UPDATE entries SET body = '{}' WHERE number = 3")
    journal = Journal(tmp_path)
    assert list(journal.entries()) == [entry for entry in written if entry.number != 3]
    assert "entry 3 is not as it was written" in journal.repaired
    assert "without 3" in journal.repaired
    assert "journal.damaged-1.sqlite" in journal.repaired


def test_what_is_no_journal_at_all_is_set_aside(tmp_path: Path) -> None:
    (tmp_path / FILE).write_bytes(b"not a database, but a note\n" * 100)
    journal = Journal(tmp_path)
    assert journal.entries() == ()
    assert "set aside" in journal.repaired
    assert (tmp_path / "journal.damaged-1.sqlite").read_bytes().startswith(b"not a database")


WRITER = """
import sys
from chanbridge.journal import Journal
journal = Journal(sys.argv[1])
for number in range(int(sys.argv[3])):
    entry = journal.append("told", {"recipient": sys.argv[2], "number": number}, at="2026-12-12T18:00:00Z")
    print(number, flush=True)
"""


def writer(folder: Path, name: str, many: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(folder), name, str(many)], stdout=subprocess.PIPE, text=True
    )


def test_two_writers_at_once_both_succeed(tmp_path: Path) -> None:
    both = [writer(tmp_path, name, 30) for name in ("truck", "stream")]
    for process in both:
        assert process.wait(60) == 0
        assert process.stdout
        process.stdout.close()
    found = Journal(tmp_path).entries()
    for name in ("truck", "stream"):
        assert [entry.body["number"] for entry in found if entry.body["recipient"] == name] == list(range(30))


def test_what_was_said_to_be_written_survives_a_kill(tmp_path: Path) -> None:
    said = 0
    for turn in range(6):
        process = writer(tmp_path, f"turn {turn}", 1000)
        assert process.stdout
        process.stdout.readline()
        time.sleep(0.02 * turn)
        os.kill(process.pid, signal.SIGKILL)
        process.wait(30)
        said += 1 + len(process.stdout.read().split())
        process.stdout.close()
        journal = Journal(tmp_path)
        found = journal.entries()
        assert not journal.repaired
        assert said <= len(found) <= said + turn + 1
        said = len(found)


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    with pytest.raises(JournalError, match=r"cannot be written"):
        Journal(tmp_path / "missing").append("told", {}, at=AT)


def test_as_csv(tmp_path: Path) -> None:
    filled(tmp_path, 2)
    rows = list(csv.reader(io.StringIO(as_csv(Journal(tmp_path).entries()), newline="")))
    assert rows[0] == ["Number", "Time", "Who", "Kind", "What"]
    assert rows[2][:4] == ["2", AT, "", "told"]


def test_damage_under_an_open_journal_is_seen_when_it_is_added_to(tmp_path: Path) -> None:
    written = filled(tmp_path, 3)
    journal = Journal(tmp_path)
    fourth = journal.append("told", {"number": 4}, at=AT)
    with sqlite3.connect(tmp_path / FILE) as link:
        link.execute("DROP TRIGGER entries_stay")
        link.execute("UPDATE entries SET body = '{}' WHERE number = 4")
    last = journal.append("told", {"number": 5}, at=AT)
    assert "entry 4 is not as it was written" in journal.repaired
    assert list(Journal(tmp_path).entries()) == [*written, last]
    assert fourth.number == last.number


@pytest.mark.parametrize("what", ["note", "older", "gone"])
def test_an_open_journal_is_replaced(tmp_path: Path, what: str) -> None:
    """Whatever lies there by now is kept, and what is added follows from it."""
    journal = Journal(tmp_path)
    for number in range(5):
        journal.append("told", {"number": number}, at=AT)
    (tmp_path / "old").mkdir()
    older = filled(tmp_path / "old", 2)
    if what == "note":
        (tmp_path / FILE).write_bytes(b"not a database, but a note\n" * 100)
    elif what == "older":
        shutil.copy(tmp_path / "old" / FILE, tmp_path / FILE)
    else:
        (tmp_path / FILE).unlink()
    last = journal.append("told", {"number": 9}, at=AT)
    assert list(Journal(tmp_path).entries()) == [*(older if what == "older" else []), last]
    assert bool(journal.repaired) is (what == "note")


def test_what_others_add_is_followed(tmp_path: Path) -> None:
    one, two = Journal(tmp_path), Journal(tmp_path)
    for number in range(6):
        (one, two)[number // 2 % 2].append("told", {"number": number}, at=AT)
    assert [entry.body["number"] for entry in Journal(tmp_path).entries()] == [*range(6)]
