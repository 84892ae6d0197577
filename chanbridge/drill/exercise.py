"""An exercise as files: the stage's lists as they are, the papers with faults, the task, the answers sealed."""

from __future__ import annotations

import base64
import csv
import io
import json
import zlib
from collections.abc import Collection, Iterator
from typing import Any, NamedTuple

from pydantic import TypeAdapter

from chanbridge.assemble import Planned
from chanbridge.drill.faults import Fault, Paper, plant
from chanbridge.errors import Location, ReadError, unknown
from chanbridge.names import counted, fold

SEALED = "answers.sealed"
FINDINGS = "findings.csv"
LARGEST = 1024 * 1024
"""Bytes of the answers, unpacked: a file can be built to unpack to any size."""
HEADING = ("Recipient", "Slot", "What is wrong")
_SEAL = "Answers, sealed. Read them only after: chanbridge drill mark DIR"


class Answer(NamedTuple):
    """A planted fault and whose paper it stands on."""

    recipient: str
    fault: Fault


def exercise(planned: Planned, faults: int, seed: int) -> tuple[list[tuple[str, bytes]], list[Answer]]:
    """The files of an exercise, and the answers."""
    ports = [delivery.recipient.id for delivery in planned.deliveries]
    papers = [Paper.of(planned.map, port) for port in ports]
    answers = [Answer(ports[at], fault) for at, fault in plant(papers, faults, seed)]
    answers.sort(key=lambda answer: (ports.index(answer.recipient), answer.fault.slots))
    files = [(f"stage/{name}.csv", data) for name, data in _stage(planned)]
    files += [(f"paper/{port}.csv", _csv(paper)) for port, paper in zip(ports, papers, strict=True)]
    files += [
        (FINDINGS, ("\ufeff" + ",".join(HEADING) + "\r\n").encode()),
        (SEALED, _sealed(answers)),
        ("task.txt", _task(planned, ports, len(answers)).encode()),
    ]
    return files, answers


def _stage(planned: Planned) -> Iterator[tuple[str, bytes]]:
    for port in planned.map.ports:
        if port.kind == "sockets" and port.size:
            yield f"box-{port.id}", _csv(Paper.of(planned.map, port.id))


def _csv(paper: Paper) -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\r\n").writerows([paper.heading, *paper.rows])
    return ("\ufeff" + out.getvalue()).encode()


def _task(planned: Planned, ports: list[str], many: int) -> str:
    names = ", ".join(f"paper/{port}.csv" for port in ports)
    return f"""{planned.map.title}: find the faults

The lists in stage/ are right: what is plugged into each box, socket by socket.
Everybody got a list of their own: {names}.
{counted(many, "fault")} crept into them: a channel that is not there, two in each other's slots, a pair the wrong
way round, a wrong socket, a wrong name, a channel twice, phantom or polarity turned, a mark NOT FOR AIR lost.
That a recipient gets fewer channels than there are, or on other slots than another one, is no fault by itself.

Write each that you find into {FINDINGS}, a row for each: whose list, which slot, what is wrong.
Then, with the folder that this file lies in: chanbridge drill mark FOLDER
What you missed is told only where you ask for it: chanbridge drill mark FOLDER --answers

This is paper. On a stage you would mute before you move a plug, and ask before phantom is switched.
"""


def _sealed(answers: list[Answer]) -> bytes:
    told = [{"recipient": one.recipient, **one.fault._asdict()} for one in answers]
    packed = base64.encodebytes(zlib.compress(json.dumps(told, ensure_ascii=False).encode()))
    return f"{_SEAL}\n".encode() + packed


def unsealed(data: bytes, source: str) -> list[Answer]:
    """The answers of an exercise. Raises ReadError where the file is none."""
    try:
        packed = zlib.decompressobj().decompress(base64.decodebytes(data.partition(b"\n")[2]), LARGEST)
        told = TypeAdapter(list[dict[str, Any]]).validate_json(packed)
        made = [
            Answer(one["recipient"], Fault(one["kind"], tuple(one["slots"]), one["what"])) for one in told
        ]
        return TypeAdapter(list[Answer]).validate_python(made)
    except (ValueError, KeyError, TypeError, RecursionError, zlib.error):
        raise ReadError("these are no sealed answers of a drill", Location(source)) from None


class Mark(NamedTuple):
    """How findings meet the answers: what was found, what was missed, and rows that name no fault."""

    found: list[Answer]
    missed: list[Answer]
    false: list[tuple[int, str]]


def mark(answers: list[Answer], findings: list[list[str]], source: str, lists: Collection[str] = ()) -> Mark:
    """Mark rows of recipient, slot and remark, the heading first. A fault is found where its list and a slot of it are named.

    `lists`: the names that a recipient can have. Raises ReadError for another, and for a row whose slot is no number.
    """
    found: dict[int, None] = {}
    false = []
    for number, row in enumerate(findings, 1):
        cells = [cell.strip() for cell in row] + [""] * 3
        if not any(cells) or (number == 1 and fold(cells[0]).startswith(fold(HEADING[0]))):
            continue
        if lists and fold(cells[0]) not in map(fold, lists):
            raise ReadError(unknown("list", cells[0][:40], lists), Location(source, "", number))
        if not cells[1].isdecimal() or len(cells[1]) > 6:
            raise ReadError(
                f"slot {cells[1][:40]!r} is no number of a slot; write whose list, which slot, what is wrong",
                Location(source, "", number),
            )
        hits = [
            at
            for at, answer in enumerate(answers)
            if fold(answer.recipient) == fold(cells[0]) and int(cells[1]) in answer.fault.slots
        ]
        found |= dict.fromkeys(hits)
        if not hits:
            false.append((number, f"{cells[0]}, slot {cells[1]}"))
    return Mark(
        [answers[at] for at in sorted(found)],
        [answer for at, answer in enumerate(answers) if at not in found],
        false,
    )
