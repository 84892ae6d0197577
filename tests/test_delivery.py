"""Small shows worked out by hand: who gets what, on which slot, and what is said of the rest."""

from __future__ import annotations

from pathlib import Path

import pytest

from chanbridge.assemble import Delivery, Planned, assemble
from chanbridge.errors import ShowError
from chanbridge.model import Slot
from chanbridge.show import load

BOX = '[[box]]\nid = "A"\nsheet = "a.csv"\ninputs = 8\nblock = "one"\n'
BLOCK = '[[block]]\nid = "one"\nslots = 8\n'
DESK = '[[recipient]]\nid = "desk"\ntakes = ["one"]\n'
EIGHT = "Socket,Name\n1,Kick\n2,Snare\n3,Hat\n4,Tom\n5,Bass\n6,Horn\n7,Ana\n8,Ben\n"


def planned(folder: Path, *tables: str, **sheets: str) -> Planned:
    """A show of these tables; `sheets`: name of a CSV file → its text."""
    for name, text in sheets.items():
        (folder / f"{name}.csv").write_text(text, "utf-8")
    (folder / "show.toml").write_text('title = "T"\nrate = 48000\n' + "".join(tables), "utf-8")
    return assemble(load(str(folder)))


def delivery(made: Planned, recipient: str) -> Delivery:
    return next(one for one in made.deliveries if one.recipient.id == recipient)


def slots(made: Planned, recipient: str) -> dict[str, tuple[int, ...]]:
    """Channel's name → its slots at a recipient."""
    names = {channel.id: channel.name for channel in made.map.channels}
    return {names[one]: places for one, places in delivery(made, recipient).delivered.items()}


def reasons(made: Planned, recipient: str) -> dict[str, str]:
    return {item.channel.name: item.reason for item in delivery(made, recipient).missing}


def test_what_one_feed_leaves_out_may_come_on_another(tmp_path: Path) -> None:
    made = planned(
        tmp_path, BOX, BLOCK,
        '[[feed]]\nid = "f"\nmode = "64@48000"\nblocks = ["one"]\nparts = { one = "1-3" }\n',
        '[[feed]]\nid = "g"\nmode = "64@48000"\nblocks = ["one"]\nparts = { one = "3-7" }\n',
        '[[recipient]]\nid = "truck"\ntakes = ["f", "g"]\n', a=EIGHT,
    )  # fmt: skip
    assert slots(made, "truck") == {
        "Kick": (1,), "Snare": (2,), "Hat": (3, 65), "Tom": (66,), "Bass": (67,), "Horn": (68,), "Ana": (69,)
    }  # fmt: skip
    assert reasons(made, "truck") == {"Ben": "slot 8 of one is not among those that go"}


def test_a_return_stands_on_the_first_input_that_is_free(tmp_path: Path) -> None:
    talk = '[[recipient]]\nid = "truck"\ntakes = ["one"]\n[[return]]\nid = "talk"\nfrom = "truck"\nto = ["desk"]\n'
    made = planned(tmp_path, BOX, BLOCK, DESK + "inputs = 16\n", talk, a=EIGHT)
    assert slots(made, "desk")["talk"] == (9,)
    assert made.map.port("desk").size == 16
    made = planned(tmp_path, BOX, BLOCK, DESK + "inputs = 9\n", talk, a=EIGHT)
    assert slots(made, "desk")["talk"] == (9,)
    with pytest.raises(ShowError, match=r"8 inputs and no room for it after slot 8.*it needs 1 slot"):
        planned(tmp_path, BOX, BLOCK, DESK + "inputs = 8\n", talk, a=EIGHT)
    made = planned(tmp_path, BOX, BLOCK, DESK, talk, a=EIGHT)
    assert slots(made, "desk")["talk"] == (9,)


def test_a_return_keeps_off_what_a_list_asks_for(tmp_path: Path) -> None:
    made = planned(
        tmp_path, BOX, BLOCK, DESK + 'wants = "w.csv"\n',
        '[[recipient]]\nid = "truck"\ntakes = ["one"]\n[[return]]\nid = "talk"\nfrom = "truck"\nto = ["desk"]\n',
        a=EIGHT, w="Slot,Name\n9,Ana\n2,Ben\n",
    )  # fmt: skip
    assert slots(made, "desk") == {"Ana": (9,), "Ben": (2,), "talk": (10,)}


def test_a_desk_asks_for_its_own_sockets_too(tmp_path: Path) -> None:
    made = planned(
        tmp_path, BOX, BLOCK, DESK + 'wants = "w.csv"\n',
        '[[box]]\nid = "L"\nsheet = "l.csv"\ninputs = 2\ndesk = "desk"\n',
        a=EIGHT, l="Socket,Name\n1,Host\n2,Music\n", w="Slot,Name\n1,Host\n2,Ana\n12,Kick\n",
    )  # fmt: skip
    assert slots(made, "desk") == {"Host": (1,), "Ana": (2,), "Kick": (12,)}
    assert made.map.port("desk").size == 12  # a slot that the list names is there
    assert reasons(made, "desk")["Music"] == "desk does not ask for it"


def test_what_a_list_says_twice_or_without_a_slot(tmp_path: Path) -> None:
    made = planned(
        tmp_path, BOX, BLOCK, DESK + 'wants = "w.csv"\n',
        a=EIGHT, w="Slot,Name\n1,Ana\n2,Ben\n4,Ana\n2,Kick\n,Bass\n6,Harp\n",
    )  # fmt: skip
    assert slots(made, "desk") == {"Ana": (1,), "Ben": (2,)}
    assert sorted(delivery(made, "desk").how) == [
        "'Ana' is on the list twice: slot 1 counts, not slot 4",
        "'Bass' has no slot on the list and is passed over",
        "slot 2 is on the list twice: it goes to 'Ben', not to 'Kick'",
    ]
    assert made.ungiven == {"desk": ("slot 6: Harp",)}  # and that alone the show does not have


def test_what_a_feed_cannot_put_where_the_list_asks(tmp_path: Path) -> None:
    made = planned(
        tmp_path, BOX, BLOCK,
        '[[feed]]\nid = "f"\nmode = "64@48000"\nblocks = ["one"]\nfix = { Ana = 1 }\n',
        '[[recipient]]\nid = "truck"\ntakes = ["f"]\nwants = "w.csv"\n',
        a=EIGHT, w="Slot,Name\n1,Ben\n2,Kick\n70,Hat\n",
    )  # fmt: skip
    at = slots(made, "truck")
    assert (at["Ana"], at["Kick"]) == ((1,), (2,))
    said = f"not where its list asks: Ben on {at['Ben'][0]} instead of 1, Hat on {at['Hat'][0]} instead of 70"
    assert said in delivery(made, "truck").how


def test_a_converters_blocks_keep_off_the_slot_of_a_return(tmp_path: Path) -> None:
    feed = '[[feed]]\nid = "f"\nmode = "14@192000"\nblocks = ["one"]\nconversion = "up"\ngrain = 4\n'
    truck = '[[recipient]]\nid = "truck"\ntakes = ["f"]\n'
    back = '[[return]]\nid = "talk"\nfrom = "desk"\nto = ["f 6"]\n'
    made = planned(tmp_path, BOX, BLOCK, DESK, feed, truck, back, a=EIGHT)
    at = slots(made, "truck")
    assert at["talk"] == (6,)
    assert {at[name] for name in ("Kick", "Snare", "Hat", "Tom")} == {(1,), (2,), (3,), (4,)}
    assert {at[name] for name in ("Bass", "Horn", "Ana", "Ben")} == {(9,), (10,), (11,), (12,)}
    with pytest.raises(
        ShowError, match=r"'Bass' fixed on slot 5; the converter .* of 4; a return stands on slot 6"
    ):
        planned(tmp_path, BOX, BLOCK, DESK, feed + "fix = { Bass = 5 }\n", truck, back, a=EIGHT)


def test_a_feed_that_is_full_but_for_a_return_says_why_there_is_no_room(tmp_path: Path) -> None:
    names = [f"Chair {at}" for at in range(1, 15)]
    made = planned(
        tmp_path, BOX.replace("8", "14"), BLOCK.replace("8", "14"), DESK,
        '[[feed]]\nid = "f"\nmode = "14@192000"\nblocks = ["one"]\nconversion = "up"\n',
        '[[recipient]]\nid = "truck"\ntakes = ["f"]\n[[return]]\nid = "talk"\nfrom = "desk"\nto = ["f 3"]\n',
        a="Socket,Name\n" + "".join(f"{at},{name}\n" for at, name in enumerate(names, 1)),
    )  # fmt: skip
    assert slots(made, "truck")["talk"] == (3,)
    assert reasons(made, "truck") == {
        "Chair 14": "no room beside pairs, returns and what else must hold: 14 channels for 14 slots"
    }
    assert "straight through would put a channel on the slot of a return" in delivery(made, "truck").how[0]


def test_those_that_find_no_place_of_their_own_keep_their_order(tmp_path: Path) -> None:
    rows = "".join(f"{at},Chair {at}\n" for at in range(1, 21))
    made = planned(
        tmp_path, BOX.replace("8", "20"), BLOCK.replace("8", "20"),
        '[[feed]]\nid = "f"\nmode = "14@192000"\nblocks = ["one"]\nconversion = "up"\nparts = { one = "1-4, 11-20" }\n'
        'keep = "keep.csv"\n[[recipient]]\nid = "truck"\ntakes = ["f"]\n',
        a="Socket,Name\n" + rows, keep="Slot,Name\n" + rows,
    )  # fmt: skip
    free = [slots(made, "truck")[f"Chair {at}"][0] for at in range(15, 21)]
    assert free == [5, 6, 7, 8, 9, 10]  # 11 to 14 stand where they were issued
    assert delivery(made, "truck").how[-1] == "f: not where it was issued: " + ", ".join(
        [
            "Chair 5 not carried instead of on 5",
            *(f"Chair {at} not carried instead of on {at}" for at in range(6, 11)),
        ]
        + [f"Chair {at} on {at - 10} instead of {at}" for at in range(15, 21)]
    )


def test_one_list_of_two_boxes_goes_on_counting(tmp_path: Path) -> None:
    second = (
        '[[box]]\nid = "B"\nsheet = "a.csv"\ninputs = 4\nblock = "two"\n[[block]]\nid = "two"\nslots = 8\n'
    )
    desk = '[[recipient]]\nid = "desk"\ntakes = ["one", "two"]\n'
    rows = "".join(f"{at},Chair {at}\n" for at in range(1, 14))
    made = planned(tmp_path, BOX, BLOCK, second, desk, a="Slot,Name\n" + rows)
    assert slots(made, "desk") == {f"Chair {at}": (at,) for at in range(1, 13)}
    assert made.map.occupant(Slot("B", 1)) == made.map.occupant(Slot("two", 1))
    assert [(channel.name, reason.partition(": ")[2]) for channel, reason in made.unplaced] == [
        ("Chair 13", "it names no box, and its sheet is that of A, B; write the box")
    ]


def test_a_row_without_a_box_on_a_sheet_of_two_boxes_is_not_guessed(tmp_path: Path) -> None:
    second = (
        '[[box]]\nid = "B"\nsheet = "a.csv"\ninputs = 4\nblock = "two"\n[[block]]\nid = "two"\nslots = 8\n'
    )
    desk = '[[recipient]]\nid = "desk"\ntakes = ["one", "two"]\n'
    made = planned(tmp_path, BOX, BLOCK, second, desk, a="Box,Socket,Name\nA,1,Kick\nB,1,Ana\n,2,Ben\n")
    assert slots(made, "desk") == {"Kick": (1,), "Ana": (9,)}
    assert [channel.name for channel, _ in made.unplaced] == ["Ben"]
    assert "it names no box, and its sheet is that of A, B" in made.unplaced[0][1]


def test_an_act_says_which_of_two_of_one_name_it_takes(tmp_path: Path) -> None:
    made = planned(
        tmp_path, BOX, BLOCK, DESK, '[[act]]\nid = "late"\nsockets = { "A 5" = "Choir" }\n',
        a="Socket,Name\n1,Choir\n2,Choir\n",
    )  # fmt: skip
    assert made.acts[0].problems == ("2 channels are called 'Choir'; the one with id a-choir comes to A 5",)
    same = planned(
        tmp_path, BOX, BLOCK, DESK, '[[act]]\nid = "late"\nsockets = { "A 2" = "Choir" }\n',
        a="Socket,Name\n1,Choir\n2,Choir\n",
    )  # fmt: skip
    assert same.acts[0].problems == ()  # it stands there already


@pytest.mark.parametrize(
    ("tables", "said"),
    [
        ('fix = { Anna = 1 }\n', "fix: there is no channel 'Anna'; did you mean 'Ana'?"),
        ('parts = { ones = "1" }\n', "parts: there is no 'ones'; did you mean 'one'?"),
        ('fix = { Ana = 60 }\n', "fix: 'Ana' cannot stand on 60: 'f' has 56 slots"),
    ],
)  # fmt: skip
def test_a_mistake_names_its_key_once(tmp_path: Path, tables: str, said: str) -> None:
    feed = '[[feed]]\nid = "f"\nmode = "56@48000"\nblocks = ["one"]\n'
    with pytest.raises(ShowError) as caught:
        planned(tmp_path, BOX, BLOCK, DESK, feed + tables, a=EIGHT)
    assert str(caught.value).endswith(f":{said}")


TWO_FEEDS = (
    BOX.replace('block = "one"\n', 'block = "one"\noutputs = 2\n')
    + '[[box]]\nid = "B"\nsheet = "b.csv"\ninputs = 8\noutputs = 2\nblock = "two"\n'
    + BLOCK
    + '[[block]]\nid = "two"\nslots = 8\n'
    + '[[feed]]\nid = "f"\nmode = "64@48000"\nblocks = ["one"]\n[[feed]]\nid = "g"\nmode = "64@48000"\nblocks = ["two"]\n'
    + '[[recipient]]\nid = "truck"\ntakes = ["f", "g"]\n[[recipient]]\nid = "van"\ntakes = ["f"]\n'
)


def test_a_return_goes_back_by_the_feed_of_its_block(tmp_path: Path) -> None:
    back = '[[return]]\nid = "ear"\nfrom = "truck"\nto = ["A 1", "B 2"]\n'
    made = planned(tmp_path, TWO_FEEDS, back, a=EIGHT, b="Socket,Name\n1,Harp\n")
    way = {
        box: [str(slot) for slot in made.map.trace(Slot(f"{box} out", number)).back]
        for box, number in (("A", 1), ("B", 2))
    }
    assert way == {
        "A": ["one back 1", "f back 1", "truck out 1"],
        "B": ["two back 2", "g back 1", "truck out 1"],
    }


def test_two_that_take_one_feed_do_not_send_on_one_slot_of_it(tmp_path: Path) -> None:
    ears = '[[return]]\nid = "ear"\nfrom = "truck"\nto = ["A 1"]\n[[return]]\nid = "van-ear"\nfrom = "van"\nto = ["A 2"]\n'
    sheets = {"a": EIGHT, "b": "Socket,Name\n1,Harp\n"}
    with pytest.raises(
        ShowError, match="'truck' sends on slot 1 of 'f' on the way back already; give 'van' another output"
    ):
        planned(tmp_path, TWO_FEEDS, ears, **sheets)
    made = planned(tmp_path, TWO_FEEDS, ears + "output = 2\n", **sheets)
    assert [channel.id for channel in made.map.occupants(Slot("A out", 2))] == ["van-ear"]
