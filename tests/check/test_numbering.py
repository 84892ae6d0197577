"""Numbers, beside the rules' own examples."""

from __future__ import annotations

from pathlib import Path

import pytest

from chanbridge.check import check
from chanbridge.check.numbering import _agree
from chanbridge.check.rule import Facts
from chanbridge.compare.labels import Dictionary
from chanbridge.model import Channel, ChannelMap, Entry, Patch, Port, Slot
from chanbridge.names import vocabulary
from tests.check.examples import example, said


def test_a_doubled_socket_is_not_a_doubled_slot_downstream(tmp_path: Path) -> None:
    text = 'Socket,Name\n1,Kick\n1,Snare\n[[recipient]]\nid = "desk"\ntakes = ["one"]'
    assert said(example(text, tmp_path), "slot-twice", "socket-twice") == [
        ("socket-twice", "error", ("Kick", "Snare"))
    ]


@pytest.mark.parametrize(
    ("names", "severity"),
    [
        (("Ana", "Ana FX"), "note"), (("Ana FX", "Ana"), "note"), (("Ana", "Ana FX", "Ana dry"), "note"),
        (("Vox", "Vox 2"), "error"), (("Vox", "Voxel"), "error"), (("Keys", "Keys R"), "error"),
        (("Ana", "Ana"), "error"), (("Ana", "Ana FX", "Bob"), "error"), (("", "Ana"), "error"),
    ],
)  # fmt: skip
def test_a_socket_twice_is_meant_where_names_say_so(names: tuple[str, ...], severity: str) -> None:
    channels = tuple(Channel(id=f"c{at}", name=name) for at, name in enumerate(names))
    whole = ChannelMap(
        channels=channels, ports=(Port(id="A", device="A", kind="sockets"),),
        entries=tuple(Entry(channel.id, Slot("A", 1)) for channel in channels),
    )  # fmt: skip
    assert [item[:2] for item in said(Facts(whole), "socket-twice")] == [("socket-twice", severity)]


def test_two_writers_of_a_return_slot() -> None:
    ports = (
        Port(id="desk out", direction="out", kind="desk", size=2),
        Port(id="B out", direction="out", kind="outputs", size=2),
    )
    patches = (Patch(Slot("desk out", 1), Slot("B out", 1)), Patch(Slot("desk out", 2), Slot("B out", 1)))
    found = check(Facts(ChannelMap(ports=ports, patches=patches))).findings
    assert [item.rule for item in found] == ["slot-twice"]
    assert "has two writers, slot 1 of desk out and slot 2 of desk out" in found[0].message


def test_two_rows_for_one_slot_of_which_one_is_spare(tmp_path: Path) -> None:
    facts = example("Slot,Name,Socket\n1,Kick,A1\n1,spare,A2", tmp_path)
    assert said(facts) == [("slot-twice", "warning", ("Kick",))]


def test_past_the_end_of_a_port_in_a_map() -> None:
    whole = ChannelMap(
        channels=(Channel(id="a", name="Kick"),), ports=(Port(id="feed", kind="feed", size=56),),
        entries=(Entry("a", Slot("feed", 57)),),
    )  # fmt: skip
    assert said(Facts(whole)) == [("past-the-end", "error", ("Kick",))]


def test_past_the_end_of_what_a_recipient_has(tmp_path: Path) -> None:
    text = (
        "Socket,Name\n1,Kick\n== desk.csv\nSlot,Name,Socket\n1,Kick,A1\n9,Host,Local 3\n"
        '[[recipient]]\nid = "desk"\ntakes = ["one"]\ninputs = 8\nsheet = "desk.csv"\n'
        '[[device]]\nid = "desk"\nsockets = 2\n'
    )
    messages = [item.message for item in check(example(text, tmp_path), only=["past-the-end"]).findings]
    assert messages == [
        "'Host' stands on input 9 of desk, which has 8; move it",
        "'Host' is on local socket 3 of desk, which has 2; move it",
    ]


def test_a_channel_with_a_slot_of_its_own_beside_its_socket_is_a_label() -> None:
    ports = (Port(id="A", device="A", kind="sockets", size=2), Port(id="desk", kind="desk", size=2))
    channels = (Channel(id="harp", name="Harp"), Channel(id="cello", name="Cello"))
    whole = ChannelMap(
        channels=channels, ports=ports, patches=(Patch(Slot("A", 1), Slot("desk", 1)),),
        entries=(Entry("harp", Slot("A", 1)), Entry("cello", Slot("desk", 1))),
    )  # fmt: skip
    assert said(Facts(whole)) == [("label-mismatch", "warning", ("Cello", "Harp"))]


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("Harp", "Celtic harp", True), ("Kick in", "KICK IN", True), ("Overhead L", "OH left", True),
        ("Backing vocal 1", "BV Vox 1", True), ("Clarinet", "Clarinett", True), ("Kick", "BD", True),
        ("Tom 1", "Tom 2", False), ("Keys L", "Keys R", False), ("Lectern", "Cello", False),
        ("Choir alto L", "Choir tenor L", False), ("Vox 1", "Vox 11", False),
    ],
)  # fmt: skip
def test_what_counts_as_one_label(one: str, other: str, same: bool) -> None:
    words = Dictionary(vocabulary())
    assert _agree(one, other, words) == same
    assert _agree(other, one, words) == same


def test_one_word_for_another_all_along_is_no_mismatch(tmp_path: Path) -> None:
    def found(count: int) -> int:
        names = ["Ana", "Ben", "Cem", "Dora"][:count]
        stage = "".join(f"{at},RF {name}\n" for at, name in enumerate(names, 1))
        desk = "".join(f"{at},Kanal {name},A{at}\n" for at, name in enumerate(names, 1))
        text = (
            f"Socket,Name\n{stage}== desk.csv\nSlot,Name,Socket\n{desk}"
            '[[recipient]]\nid = "desk"\ntakes = ["one"]\nsheet = "desk.csv"\n'
        )
        return len(check(example(text, tmp_path), only=["label-mismatch"]).findings)

    assert found(4) == 0
    assert found(2) == 2, "two that happen to agree are no pattern"
