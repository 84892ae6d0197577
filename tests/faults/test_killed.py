"""A command that is killed, or refused room, at any step leaves whole files, loses none, and works afterwards."""

from __future__ import annotations

import os
import random
import shutil
from pathlib import Path

import pytest

from tests.faults.child import Ended, run, tree
from tests.faults.commands import WRITING, journal, prepared

KILLS = int(os.environ.get("KILLS", "1"))
REFUSED = ("convert", "handover-over", "revision-again", "amend", "ident", "fold-here", "drill")
"""`KILLS`: for each command; `KILLS=200 pytest tests/faults/test_killed.py` takes hours."""


def left_behind(folder: Path) -> list[str]:
    return [path.name for path in folder.rglob(".chanbridge-*")]


def held(before: dict[str, bytes], after: dict[str, bytes], now: dict[str, bytes], *, mine: bool) -> None:
    """Every file is as it was or as it becomes; none is gone that does not go. `mine`: unfinished ones may lie beside."""
    for name, data in now.items():
        if mine and any(part.startswith(".chanbridge-") for part in name.split("/")):
            continue
        assert data in (before.get(name), after.get(name)), f"{name} is half written"
    assert not (before.keys() & after.keys()) - now.keys()


def killed_at(
    name: str, ready: Path, after: dict[str, bytes], said: Ended, folder: Path, **kill: float
) -> Ended:
    """One run that is killed, what it left, and the same command again."""
    work = folder / "work"
    shutil.rmtree(work, ignore_errors=True)
    shutil.copytree(ready, work)
    before, entries = tree(work), journal(work)
    ended = run(WRITING[name].arguments, work, **kill)  # type: ignore[arg-type]
    held(before, after, tree(work), mine=True)
    assert journal(work)[: len(entries)] == entries
    again = run(WRITING[name].arguments, work)
    assert "Traceback" not in again.err
    counted = len(journal(work)) - len(entries)
    assert counted <= (1 if ended.status == -9 else 2)
    if again.status == 2 and (counted or "is there already" in again.err):
        again = said  # it was done before it was killed, and cannot be done twice
    assert again.status == said.status, again
    assert tree(work) == after or counted > 1
    assert left_behind(work) == []
    return ended


def refused_at(name: str, ready: Path, after: dict[str, bytes], said: Ended, folder: Path, step: int) -> None:
    """One run to which the disk refuses a step: it says so, and every file is as it was or as it becomes."""
    work = folder / "work"
    shutil.rmtree(work, ignore_errors=True)
    shutil.copytree(ready, work)
    before, entries = tree(work), journal(work)
    ended = run(WRITING[name].arguments, work, fail_at=step)
    held(before, after, tree(work), mine=False)
    assert left_behind(work) == []
    assert journal(work)[: len(entries)] == entries
    if ended.status == said.status:  # it was a step of SQLite, or a thing that is put in order later
        assert tree(work) == after or WRITING[name].journal
        return
    assert ended.status == 2, ended
    assert ended.err.strip().splitlines()[-1].startswith("chanbridge: "), ended.err
    assert "no space left" in ended.err


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("shelf")


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="commands are killed in a fork")
@pytest.mark.parametrize("name", WRITING)
def test_nothing_is_half_written_and_the_next_run_works(name: str, shelf: Path, tmp_path: Path) -> None:
    ready = prepared(name, shelf)
    done = tmp_path / "done"
    shutil.copytree(ready, done)
    said = run(WRITING[name].arguments, done)
    assert said.status in (0, 1), said
    after = tree(done)
    assert after != tree(ready) or WRITING[name].journal
    assert said.steps > 4
    assert left_behind(done) == []
    pick = random.Random(name)
    points = [*range(1, said.steps + 1)]
    for step in points if len(points) < KILLS else pick.sample(points, KILLS):
        assert killed_at(name, ready, after, said, tmp_path, kill_before=step).status == -9
    refusals = pick.sample(points, int(name in REFUSED)) if KILLS == 1 else points[:KILLS]
    for step in refusals:
        refused_at(name, ready, after, said, tmp_path, step)
    for _ in range(KILLS - len(points)):
        killed_at(name, ready, after, said, tmp_path, kill_after_s=pick.uniform(0.01, 1.2))
