"""Every command that writes, on a small show, with what it needs to lie there before."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from chanbridge.journal import Journal
from tests.faults.child import run
from tests.web.conftest import BAND, SHOW

ROOT = Path(__file__).parents[2]
PAPERS = ("--formats", "csv,txt")


class Case(NamedTuple):
    """`before`: commands that make ready. `journal`: whether the command adds to the journal, so that it cannot be said twice."""

    arguments: Sequence[str]
    before: Sequence[Sequence[str]] = ()
    journal: bool = False


_ISSUED = ("handover", "show", "-o", "out", "--revision", "A", "--date", "2026-12-12", *PAPERS)
_LATE = ("amend", "show", "Ana to A7", "--yes")

WRITING = {
    "convert": Case(("convert", "show/band.csv", "list.xlsx")),
    "convert-over": Case(
        ("convert", "show/band.csv", "list.csv"), [("convert", "show/band.csv", "list.csv", "--to", "json")]
    ),
    "merge": Case(
        (
            "merge",
            "show/band.csv",
            "show/band.csv",
            "--onto",
            "56@48000",
            "--onto",
            "56@48000",
            "-o",
            "feed.csv",
            "--partial",
        )
    ),
    "handover": Case(("handover", "show", "-o", "out", *PAPERS)),
    "handover-over": Case(
        ("handover", "show", "-o", "out", *PAPERS), [("handover", "show", "-o", "out"), _LATE]
    ),
    "revision": Case(_ISSUED, journal=True),
    "revision-again": Case(
        ("handover", "show", "-o", "out", "--revision", "B", "--date", "2026-12-13", *PAPERS),
        [_ISSUED, _LATE],
        journal=True,
    ),
    "amend": Case(_LATE, journal=True),
    "undo": Case(("amendments", "show", "--undo", "1", "--yes"), [_LATE], journal=True),
    "fold": Case(("amendments", "show", "--fold", "folded"), [_LATE]),
    "fold-here": Case(("amendments", "show", "--fold", "."), [_LATE]),
    "told": Case(("told", "show", "desk"), [_ISSUED], journal=True),
    "received": Case(("received", "show", "desk"), [_ISSUED], journal=True),
    "lists": Case(("lists", "show", "-o", "lists")),
    "ident": Case(("ident", "make", "show/band.csv", "-o", "ident.wav", "--seconds", "4")),
    "reorder": Case(
        ("reorder", "ident.wav", "--from", "slots", "--to", "slots", "--by", "show/band.csv", "-o", "tracks"),
        [("ident", "make", "show/band.csv", "-o", "ident.wav", "--seconds", "4")],
    ),
    "new": Case(("new", "fresh")),
    "new-here": Case(("new", ".")),
    "drill": Case(("drill", "show", "-o", "exercise", "--faults", "2")),
    "size": Case(("size", "needs.toml", "--write", "sized")),
    "size-here": Case(("size", "needs.toml", "--write", ".")),
    "compare": Case(("compare", "show/band.csv", "show/band.csv", "-o", "page.html")),
}


def prepared(name: str, shelf: Path) -> Path:
    """A folder on the shelf with what a command needs: to be copied, never to be written into."""
    before = WRITING[name].before
    ready = shelf / hashlib.sha256(repr(before).encode()).hexdigest()[:12]
    if not ready.exists():
        (ready / "show").mkdir(parents=True)
        (ready / "show" / "show.toml").write_text(SHOW, "utf-8")
        (ready / "show" / "band.csv").write_text(BAND, "utf-8")
        shutil.copy(ROOT / "examples" / "needs.toml", ready / "needs.toml")
        for arguments in before:
            ended = run(arguments, ready)
            assert ended.status in (0, 1), ended
    return ready


def journal(work: Path) -> list[tuple[str, str]]:
    """Kind and body of what the journal of the show holds; fails where any of it was damaged."""
    found = Journal(work / "show")
    entries = found.entries()
    assert not found.repaired
    return [(entry.kind, repr(entry.body)) for entry in entries]
