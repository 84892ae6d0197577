"""What a map answers, and what it refuses."""

from __future__ import annotations

import pickle

import pytest
from pydantic import ValidationError

from chanbridge.errors import Location, ReadError
from chanbridge.model import MOST_SLOTS, Channel, ChannelMap, Entry, Patch, Port, Reserved, Row, Slot, Trace

KICK = Channel(id="kick", name="Kick")
ANA = Channel(id="ana", name="Ana")


def small() -> ChannelMap:
    """Box A on a block, the block on a feed and on a desk: two listeners."""
    return ChannelMap(
        channels=(KICK, ANA),
        entries=(Entry("kick", Slot("A", 1)), Entry("ana", Slot("A", 3))),
        ports=(
            Port(id="A", device="A", kind="sockets", size=4),
            Port(id="block", size=4),
            Port(id="feed", kind="feed", size=3),
            Port(id="desk", kind="desk", size=4),
        ),
        patches=(
            *(Patch(Slot("A", n), Slot("block", n)) for n in range(1, 5)),
            Patch(Slot("block", 1), Slot("feed", 2)),
            Patch(Slot("block", 2), Slot("feed", 3)),
            *(Patch(Slot("block", n), Slot("desk", n)) for n in range(1, 5)),
        ),
        reserved=(Reserved(Slot("A", 2), "broken wire"),),
    )


def test_occupant_is_found_through_every_patch() -> None:
    whole = small()
    assert whole.occupant(Slot("feed", 2)) == KICK
    assert whole.occupant(Slot("desk", 3)) == ANA
    assert whole.occupant(Slot("feed", 3)) is None
    assert whole.occupant(Slot("feed", 99)) is None


def test_trace_goes_back_and_forward() -> None:
    whole = small()
    assert whole.trace(Slot("block", 1)) == Trace((Slot("A", 1),), (Slot("feed", 2), Slot("desk", 1)))
    assert whole.trace(Slot("A", 3)).forward == (Slot("block", 3), Slot("desk", 3))
    assert whole.trace(Slot("feed", 2)).back == (Slot("block", 1), Slot("A", 1))


def test_trace_ends_in_a_loop_of_patches() -> None:
    a, b = Slot("x", 1), Slot("x", 2)
    whole = ChannelMap(ports=(Port(id="x"),), patches=(Patch(a, b), Patch(b, a)))
    assert whole.trace(a) == Trace((b,), (b,))


def test_sheet_shows_every_slot_with_where_it_comes_from() -> None:
    assert small().sheet("feed") == (
        Row(1, None, None, ""),
        Row(2, KICK, Slot("A", 1), ""),
        Row(3, None, Slot("A", 2), "broken wire"),
    )


def test_contradictions_are_held() -> None:
    whole = small().changed(
        patches=(*small().patches, Patch(Slot("A", 3), Slot("feed", 2)), Patch(Slot("A", 1), Slot("feed", 9)))
    )
    assert {channel.id for channel in whole.occupants(Slot("feed", 2))} == {"kick", "ana"}
    assert [row.number for row in whole.sheet("feed")] == [1, 2, 2, 3, 9]


def test_two_channels_of_one_socket_are_told_apart_by_their_slots() -> None:
    """Common practice: one microphone on two desk channels, `Ana` and `Ana FX`."""
    socket = Slot("A", 3)
    whole = small().changed(
        channels=(KICK, ANA, Channel(id="ana-fx", name="Ana FX")),
        entries=(
            Entry("ana", socket), Entry("ana-fx", socket), Entry("ana", Slot("block", 3)), Entry("ana-fx", Slot("block", 4)),
        ),
        patches=(Patch(socket, Slot("block", 3)), Patch(socket, Slot("block", 4)), Patch(Slot("block", 4), Slot("feed", 1))),
    )  # fmt: skip
    assert [row.channel.id for row in whole.sheet("block") if row.channel] == ["ana", "ana-fx"]
    assert whole.sheet("feed")[0] == Row(1, Channel(id="ana-fx", name="Ana FX"), socket, "")
    assert len(whole.occupants(socket)) == 2


def test_lines_leave_no_channel_out() -> None:
    lines = small().lines("feed")
    assert [(line.number, line.channel.id if line.channel else None, line.box, line.socket) for line in lines] == [
        (1, None, "", None), (2, "kick", "A", 1), (3, None, "A", 2), (None, "ana", "A", 3),
    ]  # fmt: skip


def test_listed_port_is_the_one_end() -> None:
    assert small().listed_port() == "feed"  # a feed before a desk
    two = small().changed(ports=(*small().ports, Port(id="feed-2", kind="feed")))
    assert two.listed_port() is None


@pytest.mark.parametrize(
    "fields",
    [
        {"patches": [(("A", 1), ("nowhere", 1))], "ports": [{"id": "A"}]},
        {"patches": [(("A", 0), ("A", 1))], "ports": [{"id": "A"}]},
        {"entries": [("kick", ("A", 1))], "ports": [{"id": "A"}]},
        {"entries": [("kick", ("A", 1))], "channels": [{"id": "kick"}]},
        {"reserved": [(("A", 1), "x")]},
        {"channels": [{"id": "kick"}, {"id": "kick"}]},
        {"ports": [{"id": "A"}, {"id": "A"}]},
        {"channels": [{"id": ""}]},
        {"channels": [{"id": "kick", "colour": "red"}]},
        {"channels": [{"id": "kick", "gain_db": "nan"}]},
        {"ports": [{"id": "A", "mode": "64@96000"}]},
    ],
)
def test_meaningless_maps_are_refused(fields: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        ChannelMap.model_validate(fields)


@pytest.mark.parametrize("number", [0, -1, MOST_SLOTS + 1])
@pytest.mark.parametrize("what", ["entries", "patches", "reserved"])
def test_slot_numbers_are_bounded_for_tuples_made_in_python_too(what: str, number: int) -> None:
    odd = Slot("A", number)
    fields = {
        "entries": (Entry("kick", odd),),
        "patches": (Patch(Slot("A", 1), odd),),
        "reserved": (Reserved(odd, "x"),),
    }
    with pytest.raises(ValidationError, match="slots count from 1"):
        small().changed(**{what: fields[what]})


def test_maps_are_frozen_and_hashable() -> None:
    with pytest.raises(ValidationError):
        KICK.name = "Snare"  # type: ignore[misc]
    assert hash(KICK) == hash(Channel(id="kick", name="Kick"))
    whole = small()
    whole.occupant(Slot("feed", 1))  # fills the index, which is no part of equality
    assert whole == small()


def test_errors_can_be_pickled() -> None:
    error = ReadError("no", Location("a.csv", "", 3, "Ch"))
    assert str(pickle.loads(pickle.dumps(error))) == str(error) == "a.csv:3:Ch: no"
