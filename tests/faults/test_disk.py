"""A full disk, closed folders, two at once, links and odd clocks: whole files, and one clear line."""

from __future__ import annotations

import datetime
import os
import resource
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Self

import pytest
from hypothesis import settings

from chanbridge.errors import WriteError
from chanbridge.files import write_all, write_bytes
from chanbridge.handover.manifest import digest, read_manifest
from tests.faults.child import Ended, begun, run, tree
from tests.faults.commands import PAPERS, WRITING, journal, prepared

THOROUGH = settings().max_examples > 500
pytestmark = [pytest.mark.slow, pytest.mark.skipif(not hasattr(os, "fork"), reason="commands run in a fork")]


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("shelf")


def copied(name: str, shelf: Path, folder: Path) -> Path:
    """A folder ready for a command, to be written into."""
    work = folder / "work"
    shutil.rmtree(work, ignore_errors=True)
    shutil.copytree(prepared(name, shelf), work)
    return work


def refused(ended: Ended, *words: str) -> None:
    """Exit 2 and one line at the end of standard error, with these words and no trace."""
    assert ended.status == 2, ended
    assert "Traceback" not in ended.err
    last = ended.err.strip().splitlines()[-1]
    assert last.startswith("chanbridge: "), ended.err
    for word in words:
        assert word in last, last


def tidy(folder: Path) -> bool:
    return not any(".chanbridge-" in path.name for path in folder.rglob("*"))


@pytest.mark.parametrize("name", ["convert", "handover-over", "amend", "ident"])
def test_a_file_that_may_not_grow_is_said(name: str, shelf: Path, tmp_path: Path) -> None:
    work = copied(name, shelf, tmp_path)
    before, entries = tree(work), journal(work)

    small = partial(resource.setrlimit, resource.RLIMIT_FSIZE, (600, 600))
    refused(run(WRITING[name].arguments, work, first=small))
    assert tree(work) == before
    assert journal(work) == entries
    assert tidy(work)


@pytest.fixture
def tiny(tmp_path: Path) -> Iterator[Path]:
    """A disk of 128 KiB."""
    folder = tmp_path / "tiny"
    folder.mkdir()
    made = shutil.which("mount") and subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=128k", "tmpfs", folder], capture_output=True, check=False
    )
    if not made or made.returncode:
        pytest.skip("no disk can be made here")
    yield folder
    subprocess.run(["umount", folder], check=True)


def test_a_full_disk_is_said_and_what_lay_there_stays(shelf: Path, tmp_path: Path, tiny: Path) -> None:
    work = tiny / "work"
    shutil.copytree(prepared("undo", shelf), work)
    entries = journal(work)
    (tiny / "rest").write_bytes(bytes(os.statvfs(tiny).f_bavail * os.statvfs(tiny).f_frsize))
    before = tree(work)
    for arguments in (
        ("handover", "show", "-o", "out", *PAPERS), ("convert", "show/band.csv", "list.xlsx"), ("new", "fresh"),
        ("ident", "make", "show/band.csv", "-o", "i.wav", "--seconds", "4"), ("amend", "show", "Jonas to A6", "--yes"),
        ("handover", "show", "-o", "out", "--revision", "A", *PAPERS), ("told", "show", "desk"),
    ):  # fmt: skip
        ended = _ended_beside(arguments, work, tmp_path)
        refused(ended)
        assert "space" in ended.err or "full" in ended.err, ended.err
        assert tree(work) == before
        assert tidy(work)
    (tiny / "rest").unlink()
    assert journal(work) == entries
    assert run(("told", "show", "desk"), work).status == 0


def _ended_beside(arguments: tuple[str, ...], work: Path, beside: Path) -> Ended:
    """`run`, with what it prints put where there is room."""
    link = beside / "link"
    if not link.exists():
        link.symlink_to(work)
    return run(arguments, link)


CLOSED = {
    "amend": ("cannot be written", "permissions"),
    "told": ("cannot be written", "permissions"),
    "fold": ("may not be written", "permissions"),
    "convert-over": ("may not be written", "permissions"),
    "handover": ("may not be written", "permissions"),
    "revision-again": ("cannot be written", "permissions"),
    "new": ("may not be written", "permissions"),
    "new-here": ("may not be written", "permissions"),
    "ident": ("may not be written", "permissions"),
}


def without_rights(arguments: tuple[str, ...], folder: Path) -> subprocess.CompletedProcess[str]:
    """A command run as someone for whom permissions count: root without the right to pass them over."""
    ahead: list[str] = []
    if os.geteuid() == 0:
        if not shutil.which("setpriv"):
            pytest.skip("permissions do not stop root, and setpriv is not there")
        ahead = ["setpriv", "--bounding-set", "-dac_override,-dac_read_search,-fowner"]
    return subprocess.run(
        [*ahead, sys.executable, "-m", "chanbridge", *arguments], cwd=folder, capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )  # fmt: skip


def closed(work: Path) -> None:
    for path in work.rglob("*"):
        path.chmod(0o555 if path.is_dir() else 0o444)
    work.chmod(0o555)


@pytest.fixture
def shut(shelf: Path, tmp_path: Path) -> Iterator[Path]:
    """A show with a revision and a late change, in folders that may not be written."""
    work = copied("revision-again", shelf, tmp_path)
    closed(work)
    yield work
    for path in (work, *work.rglob("*")):
        path.chmod(0o755)


@pytest.mark.parametrize("name", CLOSED if THOROUGH else ["amend"])
def test_a_folder_that_may_not_be_written_is_named(name: str, shelf: Path, tmp_path: Path) -> None:
    work = copied(name, shelf, tmp_path)
    before = tree(work)
    closed(work)
    ended = without_rights(tuple(WRITING[name].arguments), work)
    refused(Ended(ended.returncode, 0, ended.stdout, ended.stderr), *CLOSED[name])
    assert tree(work) == before
    for path in (work, *work.rglob("*")):
        path.chmod(0o755)


def test_a_show_that_may_not_be_written_can_be_read_with_its_journal(shut: Path, tmp_path: Path) -> None:
    before = sorted(path.name for path in shut.rglob("*"))
    ended = without_rights(("status", "show"), shut)
    assert ended.returncode in (0, 1), ended
    assert "damaged" not in ended.stderr
    assert "revision A" in ended.stdout
    assert sorted(path.name for path in shut.rglob("*")) == before


def test_a_file_that_may_not_be_opened_is_named(shelf: Path, tmp_path: Path) -> None:
    work = copied("amend", shelf, tmp_path)
    (work / "show" / "band.csv").chmod(0)
    ended = without_rights(("check", "show"), work)
    refused(
        Ended(ended.returncode, 0, ended.stdout, ended.stderr), "band.csv", "may not be opened", "permissions"
    )


def test_two_hand_overs_into_one_folder_leave_one_of_them_whole(shelf: Path, tmp_path: Path) -> None:
    """Two shows of different content into one folder: afterwards every file is that of its manifest."""
    work = copied("amend", shelf, tmp_path)
    shutil.copytree(work / "show", work / "other")
    text = (work / "other" / "band.csv").read_text("utf-8")
    (work / "other" / "band.csv").write_text(text.replace("Kick", "Cajon"), "utf-8")
    for turn in range(10 if THOROUGH else 2):
        both = []
        for show in ("show", "other"):
            (tmp_path / f"{show}{turn}").mkdir()
            link = tmp_path / f"{show}{turn}" / "work"
            link.symlink_to(work)
            both.append(begun(("handover", show, "-o", "out", *PAPERS), link))
        assert {one.ended().status for one in both} == {0}
        made = read_manifest((work / "out" / "manifest.json").read_bytes(), "manifest.json")
        for name, said in made.files.items():
            assert digest((work / "out" / name).read_bytes()) == said, name
        assert tidy(work)


def test_two_revisions_at_once_are_one_revision_and_one_is_told(shelf: Path, tmp_path: Path) -> None:
    work = copied("revision", shelf, tmp_path)
    both = []
    for who in "12":
        (tmp_path / who).mkdir()
        (tmp_path / who / "work").symlink_to(work)
        both.append(begun(WRITING["revision"].arguments, tmp_path / who / "work"))
    ended = [one.ended() for one in both]
    assert sorted(one.status for one in ended) == [0, 2]
    assert not any("Traceback" in one.err for one in ended)
    assert [kind for kind, _ in journal(work)] == ["revision"]
    refused_err = [(tmp_path / who / "work.err").read_text("utf-8") for who in "12"]
    assert any("someone else wrote" in err or "issued already" in err for err in refused_err)


def test_who_waits_too_long_for_a_folder_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fcntl = pytest.importorskip("fcntl")
    monkeypatch.setattr("chanbridge.files.PATIENCE", 0.1)
    handle = os.open(tmp_path, os.O_RDONLY)
    fcntl.flock(handle, fcntl.LOCK_SH)
    with pytest.raises(WriteError, match="someone else is writing into this folder"):
        write_all(tmp_path, [("a", b"1"), ("b", b"2")])
    write_bytes(tmp_path / "a", b"1")  # one file disturbs nobody
    os.close(handle)
    write_all(tmp_path, [("a", b"1"), ("b", b"2")])
    assert sorted(os.listdir(tmp_path)) == ["a", "b"]


def test_what_an_ended_run_left_is_swept_away_but_not_what_someone_is_laying_down(tmp_path: Path) -> None:
    fcntl = pytest.importorskip("fcntl")
    left = tmp_path / ".chanbridge-abcdefg1"
    folder = tmp_path / ".chanbridge-abcdefg2"
    other = tmp_path / ".chanbridge-notes.txt"
    folder.mkdir()
    for path in (left, folder / "x", other):
        path.write_bytes(b"half")
    handle = os.open(tmp_path, os.O_RDONLY)
    fcntl.flock(handle, fcntl.LOCK_SH)  # someone lays down a file
    write_bytes(tmp_path / "a", b"1")
    assert left.exists()
    os.close(handle)
    write_bytes(tmp_path / "a", b"2")
    assert sorted(os.listdir(tmp_path)) == [other.name, "a"]


@pytest.mark.parametrize("kind", ["loop", "dangling", "out"])
def test_links_in_the_place_of_folders_and_files(kind: str, shelf: Path, tmp_path: Path) -> None:
    work = copied("handover", shelf, tmp_path)
    (work / "elsewhere").mkdir()
    match kind:
        case "loop":
            (work / "out").symlink_to(work / "out")
        case "dangling":
            (work / "out").symlink_to(work / "not there")
        case _:
            (work / "out").symlink_to(work / "elsewhere")
    ended = run(("handover", "show", "-o", "out", *PAPERS), work)
    if kind == "loop":
        refused(ended, "out")
        (work / "a.csv").symlink_to(work / "a.csv")
        refused(run(("read", "a.csv"), work), "a.csv", "circle")
    else:
        assert ended.status == 0, ended
        assert (work / "out").is_symlink()
        assert (work / "out" / "summary.txt").exists()


WRONG_KINDS = {
    "a folder for a sheet": (("read", "show"), ("folder",)),
    "a file for a folder": (
        ("handover", "show", "-o", "needs.toml", *PAPERS),
        ("a file stands where a folder is needed",),
    ),
    "a folder for a file": (("convert", "show/band.csv", "show"), ("show",)),
    "a folder called like a sheet": (("convert", "show/band.csv", "folder.csv"), ("folder.csv", "folder")),
    "a file on the way": (("convert", "show/band.csv", "needs.toml/x.csv"), ("no folder",)),
    "a file for a show": (("check", "needs.toml/show"), ("needs.toml",)),
    "a folder for the journal": (("status", "odd"), ("journal", "no file")),
    "a folder for words": (("read", "show/band.csv", "--vocabulary", "show"), ("folder",)),
    "a folder for a recording": (("ident", "read", "show", "--against", "show/band.csv"), ("folder",)),
    "a pipe for a sheet": (("read", "pipe.csv"), ("regular file",)),
    "a manifest that is a folder": (("verify", "odd"), ("manifest.json",)),
    "an exercise that is a file": (("drill", "show", "-o", "needs.toml"), ("there already",)),
}


@pytest.mark.parametrize("name", WRONG_KINDS)
def test_a_folder_for_a_file_and_the_other_way_round(name: str, shelf: Path, tmp_path: Path) -> None:
    work = copied("handover", shelf, tmp_path)
    shutil.copytree(work / "show", work / "odd")
    for folder in ("odd/journal.sqlite", "odd/manifest.json", "folder.csv"):
        (work / folder).mkdir()
    os.mkfifo(work / "pipe.csv")
    before = tree(work)
    arguments, words = WRONG_KINDS[name]
    refused(run(arguments, work), *words)
    assert tree(work) == before


def odd_clock(moment: float) -> None:
    """Make it another time, in seconds since 1970, in this process."""

    class Odd(datetime.datetime):
        @classmethod
        def now(cls, tz: datetime.tzinfo | None = None) -> Self:
            return cls.fromtimestamp(moment, tz)

    datetime.datetime = Odd  # type: ignore[misc]
    time.time = lambda: moment


@pytest.mark.parametrize("moment", [0.0, 4e9] if THOROUGH else [0.0])
def test_the_clock_decides_nothing(moment: float, shelf: Path, tmp_path: Path) -> None:
    """In 1970, before the last entry of the journal, or in 2096: the same bytes, and late changes in their order."""
    work = copied("revision-again", shelf, tmp_path)
    assert run(WRITING["revision-again"].arguments, work).status in (0, 1)
    right, entries = tree(work), journal(work)
    work = copied("revision-again", shelf, tmp_path)
    then = partial(odd_clock, moment)

    ended = run(WRITING["revision-again"].arguments, work, first=then)
    assert ended.status in (0, 1), ended
    assert tree(work) == right
    assert journal(work) == entries
    assert run(("status", "show"), work, first=then).status in (0, 1)
    later = run(("amend", "show", "Jonas to A6", "--yes"), work, first=then)
    assert later.status == 0
    assert [kind for kind, _ in journal(work)] == ["revision", "amendment", "revision", "amendment"]
