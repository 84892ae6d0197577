"""A show with returns, listeners, local sockets, wants and acts: examples/sunday."""

from __future__ import annotations

import csv
import io
import json
import random
import re
import shutil
import tomllib
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import jsonschema
import pytest

from tests.cli.conftest import Result, Run, failed, runner
from tests.conftest import EXAMPLE
from tests.schemas import GENERATED

SUNDAY = EXAMPLE.parent / "sunday"


@pytest.fixture
def show(tmp_path: Path) -> Path:
    """A copy of the show to spoil."""
    return Path(shutil.copytree(SUNDAY, tmp_path / "show"))


def edit(show: Path, old: str, new: str) -> None:
    text = (show / "show.toml").read_text("utf-8")
    assert old in text
    (show / "show.toml").write_text(text.replace(old, new, 1), "utf-8")


def slots(path: Path) -> dict[str, int]:
    """Name → slot on a sheet."""
    table = list(csv.reader(io.StringIO(path.read_bytes().decode("utf-8"), newline="")))
    return {row[1]: int(row[0]) for row in table[1:] if row[1] and row[-1] and row[0]}


@pytest.fixture(scope="module")
def handed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Result]]:
    """The hand-over of the show, made once: its folder and what the command said."""
    out = tmp_path_factory.mktemp("sunday") / "out"
    with pytest.MonkeyPatch.context() as patch:
        yield out, runner(patch)("handover", SUNDAY, "-o", out)


def test_the_whole_of_it(handed: tuple[Path, Result]) -> None:
    out, result = handed
    assert result.status == 0
    assert "In      27 channels, 5 back" in result.text
    truck = slots(out / "truck" / "sheet.csv")
    assert truck["Lectern"] == 1
    assert (truck["Organ L"], truck["Organ R"]) == (5, 6)
    assert truck["Ambience L"] == 27
    assert "the show cannot give slot 7: Steel drum" in result.text
    assert "asked for: Steel drum" in (out / "truck" / "sheet.txt").read_text("utf-8")
    assert slots(out / "recorder" / "sheet.csv") == truck  # it records the feed
    mixers = slots(out / "mixers" / "sheet.csv")
    assert list(mixers) == [
        "Click", "Kick", "Snare", "Bass", "Keys L", "Keys R", "Acoustic guitar", "Lead vocal", "Vocal 2", "Vocal 3"
    ]  # fmt: skip
    house = slots(out / "front-of-house" / "sheet.csv")
    assert house["Walk-in music L"] == 41  # local sockets come after the block
    assert house["Lectern"] == 17
    assert (house["Programme L"], house["Programme R"]) == (45, 46)
    assert "left out: Walk-in music L: stands on Desk, local to front-of-house" in result.text
    schema = GENERATED["show.schema.json"]()
    data = tomllib.loads((SUNDAY / "show.toml").read_text("utf-8"))
    data["date"] = str(data["date"])
    jsonschema.validate(data, schema)


def test_what_comes_back_stands_on_the_boxes_sheets(run: Run, handed: tuple[Path, Result]) -> None:
    out, _ = handed
    box = (out / "B" / "sheet.txt").read_text("utf-8")
    assert "In:" in box
    assert "all but Presenter headset, Presenter handheld, after fader" in box
    assert "mute and turn down" in box
    assert slots(out / "B" / "outputs.csv") == {"Presenter earpiece": 1}
    assert slots(out / "A" / "outputs.csv") == {"Band wedges L": 1, "Band wedges R": 2}
    sends = (out / "truck" / "sends.txt").read_text("utf-8")
    assert "truck-feed back 1, stage back 9" in sends
    read = run("read", out / "B" / "sheet.xml", "--json").json()
    assert "Presenter earpiece" in {channel["name"] for channel in read["channels"]}


def test_acts_keep_the_truck_where_it_is(handed: tuple[Path, Result]) -> None:
    out, result = handed
    sheets = [slots(out / folder / "truck" / "sheet.csv") for folder in ("", "acts/harp", "acts/choir")]
    names = {name for sheet in sheets for name in sheet}
    for name in names:  # one slot for every channel in all acts in which it plays
        assert len({sheet[name] for sheet in sheets if name in sheet}) == 1, name
    assert "Flute" not in sheets[1]
    assert {"Harp L", "Choir soprano L", "Solo", "Kick"} <= {*sheets[2]}
    assert sheets[2]["Choir soprano R"] == sheets[2]["Choir soprano L"] + 1
    change = (out / "changeovers" / "2-to-choir.txt").read_text("utf-8")
    assert "6 sockets to repatch, 22 channels as they are" in change
    assert re.search(r"B 11 +move here from A 1 +Kick", change)
    assert re.search(r"A 1 +Kick +replace +Choir soprano L +off > on", change)
    assert "Phantom: mute" in change
    assert "Act With the choir: 6 sockets" in result.text
    block = change.split("these slots change")[1]
    changed = {int(found) for found in re.findall(r"truck-feed (\d+)", block)}
    at = [{slot: name for name, slot in sheet.items()} for sheet in sheets[1:]]
    assert changed == {slot for slot in range(1, 29) if at[0].get(slot) != at[1].get(slot)}


def test_a_move_that_cannot_be_avoided_is_proved(run: Run, tmp_path: Path, show: Path) -> None:
    names = [f"Chair {at}" for at in range(1, 15)]
    (show / "band.csv").write_text(
        "Socket,Name\n" + "".join(f"A{at},{name}\n" for at, name in enumerate(names, 1))
    )
    (show / "show.toml").write_text(
        'title = "T"\nrate = 192000\n[[box]]\nid = "A"\nsheet = "band.csv"\ninputs = 16\nblock = "one"\n'
        '[[block]]\nid = "one"\nslots = 16\n[[feed]]\nid = "f"\nmode = "14@192000"\nblocks = ["one"]\n'
        '[[recipient]]\nid = "truck"\ntakes = ["f"]\n'
        '[[act]]\nid = "duet"\nsockets = { "A 1" = "", "A 2" = "Duo L", "A 3" = "Duo R", "A 15" = "Chair 3" }\n'
        '[[act]]\nid = "trio"\nover = "duet"\n'
        'sockets = { "A 4" = "Trio L", "A 5" = "Trio R", "A 6" = "", "A 7" = "Chair 6", "A 16" = "Chair 1" }\n'
    )  # fmt: skip
    result = run("handover", show, "-o", tmp_path / "out")
    moved = re.findall(r"'(\w+ \d+)' stood on f \d+ in an act before", result.text)
    sheets = [
        slots(tmp_path / "out" / folder / "truck" / "sheet.csv") for folder in ("", "acts/duet", "acts/trio")
    ]
    for earlier, later in pairwise(sheets):
        for name in moved:
            assert name in earlier or name in later
    assert ("that is proved" in result.text) == bool(moved)


def test_on_a_full_feed_only_what_gives_way_leaves_between_acts(run: Run, tmp_path: Path, show: Path) -> None:
    """Where all slots are taken, what is carried still keeps its slot in every act."""
    names = [
        "Kick", "Snare", "Bass", "Keys L", "Keys R", "Gtr", *(f"Vox {at}" for at in range(1, 8)), "Click", "Talkback",
    ]  # fmt: skip
    (show / "band.csv").write_text(
        "Socket,Name\n" + "".join(f"A{at},{name}\n" for at, name in enumerate(names, 1))
    )
    (show / "show.toml").write_text(
        'title = "T"\nrate = 192000\n[[box]]\nid = "A"\nsheet = "band.csv"\ninputs = 20\nblock = "one"\n'
        '[[block]]\nid = "one"\nslots = 20\n[[feed]]\nid = "f"\nmode = "14@192000"\nblocks = ["one"]\n'
        '[[recipient]]\nid = "truck"\ntakes = ["f"]\ntags = ["air"]\n'
        '[[act]]\nid = "duo"\nsockets = { "A 3" = "Duo L", "A 16" = "Duo R", "A 6" = "" }\n'
        '[[act]]\nid = "solo"\nsockets = { "A 17" = "Solo", "A 1" = "", "A 18" = "Gtr", "A 6" = "Organ L", '
        '"A 19" = "Organ R", "A 2" = "" }\n'
    )
    result = run("handover", show, "-o", tmp_path / "out", "--formats", "csv,txt")
    assert set(re.findall(r"'(.+)' stood on f", result.text)) <= {"Click", "Talkback"}
    sheets = [
        slots(tmp_path / "out" / folder / "truck" / "sheet.csv") for folder in ("", "acts/duo", "acts/solo")
    ]
    for one, other in pairwise(sheets):
        assert all(one[name] == other[name] for name in one.keys() & other.keys())
    assert "proved" not in result.text


def test_what_comes_with_an_act_keeps_its_slot_when_a_channel_is_added(
    run: Run, tmp_path: Path, show: Path
) -> None:
    """The first free slot of the show is the banjo's in the second act: the truck was told so."""
    (show / "band.csv").write_text("Socket,Name\nA1,Kick\nA2,Snare\nA3,Bass\n")
    (show / "show.toml").write_text(
        'title = "T"\nrate = 48000\n[[box]]\nid = "A"\nsheet = "band.csv"\ninputs = 16\nblock = "one"\n'
        '[[block]]\nid = "one"\nslots = 16\n[[feed]]\nid = "f"\nmode = "64@48000"\nlayout = "packed"\nblocks = ["one"]\n'
        '[[recipient]]\nid = "truck"\ntakes = ["f"]\n[[act]]\nid = "late"\nsockets = { "A 5" = "Banjo", "A 1" = "" }\n'
    )
    out = tmp_path / "out"
    issue = ("handover", show, "-o", out, "--formats", "csv,txt", "--date", "2026-11-29", "--revision")
    run(*issue, "A")
    first = slots(out / "acts" / "late" / "truck" / "sheet.csv")
    assert run("amend", show, "add Harp at A4", "--yes").status == 0
    run(*issue, "B", "--frozen")
    assert slots(out / "acts" / "late" / "truck" / "sheet.csv").items() >= first.items()
    assert slots(out / "truck" / "sheet.csv")["Harp"] not in first.values()


def test_what_is_asked_for_and_cannot_be_given_stands_on_the_sheet(
    run: Run, tmp_path: Path, show: Path
) -> None:
    with (show / "mixers.csv").open("a", encoding="utf-8") as sheet:
        sheet.write("13,Theremin\n")
    out = tmp_path / "out"
    said = run("handover", show, "-o", out).text
    assert "the show cannot give slot 13: Theremin" in said
    assert "Asked for, and the show does not have it: 2 slots; see above." in said
    assert re.search(
        r"^13 .*asked for: Theremin", (out / "mixers" / "sheet.txt").read_text("utf-8"), re.MULTILINE
    )
    assert run("prove", show, "--paper", out).status == 0


def test_the_same_from_a_shuffled_show_file(
    run: Run, tmp_path: Path, show: Path, handed: tuple[Path, Result]
) -> None:
    one, _ = handed
    text = (show / "show.toml").read_text("utf-8")
    head, *tables = re.split(r"(?=^\[\[)", text, flags=re.MULTILINE)
    acts = [table for table in tables if table.startswith("[[act]]")]  # their order is the running order
    others = [table for table in tables if table not in acts]
    for seed in (1,):
        random.Random(seed).shuffle(others)
        (show / "show.toml").write_text(head + "\n".join([*others, *acts]), "utf-8")
        out = tmp_path / f"two-{seed}"
        assert run("handover", show, "-o", out).status == 0
        for path in one.rglob("*.csv"):
            other = out / path.relative_to(one)
            assert sorted(path.read_bytes().splitlines()) == sorted(other.read_bytes().splitlines()), path


def test_one_port_hears_one_block(run: Run, tmp_path: Path) -> None:
    show = Path(shutil.copytree(EXAMPLE, tmp_path / "show"))
    edit(show, 'kind = "recorder"\n', 'kind = "recorder"\nports = 1\n')
    result = run("handover", show, "-o", tmp_path / "out")
    assert "recorder: 34 of 68 channels delivered" in result.text
    assert "channels: stands on block-2; recorder has one port and hears block-1: " in result.text
    line = next(line for line in result.text.splitlines() if line.strip().startswith("recorder   "))
    assert line.split() == ["recorder", "yes", "if", "it", "switches"]


def test_two_feeds_that_are_planned_together(run: Run, tmp_path: Path) -> None:
    show = Path(shutil.copytree(EXAMPLE, tmp_path / "show"))
    edit(
        show,
        'blocks = ["block-1", "block-2"]\n',
        'blocks = ["block-1", "block-2"]\n\n[[feed]]\nid = "second"\nmode = "64@48000"\ncontinues = "truck-feed"\n',
    )
    edit(show, 'takes = ["truck-feed"]', 'takes = ["truck-feed", "second"]')
    result = run("handover", show, "-o", tmp_path / "out")
    assert result.status == 0
    assert "truck: 68 of 68 channels delivered" in result.text
    assert "straight through on two feeds: block-1 on truck-feed, block-2 on second" in result.text
    assert slots(tmp_path / "out" / "truck" / "sheet.csv")["Choir soprano L"] == 65


def test_what_was_issued_is_kept(run: Run, tmp_path: Path) -> None:
    show = Path(shutil.copytree(EXAMPLE, tmp_path / "show"))
    run("handover", show, "-o", tmp_path / "one")
    shutil.copy(tmp_path / "one" / "truck" / "sheet.csv", show / "issued.csv")
    sheet = (show / "box-b.xml").read_text("utf-8")
    (show / "box-b.xml").write_text(
        sheet.replace('source="Bells" mic="small condenser" stand="boom" phantom="yes"', 'source=""')
    )
    edit(show, 'mode = "64@48000"', 'keep = "issued.csv"\nmode = "64@48000"')
    result = run("handover", show, "-o", tmp_path / "two")
    before, after = (slots(tmp_path / name / "truck" / "sheet.csv") for name in ("one", "two"))
    assert {name: slot for name, slot in after.items() if before.get(name) not in (None, slot)} == {}
    assert before["Bells"] in after.values()  # one that gave way has come back there
    assert "truck-feed: proved: no packing is better" in result.text


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('desk = "front-of-house"', 'desk = "foh"', [":desk:", "there is no 'foh'"]),
        ('desk = "front-of-house"', "", [":block:", "not both"]),
        ('block = "stage"\nfirst = 17', 'block = "stage"\ndesk = "truck"\nfirst = 17', ["not both"]),
        ('parts = { stage = "1-32" }', 'parts = { stage = "1-41" }', [":parts:", "ends at 40"]),
        ('parts = { stage = "1-32" }', 'parts = { stage = "32-1" }', [":parts:", "backwards"]),
        ('parts = { stage = "1-32" }', 'parts = { stag = "1-2" }', [":parts:", "did you mean 'stage'"]),
        ('"Ambience L" = 27', '"Ambience L" = 29', [":fix:", "28 slots"]),
        ('"Ambience L" = 27', '"Ambience L" = 28', [":fix:", "a pair, left on an odd slot"]),
        ('"Ambience L" = 27', '"Ambience L" = "27"', [":fix:", "whole number"]),
        ('wants = "truck-wants.csv"', 'wants = "truck-want.csv"', [":wants:", "did you mean"]),
        ('from = "truck"\nminus', 'from = "recorder"\nminus', [":from:", "only listens"]),
        ('from = "truck"\nminus', 'from = "trunk"\nminus', [":from:", "did you mean 'truck'"]),
        ('to = ["B 1"]', 'to = ["B 5"]', [":to:", "4 outputs"]),
        ('to = ["B 1"]', 'to = ["B"]', [":to:", "which output"]),
        ('to = ["B 1"]', 'to = ["C 1"]', [":to:", "there is no 'C'"]),
        ('to = ["B 1"]', 'to = ["A 2"]', [":to:", "already written by", "outputs has one writer"]),
        ('to = ["B 1"]', 'to = ["Desk 1"]', ["outputs"]),
        ('to = ["B 1"]', 'to = ["truck"]', [":to:", "makes it"]),
        ('"Lead vocal", ', '"Band wedges", ', [":contents:", "feeds back"]),
        ('"Ambience L" = 27', '"Ambience L" = 27, "ambience l" = 25', [":fix:", "fixed already"]),
        ('inputs = 16\nlistens', 'inputs = 0\nlistens', [":inputs:", "at least 1"]),
        ('to = ["B 1"]', 'to = ["recorder"]', [":to:", "gets what its feed carries"]),
        ('to = ["B 1"]', 'to = ["truck-feed"]', [":to:", "which slot"]),
        ('to = ["B 1"]', 'to = ["truck-feed 29"]', [":to:", "28 slots"]),
        ('"Ambience L" = 27', '"Ambienc L" = 27', [":fix:", "did you mean 'Ambience L'"]),
        ('to = ["B 1"]', 'to = ["truck-feed 27"]', [":fix:", "cannot"]),
        ('"Presenter headset", ', '"Presenter hedset", ', [":minus:", "did you mean 'Presenter headset'"]),
        ('"Lead vocal", ', '"Band wedges", ', [":contents:", "hold itself"]),
        ('to = ["B 1"]', 'to = ["B 1"]\noutput = 30', ["output", "28 slots on the way back"]),
        ('id = "earpiece"', 'id = "truck"', ["'truck' is taken"]),
        ("first_output = 9", "first_output = 5", [":first_output:", "comes out of box 'A'"]),
        ("first_output = 9", "first_output = 14", ["16 slots on the way back"]),
        ('"A 9" = "Harp L"', '"A 19" = "Harp L"', [":sockets:", "from 1 to 16"]),
        ('"A 9" = "Harp L"', '"C 9" = "Harp L"', [":sockets:", "there is no 'C'"]),
        ('over = "harp"', 'over = "harps"', [":over:", "did you mean 'harp'"]),
        ('sheet = "choir.csv"', 'sheet = "chor.csv"', [":sheet:", "did you mean 'choir.csv'"]),
        ('sheet = "choir.csv"', 'shet = "choir.csv"', [":shet:", "did you mean 'sheet'"]),
        ("[[return]]", "[[returns]]", ["did you mean 'return'"]),
        ('blocks = ["stage"]', 'blocks = ["stage"]\ncontinues = "truck-feed"', ["continues"]),
        ('blocks = ["stage"]', "", ["at least one block"]),
    ],
)  # fmt: skip
def test_mistakes_name_line_and_key(
    run: Run, tmp_path: Path, show: Path, old: str, new: str, words: list[str]
) -> None:
    edit(show, old, new)
    key = words.pop(0).strip(":") if words[0].startswith(":") else ""
    result = run("handover", show, "-o", tmp_path / "out")
    failed(result, "show.toml", *words)
    assert not (tmp_path / "out").exists()
    found = re.search(r"show\.toml:(\d+):([^:]*):", result.err)
    assert found
    line = (show / "show.toml").read_text("utf-8").splitlines()[int(found[1]) - 1]
    if key:
        assert key in (found[2], *line.split())
        assert key in line or f"[[{key}" in line or line.startswith("[[")


def test_an_overlay_that_fits_nowhere(run: Run, tmp_path: Path, show: Path) -> None:
    (show / "choir.csv").write_text("Box,Socket,Name\nC,1,Alto\n")
    failed(run("handover", show, "-o", tmp_path / "out"), ":sheet:", "'Alto' names no box and socket")
    (show / "choir.csv").write_text("Box,Socket,Name\nA,17,Alto\n")
    failed(run("handover", show, "-o", tmp_path / "out"), ":sheet:", "16 inputs")
    (show / "choir.csv").write_text("Box,Socket,Name\nA,1,Alto\nA,1,Tenor\nB,12,Kick\nB,13,Kick\n")
    result = run("handover", show, "-o", tmp_path / "out")
    assert "A 1 is named twice" in result.text
    assert "'Kick' is named on B 12 and on B 13" in result.text


def test_a_stem_on_a_slot_of_the_feed(run: Run, tmp_path: Path, show: Path) -> None:
    more = '[[return]]\nid = "stem"\nname = "Band"\nfrom = "front-of-house"\ncontents = ["Kick", "Bass"]\nto = ["truck-feed 25"]\nstereo = true\n\n[[act]]'
    edit(show, "[[act]]", more)
    result = run("handover", show, "-o", tmp_path / "out")
    assert result.status == 0
    for act in ("", "acts/harp", "acts/choir"):
        truck = slots(tmp_path / "out" / act / "truck" / "sheet.csv")
        assert (truck["Band L"], truck["Band R"]) == (25, 26)
        assert len({*truck.values()}) == len(truck)
    assert "25 of 27 channels delivered and 2 that come back" in result.text


def test_a_converter_declared_as_a_device_moves_in_its_grain(run: Run, tmp_path: Path) -> None:
    show = Path(shutil.copytree(EXAMPLE, tmp_path / "show"))
    edit(show, 'id = "converter"', 'id = "converter"\ngrain = 8')
    result = run("handover", show, "-o", tmp_path / "out")
    assert "63 of 68 channels carried" in result.text


def test_json_schema_says_what_show_files_may(tmp_path: Path) -> None:
    schema = json.loads((EXAMPLE.parents[1] / "schemas" / "show.schema.json").read_text("utf-8"))
    assert {"return", "act", "feed", "recipient"} <= {*schema["properties"]}
    assert "from" in schema["$defs"]["Return"]["properties"]


def test_a_change_in_an_act_is_a_change_for_those_who_get_its_sheets(
    run: Run, tmp_path: Path, show: Path
) -> None:
    """The show's own sheets stay as they were; the harp's do not, and the word says that something changed."""
    out = tmp_path / "out"
    said = ["--formats", "csv,html,txt"]
    run("handover", show, "-o", out, "--revision", "A", "--date", "2026-11-29", *said)
    first = re.search(r"word (\w+)", (out / "summary.txt").read_text("utf-8"))
    edit(show, '"A 10" = "Harp R"', '"A 16" = "Harp R"')
    run("handover", show, "-o", out, "--revision", "B", "--date", "2026-11-30", *said)
    second = re.search(r"word (\w+)", (out / "summary.txt").read_text("utf-8"))
    assert first
    assert second
    assert first[1] != second[1]
    assert "B: nothing changed for you" in (out / "truck" / "changes.txt").read_text("utf-8")
    changed = (out / "acts" / "harp" / "truck" / "changes.csv").read_text("utf-8")
    assert "Harp R (A16)" in changed
    crew = (out / "acts" / "harp" / "crew" / "sheet.html").read_text("utf-8")
    assert barred(crew) == {"A 10", "A 16", "B out 1"}, "what is in the earpiece changed too"
    assert barred((out / "crew" / "sheet.html").read_text("utf-8")) == set()
    assert barred((out / "acts" / "harp" / "truck" / "sheet.html").read_text("utf-8"))
    assert run("verify", out, show).status == 0


def test_every_sheet_of_an_act_says_which_act_it_is(handed: tuple[Path, Result]) -> None:
    """Two sheets for the same desk that look alike are one too many on a dark stage."""
    out, _ = handed
    texts = [path for path in (out / "acts" / "harp").rglob("*.txt") if path.name != "questions.txt"]
    assert len(texts) > 8
    for path in texts:
        assert "With the harp" in "".join(path.read_text("utf-8").splitlines(keepends=True)[:2]), path
    crew = (out / "acts" / "harp" / "crew" / "sheet.txt").read_text(
        "utf-8"
    )  # the page's own heading, as in PDF
    assert "Stage crew: With the harp" in crew
    assert "With the harp" in (out / "acts" / "harp" / "truck" / "sheet.xml").read_text("utf-8")
    assert "With the" not in (out / "truck" / "sheet.txt").read_text("utf-8")


def barred(page: str) -> set[str]:
    """The rows of a page that bear a change bar."""
    return set(re.findall(r'<tr role="row" data-key="([^"]+)"[^>]* class="[^"]*\bchanged\b', page))


@pytest.mark.parametrize("said", ["harp l to A12", "swap Kick and Harp L", "remove Harp L"])
def test_a_late_change_to_what_comes_with_an_act_says_where_it_is_changed(
    run: Run, show: Path, said: str
) -> None:
    failed(run("amend", show, said, "--yes"), "under [[act]] harp")
