"""The proof against maps with planted faults, and against ways through a map that are worked out by hand."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge import formats
from chanbridge.aes10 import Mode
from chanbridge.aes10.carry import MOST, carry
from chanbridge.assemble import Planned, assemble
from chanbridge.errors import ReadError
from chanbridge.handover import hand_over, sheets
from chanbridge.model import Channel, ChannelMap, Entry, Patch, Port, Slot
from chanbridge.proof import AGREES, Proof, for_people, prove_sheet, prove_show
from chanbridge.show import Show, load

EXAMPLE = Path(__file__).parents[1] / "examples" / "winter-concert"


@pytest.fixture(scope="module")
def show() -> Show:
    return load(str(EXAMPLE))


@pytest.fixture(scope="module")
def planned(show: Show) -> Planned:
    return assemble(show)


@pytest.fixture(scope="module")
def printed(show: Show, planned: Planned) -> dict[str, bytes]:
    return dict(sheets(show, planned))


def proof_with(show: Show, planned: Planned, printed: dict[str, bytes], patches: list[Patch]) -> Proof:
    """The sheets as they were printed, against a map with other patches."""
    faulty = planned._replace(map=planned.map.changed(patches=tuple(patches)), acts=())
    return prove_show(show.file, faulty, printed.get)


def test_the_example_is_proved(show: Show, planned: Planned, printed: dict[str, bytes]) -> None:
    proof = prove_show(show.file, planned, printed.get)
    assert proof.holds
    assert len({slot.recipient for slot in proof.slots}) >= 4
    assert len(proof.slots) > 100
    base = planned._replace(acts=())
    arrived = sum(slot.arrived is not None for slot in prove_show(show.file, base, printed.get).slots)
    assert arrived >= sum(len(delivery.delivered) for delivery in planned.deliveries)
    labelled = [slot for slot in proof.slots if slot.recipient == "truck" and slot.arrived]
    assert all(slot.label for slot in labelled)
    assert len({slot.label for slot in labelled}) == len(labelled)


Fault = Callable[[list[Patch]], tuple[list[Patch], set[Slot]]]


def _swapped(patches: list[Patch]) -> tuple[list[Patch], set[Slot]]:
    at = [
        index
        for index, patch in enumerate(patches)
        if patch.target in (Slot("truck-feed", 3), Slot("truck-feed", 20))
    ]
    one, two = (patches[index] for index in at)
    changed = list(patches)
    changed[at[0]], changed[at[1]] = Patch(two.source, one.target), Patch(one.source, two.target)
    return changed, {Slot("truck", 3), Slot("truck", 20)}


def _dropped(patches: list[Patch]) -> tuple[list[Patch], set[Slot]]:
    return [patch for patch in patches if patch.target != Slot("truck-feed", 11)], {Slot("truck", 11)}


def _reversed(patches: list[Patch]) -> tuple[list[Patch], set[Slot]]:
    """Overhead L and R, sockets 8 and 9 of box A, change places on the block, so for everybody."""
    turned = {Slot("A", 8): Slot("A", 9), Slot("A", 9): Slot("A", 8)}
    changed = [Patch(turned.get(source, source), target) for source, target in patches]
    return changed, {
        Slot(name, number)
        for name in ("front-of-house", "monitors", "stream", "recorder")
        for number in (8, 9)
    }


def _shifted(patches: list[Patch]) -> tuple[list[Patch], set[Slot]]:
    changed = [
        Patch(source, Slot(target.port, target.number + 1))
        if target.port == "recorder"
        else Patch(source, target)
        for source, target in patches
    ]
    return changed, {Slot("recorder", number) for number in range(1, 31)}


def _merged(patches: list[Patch]) -> tuple[list[Patch], set[Slot]]:
    return [*patches, Patch(Slot("A", 2), Slot("truck-feed", 1))], {Slot("truck", 1)}


def _doubled(patches: list[Patch]) -> tuple[list[Patch], set[Slot]]:
    return [*patches, Patch(Slot("block-1", 1), Slot("truck-feed", 1))], {Slot("truck", 1)}


@pytest.mark.parametrize("fault", [_swapped, _dropped, _reversed, _shifted, _merged, _doubled])
def test_a_planted_fault_is_found_where_it_is(
    show: Show, planned: Planned, printed: dict[str, bytes], fault: Fault
) -> None:
    patches, wrong = fault(list(planned.map.patches))
    proof = proof_with(show, planned, printed, patches)
    found = {Slot(slot.port, slot.slot) for slot in proof.slots if slot.verdict != AGREES}
    assert not proof.holds
    assert wrong <= found
    others = {"front-of-house", "monitors", "stream", "recorder"} if fault is not _reversed else set()
    assert not {slot for slot in found - wrong if slot.port in others - {slot.port for slot in wrong}}
    if fault is _dropped:
        assert [(stray.recipient, stray.slot) for stray in proof.lost] == [("truck", 11)]
    text = "\n".join(for_people(proof))
    assert "NOT PROVED" in text
    assert all(f"!! {slot.port} {slot.number}: " in text for slot in wrong)
    assert "front-of-house: paper agrees with itself: 80 of 80; no cable tested" in text or fault is _reversed


@given(st.integers(0, 2**32))
def test_any_two_patches_that_are_swapped_are_found(seed: int) -> None:
    rng = random.Random(seed)
    size = rng.randint(2, 12)
    channels = tuple(Channel(id=f"c{at}", name=f"Channel {at}") for at in range(size))
    order = rng.sample(range(1, size + 1), size)
    good = ChannelMap(
        channels=channels,
        entries=tuple(Entry(f"c{at}", Slot("A", at + 1)) for at in range(size)),
        ports=(Port(id="A", device="A", kind="sockets", size=size), Port(id="desk", kind="desk", size=size)),
        patches=tuple(Patch(Slot("A", at + 1), Slot("desk", order[at])) for at in range(size)),
    )
    paper = formats.write(good, formats.named("csv"), "desk")
    one, two = rng.sample(range(size), 2)
    patches = list(good.patches)
    patches[one], patches[two] = (
        Patch(patches[two].source, patches[one].target),
        Patch(patches[one].source, patches[two].target),
    )
    arrived = carry(good.changed(patches=tuple(patches))).arrived
    reading = formats.read_data(paper, "paper.csv")
    says = {
        line.number: line.channel.id for line in reading.map.lines(reading.map.listed_port()) if line.channel
    }
    differing = {
        number for number, name in says.items() if arrived[Slot("desk", number or 0)][0].channel != name
    }
    assert differing == {patches[one].target.number, patches[two].target.number}


def test_edited_paper_is_found(show: Show, planned: Planned, printed: dict[str, bytes]) -> None:
    edited = dict(printed)
    edited["truck/sheet.txt"] = printed["truck/sheet.txt"].replace(b"Kick out ", b"Kick oat ", 1)
    edited["stream/sheet.csv"] = printed["stream/sheet.csv"].replace(b",A,12,", b",A,13,", 1)
    proof = prove_show(show.file, planned, edited.get)
    wrong = {(slot.recipient, slot.verdict): slot.why for slot in proof.slots if slot.verdict != AGREES}
    assert "'Kick oat'" in wrong["truck", "wrong channel"]
    assert "sheet.txt" in wrong["truck", "wrong channel"]
    assert "from A 13 and it arrives from A 12" in wrong["stream", "wrong socket"]
    assert len(wrong) == 2


def test_a_row_struck_from_the_paper_is_not_on_paper(
    show: Show, planned: Planned, printed: dict[str, bytes]
) -> None:
    lines = printed["recorder/sheet.csv"].split(b"\r\n")
    edited = printed | {"recorder/sheet.csv": b"\r\n".join(lines[:5] + lines[6:])}
    proof = prove_show(show.file, planned, edited.get)
    assert [(slot.recipient, slot.slot, slot.verdict) for slot in proof.slots if slot.verdict != AGREES] == [
        ("recorder", 5, "not on paper")
    ]
    assert not proof.holds


def test_a_hand_over_without_a_sheet_is_refused(
    show: Show, planned: Planned, printed: dict[str, bytes]
) -> None:
    short = {name: data for name, data in printed.items() if not name.startswith("truck/")}
    with pytest.raises(ReadError, match=r"no sheet of truck.*truck/sheet\.csv"):
        prove_show(show.file, planned, short.get)


def test_the_summary_has_the_proof(show: Show, planned: Planned) -> None:
    handed = hand_over(show, planned)
    summary = dict(handed.files)["summary.txt"].decode()
    assert handed.proof.holds
    assert summary.count("paper agrees with itself: 80 of 80; no cable tested") == 4
    assert "paper agrees with itself: 64 of 64; no cable tested" in summary


def a_map(**fields: object) -> ChannelMap:
    """Two channels on box A, patched onto a port that is made by the test."""
    whole = ChannelMap(
        rate_hz=48_000,
        channels=(Channel(id="ana", name="Ana"), Channel(id="bo", name="Bo")),
        entries=(Entry("ana", Slot("A", 1)), Entry("bo", Slot("A", 2))),
        ports=(Port(id="A", device="A", kind="sockets", size=2), Port(id="desk", kind="desk", size=4)),
        patches=(Patch(Slot("A", 1), Slot("desk", 1)), Patch(Slot("A", 2), Slot("desk", 2))),
    )
    return whole.changed(**fields)


def heard(whole: ChannelMap, port: str, number: int) -> list[tuple[str, int]]:
    return [tuple(item) for item in carry(whole).arrived.get(Slot(port, number), ())]  # type: ignore[misc]


@pytest.mark.parametrize(
    "text",
    ["64@48000", "56@44100", "28@96000", "32@96000", "28@96000 pairs", "16@192000", "56@32000 varispeed"],
)
def test_feeds_of_every_mode_and_conversions_carry_everything(text: str) -> None:
    mode = Mode.parse(text)
    feed = Port(id="feed", kind="feed", size=mode.slots, mode=mode, rate_hz=mode.rate_hz)
    desk = Port(id="desk", kind="desk", size=4, rate_hz=48_000)
    whole = a_map(
        ports=(Port(id="A", device="A", kind="sockets", size=2, rate_hz=96_000), feed, desk),
        patches=(
            Patch(Slot("A", 1), Slot("feed", 2)), Patch(Slot("A", 2), Slot("feed", mode.slots)),
            Patch(Slot("feed", 2), Slot("desk", 4)), Patch(Slot("feed", mode.slots), Slot("desk", 1)),
        ),
    )  # fmt: skip
    assert heard(whole, "desk", 4) == [("ana", 1)]
    assert heard(whole, "desk", 1) == [("bo", 1)]
    assert heard(whole, "desk", 2) == []
    carried = carry(whole)
    assert carried.problems == ()
    assert carried.labels[Slot("desk", 4)] == ("Ana", "ana")
    assert carried.labels[Slot("feed", mode.slots)] == ("Bo", "bo")


def test_listeners_merges_and_second_ways() -> None:
    to = Slot("desk", 3)
    listened = a_map(patches=(*a_map().patches, Patch(Slot("A", 1), to)))
    assert heard(listened, "desk", 3) == heard(listened, "desk", 1) == [("ana", 1)]
    merged = a_map(patches=(*a_map().patches, Patch(Slot("A", 1), to), Patch(Slot("A", 2), to)))
    assert heard(merged, "desk", 3) == [("ana", 1), ("bo", 1)]
    stage = Port(id="split", size=4)
    twice = a_map(
        ports=(*a_map().ports, stage),
        patches=(
            *a_map().patches,
            Patch(Slot("A", 1), Slot("split", 1)),
            Patch(Slot("split", 1), Slot("desk", 1)),
        ),
    )
    assert heard(twice, "desk", 1) == [("ana", 2)]


def test_slots_past_the_end_of_a_port_carry_nothing() -> None:
    whole = a_map(patches=(Patch(Slot("A", 1), Slot("desk", 5)), Patch(Slot("A", 3), Slot("desk", 1))))
    assert carry(whole).arrived.keys() == {Slot("A", 1), Slot("A", 2)}


def test_two_names_on_one_socket_each_have_their_slot() -> None:
    """Channels that share a socket enter at their own slots as well; see model.Entry."""
    whole = a_map(
        entries=(
            Entry("ana", Slot("A", 1)), Entry("bo", Slot("A", 1)),
            Entry("ana", Slot("desk", 1)), Entry("bo", Slot("desk", 2)),
        ),
        patches=(Patch(Slot("A", 1), Slot("desk", 1)), Patch(Slot("A", 1), Slot("desk", 2))),
    )  # fmt: skip
    assert heard(whole, "desk", 1) == [("ana", 1)]
    assert heard(whole, "desk", 2) == [("bo", 1)]
    assert prove_sheet(formats.read_data(formats.write(whole, formats.named("json")), "m.json")).holds


def test_a_loop_of_patches_is_told() -> None:
    ring = (Patch(Slot("desk", 3), Slot("desk", 4)), Patch(Slot("desk", 4), Slot("desk", 3)))
    whole = a_map(patches=(*a_map().patches, Patch(Slot("A", 1), Slot("desk", 3)), *ring))
    assert "loop" in carry(whole).problems[0]


def test_a_desk_that_sends_back_to_itself_is_no_loop() -> None:
    whole = a_map(
        patches=(
            *a_map().patches,
            Patch(Slot("desk", 1), Slot("desk", 3)),
            Patch(Slot("desk", 3), Slot("desk", 4)),
        )
    )
    assert carry(whole).problems == ()
    assert heard(whole, "desk", 4) == [("ana", 1)]


def test_more_channels_than_send_at_once() -> None:
    size = 700
    whole = ChannelMap(
        channels=tuple(Channel(id=f"c{at}", name=f"Channel {at}") for at in range(1, size + 1)),
        entries=tuple(Entry(f"c{at}", Slot("A", at)) for at in range(1, size + 1)),
        ports=(Port(id="A", device="A", kind="sockets", size=size), Port(id="desk", kind="desk", size=size)),
        patches=tuple(Patch(Slot("A", at), Slot("desk", size + 1 - at)) for at in range(1, size + 1)),
    )
    arrived = carry(whole).arrived
    assert all(arrived[Slot("desk", at)] == ((f"c{size + 1 - at}", 1),) for at in range(1, size + 1))


def test_a_map_beyond_every_show_is_refused() -> None:
    whole = ChannelMap(ports=(Port(id="desk", size=MOST + 1),))
    with pytest.raises(ReadError, match="4,097 channels or slots"):
        carry(whole)


def test_no_map_at_all() -> None:
    assert carry(ChannelMap()).arrived == {}
    with pytest.raises(ReadError, match="nothing to prove"):
        prove_sheet(formats.read_data(formats.write(ChannelMap(), formats.named("json")), "m.json"))
