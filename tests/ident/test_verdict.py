"""What is said of faults that are planted in what was heard, and nothing else."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pytest

from chanbridge.ident.detect import Also, Heard
from chanbridge.ident.look import Visit
from chanbridge.ident.places import coded, places
from chanbridge.ident.verdict import Judge, Plan, Verdict
from chanbridge.ident.walk import steps
from chanbridge.model import Channel, ChannelMap, Entry, Pair, Patch, Port, Slot

SIZE = 24
SPARE = (5, 11)
"""Slots for which nothing is planned, from 1."""


def plan_map() -> ChannelMap:
    numbers = [n for n in range(1, SIZE + 1) if n not in SPARE]
    sides = {7: Pair(partner="c8", side="left"), 8: Pair(partner="c7", side="right")}
    return ChannelMap(
        channels=tuple(
            Channel(
                id=f"c{n}", name=f"Chair {n}", pair=sides.get(n), polarity="reversed" if n == 3 else "unknown"
            )
            for n in numbers
        ),
        ports=(Port(id="A", device="A", kind="sockets", size=SIZE), Port(id="slots", size=SIZE)),
        entries=tuple(Entry(f"c{n}", Slot("A", n)) for n in numbers),
        patches=tuple(Patch(Slot("A", n), Slot("slots", n)) for n in range(1, SIZE + 1)),
    )


MAP = plan_map()
CODED = coded(MAP, None)
PLAN = Plan(places(MAP, None), CODED)
SILENT = Heard("silent", -90.0)


def ident(number: int, gain: float = -10.0, *, reversed_: bool = False, also: Sequence[Also] = ()) -> Heard:
    return Heard(
        "ident", gain - 20, False, CODED.codes[Slot("A", number)], 1.0, gain, reversed_, 0.0, 0.0, tuple(also)
    )  # fmt: skip


def heard() -> list[Heard]:
    return [SILENT if n in SPARE else ident(n) for n in range(1, SIZE + 1)]


def judged(change: Callable[[list[Heard]], object]) -> Verdict:
    inputs = heard()
    change(inputs)
    return Judge(inputs, PLAN).verdict()


def kinds(found: Verdict) -> list[tuple[str, tuple[str, ...], tuple[int, ...]]]:
    return [(each.kind, each.channels, each.inputs) for each in found.findings]


def put(at: int, what: Heard) -> Callable[[list[Heard]], object]:
    return lambda inputs: inputs.__setitem__(at - 1, what)


def several(*changes: Callable[[list[Heard]], object]) -> Callable[[list[Heard]], object]:
    return lambda inputs: [change(inputs) for change in changes]


def names(*numbers: int) -> tuple[str, ...]:
    return tuple(f"Chair {n}" for n in numbers)


def code(number: int) -> int:
    return CODED.codes[Slot("A", number)]


def shifted(inputs: list[Heard]) -> None:
    """Everything from input 13 on comes two later; the last two fall off."""
    inputs[12:] = [SILENT, SILENT, *inputs[12:-2]]


CASES = {
    "nothing": (lambda inputs: None, []),
    "dead": (put(4, SILENT), [("missing", names(4), (4,))]),
    "music instead": (put(4, Heard("other", -30.0)), [("missing", names(4), (4,))]),
    "swap": (several(put(1, ident(2)), put(2, ident(1))), [("swap", names(1, 2), (1, 2))]),
    "swap far apart": (several(put(1, ident(20)), put(20, ident(1))), [("swap", names(1, 20), (1, 20))]),
    "pair": (several(put(7, ident(8)), put(8, ident(7))), [("pair", names(7, 8), (7, 8))]),
    "moved to a spare": (several(put(6, SILENT), put(5, ident(6))), [("moved", names(6), (5,))]),
    "doubled": (put(11, ident(2)), [("doubled", names(2), (11,))]),
    "doubled over another": (put(9, ident(2)), [("doubled", names(2), (9,)), ("missing", names(9), (9,))]),
    "summed": (put(1, ident(1, also=[Also(code(9), -13.0)])), [("doubled", names(1, 9), (1,))]),
    "summed from a dead input": (
        several(put(9, SILENT), put(1, ident(1, also=[Also(code(9), -13.0)]))),
        [("doubled", names(1, 9), (1,))],
    ),
    "crosstalk": (put(1, ident(1, also=[Also(code(2), -50.0)])), [("crosstalk", names(2, 1), (1,))]),
    "faint crosstalk": (put(1, ident(1, also=[Also(code(2), -65.0)])), []),
    "polarity": (put(9, ident(9, reversed_=True)), [("polarity", names(9), (9,))]),
    "polarity as planned": (put(3, ident(3, reversed_=True)), []),
    "stranger": (put(11, Heard("stranger", -20.0, False, 1234, 1.0)), [("extra", (), (11,))]),
    "shift": (shifted, [("shift", names(*range(13, 23)), tuple(range(15, 25)))]),
    "cut off": (
        several(*(put(n, SILENT) for n in range(17, 25))),
        [("cut-off", names(*range(17, 25)), tuple(range(17, 25)))],
    ),
    "block missing": (
        several(*(put(n, SILENT) for n in range(1, 9))),
        [("block-missing", names(1, 2, 3, 4, 6, 7, 8), (1, 2, 3, 4, 6, 7, 8))],
    ),
    "three at once": (
        several(put(1, ident(2)), put(2, ident(1)), put(14, SILENT), put(20, ident(20, reversed_=True))),
        [("swap", names(1, 2), (1, 2)), ("missing", names(14), (14,)), ("polarity", names(20), (20,))],
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_exactly_what_was_planted_is_found(case: str) -> None:
    change, wanted = CASES[case]
    found = judged(change)
    assert kinds(found) == wanted, found
    assert found.questions == ()
    assert found.not_judged == ()
    assert all(each.message and "\n" not in each.message for each in found.findings)


def test_a_shift_says_what_falls_off() -> None:
    (found,) = judged(shifted).findings
    assert "2 inputs later" in found.message
    assert "'Chair 23', 'Chair 24'" in found.message


def test_all_inputs_reversed_is_one_finding() -> None:
    def change(inputs: list[Heard]) -> None:
        inputs[:] = [each if each.code is None else each._replace(reversed=True) for each in inputs]

    (found,) = judged(change).findings
    assert (found.kind, len(found.inputs)) == ("polarity", SIZE - len(SPARE))


def test_a_doubtful_input_is_a_question_and_nothing_else() -> None:
    found = judged(put(4, Heard("unsure", -70.0, False, code(9), 0.7, -50.0)))
    assert found.findings == ()
    assert [each.inputs for each in found.questions] == [(4,)]
    assert "may carry 'Chair 9'" in found.questions[0].message


def test_what_was_not_recorded_is_not_judged() -> None:
    found = Judge(heard()[:20], PLAN).verdict()
    assert found.findings == ()
    assert found.not_judged == names(21, 22, 23, 24)


def test_a_walk_in_order_and_with_faults() -> None:
    order = [code(n) for n in range(1, SIZE + 1) if n not in SPARE]

    def walked(*inputs: int) -> list[tuple[str, tuple[int, ...]]]:
        visits = [Visit(number - 1, 5.0 * at, 5.0 * at + 4) for at, number in enumerate(inputs)]
        taken, findings = steps(visits, PLAN, order)
        assert [step.visit for step in taken] == visits
        return [(each.kind, each.inputs) for each in findings]

    assert walked(1, 2, 3, 4, 6, 7) == []
    assert walked(1, 2, 4, 6) == [("missing", (3,))]
    assert walked(1, 2, 4, 3, 6) == [("moved", (4,))]  # one visit too early
    assert walked(1, 2, 5, 4, 6) == [("moved", (5,))]  # on a spare instead of input 3
    assert walked(1, 2, 2, 3) == [("extra", (2,))]
    assert walked() == []
