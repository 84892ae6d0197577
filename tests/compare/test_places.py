"""Slots of one list, sockets of the other, boxes by two names."""

from __future__ import annotations

from chanbridge.compare.changes import compare
from tests.compare.lists import LIST, kinds, numbered, socketed


def test_slots_against_sockets_are_asked_about_not_alarms() -> None:
    slots, sockets = numbered(LIST[24:64], 25), socketed(LIST[24:64])
    for one, two in ((slots, sockets), (sockets, slots)):
        found = compare(one, two)
        assert found.changes == ()
        assert [question.kind for question in found.questions] == ["offset"]
        assert "socket n of box B on one list is slot n+24" in found.questions[0].message
    wiring = {("b", socket): socket + 24 for socket in range(1, 41)}
    assert compare(slots, sockets, wiring=wiring)[:3] == (40, (), ())
    assert compare(sockets, slots, wiring=wiring)[:3] == (40, (), ())
    wrong = socketed([*LIST[24:34], LIST[35], LIST[34], *LIST[36:64]])
    assert kinds(compare(slots, wrong, wiring=wiring)) == ["swap"]
    assert kinds(compare(slots, wrong)) == ["swap"]


def test_a_box_with_another_name_is_asked_about() -> None:
    found = compare(socketed(LIST[:16], "A"), socketed(LIST[:16], "Left "))
    assert found.changes == ()
    assert [question.kind for question in found.questions] == ["box"]
    assert compare(socketed(LIST[:16], "Box A "), socketed(LIST[:16], "A"))[1:3] == ((), ())


def test_only_multiples_of_eight_may_be_a_way_of_counting() -> None:
    asked = compare(numbered(LIST), numbered(LIST, 41))
    assert asked.changes == ()
    assert [question.kind for question in asked.questions] == ["offset"]
    for first in (3, 7):
        found = compare(numbered(LIST), numbered(LIST, first))
        assert kinds(found) == ["shift"]
        assert found.questions == ()
