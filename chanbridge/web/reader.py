"""The process that reads what somebody dropped on the page: bounded in memory and time, and ended if it takes too long.

It is given a request on standard input, answers with JSON on standard output, and writes nothing else anywhere.
"""

from __future__ import annotations

import json
import sys
from contextlib import ExitStack
from pathlib import PurePath
from typing import Any

from chanbridge import formats
from chanbridge.errors import ChanbridgeError, Location, ReadError
from chanbridge.formats import native
from chanbridge.model import AUDIENCES, ChannelMap
from chanbridge.sheets.grid import Options
from chanbridge.sheets.ledger import Reading

MOST_ROWS = 20_000
"""Rows of a sheet that is dropped on the page."""

MOST_SHOWN = 300
"""Findings, problems and the like that are sent back of each kind."""

MEMORY = 3 << 30
"""Bytes of address space; numpy takes a good part of it before it does anything."""


def main() -> None:
    """Answer one request: a line of JSON, then the bytes of the upload."""
    request = json.loads(sys.stdin.buffer.readline())
    _bound(request["seconds"])
    try:
        answer = _WORK[request["kind"]](request, sys.stdin.buffer.read())
    except ChanbridgeError as error:
        answer = {"error": str(error)}
    except MemoryError:
        answer = {
            "error": f"{request['name']}: this would need more memory than any channel list; is it the right file?"
        }
    sys.stdout.write(json.dumps(answer))


def _bound(seconds: int) -> None:
    if sys.platform != "win32":
        import resource

        for kind, most in (
            (resource.RLIMIT_AS, MEMORY),
            (resource.RLIMIT_CPU, seconds),
            (resource.RLIMIT_CORE, 0),
            (resource.RLIMIT_FSIZE, 0),
        ):
            allowed = resource.getrlimit(kind)[1]
            wanted = most if allowed == resource.RLIM_INFINITY else min(most, allowed)
            resource.setrlimit(kind, (wanted, allowed))


def read(name: str, data: bytes) -> Reading:
    """An upload as a sheet; its name says no more than what kind of file it may be. Raises ReadError."""
    if data.count(b"\n") > 4 * MOST_ROWS:
        raise ReadError(f"this has more than {4 * MOST_ROWS:,} lines; no channel list has", Location(name))
    suffix = PurePath(name).suffix.lower()
    known = next((one for one in formats.FORMATS if suffix in one.suffixes), None)
    if known is None and data[:4] in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0"):
        known = formats.named("workbook")
    reading = formats.read_data(data, name, known, Options())
    if len(reading.ledger) > MOST_ROWS:
        raise ReadError(
            f"this has {len(reading.ledger):,} rows; at most {MOST_ROWS:,} are compared here", Location(name)
        )
    return reading


def _compare(request: dict[str, Any], data: bytes) -> dict[str, Any]:
    """How a sheet was read, and how it differs from the recipient it belongs to: the one named, or the likeliest."""
    from chanbridge.compare.changes import Comparison, compare
    from chanbridge.compare.report import ASKED, Sheet, about, grouped, places, said, summed

    reading = read(request["name"], data)
    heard = [name for name in AUDIENCES if name in reading.layout]
    best: tuple[int, str, Comparison, Sheet] | None = None
    for recipient, text in request["maps"].items():
        reference = native.read(text.encode("utf-8"), recipient, Options())
        assert isinstance(reference, ChannelMap)
        found = compare(
            reference, reading.map, by_id="id" in reading.layout, heard=heard, columns=reading.layout.keys()
        )
        merit = 2 * found.same + len(found.matches) - len(found.changes)
        if best is None or merit > best[0]:
            best = (merit, recipient, found, Sheet(request["names"][recipient], reference, {}))
    if best is None:
        raise ReadError("the show has nobody whose sheet this could be")
    _, recipient, found, mine = best
    theirs = Sheet(reading.source, reading.map, reading.origins)
    groups = [
        {
            "title": group.title,
            "advice": group.advice,
            "changes": [
                {"kind": one.kind, "message": one.message, "where": places(one.lines(), mine, theirs)}
                for one in changes[:MOST_SHOWN]
            ],
        }
        for group, changes in grouped(found.changes)
    ]
    if found.questions:
        groups.append(
            {
                "title": ASKED.title,
                "advice": ASKED.advice,
                "changes": [
                    {
                        "kind": one.kind,
                        "message": said(one),
                        "where": places([(one.reference, one.other)], mine, theirs),
                    }
                    for one in found.questions[:MOST_SHOWN]
                ],
            }
        )
    summary = [summed(found), about(mine, theirs)]
    if not found.matches:
        summary.insert(0, "Not one channel was found on both: is this the right sheet?")
    return {"against": recipient, "summary": summary, "groups": groups, **_how(reading)}


def _how(reading: Reading) -> dict[str, Any]:
    return {
        "rows": len(reading.ledger),
        "verdicts": reading.verdicts(),
        "how": list(reading.how),
        "columns": [
            [one.heading, one.field or "kept as it is", one.why] for one in reading.evidence[:MOST_SHOWN]
        ],
        "rejected": [[row.row, row.text[:200], row.reason] for row in reading.rejected()[:MOST_SHOWN]],
        "problems": [str(one) for one in reading.problems[:MOST_SHOWN]],
    }


def _ident(request: dict[str, Any], _: bytes) -> dict[str, Any]:
    """What a recording of ident signals carries, against the plan of a port."""
    from chanbridge.formats.text import draw
    from chanbridge.ident import places
    from chanbridge.ident.detect import HIGHEST_HZ, LOWEST_HZ, MOST_INPUTS, SHORTEST_S, detect
    from chanbridge.ident.recording import open_take
    from chanbridge.ident.report import report, text
    from chanbridge.ident.verdict import Plan

    whole = native.read(request["map"].encode("utf-8"), "the show", Options())
    assert isinstance(whole, ChannelMap)
    coded = places.coded(whole, places.SOCKETS)
    plan = Plan(places.places(whole, request["port"]), coded)
    paths: dict[str, str] = request["paths"]

    def called(said: str) -> str:
        """A sentence with the files as people know them, not where they lie on this machine."""
        for path, name in reversed(paths.items()):
            said = said.replace(path, name)
        return said

    try:
        with ExitStack() as stack:
            take = open_take(stack, [*paths])
            if take.length < SHORTEST_S * take.rate_hz * 1.01:
                raise ReadError(f"{take.length / take.rate_hz:.2f} s are too short; record 4 seconds or more")
            if not LOWEST_HZ <= take.rate_hz <= HIGHEST_HZ:
                raise ReadError(
                    f"{take.rate_hz} Hz cannot carry the signals, which reach up to 9 kHz; record at 44100 to 96000 Hz"
                )
            if take.inputs > MOST_INPUTS:
                raise ReadError(f"{take.inputs} inputs are more than can be read at once")
            found = detect(take, sorted({*coded.codes.values()}), request["level"])
    except ChanbridgeError as error:
        return {"error": called(str(error))}
    made = report(" ".join(paths.values()), request["port"], take, found, plan)
    fine = not (made.verdict.findings or made.verdict.questions)
    return {
        "lines": [*map(called, take.remarks), *text(made, draw)][: 10 * MOST_SHOWN], "fine": fine,
        "files": [*paths.values()],
    }  # fmt: skip


_WORK = {"compare": _compare, "ident": _ident}
