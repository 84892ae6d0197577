"""Damaged copies of valid files: a right reading, a reported problem or our own error, and the other rows untouched."""

from __future__ import annotations

import csv
import io
import random
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge.errors import ReadError
from chanbridge.formats import named, of_suffix, read_data, write
from chanbridge.formats.delimited import NAMES
from chanbridge.model import Channel
from chanbridge.sheets.ledger import Reading

EXAMPLE = Path(__file__).parents[2] / "examples" / "winter-concert"
CORPUS = Path(__file__).parents[1] / "corpus"


def valid() -> dict[str, bytes]:
    """Files of every kind that is text, all of them readable."""
    found = {path.name: path.read_bytes() for path in EXAMPLE.iterdir() if path.suffix in (".csv", ".xml")}
    whole = read_data(found["box-a.csv"], "box-a.csv", named("csv")).map
    for suffix in (".csv", ".tsv", ".xml", ".json", ".md", ".txt"):
        found[f"written{suffix}"] = write(whole, of_suffix(f"x{suffix}"), suffix=suffix)
    return found


VALID = valid()


def assert_every_row_has_a_verdict(data: bytes, reading: Reading) -> None:
    """The ledger of a CSV against the records that the csv module counts in it."""
    if reading.format != "csv" or any(problem.code == "encoding" for problem in reading.problems):
        return
    encoding, _, mark = reading.how[0].partition(", cells parted by ")
    text = data.decode("utf-16" if encoding == "UTF-16" else "utf-8-sig")
    delimiter = next(sign for sign, name in NAMES.items() if name == mark)
    records = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    filled = [at for at, row in enumerate(records, 1) if any(cell.strip() for cell in row)]
    assert [row.row for row in reading.ledger] == filled


def told(reading: Reading) -> dict[str, Channel]:
    """Channels by name, without what names a partner, which may be the row that was damaged."""
    return {channel.name: channel.changed(pair=None, id="x", notes="") for channel in reading.map.channels}


@pytest.mark.parametrize("name", VALID)
@given(data=st.data())
def test_any_bytes_flipped_give_a_reading_or_our_error(name: str, data: st.DataObject) -> None:
    damaged = bytearray(VALID[name])
    for at in data.draw(st.lists(st.integers(0, len(damaged) - 1), min_size=1, max_size=4)):
        damaged[at] = data.draw(st.integers(0, 255))
    try:
        reading = read_data(bytes(damaged), name, of_suffix(name))
    except ReadError as error:
        assert str(error)
        return
    assert_every_row_has_a_verdict(bytes(damaged), reading)


@given(st.binary(max_size=200), st.sampled_from([".csv", ".tsv", ".xml", ".json", ".md", ".txt"]))
def test_any_bytes_at_all_give_a_reading_or_our_error(data: bytes, suffix: str) -> None:
    try:
        reading = read_data(data, f"x{suffix}", of_suffix(f"x{suffix}"))
    except ReadError as error:
        assert str(error)
        return
    assert_every_row_has_a_verdict(data, reading)


LISTS = [name for name in VALID if name.endswith((".csv", ".tsv", ".md", ".txt"))]


@pytest.mark.parametrize("name", LISTS)
@given(data=st.data())
def test_rows_cut_out_leave_the_others_as_they_were(name: str, data: st.DataObject) -> None:
    lines = VALID[name].decode("utf-8-sig").splitlines(keepends=True)
    head = next(at for at, line in enumerate(lines) if "Kick in" in line)
    gone = data.draw(st.sets(st.integers(head, len(lines) - 1), min_size=1, max_size=len(lines) - head - 3))
    left = "".join(line for at, line in enumerate(lines) if at not in gone)
    before = told(read_data(VALID[name], name, of_suffix(name)))
    after = told(read_data(left.encode(), name, of_suffix(name)))
    assert {key: before[key] for key in after} == after
    assert all(any(key in lines[at] for at in gone) for key in before.keys() - after.keys())


def cells(name: str) -> tuple[list[list[str]], str]:
    text = VALID[name].decode("utf-8-sig")
    mark = next(mark for mark in ";\t," if mark in text.splitlines()[3])
    return list(csv.reader(io.StringIO(text, newline=""), delimiter=mark)), mark


@pytest.mark.parametrize("name", ["box-a.csv", "front-of-house.csv", "stream.csv"])
@given(shuffle=st.randoms())
def test_columns_in_another_order_say_the_same(name: str, shuffle: random.Random) -> None:
    rows, mark = cells(name)
    head = next(at for at, row in enumerate(rows) if len([cell for cell in row if cell]) > 3)
    order = list(range(len(rows[head])))
    shuffle.shuffle(order)
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=mark)
    writer.writerows(rows[:head])
    writer.writerows(
        [row[at] if at < len(row) else "" for at in order]
        for row in rows[head:]
        if not row[0].startswith("*")
    )
    before, after = (read_data(data, name, named("csv")) for data in (VALID[name], out.getvalue().encode()))
    assert after.map.channels == before.map.channels
    assert after.map.entries == before.map.entries


@given(data=st.data())
def test_a_quote_dropped_or_added_is_never_silent(data: st.DataObject) -> None:
    rows = [["Slot", "Name", "Notes"], *([str(n), f"Chair, {n}", f'13" stand\nrow {n}'] for n in range(1, 6))]
    out = io.StringIO(newline="")
    csv.writer(out).writerows(rows)
    text = out.getvalue()
    before = told(read_data(text.encode(), "x.csv", named("csv")))
    if data.draw(st.booleans()):
        at = data.draw(st.sampled_from([at for at, letter in enumerate(text) if letter == '"']))
        text = text[:at] + text[at + 1 :]
    else:
        at = data.draw(st.integers(0, len(text)))
        text = text[:at] + '"' + text[at:]
    try:
        reading = read_data(text.encode(), "x.csv", named("csv"))
    except ReadError:
        return
    after = told(reading)
    same = sum(after.get(key) == value for key, value in before.items())
    assert same >= 4 or reading.problems or reading.rejected()
