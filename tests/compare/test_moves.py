"""What stands elsewhere: one finding a cause."""

from __future__ import annotations

from chanbridge.compare.changes import compare
from chanbridge.model import ChannelMap
from tests.compare.lists import LIST, kinds, numbered, sheet


def test_shift_by_two_from_row_41() -> None:
    rows = "".join(f"{number + 2 * (number >= 41)},{name}\n" for number, name in enumerate(LIST, 1))
    found = compare(numbered(LIST), sheet("Ch,Name\n" + rows))
    assert kinds(found) == ["shift"]
    assert found.changes[0].offset == 2
    assert len(found.changes[0].rows) == 24
    assert found.same == 40
    assert "slots 41 to 64 are 2 higher" in found.changes[0].message


def test_a_shift_says_what_it_begins_with() -> None:
    without = numbered([*LIST[:19], *LIST[20:]])
    found = compare(numbered(LIST), without)
    assert kinds(found) == ["missing", "shift"]
    assert "after 'Chair 8', which is missing" in found.changes[1].message
    back = compare(without, numbered(LIST))
    assert kinds(back) == ["shift", "extra"]
    assert "where 'Chair 8' was put in" in back.changes[0].message
    boxed = "Ch,Box,Socket,Name\n" + "".join(
        f"{n},{'AB'[n > 40]},{n - 40 * (n > 40)},Src {n}x\n" for n in range(1, 65)
    )
    moved = "Ch,Box,Socket,Name\n" + "".join(
        f"{n + 2 * (n > 40)},{'AB'[n > 40]},{n - 40 * (n > 40)},Src {n}x\n" for n in range(1, 65)
    )
    assert "starting where box B begins" in compare(sheet(boxed), sheet(moved)).changes[0].message


def test_neighbours_swapped_are_one_swap() -> None:
    names = [*LIST[:4], LIST[5], LIST[4], *LIST[6:]]
    found = compare(numbered(LIST), numbered(names))
    assert kinds(found) == ["swap"]
    assert found.changes[0].channels == ("Hi-hat", "Tom high")
    assert found.same == 62


def test_moved_rows_close_up() -> None:
    names = [*LIST[:10], *LIST[11:13], LIST[10], *LIST[13:]]
    found = compare(numbered(LIST), numbered(names))
    assert kinds(found) == ["moved"]
    assert found.changes[0].channels == ("Bass",)
    assert "'Mandolin' and 'Chair 1' closed up" in found.changes[0].message


def test_another_order_is_one_finding() -> None:
    order = [LIST[(17 * at) % 64] for at in range(64)]
    found = compare(numbered(LIST), numbered(order))
    assert kinds(found) == ["moved"]
    assert "another number" in found.changes[0].message


def placed(move: dict[str, tuple[int, int]] | None = None, shift: bool = False) -> ChannelMap:
    """The list on box A; everything from slot 41 on two further where it is shifted, some channels elsewhere."""
    rows = []
    for number, name in enumerate(LIST, 1):
        slot, socket = (move or {}).get(name, (number + 2 * (shift and number > 40), number))
        rows.append(f"{slot},{name},A,{socket}\n")
    return sheet("Ch,Name,Box,Socket\n" + "".join(rows))


def test_another_socket_in_the_middle_of_a_shift_is_told_too() -> None:
    found = compare(placed(), placed({LIST[49]: (52, 70)}, shift=True))
    assert kinds(found) == ["shift", "resourced"]
    assert LIST[49] in found.changes[0].channels
    assert found.changes[1].channels == (LIST[49],)


def test_two_that_went_with_their_sockets_are_one_swap() -> None:
    found = compare(placed(), placed({LIST[49]: (53, 51), LIST[50]: (52, 50)}, shift=True))
    assert kinds(found) == ["shift", "swap"]
    assert found.changes[1].channels == (LIST[49], LIST[50])
    names = compare(placed(), placed({LIST[9]: (11, 10), LIST[10]: (10, 11)}))
    assert kinds(names) == ["swap"]
    both = compare(placed(), placed({LIST[9]: (11, 11), LIST[10]: (10, 10)}))
    assert kinds(both) == ["swap"]


def test_sockets_that_went_to_another_box_are_named_there() -> None:
    """The boxes stand on both lists, so neither is the other under a new name."""
    rows = [("Kick", "A", 1), ("Snare", "A", 2), *((f"Chair {n}", "A", n + 2) for n in range(1, 5))]
    moved = [("Kick", "A", 1), ("Snare", "B", 1), *((f"Chair {n}", "B", n + 3) for n in range(1, 5))]
    one, two = (
        sheet("Ch,Name,Box,Socket\n" + "".join(f"{at},{name},{box},{number}\n" for at, (name, box, number) in enumerate(each, 1)))
        for each in ([*rows, ("Bell", "B", 9)], [*moved, ("Bell", "B", 9)])
    )  # fmt: skip
    shift = next(change for change in compare(one, two).changes if change.kind == "shift")
    assert "sockets A3 to A6 are B4 to B7 on the other list" in shift.message


def test_a_socket_swap_within_a_shift_of_slots_is_not_half_hidden_by_it() -> None:
    """Chair 6 moved one slot and one socket down, as if its socket had gone along; the other sockets stayed."""
    names = [f"Chair {number}" for number in range(1, 9)]
    one = "Ch,Name,Socket\n" + "".join(f"{at},{name},A{at}\n" for at, name in enumerate(names, 1))
    sockets = [1, 2, 4, 6, 5, 7, 8]
    left = [*names[:2], *names[3:]]
    two = "Ch,Name,Socket\n" + "".join(
        f"{at},{name},A{socket}\n" for at, (name, socket) in enumerate(zip(left, sockets, strict=True), 1)
    )
    found = compare(sheet(one), sheet(two))
    assert kinds(found) == ["missing", "shift", "swap"]
    assert found.changes[2].channels == ("Chair 5", "Chair 6")
    assert "socket A5 and socket A6" in found.changes[2].message
