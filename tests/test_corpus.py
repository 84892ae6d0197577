"""Every shape of sheet that people send is read as a careful sound engineer would read it, or refused.

tests/corpus holds one small invented sheet a shape, and beside each a `.expect.toml` that says what must be
read. The expectations are common practice, none of them the output of a program. Their keys:

shape        one sentence: which shape this is
options      what the user has to say, as in `chanbridge.sheets.grid.Options`
channels     every channel in order. `number`, `box` and `socket` are its place (0 for none), `pair_with` the
             partner's name ("" for none), `side` its side ("" for none), `not_for` the audiences that must not
             hear it, `row` the row it came from; any other key is a field of the channel. What is left out is
             not looked at.
spares       places without a channel; `text` is part of what is remarked there
verdicts     how many rows of the ledger became what
rows         how many rows the ledger knows, where a row may have more than one verdict
problems     codes that must be reported, `code@row` for one that belongs to a row
absent       codes that must not be reported, written likewise
kept         texts that must still stand somewhere in the map
refused      a word of the message with which the file is refused; `refused_row` the row that it names
title, revision, date
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import pytest

from chanbridge.errors import ReadError
from chanbridge.formats import read
from chanbridge.model import AUDIENCES, Channel, Line
from chanbridge.sheets.grid import Options
from chanbridge.sheets.ledger import Reading, Verdict
from tests.corpus import make_files

CORPUS = Path(__file__).parent / "corpus"
SHEETS = sorted(
    path
    for path in CORPUS.iterdir()
    if path.is_file() and path.suffix not in (".toml", ".py") and not path.name.startswith(".")
)
KEYS = {
    "shape", "options", "channels", "spares", "verdicts", "rows", "problems", "absent", "kept", "refused", "refused_row",
    "title", "revision", "date",
}  # fmt: skip
PLACE_KEYS = {"number", "box", "socket", "pair_with", "side", "not_for", "row"}
TOPICS = {
    "columns", "tables", "language", "text", "markdown", "numbers", "sockets", "pairs", "slash", "nothing", "phantom",
    "polarity", "gain", "names", "roles", "file", "workbook", "xml", "paper",
}  # fmt: skip


def expectation(sheet: Path) -> dict[str, Any]:
    """What must be read from a sheet."""
    return tomllib.loads(sheet.with_suffix(".expect.toml").read_text(encoding="utf-8"))


def read_as_expected(sheet: Path) -> Reading:
    return read(str(sheet), options=Options(**expectation(sheet).get("options", {})))


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
def test_a_sheet_is_read_as_an_engineer_would(sheet: Path) -> None:
    expected = expectation(sheet)
    if "refused" in expected:
        with pytest.raises(ReadError) as refusal:
            read_as_expected(sheet)
        message = str(refusal.value)
        assert expected["refused"].casefold() in message.casefold(), (
            f"{sheet.name} is refused with: {message}"
        )
        assert refusal.value.where.file == str(sheet), f"{sheet.name}: the message names no file: {message}"
        if "refused_row" in expected:
            assert refusal.value.where.row == expected["refused_row"], (
                f"{sheet.name} is refused with: {message}"
            )
        return
    reading = read_as_expected(sheet)
    found = list(differences(expected, reading))
    assert not found, "\n  ".join([f"{sheet.name} ({expected['shape']})", *found, *said_by(reading)])


def said_by(reading: Reading) -> Iterator[str]:
    """The ledger and the problems of a reading, to stand below what is wrong with it."""
    yield "-- ledger:"
    for row in reading.ledger:
        yield f"{row.row:>3} {row.verdict:<8} {row.text} {row.reason}".rstrip()
    yield "-- problems:"
    for problem in reading.problems:
        yield f"{problem.code}: {problem}"


def differences(expected: dict[str, Any], reading: Reading) -> Iterator[str]:
    """A sentence for everything that a reading should say and does not, or says and should not."""
    yield from wrong_ledger(expected, reading)
    yield from wrong_channels(expected["channels"], reading)
    yield from wrong_spares(expected.get("spares", []), reading)
    yield from wrong_problems(expected, reading)
    for key in ("title", "revision", "date"):
        if key in expected and getattr(reading.map, key) != expected[key]:
            yield f"{key}: {getattr(reading.map, key)!r}, must be {expected[key]!r}"
    everything = reading.map.model_dump_json()
    for text in expected.get("kept", []):
        if text not in everything:
            yield f"{text!r} is lost: it stands nowhere in the map"


def wrong_ledger(expected: dict[str, Any], reading: Reading) -> Iterator[str]:
    verdicts = reading.verdicts()
    if sum(verdicts.values()) != len(reading.ledger):
        yield f"verdicts {verdicts} do not add up to the {len(reading.ledger)} rows of the ledger"
    if strange := set(verdicts) - set(get_args(Verdict)):
        yield f"verdicts that do not exist: {strange}"
    if "verdicts" in expected and verdicts != expected["verdicts"]:
        yield f"verdicts: {verdicts}, must be {expected['verdicts']}"
    places = {(row.sheet, row.row) for row in reading.ledger}
    if "rows" in expected and len(places) != expected["rows"]:
        yield f"the ledger knows {len(places)} rows, must be {expected['rows']}"
    for row in reading.rejected():
        if not row.reason:
            yield f"row {row.row} is rejected without a reason"
    for channel in reading.map.channels:
        origin = reading.origins.get(channel.id)
        if origin is None or (origin.sheet, origin.row) not in places:
            yield f"{channel.name!r} comes from {origin}, which is not in the ledger"


def wrong_channels(expected: list[dict[str, Any]], reading: Reading) -> Iterator[str]:
    names = [channel.name for channel in reading.map.channels]
    wanted = [channel["name"] for channel in expected]
    if names != wanted:
        yield f"channels: {names}, must be {wanted}"
        return
    lines: dict[str, list[Line]] = {}
    for line in reading.map.lines(reading.map.listed_port()):
        if line.channel:
            lines.setdefault(line.channel.id, []).append(line)
    for at, (channel, wants) in enumerate(zip(reading.map.channels, expected, strict=True), 1):
        for key, value in wants.items():
            found = told(key, channel, lines.get(channel.id, []), reading)
            if found != value:
                yield f"channel {at} {channel.name!r}: {key} is {found!r}, must be {value!r}"


def told(key: str, channel: Channel, lines: list[Line], reading: Reading) -> object:
    """What a reading says of a channel under a key of an expectation; a list where it says several things."""

    def single(values: list[Any], none: object) -> object:
        several = list(dict.fromkeys(value for value in values if value is not None)) or [none]
        return several[0] if len(several) == 1 else several

    match key:
        case "number":
            return single([line.number for line in lines], 0)
        case "socket":
            return single([line.socket for line in lines], 0)
        case "box":
            return single([line.box for line in lines], "")
        case "side":
            return channel.pair.side if channel.pair else ""
        case "pair_with":
            partner = reading.map.channel(channel.pair.partner or "") if channel.pair else None
            return partner.name if partner else ""
        case "not_for":
            return [name for name in AUDIENCES if getattr(channel.audience, name) == "not allowed"]
        case "row":
            return reading.origins[channel.id].row
        case "extras":
            return [list(extra) for extra in channel.extras]
    return getattr(channel, key)


def wrong_spares(expected: list[dict[str, Any]], reading: Reading) -> Iterator[str]:
    free = [line for line in reading.map.lines(reading.map.listed_port()) if line.channel is None]
    for wants in expected:
        if not any(
            (line.number or 0) == wants["number"]
            and line.box == wants.get("box", line.box)
            and (line.socket or 0) == wants.get("socket", line.socket or 0)
            and wants.get("text", "") in line.text
            for line in free
        ):
            near = [tuple(line) for line in free if (line.number or 0) == wants["number"]]
            yield f"spare {wants} is not there; free on that number: {near}"


def wrong_problems(expected: dict[str, Any], reading: Reading) -> Iterator[str]:
    codes = {problem.code for problem in reading.problems}
    codes |= {f"{problem.code}@{problem.where.row}" for problem in reading.problems}
    for code in expected.get("problems", []):
        if code not in codes:
            yield f"problem {code} is not reported"
    for code in expected.get("absent", []):
        if code in codes:
            yield f"problem {code} is reported and should not be"
    for problem in reading.problems:
        if not problem.message or problem.where.file != reading.source:
            yield f"problem {problem.code} says nothing, or not in which file: {problem}"


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
def test_an_expectation_is_complete(sheet: Path) -> None:
    expected = expectation(sheet)
    assert set(expected) <= KEYS, f"unknown keys: {set(expected) - KEYS}"
    assert expected["shape"].endswith("."), "the shape is a sentence"
    assert ("channels" in expected) != ("refused" in expected), "either channels or a refusal"
    for channel in expected.get("channels", []):
        unknown = set(channel) - PLACE_KEYS - set(Channel.model_fields)
        assert not unknown, f"{channel['name']!r} has unknown keys: {unknown}"


def test_every_shape_has_a_sheet() -> None:
    table = []
    for sheet in SHEETS:
        expected = expectation(sheet)
        try:
            verdicts = read_as_expected(sheet).verdicts()
        except ReadError:
            verdicts = {}
        counts = ", ".join(f"{count} {verdict}" for verdict, count in sorted(verdicts.items())) or "refused"
        table.append((expected["shape"], sheet.name, counts))
    print("\n".join(f"{name:<42} {counts:<50} {shape}" for shape, name, counts in table))
    assert len(SHEETS) >= 60
    assert {sheet.name.split("-")[0] for sheet in SHEETS} == TOPICS
    assert len({shape for shape, _, _ in table}) == len(SHEETS), "two sheets stand for one shape"
    expectations = {path.name.removesuffix(".expect.toml") for path in CORPUS.glob("*.expect.toml")}
    assert expectations == {sheet.stem for sheet in SHEETS}, "a sheet and its expectation go together"
    refused = {name for _, name, counts in table if counts == "refused"}
    assert refused == {sheet.name for sheet in SHEETS if "refused" in expectation(sheet)}


def test_the_made_sheets_are_as_their_script_writes_them() -> None:
    for name, data in make_files.files().items():
        assert (CORPUS / name).read_bytes() == data, f"{name}: run python tests/corpus/make_files.py"
