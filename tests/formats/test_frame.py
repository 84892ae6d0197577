"""Lists as DataFrames: nothing is lost there and back, and frames that people made are understood."""

from __future__ import annotations

import datetime
import subprocess
import sys
from pathlib import Path

import pandas
import pytest
from hypothesis import given

from chanbridge import formats
from chanbridge.errors import ReadError, WriteError
from chanbridge.formats.frame import from_frame, to_frame
from chanbridge.model import Channel, ChannelMap, Entry, Extra, Port, Slot
from chanbridge.sheets.ledger import Reading
from tests.strategies import EATEN, lists, maps


def lines(reading: Reading) -> list[tuple[int | None, str, str, int | None]]:
    return [
        (line.number, line.channel.name if line.channel else line.text, line.box, line.socket)
        for line in reading.map.lines("slots")
    ]


@given(whole=lists())
def test_a_tidy_list_survives(whole: ChannelMap) -> None:
    assert from_frame(to_frame(whole)).map == whole


@given(whole=maps())
def test_no_channel_is_lost_and_the_list_is_that_of_csv(whole: ChannelMap) -> None:
    if whole.channels:
        csv = formats.read_data(formats.write(whole, formats.named("csv")), "x", formats.named("csv")).map
        assert from_frame(to_frame(whole)).map == csv


@pytest.mark.parametrize("name", ["box-a.csv", "front-of-house.csv", "stream.csv"])
def test_an_example_sheet_survives(name: str, example: Path) -> None:
    source = formats.read(str(example / name)).map
    frame = to_frame(source)
    assert len(frame) == len(source.lines("slots"))
    assert from_frame(frame).map.channels == source.channels


def test_every_cell_is_text_and_rows_are_numbered_from_0() -> None:
    whole = ChannelMap(
        headings=("Pack",),
        channels=tuple(
            Channel(id=f"id {at}", name=name, extras=(Extra("Pack", name),)) for at, name in enumerate(EATEN)
        ),
        ports=(Port(id="slots", size=len(EATEN) + 1),),
        entries=tuple(Entry(f"id {at}", Slot("slots", at + 1)) for at in range(len(EATEN))),
    )
    frame = to_frame(whole)
    assert list(frame.index) == list(range(len(EATEN) + 1))
    assert all(type(cell) is str for row in frame.itertuples(index=False, name=None) for cell in row)
    assert list(frame["Name"]) == [*EATEN, ""]
    assert list(frame["Slot"])[:3] == ["1", "2", "3"]
    assert frame.iloc[-1]["Id"] == ""
    assert from_frame(frame).map == whole


def test_repeated_headings_survive() -> None:
    channel = Channel(
        id="k", name="Kick", extras=(Extra("Colour", "red"), Extra("Colour", "blue"), Extra("Name", "x"))
    )
    whole = ChannelMap(headings=("Colour", "Colour", "Name"), channels=(channel,))
    frame = to_frame(whole)
    assert list(frame.columns).count("Colour") == 2
    assert list(frame.columns).count("Name") == 2
    assert from_frame(frame).map == whole


def test_an_empty_list_has_its_headings() -> None:
    frame = to_frame(ChannelMap())
    assert list(frame.columns) == ["Slot", "Name", "Short", "Box", "Socket", "Id"]
    assert len(frame) == 0
    assert from_frame(frame).map == ChannelMap()


def test_a_port_may_be_named() -> None:
    whole = ChannelMap(
        channels=(Channel(id="k", name="Kick"), Channel(id="s", name="Snare")),
        ports=(Port(id="foh", kind="desk", size=2), Port(id="truck", kind="desk", size=1)),
        entries=(Entry("k", Slot("foh", 2)), Entry("s", Slot("truck", 1))),
    )
    assert list(to_frame(whole, "truck")["Name"]) == ["Snare", "Kick"]
    assert list(to_frame(whole, "foh")["Slot"]) == ["1", "2", ""]
    with pytest.raises(WriteError, match="no port 'monitors'; it has foh, truck"):
        to_frame(whole, "monitors")


def test_a_frame_of_numbers_truths_and_missing_cells() -> None:
    frame = pandas.DataFrame(
        {
            "Ch": [1.0, 2.0, 3.0, 4.0],
            "Name": ["Kick", None, "NA", pandas.NA],
            "Box": ["A", "A", "B", float("nan")],
            "Socket": pandas.array([1, 2, 3, None], dtype="Int64"),
            "48V": [True, False, None, True],
            "Gain": [17.5, float("nan"), -20.0, 0.1 + 0.2],
            "Checked": [pandas.NaT] * 4,
        }
    )
    reading = from_frame(frame, "my frame")
    assert [row.text for row in reading.ledger] == [
        "1 | Kick | A | 1 | TRUE | 17.5",
        "2 |  | A | 2 | FALSE",
        "3 | NA | B | 3 |  | -20",
        "4 |  |  |  | TRUE | 0.3",
    ]
    assert [(number, box, socket) for number, _, box, socket in lines(reading)] == [
        (1, "A", 1),
        (2, "A", 2),
        (3, "B", 3),
        (4, "", None),
    ]
    kick, third = reading.map.channels[:2]
    assert (kick.phantom, kick.gain_db, third.gain_db) == ("on", 17.5, -20.0)
    assert (reading.source, reading.format) == ("my frame", "frame")


def test_an_index_that_says_something_is_a_column() -> None:
    frame = pandas.DataFrame({"Name": ["Kick", "Snare"], "Ch": [1, 2]})
    wanted = [(1, "Kick", "", None), (2, "Snare", "", None)]
    assert lines(from_frame(frame)) == wanted
    assert lines(from_frame(frame.set_index("Ch"))) == wanted
    assert lines(from_frame(frame.set_index("Name"))) == wanted
    assert lines(from_frame(frame.iloc[::-1].iloc[::-1])) == wanted
    by_socket = pandas.DataFrame({"Ch": [1, 2], "Name": ["Kick", "Snare"]}, index=["A1", "A2"])
    assert [extra.text for channel in from_frame(by_socket).map.channels for extra in channel.extras] == [
        "A1",
        "A2",
    ]


def test_rows_are_counted_from_1_also_after_others_were_taken_out() -> None:
    frame = pandas.DataFrame({"Ch": [1, 2, 3], "Name": ["Kick", "Snare", "Keys"]})
    reading = from_frame(frame[frame["Ch"] != 1])
    assert [(row.row, row.text) for row in reading.ledger] == [(1, "2 | Snare"), (2, "3 | Keys")]
    assert {str(where) for where in reading.origins.values()} == {"DataFrame:1", "DataFrame:2"}


def test_columns_that_are_only_numbered_are_a_table_without_headings() -> None:
    rows = [["Winter concert", None, None], ["Ch", "Name", "Socket"], [1, "Kick", "A1"], [2, "Snare", "A2"]]
    reading = from_frame(pandas.DataFrame(rows))
    assert lines(reading) == [(1, "Kick", "A", 1), (2, "Snare", "A", 2)]
    assert reading.map.title == "Winter concert"


def test_columns_of_several_levels_are_joined() -> None:
    columns = pandas.MultiIndex.from_tuples([("Ch", ""), ("Name", ""), ("Mic", "stand")])
    reading = from_frame(pandas.DataFrame([[1, "Kick", "tall"], [2, "Snare", "small"]], columns=columns))
    assert lines(reading) == [(1, "Kick", "", None), (2, "Snare", "", None)]
    said = {channel.stand or channel.extras[0].text for channel in reading.map.channels}
    assert said == {"tall", "small"}


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (pandas.Timestamp("2026-02-01"), "2026-02-01"),
        (pandas.Timestamp("2026-02-01 12:30"), "2026-02-01 12:30:00"),
        (datetime.date(2026, 2, 1), "2026-02-01"),
        (datetime.time(1, 2), "01:02:00"),
    ],
)
def test_dates_and_times_are_kept_and_reported(value: object, text: str) -> None:
    frame = pandas.DataFrame({"Ch": [1, 2], "Name": ["Kick", "Snare"], "Remark": ["x", value]}, dtype=object)
    reading = from_frame(frame)
    (problem,) = [item for item in reading.problems if item.code == "date-cell"]
    assert (problem.where.row, problem.where.column) == (2, "Remark")
    assert text in problem.message
    assert text in reading.ledger[1].text


def test_a_frame_that_is_no_list() -> None:
    with pytest.raises(ReadError, match=r"^weather: no list of channels"):
        from_frame(pandas.DataFrame({"wind": [1, 2], "rain": [3, 4]}), "weather")


def test_pandas_is_imported_only_when_asked_for() -> None:
    code = "import sys, chanbridge.formats.frame; sys.exit('pandas' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
