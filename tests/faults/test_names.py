"""Odd names, terminals that know few letters, and streams that are closed or full: never a trace, always a whole answer."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest
from hypothesis import settings

from tests.faults.child import run
from tests.faults.commands import PAPERS
from tests.web.conftest import BAND, SHOW

THOROUGH = settings().max_examples > 500
ROOT = Path(__file__).parents[2]
pytestmark = [pytest.mark.slow, pytest.mark.skipif(not hasattr(os, "fork"), reason="commands run in a fork")]

NAMES = {
    "blanks": "a  b c ",
    "quotes": 'it\'s "mine" `x` $HOME',
    "line break": "line\nbreak",
    "tab and bell": "tab\tbell\a",
    "accents": "Bühne é 舞台 🎤",
    "right to left": "\u202eback",
    "not UTF-8": os.fsdecode(b"caf\xe9 \xff"),
    "a dash": "-o",
    "a format string": "{0} %s %(x)s {{",
    "long": "x" * 240,
}


def show_called(name: str, folder: Path) -> Path:
    """A work folder with a show in a folder of an odd name, and its sheet under that name too."""
    work = folder / "work"
    (work / name).mkdir(parents=True)
    (work / name / f"{name}.csv").write_text(BAND.replace("Ana", "Zoë"), "utf-8")
    (work / name / "band.csv").write_text(BAND, "utf-8")
    (work / name / "show.toml").write_text(SHOW, "utf-8")
    return work


@pytest.mark.parametrize("kind", NAMES if THOROUGH else ("line break", "accents", "not UTF-8", "long"))
def test_a_file_and_a_folder_may_be_called_anything(kind: str, tmp_path: Path) -> None:
    name = NAMES[kind]
    work = show_called(name, tmp_path)
    for arguments in (
        ("read", "--", f"{name}/{name}.csv"),
        ("read", "--json", "--", f"{name}/{name}.csv"),
        ("convert", "--", f"{name}/{name}.csv", f"{name}/{name}.xlsx"),
        ("check", "--", name),
        ("amend", "--yes", "--who", "Zoë", "--", name, "Ana to A7"),
        ("handover", *PAPERS, f"--output={name} out", "--", name),
        ("verify", "--", f"{name} out", name),
        ("status", "--", name),
    ):
        ended = run(arguments, work)
        assert ended.status in (0, 1), (arguments, ended)
        assert "Traceback" not in ended.err
        if "--json" in arguments:
            assert json.loads(ended.out)["source"] == f"{name}/{name}.csv" or not name.isascii()
    missing = run(("read", "--", f"{name} gone.csv"), work)
    assert missing.status == 2
    assert len(missing.err.strip().splitlines()) == 1, missing.err


@pytest.mark.parametrize(
    ("name", "word"),
    [("x" * 300 + ".csv", "too long"), ("a\0b.csv", ""), ("d/" * 3000 + "x.csv", "")],
    ids=["longer than a name may be", "NUL", "longer than a path may be"],
)
def test_a_name_that_cannot_be_is_said(name: str, word: str, tmp_path: Path) -> None:
    work = show_called("show", tmp_path)
    for arguments in (
        ("read", name),
        ("convert", "show/band.csv", name),
        ("handover", "show", "-o", name, *PAPERS),
    ):
        ended = run(arguments, work)
        assert ended.status == 2, ended
        assert "Traceback" not in ended.err
        assert word in ended.err


def test_a_note_of_bytes_that_are_no_text_is_refused(tmp_path: Path) -> None:
    work = show_called("show", tmp_path)
    for arguments in (
        ("amend", "show", "--yes", "note Ana: \udcff"),
        ("amend", "show", "--yes", "--who", "\udcff", "Ana to A7"),
    ):
        ended = run(arguments, work)
        assert ended.status == 2, ended
        assert "no letter" in ended.err
    assert not run(("amendments", "show", "--csv"), work).out.strip().splitlines()[1:]


def start(
    arguments: Sequence[str], folder: Path, env: Mapping[str, str], **streams: object
) -> subprocess.CompletedProcess[bytes]:
    """A command in a process of its own, with its own environment and streams."""
    clean = {key: value for key, value in os.environ.items() if not key.startswith(("LC_", "LANG", "PYTHON"))}
    ended: subprocess.CompletedProcess[bytes] = subprocess.run(
        [sys.executable, "-m", "chanbridge", *arguments], cwd=folder, check=False, timeout=120,
        env={**clean, "PYTHONPATH": str(ROOT), **env}, **streams,  # type: ignore[call-overload]
    )  # fmt: skip
    return ended


TERMINALS: tuple[dict[str, str], ...] = (
    {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
    {"PYTHONIOENCODING": "cp1252"},
    {"PYTHONIOENCODING": "ascii"},
    {"LC_ALL": "C"},
    {},
    {"PYTHONIOENCODING": "latin-1:strict"},
    {"PYTHONIOENCODING": "utf-16"},
)


@pytest.mark.parametrize("env", TERMINALS if THOROUGH else TERMINALS[:2], ids=str)
def test_a_terminal_that_lacks_a_letter_shows_something_else(env: dict[str, str], tmp_path: Path) -> None:
    work = show_called("Bühne 舞台", tmp_path)
    commands = [
        ["read", "Bühne 舞台/Bühne 舞台.csv"], ["read", "Bühne 舞台/gone 舞.csv"], ["check", "Bühne 舞台"], ["--help"],
        ["convert", "Bühne 舞台/band.csv", "-", "--to", "csv"], ["status", "Bühne 舞台"], ["amend", "Bühne 舞台", "Zoë to A7", "--yes"],
    ]  # fmt: skip
    for arguments in commands if THOROUGH else commands[:2]:
        ended = start(arguments, work, env, capture_output=True)
        assert ended.returncode in (0, 1, 2), ended
        assert b"Traceback" not in ended.stderr
        assert ended.stdout or ended.stderr


RESULTS = (
    ("read", "show/band.csv"), ("convert", "show/band.csv", "-", "--to", "xlsx"), ("check", "show"), ("--help",), ("status", "show"),
    ("handover", "show", "-o", "out", *PAPERS), ("compare", "show/band.csv", "show/show.csv", "--json"),
)  # fmt: skip
SOME = RESULTS if THOROUGH else RESULTS[:2]


@pytest.mark.parametrize("arguments", SOME, ids=" ".join)
def test_an_output_that_takes_nothing_is_said(arguments: tuple[str, ...], tmp_path: Path) -> None:
    work = show_called("show", tmp_path)
    with open("/dev/full", "wb") as full:
        ended = start(arguments, work, {}, stdout=full, stderr=subprocess.PIPE)
    assert ended.returncode == 2
    assert (
        ended.stderr.decode().strip().splitlines()[-1]
        == "chanbridge: standard output cannot be written: no space left on device"
    )


@pytest.mark.parametrize("closing", ["stdout", "all", "pipe"])
@pytest.mark.parametrize("arguments", SOME[-1:] if not THOROUGH else SOME, ids=" ".join)
def test_closed_streams_are_no_trace(arguments: tuple[str, ...], closing: str, tmp_path: Path) -> None:
    work = show_called("show", tmp_path)
    command = " ".join(f"'{one}'" for one in (sys.executable, "-m", "chanbridge", *arguments))
    line = {"stdout": ">&-", "all": "<&- >&- 2>&-", "pipe": "| head -c 1 >/dev/null"}[closing]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    ended = subprocess.run(
        ["bash", "-c", f"{command} {line}; exit ${{PIPESTATUS[0]}}"],
        cwd=work,
        env=env,
        capture_output=True,
        check=False,
    )
    assert b"Traceback" not in ended.stderr
    assert b"Exception" not in ended.stderr
    assert ended.returncode in ((0, 1, 2, 141) if closing == "pipe" else (2,)), ended
    if closing == "stdout":
        assert b"standard output cannot be written" in ended.stderr


def test_no_input_where_an_answer_is_wanted_changes_nothing(tmp_path: Path) -> None:
    work = show_called("show", tmp_path)
    ended = run(("amend", "show", "Ana to A7"), work)  # its standard input is empty
    assert ended.status == 130
    assert "nothing was changed" in ended.err
    assert not (work / "show" / "journal.sqlite").exists()
    empty = run(("read", "-"), work)
    assert empty.status == 2
    assert "empty" in empty.err
