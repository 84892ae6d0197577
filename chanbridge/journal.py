"""The one append-only log beside show.toml: revisions, late changes, who was told, who has received, what was ticked.

An SQLite file. Rows are only ever added: triggers refuse anything else, and each row carries a digest over itself and
the row before it, so that damage is seen. Writers wait for each other; one whose picture is out of date is told so.
Whoever opens it reads all of it once; adding a row then reads only what others have added since.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import re
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, NamedTuple

from chanbridge.errors import ChanbridgeError, Location
from chanbridge.files import PREFIX, holding

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


class _OddError(JournalError):
    """The file is damaged, or another than it was."""


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
        self._last: _Row | None = None
        """The last row that was found sound, with all before it; what is added must follow from it."""

    def entries(self, *kinds: str) -> tuple[Entry, ...]:
        """Every row, or those of some kinds, in order; () where nothing was ever written. Raises JournalError."""
        found = self._sound_rows() if self.path.exists() else []
        return tuple(Entry(*row[:4], json.loads(row[4])) for row in found if not kinds or row[3] in kinds)

    def append(
        self,
        kind: str,
        body: dict[str, Any],
        *,
        at: str,
        who: str = "",
        after: int | None = None,
        first: Callable[[], None] | None = None,
    ) -> Entry:
        """Add a row and return it, once it is on the disk.

        `after`: the number of the last row that the writer had seen; StaleError is raised where there is another by
        now, and nothing is written. `first` is done when nothing stands in the way of the row any more, and before it
        counts; nobody else writes meanwhile, and what it raises takes the row back. Raises JournalError where the file
        cannot be written, or a text is none.
        """
        text = json.dumps(body, ensure_ascii=False, sort_keys=True)
        odd = _NO_TEXT.search(f"{who}{text}")
        if odd:
            near = f"{who}{text}"[max(0, odd.start() - 20) : odd.end() + 20]
            raise JournalError(f"{near!r} holds a sign that is no letter; type it again")
        try:
            row = self._added((at, who, kind, text), after, first)
        except _OddError:
            self._sound_rows()  # all of it is read, and what is damaged is set aside
            row = self._added((at, who, kind, text), after, first)
        return Entry(*row[:4], json.loads(text))

    def _added(
        self, said: tuple[str, str, str, str], after: int | None, first: Callable[[], None] | None
    ) -> _Row:
        """The row that was written. Raises _OddError where the end does not follow from the last sound row."""
        if not self.path.exists():
            self._last = _NONE
        elif self._last is None:
            self._sound_rows()
        known = self._last or _NONE
        with self._open() as link:
            link.execute("BEGIN IMMEDIATE")
            since = list(link.execute(f"{_SELECT} WHERE number >= ? ORDER BY number", (known[0],)))
            new = since[1:] if known[0] else since
            if (known[0] and since[:1] != [known]) or len(_sound(new, known[5])) < len(new):
                raise _OddError("the journal: it is not as it was left; try again", Location(str(self.path)))
            last = new[-1] if new else known
            if after is not None and last[0] != after:
                raise StaleError(
                    f"someone else wrote to the journal meanwhile (entry {last[0]}); look at it and say it again",
                    Location(str(self.path)),
                )
            row = (last[0] + 1, *said)
            whole = (*row, _digest(last[5], row))
            link.execute("INSERT INTO entries VALUES (?, ?, ?, ?, ?, ?)", whole)
            if first:
                first()
            link.execute("COMMIT")
        self._last = whole
        return whole

    @contextmanager
    def _open(self, fresh: str = "") -> Iterator[sqlite3.Connection]:
        """The journal, or a fresh one that is to take its place, open for writing."""
        try:
            with closing(sqlite3.connect(fresh or self.path, timeout=PATIENCE, isolation_level=None)) as link:
                link.execute("PRAGMA journal_mode=WAL")
                link.execute("PRAGMA synchronous=FULL")
                link.executescript(_TABLE)
                yield link
        except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
            kind: type[JournalError] = JournalError
            if "locked" in str(error):
                said = f"someone else has been writing to it for {PATIENCE:.0f} seconds; try again"
            elif _code(error) in _NO_ROOM:
                said = f"it cannot be written: {error}; is the disk full?"
            elif _code(error) in _NOT_ALLOWED:
                said = "it cannot be written; check its permissions, and those of its folder"
            else:
                said = f"it cannot be written: {error}"
                if not isinstance(error, sqlite3.OperationalError) or "decode" in str(error):
                    kind = _OddError  # damaged; a full disk and the like are operational
            raise kind(f"the journal: {said}", Location(str(self.path))) from None

    def _sound_rows(self) -> list[_Row]:
        """All rows. A file that is damaged is set aside first, and what can still be read of it begins a new one."""
        try:
            found = _rows(self.path)
        except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
            where = Location(str(self.path))
            if _code(error) in _NOT_ALLOWED or not self.path.is_file():
                what = "it may not be opened; check its permissions, and those of its folder"
                raise JournalError(
                    f"the journal: {what if self.path.is_file() else 'it is no file; move away what stands there'}",
                    where,
                ) from None
            if _code(error) in _PASSING:
                raise JournalError(f"the journal cannot be read: {error}; try again", where) from None
            if "no such table" in str(error):
                return []  # made, and nothing written yet
            return self._set_aside(_salvaged(self.path), str(error))
        good = _sound(found)
        if len(good) < len(found):
            odd = next(row[0] for row in found if row not in good)
            return self._set_aside(good, f"entry {odd} is not as it was written")
        self._last = good[-1] if good else _NONE
        return good

    def _set_aside(self, good: list[_Row], what: str) -> list[_Row]:
        number = 1
        while (aside := self.path.with_name(f"journal.damaged-{number}.sqlite")).exists():
            number += 1
        before, rows = "", []
        for row in good:
            before = _digest(before, row[:5])
            rows.append((*row[:5], before))
        try:
            with holding(str(self.path.parent)):
                handle, fresh = tempfile.mkstemp(prefix=PREFIX, dir=self.path.parent)
                os.close(handle)
                with self._open(fresh) as link:
                    link.execute("BEGIN IMMEDIATE")
                    link.executemany("INSERT INTO entries VALUES (?, ?, ?, ?, ?, ?)", rows)
                    link.execute("COMMIT")
                shutil.copymode(self.path, fresh)
                shutil.copy2(self.path, aside)
                for ending in ("-wal", "-shm"):
                    part = Path(f"{self.path}{ending}")
                    if part.exists():
                        part.rename(f"{aside}{ending}")
                # Only now: whatever ends the run before, the journal stands in its place.
                os.replace(fresh, self.path)
        except OSError as error:
            raise JournalError(
                f"the journal is damaged ({what}) and cannot be set aside: {(error.strerror or '').lower()}; copy the "
                "show's folder to where it may be written",
                Location(str(self.path)),
            ) from None
        self._last = rows[-1] if rows else _NONE
        lost = sorted({*range(1, good[-1][0] if good else 1)} - {row[0] for row in good})
        missing = f", without {', '.join(map(str, lost))}" if lost else ""
        self.repaired = (
            f"the journal was damaged ({what}): it is set aside as {aside.name}, and the {len(good)} entries "
            f"that are whole begin a new one{missing}"
        )
        return rows


_NO_TEXT = re.compile("[\ud800-\udfff]")
"""Halves of letters: what bytes that are no text become, and what no file of text can hold."""

_Row = tuple[int, str, str, str, str, str]

_NONE: _Row = (0, "", "", "", "", "")
"""Stands before the first row."""


def _digest(before: str, row: Sequence[object]) -> str:
    said = json.dumps([before, *row], ensure_ascii=False)
    return hashlib.sha256(said.encode("utf-8", "surrogatepass")).hexdigest()


def _sound(rows: Sequence[_Row], first: str = "") -> list[_Row]:
    """The rows that are as they were written; `first`: the digest of the row before them."""
    good: list[_Row] = []
    before = {first}
    for row in rows:
        texts = all(isinstance(one, str) for one in row[1:])  # SQLite keeps what it is given, bytes too
        digests = {_digest(one, row[:5]) for one in before} if texts else set[str]()
        if row[5] in digests:
            good.append(row)
        before = {str(row[5]), *digests}  # one of them, where this row is damaged
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


def _reader(path: Path, how: str = "mode=rw") -> sqlite3.Connection:
    return sqlite3.connect(f"{path.absolute().as_uri()}?{how}", timeout=PATIENCE, uri=True)


def _rows(path: Path) -> list[_Row]:
    """Every row of the file as it stands; also where nothing may be written beside it, or the disk is full."""
    try:
        with closing(_reader(path)) as link:
            return list(link.execute(f"{_SELECT} ORDER BY number"))
    except sqlite3.OperationalError as error:
        newest = Path(f"{path}-wal")  # what is in there is not read that way
        if _code(error) not in (*_NOT_ALLOWED, *_NO_ROOM) or (newest.exists() and newest.stat().st_size):
            raise
    with closing(_reader(path, "mode=ro&immutable=1")) as link:
        return list(link.execute(f"{_SELECT} ORDER BY number"))


def _code(error: Exception) -> int:
    """SQLite's own number of an error, 0 where it has none."""
    full = getattr(error, "sqlite_errorcode", 0)
    return 0 if full == sqlite3.SQLITE_IOERR_SHORT_READ else full & 0xFF


_NOT_ALLOWED = (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM)
_NO_ROOM = (sqlite3.SQLITE_IOERR, sqlite3.SQLITE_FULL)
_PASSING = (*_NO_ROOM, sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_NOMEM)
"""What is no damage of the file."""


def as_csv(entries: Sequence[Entry]) -> str:
    """The entries as CSV: number, time, who, kind, and what, as JSON."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(("Number", "Time", "Who", "Kind", "What"))
    for entry in entries:
        writer.writerow((*entry[:4], json.dumps(entry.body, ensure_ascii=False, sort_keys=True)))
    return out.getvalue()
