"""What a show takes, against examples worked out by hand, and against growing it one by one."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge.check.rule import CARE
from chanbridge.foresight.needs import Needs, Store, needs_mistakes, store_mistakes
from chanbridge.foresight.sized import Size, hears, mix_outputs, with_spares
from chanbridge.foresight.sizetext import size_lines
from chanbridge.foresight.sizing import size

STAGE = {"id": "stage", "inputs": 24, "outputs": 2, "distance_m": 50}
DESK = {"id": "desk", "inputs": 48, "watts": 500}
BOX32 = {"id": "box 32", "inputs": 32, "outputs": 16, "have": 1, "watts": 60, "weight_kg": 14, "price": 45}
BOX16 = {"id": "box 16", "inputs": 16, "outputs": 8, "have": 1, "watts": 35, "weight_kg": 8, "price": 25}
REEL75 = {"id": "reel 75", "medium": "twisted pair", "length_m": 75, "stranded_awg": 24, "have": 2}
LEAD30 = {"id": "lead 30", "medium": "twisted pair", "length_m": 30, "have": 2}


def needs(**more: Any) -> Needs:
    given_ = {
        "title": "T",
        "rate": 48000,
        "spare_percent": 20,
        "slack_percent": 10,
        "place": [STAGE],
        "listener": [DESK],
    }
    return Needs.model_validate(given_ | more)


def store(**tables: Any) -> Store:
    return Store.model_validate(tables)


def made(wanted: Needs, **tables: Any) -> Size:
    return size(wanted, store(**tables))


def room(found: Size, what: str) -> tuple[float, float, int | None]:
    return next((one.used, one.of, one.more) for one in found.rooms if one.what == what)


def test_spares_by_hand() -> None:
    """24 and 20 % of 24 = 4.8, so 5: 29. 10 and 20 % = 2: 12, and not 13 for a rounding error. No percentage: none."""
    assert with_spares(24, 20) == 29
    assert with_spares(10, 20) == 12
    assert with_spares(100, 7) == 107
    assert with_spares(24, None) == 24
    assert with_spares(0, 20) == 0


def test_one_box_by_hand() -> None:
    """29 in and 2 + 1 = 3 out: one box 32, or two boxes 16. The one box is there. 24 + 5 = 29 of 32: 25 + 5 = 30
    and 26 + 6 = 32 still fit, 27 + 6 = 33 does not: 2 more. 2 outputs: 13 + 3 = 16 fits, 14 + 3 = 17 not: 11 more."""
    found = made(needs(), box=[BOX32, BOX16])
    assert [(box.piece, box.used, box.block) for box in found.boxes] == [("box 32", 24, "block-1")]
    assert room(found, "inputs at stage") == (24, 32, 2)
    assert room(found, "outputs at stage") == (2, 16, 11)
    assert room(found, "inputs of desk") == (24, 48, 24)
    first = found.first_full()
    assert first
    assert first.what == "inputs at stage"  # 2/24 = 8 %, 24/24 = 100 %, 11/2 = 550 %


def test_own_before_hired_by_hand() -> None:
    """Two places of 29 in: with one box 32 and two boxes 16 nobody hires; with one of each, one box is hired."""
    both = needs(place=[STAGE, STAGE | {"id": "side"}])
    found = made(both, box=[BOX32, BOX16 | {"have": 2}])
    assert {one.piece.id: (one.number, one.hire) for one in found.bring} == {
        "box 32": (1, 0),
        "box 16": (2, 0),
    }
    found = made(both, box=[BOX32, BOX16])
    assert sum(one.hire for one in found.bring) == 1
    # two boxes 32, one hired, are fewer pieces than one box 32 and two boxes 16, one hired
    assert {one.piece.id: (one.number, one.hire) for one in found.bring} == {"box 32": (2, 1)}


def test_blocks_by_hand() -> None:
    """Two boxes of 16 at one place fit a block of 40 (32), three do not (48): the third has a block of its own."""
    wanted = needs(spare_percent=0, place=[STAGE | {"inputs": 40, "outputs": 0}])
    found = made(wanted, box=[BOX16 | {"have": 9}])
    assert [(box.block, box.first, box.first_output, box.used) for box in found.boxes] == [
        ("block-1", 1, 1, 16), ("block-1", 17, 9, 16), ("block-2", 1, 1, 8),
    ]  # fmt: skip


def test_without_a_kit_boxes_are_as_large_as_needed() -> None:
    """50 inputs and 20 % are 60: two boxes of 30 on two blocks of 40; 40 + 40 slots: 66 + 14 = 80, so 16 more."""
    found = made(needs(place=[STAGE | {"inputs": 50, "outputs": 0}]))
    assert [(box.piece, box.inputs, box.used) for box in found.boxes] == [("", 30, 30), ("", 30, 20)]
    assert room(found, "inputs at stage") == (50, 80, 16)
    assert not found.bring


def test_reels_by_hand() -> None:
    """50 m and 10 % are 55 m. Two leads of 30 m make 60 m; a stranded reel of 75 m counts 75/0.8 = 93.75 m of 100.
    One reel is one piece, so the reel it is. At 75 m and 10 % = 82.5 m: reel and lead are 105 m and count 123.75,
    three leads are 90 m and 90 of 100: three leads, one of them hired."""
    found = made(needs(), cable=[REEL75, LEAD30])
    run = found.runs[0]
    assert (run.length_m, run.counted_m, [piece.id for piece in run.pieces]) == (55, 93.75, ["reel 75"])
    found = made(needs(place=[STAGE | {"distance_m": 75}]), cable=[REEL75, LEAD30])
    run = found.runs[0]
    assert (run.length_m, run.counted_m, [piece.id for piece in run.pieces]) == (82.5, 90, ["lead 30"] * 3)
    assert {one.piece.id: (one.number, one.hire) for one in found.bring} == {"lead 30": (3, 1)}


def test_what_is_too_long_goes_on_fibre() -> None:
    """120 m and 10 % are 132 m, past the 100 m of twisted pair (structured cabling): fibre, 2000 m (AES10)."""
    found = made(needs(place=[STAGE | {"distance_m": 120}]))
    assert (found.runs[0].medium, found.runs[0].limit_m, found.wrong) == ("multimode fibre", 2000, ())
    found = made(needs(place=[STAGE | {"distance_m": 120}]), cable=[LEAD30 | {"have": 9}])
    assert found.wrong == ("block-1-run: no multimode fibre of the kit makes 132 m within its limit",)


def test_a_truck_by_hand() -> None:
    """70 channels on 64@48000 are two feeds with room for 128 - 70 = 58. 4 channels back need one more cable."""
    place = STAGE | {"inputs": 70}
    truck = {"mode": "64@48000", "distance_m": 40, "back": 4}
    found = made(needs(place=[place], truck=truck, spare_percent=0))
    assert (found.feeds, found.converters) == (2, 2)
    assert room(found, "channels to the truck (64@48000)") == (70, 128, 58)
    assert [(run.id, run.medium, run.length_m) for run in found.runs if "feed" in run.id] == [
        ("feed-1-run", "coax", 44), ("feed-2-run", "coax", 44), ("feed-1-back", "coax", 44),
    ]  # fmt: skip
    found = made(needs(place=[place], truck=truck), converter=[{"id": "double", "feeds": 2, "have": 1}])
    assert found.converters == 1


def test_a_truck_at_another_rate_asks_what_converts() -> None:
    """96 kHz: 28 channels with varispeed (AES10-2003, 5.1), so 24 channels are one feed."""
    found = made(needs(truck={"mode": "28@96000", "distance_m": 40}))
    assert found.feeds == 1
    assert any("conversion" in text for text in found.unsaid)
    found = made(needs(truck={"mode": "28@96000", "distance_m": 40, "conversion": "at its inputs"}))
    assert not any("conversion" in text for text in found.unsaid)


def test_switches_and_watts_by_hand() -> None:
    """One block with box, desk and four mixers: 6 ends. Class 3 is 15.4 W at the source (IEEE 802.3): 61.6 W.
    A switch of 8 ports with 60 W does not do, one of 10 with 70 W does: 4 ports and 8.4 W left."""
    mixers = {"id": "mixers", "kind": "mixers", "count": 4, "class": 3, "distance_m": 20}
    switches = [
        {"id": "8", "ports": 8, "budget_w": 60, "have": 3},
        {"id": "10", "ports": 10, "budget_w": 70, "have": 1},
    ]
    found = made(needs(listener=[DESK, mixers]), switch=switches)
    assert [(one.piece, one.ends) for one in found.switches] == [("10", 6)]
    assert found.watts == pytest.approx(61.6)
    assert room(found, "switch ports on block-1") == (6, 10, None)
    assert next(one.left for one in found.rooms if one.what.startswith("watts over")) == pytest.approx(8.4)
    found = made(needs(listener=[DESK, mixers]), switch=switches[:1])
    assert found.wrong == ("no switch of the kit has what block-1 needs: 6 ports and 61.6 W over cables",)


def test_two_ends_need_no_switch() -> None:
    assert made(needs()).switches == ()


def test_circuits_by_hand() -> None:
    """230 V x 16 A x 80 % = 2944 W a circuit. Boxes: 60 W, one circuit. Desk 3000 W: two circuits."""
    supply = {"volts": 230, "amps": 16, "load_percent": 80}
    found = made(needs(listener=[DESK | {"watts": 3000}], supply=supply), box=[BOX32])
    assert [(one.place, one.watts, one.circuits, one.unsaid) for one in found.circuits] == [
        ("stage", 60, 1, ()), ("desk", 3000, 2, ()),
    ]  # fmt: skip
    assert room(found, "watts of supply at desk") == (3000, 5888, None)
    found = made(needs())
    assert [(one.circuits, one.unsaid) for one in found.circuits] == [(None, ("box-1",)), (None, ())]


def test_mixes_take_outputs() -> None:
    """Four stereo mixes are 8 outputs, beside 2: 10, and 20 % of it: 12."""
    wanted = needs(mix=[{"from": "desk", "to": "stage", "count": 4, "stereo": True}])
    assert mix_outputs(wanted, wanted.place[0]) == 8
    found = made(wanted)
    assert found.boxes[0].outputs == 12


def test_a_desk_that_is_too_small_is_named() -> None:
    found = made(needs(listener=[DESK | {"inputs": 20}]))
    assert found.wrong == ("desk has 20 inputs, and 24 channels come",)


def test_what_is_not_said_is_asked_for_by_name() -> None:
    wanted = Needs.model_validate({
        "title": "T", "rate": 48000, "place": [{"id": "stage", "inputs": 4}],
        "listener": [{"id": "desk"}, {"id": "monitors"}],
    })  # fmt: skip
    said = "\n".join(made(wanted).unsaid)
    for word in ("spare_percent", "slack_percent", "stage, monitors", "inputs desk, monitors", "[supply]"):
        assert word in said


PLACES = st.lists(
    st.builds(
        lambda inputs, outputs: {"inputs": inputs, "outputs": outputs, "distance_m": 20},
        st.integers(1, 90), st.integers(0, 20),
    ), min_size=1, max_size=3,
)  # fmt: skip


@given(places=PLACES, percent=st.integers(0, 60), kit=st.booleans(), slots=st.sampled_from((16, 32, 40)))
def test_what_more_fits_is_found_by_adding_one_after_the_other(
    places: list[dict[str, Any]], percent: int, kit: bool, slots: int
) -> None:
    """The sockets chosen hold the needs with their spares and `more` besides, and not one more; no block overflows."""
    named = [place | {"id": f"place {at}"} for at, place in enumerate(places)]
    boxes = [
        {"id": "sixteen", "inputs": 16, "outputs": 8, "have": 2},
        {"id": "eight", "inputs": 8, "outputs": 8},
    ]
    found = made(
        needs(
            place=named, spare_percent=percent, block_slots=slots, truck={"mode": "56@48000", "distance_m": 1}
        ),
        **({"box": boxes} if kit else {}),
    )
    for one in found.rooms:
        if one.more is not None and one.what.startswith(("inputs at", "outputs at")):
            assert (
                with_spares(one.need + one.more, percent)
                <= one.of
                < with_spares(one.need + one.more + 1, percent)
            )
    channels = sum(place["inputs"] for place in places)
    assert sum(box.used for box in found.boxes) == channels
    assert found.feeds == math.ceil(channels / 56)
    for block in found.blocks:
        here = [box for box in found.boxes if box.block == block]
        assert len({box.place for box in here}) == 1
        taken = [slot for box in here for slot in range(box.first, box.first + box.inputs)]
        back = [slot for box in here for slot in range(box.first_output, box.first_output + box.outputs)]
        for slots_taken in (taken, back):
            assert len({*slots_taken}) == len(slots_taken)
            assert max(slots_taken, default=0) <= slots


def test_a_listener_with_one_port_hears_one_block() -> None:
    wanted = needs(listener=[DESK, {"id": "ears", "kind": "mixers", "ports": 1, "inputs": 40}])
    assert hears(wanted.listener[1], ("block-1", "block-2")) == ("block-1",)
    assert hears(wanted.listener[0], ("block-1", "block-2")) == ("block-1", "block-2")


def test_a_recorder_with_too_few_inputs_does_not_fit_and_a_mixer_may_have_fewer() -> None:
    """24 channels come and 16 inputs are there."""
    one = {"id": "other", "inputs": 16}
    assert made(needs(listener=[DESK, one | {"kind": "recorder"}])).wrong == (
        "other has 16 inputs, and 24 channels come",
    )
    assert made(needs(listener=[DESK, one | {"kind": "mixers"}])).wrong == ()


def test_what_a_listener_hears_only_if_it_switches_is_said() -> None:
    """24 channels on the stage's block and 10 on the choir's: the one port hears the first, 10 of 34 do not come."""
    choir = {"id": "choir", "inputs": 10, "distance_m": 20}
    found = made(needs(place=[STAGE, choir], listener=[DESK, {"id": "ears", "ports": 1}]))
    assert "ears: 1 port, hears block-1; 10 of 34 channels reach it only if it switches" in [
        *size_lines(found, CARE)
    ]


def test_a_run_past_what_is_sure_is_asked_about() -> None:
    """40 m and 10 % are 44 m of coax, under the 50 that are sure; 50 m and 10 % are 55, between 50 and 100."""
    for distance, asked in ((40, 0), (50, 1)):
        found = made(needs(truck={"mode": "64@48000", "distance_m": distance}))
        assert found.wrong == ()
        assert sum("feed-1-run: 50 to 100 m" in text for text in found.unsaid) == asked


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"place": [STAGE, STAGE]}, "is taken"),
        ({"place": [STAGE | {"inputs": 0}]}, "no place has any inputs"),
        ({"listener": [DESK | {"count": 2}]}, "there is one of it"),
        ({"listener": [DESK, {"id": "block-1"}]}, "call this listener something else"),
        ({"mix": [{"from": "dsk", "to": "stage"}]}, "did you mean 'desk'"),
        ({"mix": [{"from": "desk", "to": "stag"}]}, "did you mean 'stage'"),
        ({"truck": {"mode": "56@48000", "back": 57}}, "56 channels back"),
    ],
)
def test_mistakes_in_needs(more: dict[str, Any], words: str) -> None:
    assert words in next(iter(needs_mistakes(needs(**more))))[1]


@pytest.mark.parametrize(
    ("tables", "words"),
    [
        ({"box": [BOX16, BOX16]}, "there twice"),
        ({"box": [BOX32 | {"inputs": 48}]}, "a block has 40 slots, and this box 48 inputs"),
        ({"box": [{"id": "none", "inputs": 0}]}, "without sockets"),
    ],
)
def test_mistakes_in_a_kit(tables: dict[str, Any], words: str) -> None:
    assert words in next(iter(store_mistakes(store(**tables), 40)))[1]
    assert not [*store_mistakes(store(box=[BOX32, BOX16]), 40)]
