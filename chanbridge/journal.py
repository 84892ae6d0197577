"""The one append-only log beside show.toml: revisions, late changes, who was told, who has received, what was ticked.

An SQLite file. Rows are only ever added: triggers refuse anything else, and each row carries a digest over itself and
the row before it, so that damage is seen. Writers wait for each other; one whose picture is out of date is told so.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, NamedTuple

from chanbridge.errors import ChanbridgeError, Location

FILE = "journal.sqlite"
"""The journal's name beside show.toml."""

PATIENCE = 10.0
"""Seconds that a writer waits for another."""

FARTHEST = 200
"""Numbers in a row without a readable entry after which a damaged file is taken to be at its end."""

_SELECT = "SELECT number, at, who, kind, body, digest FROM entries"
_TABLE = """
CREATE TABLE IF NOT EXISTS entries (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    at TEXT NOT NULL,
    who TEXT NOT NULL,
    kind TEXT NOT NULL,
    body TEXT NOT NULL,
    digest TEXT NOT NULL
);
CREATE TRIGGER IF NOT EXISTS entries_stay BEFORE UPDATE ON entries
BEGIN SELECT RAISE(ABORT, 'the journal is only ever added to'); END;
CREATE TRIGGER IF NOT EXISTS entries_remain BEFORE DELETE ON entries
BEGIN SELECT RAISE(ABORT, 'the journal is only ever added to'); END;
"""


class JournalError(ChanbridgeError):
    """The journal cannot be read or written."""


class StaleError(JournalError):
    """Someone else wrote between reading and writing."""


class Entry(NamedTuple):
    """One row. `number` counts from 1, `at` is UTC as ISO 8601, `kind` says what `body` (JSON) holds."""

    number: int
    at: str
    who: str
    kind: str
    body: dict[str, Any]


class Journal:
    """The journal of the show in a folder.

    `repaired` says what was found damaged when it was opened and where it was set aside; "" if nothing was.
    """

    def __init__(self, folder: str | os.PathLike[str]) -> None:
        self.path = Path(folder) / FILE
        self.repaired = ""

    def entries(self, *kinds: str) -> tuple[Entry, ...]:
        """Every row, or those of some kinds, in order; () where nothing was ever written. Raises JournalError."""
        found = self._sound_rows() if self.path.exists() else []
        return tuple(Entry(*row[:4], json.loads(row[4])) for row in found if not kinds or row[3] in kinds)

    def append(
        self, kind: str, body: dict[str, Any], *, at: str, who: str = "", after: int | None = None
    ) -> Entry:
        """Add a row and return it, once it is on the disk.

        `after`: the number of the last row that the writer had seen; StaleError is raised where there is another by
        now, and nothing is written. Raises JournalError where the file cannot be written.
        """
        if self.path.exists():
            self._sound_rows()
        text = json.dumps(body, ensure_ascii=False, sort_keys=True)
        with self._open() as link:
            link.execute("BEGIN IMMEDIATE")
            last = link.execute("SELECT number, digest FROM entries ORDER BY number DESC LIMIT 1").fetchone()
            number, digest = last or (0, "")
            if after is not None and number != after:
                link.execute("ROLLBACK")
                raise StaleError(
                    f"someone else wrote to the journal meanwhile (entry {number}); look at it and say it again",
                    Location(str(self.path)),
                )
            row = (number + 1, at, who, kind, text)
            link.execute("INSERT INTO entries VALUES (?, ?, ?, ?, ?, ?)", (*row, _digest(digest, row)))
            link.execute("COMMIT")
        return Entry(*row[:4], json.loads(text))

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        try:
            with closing(sqlite3.connect(self.path, timeout=PATIENCE, isolation_level=None)) as link:
                link.execute("PRAGMA journal_mode=WAL")
                link.execute("PRAGMA synchronous=FULL")
                link.executescript(_TABLE)
                yield link
        except sqlite3.DatabaseError as error:
            if "locked" in str(error):
                said = f"someone else has been writing to it for {PATIENCE:.0f} seconds; try again"
            else:
                said = f"it cannot be written: {error}"
            raise JournalError(f"the journal: {said}", Location(str(self.path))) from None

    def _sound_rows(self) -> list[_Row]:
        """All rows. A file that is damaged is set aside first, and what can still be read of it begins a new one."""
        try:
            with closing(_reader(self.path)) as link:
                found = list(link.execute(f"{_SELECT} ORDER BY number"))
        except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
            if "locked" in str(error) or not self.path.exists():
                raise JournalError(f"the journal cannot be read: {error}", Location(str(self.path))) from None
            if "no such table" in str(error):
                return []  # made, and nothing written yet
            return self._set_aside(_salvaged(self.path), str(error))
        good = _sound(found)
        if len(good) < len(found):
            odd = next(row[0] for row in found if row not in good)
            return self._set_aside(good, f"entry {odd} is not as it was written")
        return good

    def _set_aside(self, good: list[_Row], what: str) -> list[_Row]:
        number = 1
        while (aside := self.path.with_name(f"journal.damaged-{number}.sqlite")).exists():
            number += 1
        for ending in ("", "-wal", "-shm"):
            part = Path(f"{self.path}{ending}")
            if part.exists():
                part.rename(f"{aside}{ending}")
        before, rows = "", []
        for row in good:
            before = _digest(before, row[:5])
            rows.append((*row[:5], before))
        with self._open() as link:
            link.execute("BEGIN IMMEDIATE")
            link.executemany("INSERT INTO entries VALUES (?, ?, ?, ?, ?, ?)", rows)
            link.execute("COMMIT")
        lost = sorted({*range(1, good[-1][0] if good else 1)} - {row[0] for row in good})
        missing = f", without {', '.join(map(str, lost))}" if lost else ""
        self.repaired = (
            f"the journal was damaged ({what}): it is set aside as {aside.name}, and the {len(good)} entries "
            f"that are whole begin a new one{missing}"
        )
        return rows


_Row = tuple[int, str, str, str, str, str]


def _digest(before: str, row: Sequence[object]) -> str:
    said = json.dumps([before, *row], ensure_ascii=False)
    return hashlib.sha256(said.encode("utf-8", "surrogatepass")).hexdigest()


def _sound(rows: Sequence[_Row]) -> list[_Row]:
    """The rows that are as they were written."""
    good: list[_Row] = []
    before = {""}
    for row in rows:
        if row[5] in {_digest(one, row[:5]) for one in before}:
            good.append(row)
        before = {
            row[5],
            *(_digest(one, row[:5]) for one in before),
        }  # one of them, where this row is damaged
    return good


def _salvaged(path: Path) -> list[_Row]:
    """What can be read of a damaged file, row by row."""
    rows: list[_Row] = []
    number = misses = 0
    try:
        with closing(_reader(path)) as link:
            while misses < FARTHEST:
                number += 1
                try:
                    row = link.execute(f"{_SELECT} WHERE number = ?", (number,)).fetchone()
                except (sqlite3.DatabaseError, UnicodeDecodeError):
                    row = None  # on a page that is damaged; the caller counts what is missing
                misses = 0 if row else misses + 1
                rows += [row] if row else []
    except (sqlite3.DatabaseError, UnicodeDecodeError):
        return _sound(rows)  # no database at all; the caller says so
    return _sound(rows)


def _reader(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.absolute().as_uri()}?mode=rw", timeout=PATIENCE, uri=True)


def as_csv(entries: Sequence[Entry]) -> str:
    """The entries as CSV: number, time, who, kind, and what, as JSON."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(("Number", "Time", "Who", "Kind", "What"))
    for entry in entries:
        writer.writerow((*entry[:4], json.dumps(entry.body, ensure_ascii=False, sort_keys=True)))
    return out.getvalue()
