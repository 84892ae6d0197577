"""Planted faults are there, are the only ones, and are marked."""

from __future__ import annotations

import csv
import io
import random
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chanbridge.assemble import Planned, assemble
from chanbridge.compare.changes import compare
from chanbridge.drill.exercise import SEALED, exercise, mark, unsealed
from chanbridge.drill.faults import PLANTS, Paper
from chanbridge.errors import ReadError
from chanbridge.formats import named, read_data
from chanbridge.model import AUDIENCES
from chanbridge.sheets.ledger import Reading
from chanbridge.show import load
from tests.strategies import EXAMPLES

EXAMPLE = Path(__file__).parents[2] / "examples" / "winter-concert"
PLANNED: Planned = assemble(load(str(EXAMPLE)))


def sheet(paper: Paper) -> Reading:
    out = io.StringIO(newline="")
    csv.writer(out).writerows([paper.heading, *paper.rows])
    return read_data(out.getvalue().encode(), "paper.csv", named("csv"))


@pytest.mark.parametrize("at", range(len(PLANTS)))
@settings(max_examples=max(4, EXAMPLES // 10))
@given(seed=st.integers(0, 10_000))
def test_each_kind_is_what_a_comparison_finds(at: int, seed: int) -> None:
    right, wrong = Paper.of(PLANNED.map, "front-of-house"), Paper.of(PLANNED.map, "front-of-house")
    fault = PLANTS[at](wrong, random.Random(seed))
    assert fault is not None
    if (
        fault.kind == "audience"
    ):  # a reader of the sheet still knows it by its name; on paper the mark is gone
        row = next(row for row in range(len(wrong.rows)) if wrong.slot(row) == fault.slots[0])
        assert (right.cell(row, "Air"), wrong.cell(row, "Air")) == ("NOT FOR AIR", "")
        return
    one, two = sheet(right), sheet(wrong)
    both = one.layout.keys() & two.layout.keys()
    found = compare(
        one.map, two.map, heard=[name for name in AUDIENCES if name in both], columns=both, spares=True
    )
    kinds = {change.kind for change in found.changes}
    assert fault.kind in kinds
    numbers = {line.number for change in found.changes for pair in change.lines() for line in pair if line}
    assert numbers & {*fault.slots}


@settings(max_examples=max(6, EXAMPLES // 8))
@given(seed=st.integers(0, 1000), faults=st.integers(1, 12))
def test_the_answers_are_what_was_changed(seed: int, faults: int) -> None:
    files, answers = exercise(PLANNED, faults, seed)
    again, _ = exercise(PLANNED, faults, seed)
    assert files == again
    assert len(answers) == faults
    told = dict(files)
    assert unsealed(told[SEALED], "x") == answers
    for delivery in PLANNED.deliveries:
        name = delivery.recipient.id
        before = Paper.of(PLANNED.map, name)
        after = list(csv.reader(io.StringIO(told[f"paper/{name}.csv"].decode("utf-8-sig"), newline="")))[1:]
        changed = {before.slot(row) for row, cells in enumerate(after) if cells != before.rows[row]}
        planted = {slot for one in answers if one.recipient == name for slot in one.fault.slots}
        assert changed <= planted
        assert bool(changed) == bool(planted)


def test_marking() -> None:
    _, answers = exercise(PLANNED, 4, 3)
    rows = [["Recipient", "Slot", "What is wrong"], []]
    rows += [[one.recipient.upper(), str(one.fault.slots[-1]), "this"] for one in answers[:3]]
    result = mark(answers, [*rows, ["truck", "1", "?"]], "findings.csv")
    assert result.found == answers[:3]
    assert result.missed == answers[3:]
    assert result.false == [(6, "truck, slot 1")]
    with pytest.raises(ReadError, match=r"findings.csv:2: slot 'one'"):
        mark(answers, [rows[0], ["truck", "one"]], "findings.csv")
