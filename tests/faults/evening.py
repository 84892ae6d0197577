"""What is said in the evening, typed, kept and sent: late changes, the journal, ticks, what phones send."""

from __future__ import annotations

import atexit
import json
import shutil
import tempfile
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

from chanbridge.assemble import Planned, assemble
from chanbridge.evening.amend import check, steps_for
from chanbridge.evening.revisions import body_of
from chanbridge.evening.state import planned, read_state
from chanbridge.evening.steps import carried_out, from_json, opposite, to_json
from chanbridge.evening.words import understand
from chanbridge.journal import FILE, Journal
from chanbridge.show import load
from chanbridge.web.linecheck import KIND, Ticks, understood
from tests.web.conftest import Served, small_show

ROOT = Path(__file__).parents[2]
SHOW = ROOT / "examples" / "winter-concert"


@cache
def example() -> Planned:
    """The example as it is planned."""
    return assemble(load(str(SHOW), accept_rejected=True))


def said_read(data: bytes, folder: Path) -> None:
    """A typed late change, made on the example's stage and taken back."""
    stage = example().map
    steps = steps_for(understand(data.decode("utf-8", "surrogateescape")), stage)
    check(steps, stage)
    after, _ = carried_out(stage, [from_json(json.loads(json.dumps(to_json(one)))) for one in steps])
    carried_out(after, opposite(steps))


def said_seeds() -> Sequence[bytes]:
    return [
        text.encode()
        for text in (
            "Ana to B35", "swap Ana and Jonas", "rename Oboe to English horn", "add Zither at B36 with DI", "remove Keys L",
            "phantom on for Ana", "note Ana: two cables", "move “Kick in” to A40", "A1 -> B36", "add Harp 2 at B 37", "Keys to B36",
        )
    ]  # fmt: skip


_AT = "2026-12-12T18:00:00Z"


def bodies() -> list[tuple[str, Any]]:
    steps = steps_for(understand("Ana to B36"), example().map)
    return [
        ("revision", body_of("A", "2026-12-12", example(), {"truck/sheet.csv": b"x"})),
        (
            "amendment",
            {
                "said": "Ana to B36", "steps": [to_json(step) for step in steps], "concerns": {"truck": "Ana moves"},
                "stands": {"truck": {"ana": 3}}, "undoes": 0,
            },
        ),
        ("told", {"recipient": "truck", "what": ["A", 1]}),
        ("received", {"recipient": "truck", "what": ["A"]}),
        ("rehearsal", {"on": True, "recorder": "rec", "live": ["ana"]}),
        (KIND, {"ticks": [{"id": "tick-00000001", "channel": "ana", "at": "truck", "result": "arrived"}]}),
    ]  # fmt: skip


@cache
def journal_seeds() -> Sequence[bytes]:
    with tempfile.TemporaryDirectory() as folder:
        journal = Journal(folder)
        for kind, body in bodies()[2:]:
            journal.append(kind, body, at=_AT, who="Ana")
        data = (Path(folder) / FILE).read_bytes()
    return [data]


def journal_read(data: bytes, folder: Path) -> None:
    """A journal's file: what it says, and one entry more."""
    for old in folder.glob("journal*"):
        old.unlink()
    (folder / FILE).write_bytes(data)
    journal = Journal(folder)
    read_state(journal)
    Ticks.of(journal.entries())
    journal.append("told", {"recipient": "truck", "what": [1]}, at=_AT)
    assert Journal(folder).entries()[-1].kind == "told"


@cache
def entry_seeds() -> Sequence[bytes]:
    return [json.dumps([kind, body]).encode() for kind, body in bodies()]


def entry_read(data: bytes, folder: Path) -> None:
    """An entry that is whole, and says what no chanbridge would have written."""
    try:
        kind, body = json.loads(data)
    except (ValueError, TypeError, RecursionError):
        return
    if not isinstance(kind, str) or not isinstance(body, dict):
        return
    for old in folder.glob("journal*"):
        old.unlink()
    journal = Journal(folder)
    try:
        journal.append(kind, body, at=_AT)
    except (ValueError, UnicodeEncodeError):
        return  # no JSON that SQLite takes
    state = read_state(journal)
    Ticks.of(journal.entries())
    planned(load(str(SHOW), accept_rejected=True), state)


def tick_read(data: bytes, folder: Path) -> None:
    try:
        said = json.loads(data)
    except (ValueError, RecursionError):
        return
    understood(said)


def tick_seeds() -> Sequence[bytes]:
    tick = {
        "id": "tick-00000001", "channel": "ana", "at": "truck", "result": "arrived", "other": "", "note": "hums", "who": "Ana",
        "place": "A12 > 14", "made": "2026-12-12T18:30:00Z", "sees": ["tick-00000000"],
    }  # fmt: skip
    return [json.dumps(tick).encode()]


@cache
def served() -> Served:
    """The crew's page of a small show, on loopback."""
    folder = tempfile.mkdtemp(prefix="chanbridge-faults-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return Served(small_show(Path(folder) / "show"))


def sent_read(data: bytes, folder: Path) -> None:
    """What phones send: acknowledgements, ticks, late changes. An answer is one of ours, whatever comes."""
    for path in ("/received", "/ticks", "/late/look", "/late", "/reading"):
        answer = served().ask(path, data)
        assert answer.status in (200, 400, 403, 409, 413, 422), f"{path}: {answer.status} {answer.text[:200]}"
        assert "Traceback" not in answer.text
    assert served().ask("/?view=line").status == 200


def sent_seeds() -> Sequence[bytes]:
    said: tuple[Any, ...] = (
        {"recipient": "desk", "what": [1], "who": "Ana"}, {"ticks": [json.loads(one) for one in tick_seeds()]},
        {"ticks": [{"id": "tick-00000002", "channel": "a-kick", "at": "desk", "result": "noisy"}]},
        {"said": "Ana to A7", "undoes": 0, "agreed": "x", "who": "Jonas"}, {"channel": "a-kick"},
    )  # fmt: skip
    return [json.dumps(one).encode() for one in said]
