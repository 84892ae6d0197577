"""chanbridge merge: two blocks onto one feed, every channel delivered or named."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge.formats import named, read_data, write
from chanbridge.handover.recipients import fed
from chanbridge.mode import Mode
from chanbridge.plan.blocks import Sheet, side_by_side
from chanbridge.plan.straight import plan
from tests.cli.conftest import Run, failed


def rows(path: Path) -> list[list[str]]:
    return list(csv.reader(io.StringIO(path.read_bytes().decode("utf-8"), newline="")))


def test_example_onto_64_carries_all_that_may_go_on_air(run: Run, tmp_path: Path, example: Path) -> None:
    out = tmp_path / "truck.csv"
    result = run(
        "merge", example / "box-a.csv", example / "box-b.xml", "--onto", "64@48000", "-o", out, "--json"
    )
    assert result.status == 0
    data = result.json()
    assert data["layout"] == "packed"
    assert [slot["slot"] for slot in data["slots"]] == list(range(1, 65))
    table = rows(out)
    assert table[0][:5] == ["Slot", "Name", "Short", "Box", "Socket"]
    assert table[0][-1] == "Id"
    assert [row[0] for row in table[1:]] == [str(number) for number in range(1, 65)]
    quiet = {"Click", "Cue voice", "Guide piano", "Timecode", "Talkback band", "Talkback conductor"}
    wanted = {
        channel["name"]
        for name in ("box-a.csv", "box-b.xml")
        for channel in run("read", example / name, "--json").json()["channels"]
    }
    carried = {row[1] for row in table[1:]}
    assert len(wanted) == 68
    assert wanted - carried <= quiet
    assert {item["name"] for item in data["left_out"]} == wanted - carried
    assert "SPARE VOX RF4" in carried
    for item in data["left_out"]:
        assert item["name"] in result.err


def test_example_onto_56_names_the_casualties(run: Run, tmp_path: Path, example: Path) -> None:
    out = tmp_path / "truck.csv"
    arguments = (
        "merge",
        example / "box-a.csv",
        example / "box-b.xml",
        "--onto",
        "56@48000",
        "-o",
        out,
        "--json",
    )
    result = run(*arguments)
    assert result.status == 1
    assert not out.exists()
    lost = [item["name"] for item in result.json()["left_out"]]
    assert len(lost) == 68 - 56
    assert "Ambience L" in lost
    assert "Ambience R" in lost
    assert run(*arguments, "--partial").status == 1
    assert len(rows(out)) == 57


def test_straight_where_it_fits(run: Run, tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("Slot,Name\n1,Kick\n3,Snare\n40,Ana\n")
    (tmp_path / "b.csv").write_text("Slot,Name\n1,Choir\n24,Bells\n25,\n")
    result = run("merge", tmp_path / "a.csv", tmp_path / "b.csv", "--onto", "64@48000", "--json")
    assert result.status == 0
    data = result.json()
    assert data["layout"] == "straight"
    assert {slot["slot"]: slot["name"] for slot in data["slots"] if slot["name"]} == {
        1: "Kick", 3: "Snare", 40: "Ana", 41: "Choir", 64: "Bells"
    }  # fmt: skip
    assert data["left_out"] == []


def test_rows_57_to_64_are_named_one_by_one(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("Slot,Name\n" + "".join(f"{n},Chair {n}\n" for n in range(1, 65)))
    result = run("merge", path, "--onto", "56@48000", "--slots", "64", "--json")
    assert result.status == 1
    assert [item["name"] for item in result.json()["left_out"]] == [f"Chair {n}" for n in range(57, 65)]


def test_a_row_past_the_block_is_named(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("Slot,Name\n1,Kick\n41,Ana\n")
    result = run("merge", path, "--onto", "64@48000", "-o", tmp_path / "t.csv")
    assert result.status == 1
    assert "Ana: slot 41 lies past the end" in result.err
    assert "--slots says how large the blocks are, 40 now" in result.err
    assert not (tmp_path / "t.csv").exists()


def test_numbers_that_count_on_from_the_first_block(run: Run, tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("Ch,Name\n1,Kick\n40,Ana\n")
    (tmp_path / "b.csv").write_text("Ch,Name\n41,Choir\n60,Bells\n")
    result = run("merge", tmp_path / "a.csv", tmp_path / "b.csv", "--onto", "64@48000", "--json")
    assert result.status == 0
    assert "41 is taken for slot 1" in result.err
    filled = {slot["slot"]: slot["name"] for slot in result.json()["slots"] if slot["name"]}
    assert filled == {1: "Kick", 40: "Ana", 41: "Choir", 60: "Bells"}


def test_numbers_from_the_sockets_of_one_box(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("Socket,Name\nA5,Kick\nA2,Snare\n")
    result = run("merge", path, "--onto", "56@48000", "--json")
    assert {slot["slot"]: slot["name"] for slot in result.json()["slots"] if slot["name"]} == {
        2: "Snare",
        5: "Kick",
    }
    assert "no numbers" in result.err


def test_one_box_name_on_two_sheets(run: Run, tmp_path: Path) -> None:
    for name in ("x", "y"):
        (tmp_path / f"{name}.csv").write_text("Slot,Name,Box,Socket\n1,Vox,A,1\n2,Gtr,A,2\n")
    result = run("merge", tmp_path / "x.csv", tmp_path / "y.csv", "--onto", "64@48000", "--json")
    assert result.status == 0
    filled = [
        (slot["slot"], slot["name"], slot["box"], slot["socket"])
        for slot in result.json()["slots"]
        if slot["name"]
    ]
    assert filled == [(1, "Vox", "A", 1), (2, "Gtr", "A", 2), (41, "Vox", "A", 1), (42, "Gtr", "A", 2)]
    assert len({slot["id"] for slot in result.json()["slots"] if slot["name"]}) == 4


def test_every_format(run: Run, tmp_path: Path, example: Path) -> None:
    for suffix in ("csv", "tsv", "xml", "json", "txt"):
        out = tmp_path / f"t.{suffix}"
        assert (
            run("merge", example / "box-a.csv", example / "box-b.xml", "--onto", "64@48000", "-o", out).status
            == 0
        )
        assert len(run("read", out, "--json").json()["channels"]) == 64
    streamed = run(
        "merge", example / "box-a.csv", example / "box-b.xml", "--onto", "64@48k", "-o", "-", "--to", "csv"
    )
    assert streamed.out == (tmp_path / "t.csv").read_bytes()


def test_mistakes(run: Run, tmp_path: Path, example: Path) -> None:
    box = example / "box-a.csv"
    failed(run("merge", box, "--onto", "64@96000", "-o", tmp_path / "t.csv"), "32@96000")
    failed(run("merge", box, "--onto", "64@48000"), "-o truck.csv")
    failed(run("merge", box, "--onto", "64@48000", "-o", "-"), "--to csv")
    failed(run("merge", box, "--onto", "64@48000", "-o", tmp_path / "t.pony"), "'.pony'")
    assert run("merge", "--onto", "64@48000").status == 2
    assert list(tmp_path.iterdir()) == []


sheets = st.lists(
    st.tuples(
        st.one_of(st.integers(1, 44).map(str), st.just("")),
        st.sampled_from(
            ("Kick", "Ana", "Keys L", "Keys R", "Click", "Talkback", "", "spare", "Choir L", "=1+1", "NA")
        ),
        st.sampled_from(("", "A", "B")),
        st.one_of(st.just(""), st.integers(1, 40).map(str)),
    ),
    min_size=1,
    max_size=40,
)


@pytest.mark.parametrize("slots", [64, 28])
@given(first=sheets, second=sheets)
def test_any_two_blocks(slots: int, first: list[tuple[str, ...]], second: list[tuple[str, ...]]) -> None:
    read = []
    for name, sheet in (("one.csv", first), ("two.csv", second)):
        out = io.StringIO(newline="")
        csv.writer(out).writerows([("Slot", "Name", "Box", "Socket"), *sheet])
        read.append(read_data(out.getvalue().encode(), name, named("csv")))
    blocks = side_by_side([Sheet(reading.source, reading.map, 40) for reading in read])
    made = plan(blocks.map, blocks.blocks, "feed", slots)
    feed = fed(blocks.map, made, Mode(slots, 48_000 if slots == 64 else 96_000), "feed")
    lines = [line for line in feed.lines("feed") if line.number]
    carried = [line.channel.id for line in lines if line.channel]
    left_out = [out.channel for out in made.left_out]
    assert (
        len(carried) + len(left_out)
        == len({*carried, *left_out})
        == sum(len(one.map.channels) for one in read)
    )
    assert [line.number for line in lines] == list(range(1, slots + 1))
    assert all(out.reason for out in made.left_out)
    table = read_data(write(feed, named("csv"), "feed"), "t.csv", named("csv"))
    assert [channel.id for channel in table.map.channels] == carried
