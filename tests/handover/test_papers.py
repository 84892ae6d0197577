"""What each kind of recipient finds on its paper, and what it does not."""

from __future__ import annotations

from pathlib import Path

import pytest

from chanbridge.assemble import Planned, assemble
from chanbridge.handover.cover import LeftOut, Share, Told, cover_page
from chanbridge.handover.flow import Flow
from chanbridge.handover.needs import NEEDS, need_of
from chanbridge.handover.paper import Heading, Notes, Page, Table
from chanbridge.handover.papers import cable_tags, label_strip, recipient_page, stage_map, stage_page
from chanbridge.handover.pdf import pdf
from chanbridge.handover.plain import text
from chanbridge.handover.route import flow
from chanbridge.handover.words import Words
from chanbridge.model import ChannelMap
from chanbridge.show import Show, load
from chanbridge.system import Recipient
from tests.handover.made import HEADING, texts

WORDS = Words()
EXAMPLES = Path(__file__).parents[2] / "examples"
Made = tuple[Show, Planned]


@pytest.fixture(scope="module")
def concert() -> Made:
    show = load(str(EXAMPLES / "winter-concert"))
    return show, assemble(show)


@pytest.fixture(scope="module")
def sunday() -> Made:
    show = load(str(EXAMPLES / "sunday"))
    return show, assemble(show)


def sheet(made: Made, name: str, **more: object) -> Page:
    show, planned = made
    delivery = next(one for one in planned.deliveries if one.recipient.id == name)
    return recipient_page(show.file, planned, delivery, Heading("S", name), WORDS, **more)  # type: ignore[arg-type]


def columns(page: Page) -> list[str]:
    return [column.key for column in next(page.tables()).columns]


def column(page: Page, key: str) -> list[str]:
    table = next(page.tables())
    at = columns(page).index(key)
    return [row.cells[at] for row in table.rows]


@pytest.mark.parametrize(
    ("table", "kind"),
    [
        ({"takes": ["f"]}, "truck"),
        ({"takes": ["b"], "tags": ["room"]}, "front-of-house"),
        ({"takes": ["b"], "tags": ["monitors"]}, "monitors"),
        ({"takes": ["b"], "tags": ["air"]}, "stream"),
        ({"takes": ["f"], "kind": "recorder"}, "recorder"),
        ({"takes": ["b"], "kind": "mixers"}, "musicians"),
        ({"takes": ["b"]}, "front-of-house"),
        ({"takes": ["b"], "tags": ["room"], "paper": "volunteer"}, "volunteer"),
    ],
)
def test_who_needs_which_sheet(concert: Made, table: dict[str, object], kind: str) -> None:
    file = concert[0].file
    feed = file.feed[0].model_copy(update={"id": "f"})
    said = file.model_copy(update={"feed": (feed,)})
    assert need_of(Recipient.model_validate({"id": "x", **table}), said) == kind
    assert kind in NEEDS


def test_the_truck_finds_slots_sockets_phantom_gain_and_warnings(concert: Made) -> None:
    page = sheet(concert, "truck")
    assert columns(page) == ["slot", "name", "short", "socket", "supply", "owner", "pair", "mark", "notes"]
    assert column(page, "slot") == [str(at) for at in range(1, 65)]
    assert column(page, "supply")[0] == "on, A"
    click = next(row for row in next(page.tables()).rows if "Click" in row.cells)
    assert click.careful
    assert "NOT FOR AIR" in click.cells
    left_out = next(
        part for part in page.parts if isinstance(part, Notes) and part.title == WORDS("not_carried")
    )
    assert left_out.lines == (
        "Guide piano, Timecode, Talkback band, Talkback conductor: not for air: gives way on a feed of 64 slots",
    )


def test_from_zero_stands_in_a_column_of_its_own(concert: Made) -> None:
    page = sheet(concert, "truck", from_zero=True)
    assert column(page, "zero") == [str(at) for at in range(64)]
    assert column(page, "slot")[0] == "1"
    assert "zero" not in columns(sheet(concert, "monitors", from_zero=True)), "only a feed is counted so"


def test_the_others_find_what_they_need(concert: Made, sunday: Made) -> None:
    assert {"transducer", "stand", "socket"} <= {*columns(sheet(concert, "front-of-house"))}
    assert "hearers" in columns(sheet(concert, "stream"))
    assert columns(sheet(concert, "recorder"))[:2] == ["track", "name"]
    assert columns(sheet(sunday, "mixers")) == ["channel", "name", "short", "pair"]
    titles = [table.title for table in sheet(sunday, "front-of-house").tables()]
    assert titles == ["", "What you send", "What comes back to you"]
    assert any("NOT for air" in said for said in column(sheet(concert, "stream"), "hearers"))


def test_a_change_bar_where_something_changed(concert: Made) -> None:
    rows = next(sheet(concert, "truck", changed=frozenset({"truck 37", "monitors 4"})).tables()).rows
    assert [row.cells[0] for row in rows if row.changed] == ["37"]


def test_pairs_are_bracketed(concert: Made) -> None:
    rows = next(sheet(concert, "truck").tables()).rows
    marked = [(row.cells[0], row.bracket) for row in rows if row.bracket]
    assert len(marked) > 10
    for (left, one), (right, two) in zip(marked[::2], marked[1::2], strict=True):
        assert (one, two) == ("first", "second")
        assert int(right) == int(left) + 1


def test_spares_are_numbered_and_say_why(concert: Made) -> None:
    page = sheet(concert, "front-of-house")
    rows = [row for row in next(page.tables()).rows if row.spare]
    assert all(row.cells[0].isdecimal() and row.cells[1] == "spare" for row in rows)
    assert any("Ader gebrochen" in row.cells[-1] for row in rows)


def test_a_volunteer_gets_one_big_page_without_jargon(concert: Made) -> None:
    show, planned = concert
    delivery = next(one for one in planned.deliveries if one.recipient.id == "front-of-house")
    volunteer = delivery.recipient.model_copy(update={"paper": "volunteer"})
    page = recipient_page(show.file, planned, delivery._replace(recipient=volunteer), HEADING, WORDS)
    said = texts(pdf(page, WORDS))
    assert len(said) == 1
    assert all(word not in said[0] for word in ("Phantom", "Polarity", "Gain", "Transducer", "packed"))
    assert "Film sound R" in said[0]
    assert not any(row.spare for row in next(page.tables()).rows)


def test_the_stage_crew_goes_by_box_and_socket(sunday: Made) -> None:
    show, planned = sunday
    page = stage_page(show.file, planned, HEADING, WORDS)
    titles = [table.title for table in page.tables()]
    assert titles[:2] == ["Box A: In, stage", "Box A: Out"]
    said = text(page, WORDS)
    for box in show.file.box:
        for row in planned.map.sheet(box.id):
            if row.channel:
                assert f"{row.number:<6}  {row.channel.name}" in said.replace("Socket", "      ")
    assert "electrician" in said
    assert "[ ]" in said


def test_the_stage_as_one_list_has_every_socket(concert: Made) -> None:
    show, planned = concert
    whole = stage_map(show.file, planned)
    assert isinstance(whole, ChannelMap)
    assert [(line.box, line.socket) for line in whole.lines("stage") if line.number] == [
        (box.id, socket) for box in show.file.box for socket in range(1, box.inputs + 1)
    ]


def test_labels_and_tags_come_from_the_plan(concert: Made) -> None:
    show, planned = concert
    strip = label_strip(show.file, planned.map, "truck", "", 20.0, 16)
    assert [label.number for label in strip.labels] == [str(at) for at in range(1, 65)]
    assert strip.labels[36].texts[0] == "Choir tenor L"
    tags = cable_tags(show.file, planned, WORDS)
    assert [tag.large for tag in tags[:2]] == ["A.main", "front-of-house.a"]
    assert sum(tag.large == "A 1" for tag in tags) == 2, "one for each end"


def test_the_flow_counts_what_is_in_use(concert: Made) -> None:
    show, planned = concert
    made = flow(show.file, planned, WORDS)
    assert isinstance(made, Flow)
    ways = {(way.start, way.end): way.text for way in made.ways}
    assert ways["block-1", "truck-feed"] == "block-1: 31 of 40"
    assert ways["truck-feed", "truck"] == "truck-feed: 64 of 64"
    assert [card.id for card in made.cards if card.leads] == ["front-of-house", "truck"]
    assert any(cable.backup and "75 m" in cable.what for cable in made.cables)
    assert "coax, 45 m, one way" in [cable.what for cable in made.cables]


def test_the_cover_says_what_was_not_asked() -> None:
    page = cover_page(
        HEADING,
        [Share("Truck", "3 of 4", "1–3", 1)],
        [LeftOut("Truck", "Oboe", "no room", True)],
        Told(),
        WORDS,
    )
    said = " ".join(texts(pdf(page, WORDS)))
    for part in (
        "Who to call",
        "3 of 4",
        "Not asked for",
        "Nothing has been ticked",
        "WANTED",
        "Oboe",
        "no room",
        "licensed",
    ):
        assert part in said


def test_the_cover_says_what_was_found_and_proved() -> None:
    told = Told(
        (("error", "link x", "too long"),),
        ("paper agrees with itself; no cable tested",),
        ("3 of 64 ticked",),
        ("laser",),
    )
    page = cover_page(HEADING, [Share("Truck", "4 of 4", "1–4", 0)], [], told, WORDS)
    said = " ".join(texts(pdf(page, WORDS)))
    for part in (
        "error",
        "too long",
        "no cable tested",
        "3 of 64 ticked",
        "Never look",
        "Everyone gets everything",
    ):
        assert part in said
    table = next(part for part in page.parts if isinstance(part, Table) and part.title == WORDS("findings"))
    assert table.rows[0].careful
