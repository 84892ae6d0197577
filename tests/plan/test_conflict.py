"""What cannot hold together is explained by a smallest set."""

from __future__ import annotations

from itertools import combinations

from hypothesis import given
from hypothesis import strategies as st

from chanbridge.model import Channel, Slot
from chanbridge.plan.conflict import Demand, can_hold, explained, smallest
from chanbridge.plan.stands import Stand


def stand(number: int) -> Stand:
    return Stand(Channel(id=f"c{number}"), Slot("one", number), number)


USED = tuple(stand(number) for number in range(1, 9))


@st.composite
def demands(draw: st.DrawFn) -> list[Demand]:
    """Fixed places, pairs of neighbours, a converter's grain, spare room, slots on which returns stand."""
    fixed = draw(st.dictionaries(st.integers(1, 8), st.integers(0, 9), max_size=4))
    out = [
        Demand("fix", f"c{number} on {slot}", (f"c{number}",), slot) for number, slot in sorted(fixed.items())
    ]
    if draw(st.booleans()):
        out += [
            Demand("pair", f"pair {left}", (f"c{left}", f"c{left + 1}"))
            for left in draw(st.sets(st.sampled_from((1, 3, 5, 7))))
        ]
    elif draw(st.booleans()):
        out.append(Demand("grain", "grain 4", room=4))
    if draw(st.booleans()):
        out.append(Demand("spare", "spare", room=draw(st.integers(1, 9))))
    out += [
        Demand("return", f"return {slot}", slot=slot) for slot in draw(st.sets(st.integers(1, 6), max_size=2))
    ]
    return out


@given(asked=demands(), rooms=st.sampled_from([(8,), (4, 4), (6,), (2, 4)]))
def test_no_smaller_set_fails(asked: list[Demand], rooms: tuple[int, ...]) -> None:
    def holds(some: object) -> bool:
        return can_hold(list(some), USED, rooms)  # type: ignore[call-overload]

    core = smallest(asked, holds)
    failing = [
        some for count in range(len(asked) + 1) for some in combinations(asked, count) if not holds(some)
    ]
    assert bool(core) == bool(failing)
    if core:
        assert not holds(core)
        assert len(core) == min(map(len, failing))
        assert all(demand.text in explained(core) for demand in core)


@given(asked=demands(), rooms=st.sampled_from([(4,), (2, 2), (2, 4)]))
def test_what_can_hold_has_a_placing(asked: list[Demand], rooms: tuple[int, ...]) -> None:
    """Against every way to put the channels that are asked about onto slots."""
    asked = [demand for demand in asked if demand.kind in ("fix", "pair", "return")]
    held = frozenset(demand.slot for demand in asked if demand.kind == "return")
    bodies = [list(demand.channels) for demand in asked if demand.kind == "pair"]
    paired = {name for body in bodies for name in body}
    fixed = {demand.channels[0]: demand.slot for demand in asked if demand.kind == "fix"}
    bodies += [[name] for name in fixed if name not in paired]
    bodies = [body for body in bodies if {*body} & {*fixed}]
    firsts = [1 + sum(rooms[:at]) for at in range(len(rooms))]

    def possible(at: int, taken: frozenset[int]) -> bool:
        if at == len(bodies):
            return True
        body = bodies[at]
        for first, size in zip(firsts, rooms, strict=True):
            for start in range(first, first + size - len(body) + 1, len(body)):
                covered = {*range(start, start + len(body))}
                right = all(fixed.get(name, start + step) == start + step for step, name in enumerate(body))
                if right and not covered & taken and possible(at + 1, taken | covered):
                    return True
        return False

    assert can_hold(asked, USED, rooms) == possible(0, held)
