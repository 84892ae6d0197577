"""chanbridge merge: two blocks onto one feed, every channel delivered or named."""

from __future__ import annotations

import csv
import io
from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge.assemble.fed import fed
from chanbridge.formats import named, read_data, write
from chanbridge.mode import Mode
from chanbridge.plan.blocks import Sheet, side_by_side
from chanbridge.plan.straight import Feeds, plan_feeds
from tests.cli.conftest import Result, Run, failed


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


def test_a_file_that_is_given_twice_is_said_in_one_line(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("Slot,Name\n" + "".join(f"{n},Chair {n}\n" for n in range(1, 21)))
    remarks = run("merge", path, path, "--onto", "64@48000", "--json").err.splitlines()
    (said,) = [line for line in remarks if "earlier sheet" in line]
    assert "20 of its 20 channels" in said
    assert "given twice" in said


def test_boxes_on_one_sheet_without_numbers_are_said_in_one_line(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("Box,Socket,Name\nA,1,Kick\nA,2,Snare\nA,9,Ana\nB,1,Choir\nB,2,Bells\n")
    remarks = run("merge", path, "--onto", "64@48000", "--json").err.splitlines()
    (said,) = [line for line in remarks if "have no number" in line]
    assert "5 channels" in said
    assert "2 boxes" in said


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
    made = plan_feeds(blocks.map, blocks.blocks, Feeds((("feed", slots),)))
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


def test_several_feeds_are_several_sheets(run: Run, tmp_path: Path, example: Path) -> None:
    boxes = (example / "box-a.csv", example / "box-b.xml")
    result = run(
        "merge", *boxes, "--onto", "64@48000", "--onto", "64@48000", "-o", tmp_path / "t.csv", "--json"
    )
    assert result.status == 0
    data = result.json()
    assert data["layout"] == "straight on two feeds"
    assert data["feeds"] == ["64@48000", "64@48000"]
    assert sum(bool(slot["name"]) for slot in data["slots"]) == 68
    assert sorted(path.name for path in tmp_path.iterdir()) == ["t-1.csv", "t-2.csv"]
    names = {row[1] for at in (1, 2) for row in rows(tmp_path / f"t-{at}.csv")[1:]}
    assert {slot["name"] for slot in data["slots"]} <= names | {""}


def sheet(path: Path, names: list[str], first: int = 1) -> Path:
    path.write_text("Socket,Name\n" + "".join(f"A{at},{name}\n" for at, name in enumerate(names, first)))
    return path


def placed(result: Result) -> dict[str, int]:
    return {slot["name"]: slot["slot"] for slot in result.json()["slots"] if slot["name"]}


def test_a_channel_added_in_the_middle_moves_nothing(run: Run, tmp_path: Path) -> None:
    names = [f"Chair {at}" for at in range(1, 31)]
    before = sheet(tmp_path / "a.csv", names)
    issued = tmp_path / "truck.csv"
    first = run("merge", before, "--onto", "64@48000", "-o", issued, "--json")
    after = sheet(tmp_path / "a.csv", [*names[:14], "Trumpet", *names[14:]])  # every later socket is one on
    result = run("merge", after, "--onto", "64@48000", "--keep", issued, "--json")
    assert result.status == 0
    now = placed(result)
    trumpet = now.pop("Trumpet")
    assert now == placed(first)
    assert trumpet not in placed(first).values()
    assert result.json()["moved"] == []
    assert "30 channels where issued, 0 moved" in result.err


def test_what_was_issued_past_the_end_of_a_smaller_feed_has_moved(run: Run, tmp_path: Path) -> None:
    """A truck that rejects its list of 64: who stood on slots 57 to 64 must be told where they are now."""
    path, issued = tmp_path / "a.csv", tmp_path / "issued.csv"
    path.write_text("Slot,Name\n" + "".join(f"{at},Chair {at}\n" for at in range(1, 53)))
    issued.write_text(
        "Slot,Name\n" + "".join(f"{at if at > 2 else at + 60},Chair {at}\n" for at in range(1, 53))
    )
    result = run("merge", path, "--slots", "64", "--onto", "56@48000", "--keep", issued, "--json")
    assert result.status == 0
    now = {slot["name"]: slot["slot"] for slot in result.json()["slots"] if slot["name"]}
    assert {item["name"] for item in result.json()["moved"]} == {"Chair 1", "Chair 2"}
    assert f"MOVED: Chair 1: issued on feed 61, feed {now['Chair 1']} now" in result.err
    assert "50 channels where issued, 2 moved" in result.err


def fewest_moved(at: dict[str, int], single: int, slots: int) -> int:
    """How many issued channels must move so that a pair finds an odd slot and the next, by trying every set of them.

    `at`: the others' slots; `single`: the slot of the channel that has become the left of the pair.
    """
    counts = []
    for odd in range(1, slots, 2):
        for count in range(len(at) + 1):
            for movers in combinations(sorted(at), count):
                stay = {slot for name, slot in at.items() if name not in movers}
                if not {odd, odd + 1} & stay and slots - len(stay) - 2 >= count:
                    counts.append(count + (odd != single))
            if counts and min(counts) <= count:
                break
    return min(counts)


@pytest.mark.parametrize(("at", "total"), [(3, 13), (4, 13), (7, 13), (8, 12), (1, 13), (13, 13), (2, 9)])
def test_a_channel_that_becomes_a_pair_moves_the_fewest(
    run: Run, tmp_path: Path, at: int, total: int
) -> None:
    names = [f"Chair {number}" for number in range(1, total + 1)]
    names[at - 1] = "Keys"
    issued = tmp_path / "truck.csv"
    assert run("merge", sheet(tmp_path / "a.csv", names), "--onto", "14@192000", "-o", issued).status == 0
    now = [*names[: at - 1], "Keys L", "Keys R", *names[at:]]
    result = run("merge", sheet(tmp_path / "a.csv", now), "--onto", "14@192000", "--keep", issued, "--json")
    assert result.status == 0
    data = result.json()
    assert data["proved"]
    slots = placed(result)
    assert slots["Keys R"] == slots["Keys L"] + 1
    assert slots["Keys L"] % 2 == 1
    others = {name: number for number, name in enumerate(names, 1) if name != "Keys"}
    moved = sum(slots[name] != number for name, number in others.items()) + (slots["Keys L"] != at)
    assert moved == fewest_moved(others, at, 14)


def test_fixed_places(run: Run, tmp_path: Path, example: Path) -> None:
    boxes = (example / "box-a.csv", example / "box-b.xml", "--onto", "64@48000", "--json")
    result = run("merge", *boxes, "--fix", "Ambience L=55", "--fix", "kick in=64")
    assert result.status == 0
    slots = placed(result)
    assert (slots["Ambience L"], slots["Ambience R"], slots["Kick in"]) == (55, 56, 64)
    assert "proved: no packing is better" in result.err
    wrong = run("merge", *boxes, "--fix", "Ambience L=55", "--fix", "Kick in=56")
    failed(
        wrong, "cannot hold together", "'Ambience L' fixed on slot 55", "'Kick in' fixed on slot 56", "pair"
    )
    failed(run("merge", *boxes, "--fix", "Ambience L=12"), "'Ambience L' fixed on slot 12", "pair")
    failed(run("merge", *boxes, "--fix", "Ambience L=65"), "feed 1 has 64 slots")
    failed(run("merge", *boxes, "--fix", "Ambience L=2:5"), "NAME=FEED:SLOT")
    failed(run("merge", *boxes, "--fix", "Ambienc L=5"), "did you mean 'Ambience L'")
    failed(run("merge", *boxes, "--fix", "Ambience L"), "NAME=SLOT")
    failed(run("merge", *boxes, "--fix", "Bells=1", "--fix", "bells=2"), "fixed already")


def test_a_converter_that_moves_eights(run: Run, example: Path) -> None:
    boxes = (example / "box-a.csv", example / "box-b.xml", "--onto", "64@48000", "--json", "--grain", "8")
    result = run("merge", *boxes)
    data = result.json()
    assert result.status == 1
    sockets: dict[int, set[tuple[str, int]]] = {}
    for slot in data["slots"]:
        if slot["name"]:
            sockets.setdefault((slot["slot"] - 1) // 8, set()).add((slot["box"], (slot["socket"] - 1) // 8))
            assert (slot["slot"] - 1) % 8 == (slot["socket"] - 1) % 8
    assert all(len(eights) == 1 for eights in sockets.values())
    failed(run("merge", *boxes, "--fix", "Kick in=2"), "'Kick in' fixed on slot 2", "blocks of 8")


def test_a_list_of_wants(run: Run, tmp_path: Path, example: Path) -> None:
    wants = tmp_path / "wants.csv"
    wants.write_text(
        "Slot,Name\n1,Lectern\n2,Click\n4,Organ L\n5,Organ R\n9,Steel drum\n70,Horn\n1,Bells\n11,Lectern\n"
    )
    boxes = (example / "box-a.csv", example / "box-b.xml", "--onto", "64@48000", "--json", "--wants", wants)
    result = run("merge", *boxes)
    slots = placed(result)
    assert (slots["Lectern"], slots["Click"], slots["Organ L"], slots["Organ R"]) == (1, 2, 4, 5)
    assert result.json()["cannot_give"] == ["Steel drum"]
    assert "cannot give: feed 9: Steel drum" in result.err
    assert "slot 70 ('Horn') lies past the end" in result.err
    assert "slot 1 is on the list twice: it goes to 'Lectern', not to 'Bells'" in result.err
    assert "'Lectern' is on the list twice: slot 1 counts, not slot 11" in result.err
    fixed = run("merge", *boxes, "--fix", "Bells=1")
    assert placed(fixed)["Bells"] == 1
    assert "not as wanted: Lectern: on feed" in fixed.err


def test_what_if_names_the_casualties_side_by_side(run: Run, example: Path) -> None:
    boxes = (example / "box-a.csv", example / "box-b.xml", "--what-if")
    result = run("merge", *boxes)
    assert result.status == 0
    lines = result.text.splitlines()
    assert lines[0].split("  ")[0] == "at 48000 Hz"
    guide = next(line for line in lines if line.startswith("Guide piano"))
    assert guide.count("gives way") == 2
    data = run("merge", *boxes, "--json").json()
    found = {(trial["mode"], trial["feeds"]): trial for trial in data["trials"]}
    assert [item["name"] for item in found["64@48000", 1]["left_out"]] == [
        "Guide piano", "Timecode", "Talkback band", "Talkback conductor"
    ]  # fmt: skip
    assert len(found["56@48000", 1]["left_out"]) == 12
    assert found["64@48000", 2]["left_out"] == []
    for trial in data["trials"]:  # the same as the merge itself would do
        assert trial["carried"] + len(trial["left_out"]) == 68
        if trial["mode"].endswith("@96000"):
            onto = [word for _ in range(trial["feeds"]) for word in ("--onto", trial["mode"])]
            made = run("merge", *boxes[:2], *onto, "--json").json()
            assert {item["id"] for item in made["left_out"]} == {item["id"] for item in trial["left_out"]}


def test_an_order_that_is_kept(run: Run, tmp_path: Path) -> None:
    path = sheet(tmp_path / "a.csv", [f"Chair {at}" for at in range(1, 10)] + ["Keys L", "Keys R", "Bells"])
    result = run("merge", path, "--onto", "14@192000", "--layout", "packed", "--keep-order", "--json")
    slots = placed(result)
    assert list(slots.values()) == sorted(slots.values())
    assert slots["Keys L"] == 11
    assert "that keeps the order" in result.err


def test_more_mistakes(run: Run, tmp_path: Path, example: Path) -> None:
    box = example / "box-a.csv"
    assert run("merge", box, "-o", tmp_path / "t.csv").status == 2
    failed(run("merge", box, "--onto", "64@48000", "--onto", "32@96000", "--json"), "one rate")
    failed(
        run("merge", box, "--onto", "64@48000", "--keep", box, "--keep", box, "--json"), "2 lists for 1 feed;"
    )
    failed(run("merge", box, "--onto", "64@48000", "--onto", "64@48000", "-o", "-", "--to", "csv"), "several")
    failed(run("merge", box, "--onto", "64@48000", "--keep", tmp_path / "none.csv", "--json"), "none.csv")
    failed(
        run("merge", box, "--onto", "56@48000", "--layout", "straight", "--spare", "2", "--json"), "straight"
    )
    assert run("merge", box, "--onto", "64@48000", "--json", "--grain", "0").status == 2
