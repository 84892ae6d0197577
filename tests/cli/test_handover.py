"""chanbridge handover, and what a show file may get wrong."""

from __future__ import annotations

import csv
import io
import shutil
from pathlib import Path

import pytest
from lxml import etree

from tests.cli.conftest import Run, failed
from tests.schemas import SCHEMAS

RECIPIENTS = ("front-of-house", "monitors", "recorder", "stream", "truck")


@pytest.fixture
def show(tmp_path: Path, example: Path) -> Path:
    """A copy of the example show to spoil."""
    return Path(shutil.copytree(example, tmp_path / "show"))


def edit(show: Path, old: str, new: str) -> None:
    text = (show / "show.toml").read_text("utf-8")
    assert old in text
    (show / "show.toml").write_text(text.replace(old, new, 1), "utf-8")


def test_the_example(run: Run, tmp_path: Path, example: Path) -> None:
    out = tmp_path / "out"
    result = run("handover", example, "-o", out)
    assert result.status == 0
    assert sorted(path.name for path in out.iterdir()) == sorted(
        [*RECIPIENTS, "crew", "lists", "manifest.json", "summary.txt"]
    )
    assert "small condenser" in (out / "lists" / "kit.txt").read_text("utf-8")
    schema = etree.XMLSchema(etree.parse(str(SCHEMAS / "channel-map.xsd")))
    for recipient in RECIPIENTS:
        assert sorted(path.name for path in (out / recipient).iterdir()) == [
            "questions.txt",
            "sheet.csv",
            "sheet.txt",
            "sheet.xml",
        ]
        schema.assertValid(etree.parse(str(out / recipient / "sheet.xml")))
        data = (out / recipient / "sheet.csv").read_bytes().decode("utf-8")
        rows = list(csv.reader(io.StringIO(data, newline="")))
        assert rows[0][:5] == ["Slot", "Name", "Short", "Box", "Socket"]
        assert rows[0][-1] == "Id"
        assert len(rows) == (65 if recipient == "truck" else 81)
        shorts = [row[2] for row in rows[1:] if row[-1]]
        assert len(set(shorts)) == len(shorts)
        assert all(0 < len(short) <= 8 for short in shorts)
    summary = (out / "summary.txt").read_text("utf-8")
    assert summary == result.text
    assert "truck: 64 of 68 channels delivered" in summary
    for name in ("Guide piano", "Timecode", "Talkback band", "Talkback conductor"):
        assert f"left out: {name}: not for air" in summary
    assert "stream.csv differs in 6 places" in summary
    assert "front-of-house.csv agrees" in summary
    truck = (out / "truck" / "sheet.txt").read_text("utf-8")
    assert "NOT FOR AIR" in next(line for line in truck.splitlines() if " Click " in line)
    assert "front-of-house" in truck


def test_the_same_bytes_again(run: Run, tmp_path: Path, example: Path) -> None:
    for name in ("one", "two"):
        run("handover", example / "show.toml", "-o", tmp_path / name)
    files = {
        path.relative_to(tmp_path / "one"): path.read_bytes() for path in (tmp_path / "one").rglob("*.*")
    }
    assert files == {
        path.relative_to(tmp_path / "two"): path.read_bytes() for path in (tmp_path / "two").rglob("*.*")
    }


def test_a_wanted_channel_left_out_is_exit_1(run: Run, tmp_path: Path, show: Path) -> None:
    edit(show, "64@48000", "56@48000")
    result = run("handover", show, "-o", tmp_path / "out")
    assert result.status == 1
    assert "!! left out: Ambience L: no room" in result.text
    assert "NOT COMPLETE: 6 wanted channels" in result.text
    assert "Not carried: Ambience L" in (tmp_path / "out" / "truck" / "sheet.txt").read_text("utf-8")


def test_a_recipient_with_too_few_inputs(run: Run, tmp_path: Path, show: Path) -> None:
    edit(show, 'kind = "recorder"', 'kind = "recorder"\ninputs = 64')
    result = run("handover", show, "-o", tmp_path / "out")
    assert result.status == 1
    assert "!! left out: Organ R: recorder has 64 inputs" in result.text


def test_a_recipient_of_one_block_is_told_what_it_lacks(run: Run, tmp_path: Path, show: Path) -> None:
    edit(show, 'name = "Monitor desk"\ntakes = ["block-1", "block-2"]', 'takes = ["block-2"]')
    result = run("handover", show, "-o", tmp_path / "out")
    assert result.status == 0
    assert "left out, 34 channels: stands on block-1, which monitors does not take: Kick in, " in result.text


def test_two_boxes_on_one_block(run: Run, tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("Socket,Name\n1,Kick\n16,Ana\n")
    (tmp_path / "b.csv").write_text("Ch,Name\n17,Choir\n18,Bells\n40,Lost\n")
    (tmp_path / "show.toml").write_text(
        'title = "T"\nrate = 48000\n'
        '[[box]]\nid = "A"\nsheet = "a.csv"\ninputs = 16\nblock = "one"\n'
        '[[box]]\nid = "B"\nsheet = "b.csv"\ninputs = 8\nblock = "one"\nfirst = 17\n'
        '[[block]]\nid = "one"\n'
        '[[feed]]\nid = "f"\nmode = "56@48000"\nblocks = ["one"]\n'
        '[[recipient]]\nid = "truck"\ntakes = ["f"]\n'
    )
    result = run("handover", tmp_path, "-o", tmp_path / "out")
    assert result.status == 1
    assert "Lost: " in result.text
    assert "past the end of box B" in result.text
    channels = run("read", tmp_path / "out" / "truck" / "sheet.csv", "--json").json()["channels"]
    assert [(item["number"], item["name"], item["box"], item["socket"]) for item in channels] == [
        (1, "Kick", "A", 1), (16, "Ana", "A", 16), (17, "Choir", "B", 1), (18, "Bells", "B", 2)
    ]  # fmt: skip


TWO = (
    'title = "T"\nrate = 48000\n'
    '[[box]]\nid = "A"\nsheet = "a.csv"\ninputs = 8\nblock = "k"\n'
    '[[box]]\nid = "B"\nsheet = "b.csv"\ninputs = 32\nblock = "k"\nfirst = 9\n'
    '[[block]]\nid = "k"\n[[recipient]]\nid = "desk"\ntakes = ["k"]\n'
)


def hand_over(run: Run, folder: Path, show: str, **sheets: str) -> tuple[int, str, list[tuple[int, str]]]:
    """Exit status, summary, and the desk's slots with their names."""
    for name, text in sheets.items():
        (folder / f"{name}.csv").write_text(text)
    (folder / "show.toml").write_text(show)
    result = run("handover", folder, "-o", folder / "out")
    found = run("read", folder / "out" / "desk" / "sheet.csv", "--json").json()["channels"]
    return result.status, result.text, [(item["number"], item["name"]) for item in found]


def test_a_row_for_another_box_is_named(run: Run, tmp_path: Path) -> None:
    status, text, slots = hand_over(
        run,
        tmp_path,
        TWO,
        a="Ch,Box,Socket,Name\n1,A,1,Kick\n2,B,3,Stray\n",
        b="Ch,Box,Socket,Name\n1,B,1,Vox\n",
    )
    assert status == 1
    assert "!! Stray" in text
    assert "whose sheet is b.csv" in text
    assert slots == [(1, "Kick"), (9, "Vox")]


def test_a_sheet_counts_slots_or_sockets_but_never_both(run: Run, tmp_path: Path) -> None:
    slots = "Ch,Name\n" + "".join(f"{n},Src {n}\n" for n in range(9, 41))
    _, _, found = hand_over(run, tmp_path, TWO, a="Ch,Name\n1,Kick\n", b=slots)
    assert found == [(1, "Kick"), *((n, f"Src {n}") for n in range(9, 41))]
    _, text, found = hand_over(run, tmp_path, TWO, a="Ch,Name\n1,Kick\n", b="Ch,Name\n9,Vox\n10,Gtr\n")
    assert found == [(1, "Kick"), (17, "Vox"), (18, "Gtr")]
    assert "they are read as sockets" in text


def test_numbers_that_count_on_over_the_blocks(run: Run, tmp_path: Path) -> None:
    show = TWO.replace('block = "k"\nfirst = 9', 'block = "m"').replace(
        '[[block]]\nid = "k"\n', '[[block]]\nid = "k"\n[[block]]\nid = "m"\n'
    )
    status, text, slots = hand_over(
        run,
        tmp_path,
        show.replace('takes = ["k"]', 'takes = ["k", "m"]'),
        a="Ch,Name\n1,Kick\n",
        b="Ch,Name\n41,Choir\n42,Bells\n",
    )
    assert status == 0
    assert "41 is taken for socket 1 of box B" in text
    assert slots == [(1, "Kick"), (41, "Choir"), (42, "Bells")]


def test_two_channels_on_one_slot_are_one_delivered_and_one_named(run: Run, tmp_path: Path) -> None:
    status, text, slots = hand_over(run, tmp_path, TWO, a="Ch,Name\n1,Vox\n1,Bass\n", b="Ch,Name\n1,Gtr\n")
    assert status == 1
    assert "!! left out: Bass: slot 1 already carries 'Vox'" in text
    assert slots == [(1, "Vox"), (9, "Gtr")]


def test_one_sheet_for_two_boxes(run: Run, tmp_path: Path) -> None:
    both = "Box,Socket,Name\nA,1,Kick\nB,1,Choir L\nB,2,Choir R\nLocal,4,Host\n"
    status, text, slots = hand_over(run, tmp_path, TWO.replace("b.csv", "a.csv"), a=both)
    assert status == 1
    assert "Host: " in text
    assert "the box 'Local'" in text
    assert slots == [(1, "Kick"), (9, "Choir L"), (10, "Choir R")]


def test_a_failed_handover_leaves_no_folder(run: Run, tmp_path: Path, example: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "truck").write_text("a file where a folder must be")
    failed(run("handover", example, "-o", tmp_path / "out"), "truck")
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["truck"]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('sheet = "box-a.csv"', 'sheet = "box-aa.csv"', [":11:sheet", "did you mean 'box-a.csv'"]),
        ("inputs = 40", "imputs = 40", [":12:imputs", "did you mean 'inputs'"]),
        ("inputs = 40", 'inputs = "forty"', [":12:inputs", "'forty'"]),
        ("inputs = 40", "inputs = 41", [":12:inputs", "ends at 40"]),
        ('block = "block-1"', 'block = "blok-1"', [":14:block", "did you mean 'block-1'"]),
        ("[[box]]", "[[boxes]]", ["did you mean 'box'"]),
        ("[[feed]]", "[feed]", ["two brackets"]),
        ('mode = "64@48000"', "", ["lacks the key 'mode'", "64@48000"]),
        ('mode = "64@48000"', 'mode = "64@96000"', [":34:mode", "32@96000"]),
        ('mode = "64@48000"', 'mode = "32@96000"', [":34:mode", "conversion"]),
        ("rate = 48000", "", ["lacks the key 'rate'"]),
        ('takes = ["truck-feed"]', 'takes = ["truckfeed"]', ["did you mean 'truck-feed'"]),
        ('takes = ["truck-feed"]', "takes = []", [":60:takes"]),
        ('id = "truck"\n', 'id = "stream"\n', ["'stream' is taken"]),
        ('id = "truck"\n', 'id = "../truck"\n', [":58:id"]),
        ('tags = ["room"]', 'tags = ["rooms"]', [":41:tags"]),
        ("date = 2026-12-12", "date = 2026-12-", ["not TOML", ":4"]),
        ("date = 2026-12-12", 'date = "2026-12-12"', [":4:date", "without quotes"]),
        ("inputs = 40", "inputs = true", [":12:inputs", "whole number"]),
        ("inputs = 40", "inputs = 0", [":12:inputs", "at least 1"]),
        ("inputs = 40", "inputs = " + "9" * 5000, ["characters"]),
        ("inputs = 40", "inputs = " + "[" * 3000, ["not TOML"]),
        ('sheet = "box-a.csv"', f'sheet = "{"x" * 300}"', [":11:sheet"]),
        ('kind = "recorder"', 'kind = "recoder"', [":66:kind", "did you mean 'recorder'"]),
        ('takes = ["truck-feed"]', 'takes = "truck-feed"', [":60:takes", "square brackets"]),
        ('takes = ["truck-feed"]', 'takes = ["truck-feed", "block-1"]', [":60:takes", "one feed"]),
        ('mode = "64@48000"', "mode = 64", [":34:mode", '"64@48000"']),
    ],
)
def test_mistakes_name_line_and_key(
    run: Run, tmp_path: Path, show: Path, old: str, new: str, words: list[str]
) -> None:
    edit(show, old, new)
    failed(run("handover", show, "-o", tmp_path / "out"), "show.toml", *words)
    assert not (tmp_path / "out").exists()


def test_a_declared_conversion(run: Run, tmp_path: Path, show: Path) -> None:
    edit(show, 'mode = "64@48000"', 'mode = "64@44100"\nconversion = "converter in the truck\'s rack"')
    assert run("handover", show, "-o", tmp_path / "out").status == 0


def test_rejected_rows_stop_it(run: Run, tmp_path: Path, show: Path) -> None:
    path = show / "box-a.csv"
    path.write_bytes(path.read_bytes().replace(b"5;A5;Hi-hat", b"x5;A5;Hi-hat"))
    failed(run("handover", show, "-o", tmp_path / "out"), "Hi-hat", "box-a.csv:8")
    assert not (tmp_path / "out").exists()
    assert run("handover", show, "-o", tmp_path / "out", "--accept-rejected").status == 0


def test_what_is_no_show(run: Run, tmp_path: Path) -> None:
    failed(run("handover", tmp_path / "none.toml", "-o", tmp_path / "out"), "no such file")
    failed(run("handover", tmp_path, "-o", tmp_path / "out"), "there is no show.toml in this folder")
    (tmp_path / "show.toml").write_bytes(b"\xff\xfe\0\0")
    failed(run("handover", tmp_path, "-o", tmp_path / "out"), "not UTF-8")
    (tmp_path / "show.toml").write_bytes(b"")
    failed(run("handover", tmp_path, "-o", tmp_path / "out"), "lacks the key")


def test_an_output_that_cannot_be(run: Run, tmp_path: Path, example: Path) -> None:
    (tmp_path / "out").write_text("a file")
    failed(run("handover", example, "-o", tmp_path / "out"), "folder is needed")


def test_the_lists_bear_the_revision(run: Run, tmp_path: Path, show: Path) -> None:
    """A list in the van must not be taken for last week's: it says the letter and date of its revision."""
    out = tmp_path / "out"
    assert run("handover", show, "-o", out, "--revision", "D", "--date", "2026-12-24").status == 0
    for path in ("lists/kit.txt", "lists/questions.txt", "lists/labels.txt", "truck/questions.txt"):
        head = (out / path).read_text("utf-8").split("\n\n")[0]
        assert "revision D, 2026-12-24" in " ".join(head.split()), path


@pytest.mark.parametrize("name", ["crew", "lists", "acts", "changeovers", "earlier", "Flow"])
def test_nobody_is_called_like_a_folder_of_the_hand_over(
    run: Run, show: Path, tmp_path: Path, name: str
) -> None:
    edit(show, 'id = "recorder"', f'id = "{name}"')
    failed(run("handover", show, "-o", tmp_path / "out"), "show.toml:64", f"{name!r} already", "another id")
