"""The process that opens workbooks: it may die, and the next workbook is read all the same."""

from __future__ import annotations

import multiprocessing
import os
import sys
import threading
from pathlib import Path

import pytest

from chanbridge.apart import process
from chanbridge.apart.sheet import LARGE, Sheet, number_text
from chanbridge.errors import ReadError
from tests.formats import books

DATA = books.xlsx(books.ROWS)


def names() -> list[str]:
    return [sheet.name for sheet in process.sheets(DATA, "show.xlsx", False)]


def test_one_process_reads_many_workbooks() -> None:
    names()
    first = process._running[0].pid
    assert names() == ["Inputs"]
    assert process._running[0].pid == first


def test_a_process_that_died_is_replaced() -> None:
    names()
    process._running[0].kill()
    process._running[0].wait()
    assert names() == ["Inputs"]


def test_a_process_that_dies_at_work_is_reported_and_replaced(monkeypatch: pytest.MonkeyPatch) -> None:
    process.end()
    monkeypatch.setattr(
        process, "SECONDS", -9.999
    )  # the clock runs out after a millisecond, before the start is done
    with pytest.raises(ReadError, match=r"show\.xlsx: reading this workbook takes more than"):
        names()
    monkeypatch.undo()
    assert names() == ["Inputs"]


def test_a_process_that_cannot_start_is_a_fault_of_the_installation(monkeypatch: pytest.MonkeyPatch) -> None:
    process.end()
    monkeypatch.setattr(sys, "path", [])
    with pytest.raises(RuntimeError, match="python-calamine"):
        names()


@pytest.mark.parametrize(
    ("raised", "expected", "message"),
    [
        ("RuntimeError('a fault')", RuntimeError, "a fault"),
        ("type('PanicException', (BaseException,), {})()", ReadError, "damaged"),
        ("CalamineError('no cells')", ReadError, "no cells"),
        ("MemoryError()", ReadError, "2 GB of memory"),
    ],
)
def test_a_fault_of_the_program_is_told_apart_from_a_damaged_workbook(
    raised: str, expected: type[Exception], message: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fake = [
        "class CalamineError(Exception): pass",
        "class CalamineSheet: pass",
        "class CalamineWorkbook:",
        "    @staticmethod",
        f"    def from_filelike(data): raise {raised}",
    ]
    (tmp_path / "python_calamine.py").write_text("\n".join(fake), "utf-8")
    process.end()
    monkeypatch.syspath_prepend(tmp_path)
    try:
        with pytest.raises(expected, match=message):
            names()
    finally:
        process.end()


def test_a_process_is_not_kept_after_a_large_workbook() -> None:
    parts = books.unzipped(DATA) | {"xl/media/photo.bin": os.urandom(LARGE)}
    assert [sheet.rows[1][1] for sheet in process.sheets(books.zipped(parts), "show.xlsx", False)] == ["Kick"]
    assert not process._running
    assert names() == ["Inputs"]


def test_threads_take_turns() -> None:
    found: list[list[str]] = []
    threads = [threading.Thread(target=lambda: found.append(names())) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [["Inputs"]] * 4


@pytest.mark.skipif("fork" not in multiprocessing.get_all_start_methods(), reason="this system has no fork")
def test_a_copy_of_this_process_starts_one_of_its_own() -> None:
    names()
    mine = process._running[0].pid
    reading, writing = os.pipe()
    copy = os.fork()
    if not copy:
        same = process._running and process._running[0].pid == mine
        os.write(writing, b"same" if same else b"other")
        os._exit(0)
    os.waitpid(copy, 0)
    assert os.read(reading, 5) == b"other"
    assert names() == ["Inputs"]
    os.close(reading)
    os.close(writing)


def test_the_end_leaves_nothing_running() -> None:
    names()
    mine = process._running[0]
    process.end()
    assert mine.returncode is not None
    assert process.end() == 0


def test_what_is_known_of_a_sheet() -> None:
    (sheet,) = process.sheets(DATA, "show.xlsx", False)
    assert sheet == Sheet(
        "Inputs",
        True,
        0,
        [1, 2, 3, 4],
        [[str(cell) for cell in row] for row in books.ROWS],
        [],
        [],
        [],
        [],
        False,
    )


@pytest.mark.parametrize(
    ("value", "text"),
    [(16.0, "16"), (2.5, "2.5"), (-0.0, "0"), (1e15, "1e+15"), (float("nan"), "nan"), (0.1 + 0.2, "0.3")],
)
def test_numbers_as_they_were_typed(value: float, text: str) -> None:
    assert number_text(value) == text
