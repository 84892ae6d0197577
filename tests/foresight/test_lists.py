"""The pull list, labels and questions, counted against the map, and the example's pages."""

from __future__ import annotations

import csv
import io
import math
from collections import Counter
from functools import cache
from pathlib import Path

import pytest

from chanbridge.assemble import Planned, assemble
from chanbridge.check.rule import CARE
from chanbridge.errors import ShowError
from chanbridge.foresight.labels import labels
from chanbridge.foresight.lists import documents, kit_csv
from chanbridge.foresight.paper import COLUMNS, csv_bytes, ranges, table
from chanbridge.foresight.pull import Item, Pull, pull, used_sockets
from chanbridge.foresight.questions import TOPICS, questions
from chanbridge.model import Channel, ChannelMap, Entry, Port, Slot
from chanbridge.show import Show, load, parse
from chanbridge.system import ShowFile

EXAMPLES = Path(__file__).parents[2] / "examples"


@cache
def read(name: str) -> tuple[Show, Planned, list[ChannelMap]]:
    show = load(str(EXAMPLES / name))
    planned = assemble(show)
    return show, planned, [planned.map, *(played.planned.map for played in planned.acts)]


@pytest.fixture(scope="module", params=["winter-concert", "sunday"])
def show(request: pytest.FixtureRequest) -> tuple[Show, Planned, list[ChannelMap]]:
    return read(request.param)


@pytest.fixture(scope="module")
def winter() -> tuple[Show, Planned, list[ChannelMap]]:
    return read("winter-concert")


def of(found: Pull, section: str) -> list[Item]:
    return [item for item in found.items if item.section == section]


def inputs(maps: list[ChannelMap]) -> dict[tuple[Slot, str], Channel]:
    """(socket, channel id) → channel, of all maps, straight from the entries."""
    return {
        (slot, channel.id): channel
        for whole in maps
        for channel in whole.channels
        for name, slot in whole.entries
        if name == channel.id and whole.port(slot.port).kind == "sockets"
    }


def test_every_count_is_that_of_the_map(show: tuple[Show, Planned, list[ChannelMap]]) -> None:
    """Every stand of every channel is on the list once; so are its microphone and a cable for each of its sockets."""
    loaded, _, maps = show
    found, there = pull(loaded.file, maps), inputs(maps)
    same = loaded.file.kit.same
    channels = {channel.id: channel for channel in there.values()}
    stands = Counter(same.get(channel.stand, channel.stand) for channel in channels.values() if channel.stand)
    assert {item.what: item.need for item in of(found, "Stands and clips")} == dict(stands)
    words = Counter(
        same.get(channel.transducer, channel.transducer)
        for channel in channels.values()
        if channel.transducer and channel.transducer.lower() not in ("line",)
    )
    worn = [item for name in ("Microphones", "DI boxes", "Wireless") for item in of(found, name)]
    assert {item.what: item.need for item in worn} == dict(words)
    assert sum(item.need for item in of(found, "Cables to sockets")) == len(there)


def test_every_item_is_traced_to_the_channel_that_needs_it(
    show: tuple[Show, Planned, list[ChannelMap]],
) -> None:
    loaded, _, maps = show
    there = inputs(maps)
    named = {
        item.id
        for table_ in (loaded.file.link, loaded.file.box, loaded.file.device, loaded.file.subbox)
        for item in table_
    }
    for item in pull(loaded.file, maps).items:
        for socket, channel in item.sockets:
            assert there[socket, channel.id] == channel
            if item.section == "Microphones":
                assert item.what in (channel.transducer, loaded.file.kit.same.get(channel.transducer))
        assert {*item.others} <= named
        assert item.need > 0


def test_a_channel_that_moves_between_acts_keeps_its_microphone() -> None:
    """In the harp's act the harp takes two sockets; nobody's microphone is on the list twice."""
    loaded, _, maps = read("sunday")
    for section in ("Microphones", "DI boxes", "Wireless", "Stands and clips"):
        ids = [one.channel.id for item in of(pull(loaded.file, maps), section) for one in item.sockets]
        assert len(ids) == len({*ids}), section


def test_the_example_by_hand(winter: tuple[Show, Planned, list[ChannelMap]]) -> None:
    """Box A: sockets 1 to 33 and 36 are 34 channels, 10 of them on the sub-box Drums; box B: 34, 2 of them far away.

    Cables: 10 of 5 m to the drums, 24 of 10 m to A, 32 of 15 m to B, 2 of 30 m. Spares of 10 %, rounded up:
    1, 3, 4 and 1. Reels of 60 m: one on each of the two long runs.
    """
    loaded, _, maps = winter
    found = pull(loaded.file, maps)
    cables = {item.what: (item.need, item.spare(10)) for item in of(found, "Cables to sockets")}
    assert cables == {"5 m": (10, 1), "10 m": (24, 3), "15 m": (32, 4), "30 m": (2, 1)}
    runs = {item.what: item.others for item in of(found, "Cable runs")}
    assert runs["twisted pair 60 m, stranded 24 AWG"] == ("stage-left", "risers")
    assert runs["coupler, twisted pair"] == ("stage-left", "risers")
    assert [item.what for item in of(found, "Sub-boxes")] == ["10 sockets with tails, 15 m"]
    assert all(item.spare(10) == 0 for item in of(found, "Boxes and devices"))
    assert (
        next(item for item in found.items if item.what == "large dynamic").places == "A 2, 7, 21, 23-26; B 22"
    )


def test_what_says_that_there_is_none_is_not_brought() -> None:
    """A dash or a "none" under Mic or Stand is no thing to pack; a channel without microphone is asked for."""
    file = ShowFile.model_validate(
        {
            "title": "Dashes",
            "rate": 48000,
            "box": [{"id": "A", "sheet": "a.csv", "inputs": 3, "block": "one"}],
            "block": [{"id": "one"}],
            "recipient": [{"id": "desk", "takes": ["one"]}],
        }
    )
    said = [("Kick", "large dynamic", "-"), ("Vox", "-", "none"), ("Speech", "none", "short")]
    channels = tuple(
        Channel(id=name, name=name, transducer=mic, stand=stand, kind="mic") for name, mic, stand in said
    )
    entries = tuple(Entry(one.id, Slot("A", at)) for at, one in enumerate(channels, 1))
    ports = (Port(id="A", device="A", kind="sockets", size=3),)
    found = pull(file, [ChannelMap(channels=channels, entries=entries, ports=ports)])
    assert [item.what for item in of(found, "Microphones")] == ["large dynamic"]
    assert [item.what for item in of(found, "Stands and clips")] == ["short"]


def test_spares_are_rounded_up() -> None:
    item = Item("Microphones", "any", others=tuple(map(str, range(10))))
    for percent in (0, 1, 10, 15, 99.5, 100, 250):
        assert item.spare(percent) == math.ceil(percent / 10)
    assert item.spare(None) == 0


def test_the_example_fits_on_two_pages(winter: tuple[Show, Planned, list[ChannelMap]]) -> None:
    loaded, planned, maps = winter
    delivered = {one.recipient.id: [*one.delivered] for one in planned.deliveries}
    found = dict(documents(loaded.file, maps, delivered, CARE))
    for name in ("lists/kit.txt", "lists/questions.txt"):
        lines = found[name].decode("utf-8").splitlines()
        assert len(lines) <= 66, name  # A4 at six lines to the inch
        assert all(len(line) <= COLUMNS for line in lines), name
    for name in ("kit", "questions", "labels"):
        assert found[f"lists/{name}.csv"].count(b"\r\n") > 10  # RFC 4180 section 2: lines end in CRLF
    assert {f"{recipient.id}/questions.txt" for recipient in loaded.file.recipient} <= {*found}
    assert [*documents(loaded.file, maps, delivered, CARE)] == [*found.items()]


def rows(data: bytes) -> list[dict[str, str]]:
    return [*csv.DictReader(io.StringIO(data.decode("utf-8"), newline=""))]


def test_text_and_csv_say_the_same(show: tuple[Show, Planned, list[ChannelMap]]) -> None:
    loaded, _, maps = show
    found = pull(loaded.file, maps)
    for item, row in zip(found.items, rows(kit_csv(loaded.file, maps)), strict=True):
        assert (row["Section"], row["What"]) == (item.section, item.what)
        assert int(row["Bring"]) == int(row["Need"]) + int(row["Spare"]) >= item.need
        assert len(row["For"].split("; ")) == item.need


def test_every_cable_has_a_label_for_both_ends(winter: tuple[Show, Planned, list[ChannelMap]]) -> None:
    loaded, _, maps = winter
    made = [*labels(loaded.file, maps)]
    file = loaded.file
    assert len(made) == len(used_sockets(maps)) + sum(sub.sockets for sub in file.subbox) + len(file.link)
    texts = [label.text for label in made]
    assert len({*texts}) == len(texts)
    by_text = {label.text: label for label in made}
    assert by_text["Drums 4 (A 4) Snare bottom"][1:] == ("Snare bottom", "Drums 4", 5)
    assert by_text["Drums tail 4"][1:] == ("Drums 4", "A 4", 15)
    assert by_text["stage-left"].length_m == 70
    assert any(text.startswith("stage-left-backup") and "leave unplugged" in text for text in texts)


def test_acts_are_counted_in() -> None:
    loaded, _, maps = read("sunday")
    texts = [label.text for label in labels(loaded.file, maps)]
    assert {"A 1 Kick", "A 9 Harp L", "A 9 Flute"} <= {*texts}


def test_questions_by_hand(winter: tuple[Show, Planned, list[ChannelMap]]) -> None:
    loaded, planned, _ = winter
    delivered = {one.recipient.id: [*one.delivered] for one in planned.deliveries}
    asked = {(one.recipient, one.topic): one for one in questions(loaded.file, planned.map, delivered)}
    assert [*asked] == [(recipient.id, topic) for recipient in loaded.file.recipient for topic in TOPICS]
    assert asked["truck", "mode"].text == "truck-feed 64@48000"
    assert asked["truck", "connector"].text.startswith("BNC, 75 ohm")  # AES10 on coax: see standards of AES10
    assert asked["truck", "click"] == ("truck", "click", True, "no, but talkback on the intercom")
    assert asked["truck", "contact"].answered
    assert not asked["recorder", "clock"].answered
    assert "Talkback conductor" in asked["monitors", "click"].text
    assert not asked["stream", "returns"].answered


def test_who_only_listens_is_not_asked_what_it_sends() -> None:
    loaded, planned, _ = read("sunday")
    delivered = {one.recipient.id: [*one.delivered] for one in planned.deliveries}
    asked = {(one.recipient, one.topic): one for one in questions(loaded.file, planned.map, delivered)}
    assert asked["recorder", "returns"] == ("recorder", "returns", True, "only listens, sends nothing back")
    assert "Programme" in asked["truck", "returns"].text
    assert asked["truck", "click"].text.startswith("asked for")


def bare(more: str) -> ShowFile:
    text = 'title = "T"\nrate = 48000\n[[box]]\nid = "A"\nsheet = "a"\ninputs = 8\nblock = "one"\n[[block]]\nid = "one"\nslots = 8\n'
    return parse(text + '[[recipient]]\nid = "desk"\ntakes = ["one"]\n' + more, "show.toml")


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ('[[subbox]]\nid = "Drums"\nbox = "B"\nsockets = 4\n', "there is no 'B'"),
        ('[[subbox]]\nid = "Drums"\nbox = "A"\nfirst = 6\nsockets = 4\n', "its last tail is A 9"),
        ('[[subbox]]\nid = "a"\nbox = "A"\nsockets = 4\n', "is taken"),
        ('[[subbox]]\nid = "D"\nbox = "A"\nsockets = 4\n[[subbox]]\nid = "E"\nbox = "A"\nfirst = 4\nsockets = 2\n', "A 4 has a tail of 'D'"),
        ('[kit]\ncable_m = { "A 9" = 4 }\n', "a socket is written A 1"),
        ('[kit]\nadaptors = { "A" = "jack" }\n', "write a box and its socket"),
        ('[kit]\nspares_percent = -1\n', "too small"),
        ('[kit]\nspare_percent = 3\n', "did you mean 'spares_percent'"),
        ('[[answer]]\nid = "dsk"\n', "did you mean 'desk'"),
        ('[[answer]]\nid = "desk"\n[[answer]]\nid = "desk"\n', "has answers above"),
        ('[[fallback]]\nid = "onne"\ndo = "x"\n', "did you mean 'one'"),
        ('[[fallback]]\nid = "one"\n', "lacks the key 'do'"),
        ('[answer]\nid = "desk"\n', "two brackets"),
    ],
)  # fmt: skip
def test_mistakes_are_met_with_the_line(more: str, words: str) -> None:
    with pytest.raises(ShowError, match=r"^show.toml:\d+") as said:
        bare(more)
    assert words in str(said.value)


def test_tables_and_ranges() -> None:
    assert ranges([7, 1, 2, 3, 3]) == "1-3, 7"
    assert ranges([]) == ""
    lines = table(["A", "B"], [["x\n\x1b[1my", "long words " * 12]])
    assert all(len(line) <= COLUMNS for line in lines)
    assert "\x1b" not in "".join(lines)
    assert " ".join(" ".join(lines[2:]).split()).endswith("long words")


def test_csv_is_guarded_and_reads_back() -> None:
    data = csv_bytes(["Name"], [["=1+1"], ["-3"], ["+48V"], ['say "x", y'], ["two\nlines"]])
    read_back = [row[0] for row in csv.reader(io.StringIO(data.decode("utf-8"), newline=""))]
    assert read_back == ["Name", "'=1+1", "-3", "'+48V", 'say "x", y', "two\nlines"]
