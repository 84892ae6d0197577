"""Where channels stand, in coordinates that both lists share: slots, boxes and sockets."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Literal, NamedTuple

from chanbridge.compare.wording import shown
from chanbridge.model import Channel, ChannelMap, Line
from chanbridge.names import counted, fold

if TYPE_CHECKING:
    from chanbridge.system import ShowFile  # a model is slow to import

Wiring = Mapping[tuple[str, int], int]
"""Box (as `box_key` gives it) and socket → the slot of the show, counted over all its blocks."""

FEWEST = 3
"""So many channels make a pattern; two that happen to agree do not."""

UNIT = 8
"""Boxes and blocks come in multiples of eight, so only such an offset may be a way of counting. Common practice."""

CONFORMING = 0.8
"""Share of a box's channels that must have one offset before it is proposed."""


_LAST_LETTER = re.compile(r"(?<=[\W\d_])[^\W\d_]$")


class Item(NamedTuple):
    """A channel on a list. `slot`, `box` and `socket` are the line's, in coordinates that both lists share."""

    channel: Channel
    line: Line
    slot: int | None
    box: str
    socket: int | None

    @property
    def label(self) -> str:
        """The name, a last letter that is a side there as L or R: `OH G` and `OH D` of a French pair are `OH L`, `OH R`."""
        letter = {"left": "L", "right": "R"}.get(self.channel.pair.side) if self.channel.pair else None
        return _LAST_LETTER.sub(letter, self.channel.name) if letter else self.channel.name


class Said(NamedTuple):
    """What both lists give: slots, sockets, and names of boxes with them."""

    slots: bool
    sockets: bool
    boxes: bool


class Question(NamedTuple):
    """What a person must say. `score`: how sure it is, from 0 to 1, of a doubtful match."""

    kind: Literal["match", "offset", "box"]
    channels: tuple[str, ...]
    reference: Line | None
    other: Line | None
    score: float | None
    message: str


def box_key(name: str) -> str:
    """A box's name as it is compared: `Stage box A`, `box a` and `A` are one."""
    return re.sub(r"^(?:stage ?)?box (?=\S)", "", fold(name))


def wiring_of(file: ShowFile) -> dict[tuple[str, int], int]:
    """Each socket of a show's boxes with its slot, counted over all blocks in the order in which they are declared."""
    before, total = {}, 0
    for block in file.block:
        before[block.id] = total
        total += block.slots
    return {
        (box_key(box.id), socket): before[box.block] + box.first + socket - 1
        for box in file.box
        if box.block in before
        for socket in range(1, box.inputs + 1)
    }


def items(whole: ChannelMap, wiring: Wiring) -> tuple[list[Item], list[Line]]:
    """The channels of a list in its order, and its spares; a list of slots alone is put on sockets by the show."""
    lines = whole.lines(whole.listed_port())
    back = {slot: place for place, slot in wiring.items()}
    numbered = any(line.number for line in lines if line.channel)
    socketed = any(line.socket for line in lines if line.channel)
    out = []
    for line in lines:
        if not line.channel:
            continue
        slot, box, socket = line.number, box_key(line.box), line.socket
        if wiring and not numbered and socket:
            slot = wiring.get((box, socket)) if box else socket
        if wiring and slot and not box and not (numbered and socketed):
            box, socket = back.get(slot, (box, socket))
        out.append(Item(line.channel, line, slot, box, socket))
    return out, [line for line in lines if not line.channel]


def said(reference: Sequence[Item], other: Sequence[Item]) -> Said:
    """What both lists give."""
    return Said(
        all(any(item.slot for item in each) for each in (reference, other)),
        all(any(item.socket for item in each) for each in (reference, other)),
        all(any(item.box for item in each) for each in (reference, other)),
    )


class Settled(NamedTuple):
    """Both lists in the same coordinates, and what had to be assumed for that."""

    reference: list[Item]
    other: list[Item]
    questions: list[Question]


Pairs = list[tuple[Item, Item]]


def settle(reference: Sequence[Item], other: Sequence[Item], pairs: Mapping[int, int]) -> Settled:
    """Propose a constant offset, or another name, for a whole box instead of calling every one of its rows moved.

    `pairs`: index in the reference → index in the other list, of channels that are surely the same.
    """
    common = said(reference, other)
    mine, theirs = list(reference), list(other)
    if not common.slots and not common.sockets:
        return _slots_and_sockets(mine, theirs, pairs)
    questions: list[Question] = []
    if common.sockets:
        theirs = _boxes(mine, theirs, pairs, questions)
        for box, group in _grouped(mine, theirs, pairs, lambda a, b: a.box if a.box == b.box else None):
            offset = _constant((b.socket, a.socket) for a, b in group)
            if offset and offset % UNIT == 0:
                where = f"of box {shown(group[0][0].line.box)} " if box else ""
                questions.append(
                    _asked(group, f"socket n {where}is socket n{_plus(offset)} on the other list")
                )
                theirs = [
                    item._replace(socket=item.socket - offset) if item.box == box and item.socket else item
                    for item in theirs
                ]
    if common.slots:
        for box, group in _grouped(mine, theirs, pairs, lambda a, b: a.box if a.box == b.box else None):
            offset = _constant((b.slot, a.slot) for a, b in group)
            if offset and offset % UNIT == 0:
                where = f" (all of box {shown(group[0][0].line.box)})" if box else ""
                questions.append(_asked(group, f"slot n is slot n{_plus(offset)} on the other list{where}"))
                theirs = [
                    item._replace(slot=item.slot - offset) if item.box == box and item.slot else item
                    for item in theirs
                ]
    return Settled(mine, theirs, questions)


def _slots_and_sockets(mine: list[Item], theirs: list[Item], pairs: Mapping[int, int]) -> Settled:
    """One list numbers a block's slots, the other a box's sockets: give the latter slots where an offset is constant."""
    questions: list[Question] = []
    here = any(item.socket for item in mine)  # the reference is the list of sockets
    for box, group in _grouped(mine, theirs, pairs, lambda a, b: (a if here else b).box):
        offset = _constant((b.slot, a.socket) if here else (a.slot, b.socket) for a, b in group)
        if offset is None:
            continue
        name = (group[0][0] if here else group[0][1]).line.box
        of_box = f"of box {shown(name)} " if name else ""
        questions.append(_asked(group, f"socket n {of_box}on one list is slot n{_plus(offset)} on the other"))
        moved = [
            item._replace(slot=item.socket + offset) if item.box == box and item.socket else item
            for item in (mine if here else theirs)
        ]
        mine, theirs = (moved, theirs) if here else (mine, moved)
    return Settled(mine, theirs, questions)


def _boxes(
    mine: list[Item], theirs: list[Item], pairs: Mapping[int, int], questions: list[Question]
) -> list[Item]:
    """The other list with boxes called as the reference calls them, where only the name differs."""
    here, there = ({item.box for item in each} for each in (mine, theirs))

    def renamed(a: Item, b: Item) -> str | None:
        return b.box if a.box and b.box and b.box not in here and a.box not in there else None

    for box, group in _grouped(mine, theirs, pairs, renamed):
        offset = _constant((b.socket, a.socket) for a, b in group)
        names = {a.box for a, _ in group}
        if offset is None or len(names) > 1:
            continue
        one, two = group[0]
        more = f", with socket n as socket n{_plus(offset)}" if offset else ""
        what = f"box {shown(one.line.box)} is called {shown(two.line.box)} on the other list{more}"
        questions.append(_asked(group, what)._replace(kind="box"))
        theirs = [
            item._replace(box=one.box, socket=item.socket and item.socket - offset)
            if item.box == box
            else item
            for item in theirs
        ]
    return theirs


def _grouped(
    mine: Sequence[Item],
    theirs: Sequence[Item],
    pairs: Mapping[int, int],
    key: Callable[[Item, Item], str | None],
) -> list[tuple[str, Pairs]]:
    groups: dict[str, Pairs] = {}
    for at, there in pairs.items():
        name = key(mine[at], theirs[there])
        if name is not None:
            groups.setdefault(name, []).append((mine[at], theirs[there]))
    return list(groups.items())


def _constant(numbers: Iterable[tuple[int | None, int | None]]) -> int | None:
    """The difference that nearly all of these pairs of numbers have, or None."""
    apart = [one - other for one, other in numbers if one and other]
    if len(apart) < FEWEST:
        return None
    offset, times = Counter(apart).most_common(1)[0]
    return offset if times >= CONFORMING * len(apart) else None


def _asked(group: Pairs, what: str) -> Question:
    names = tuple(one.channel.name for one, _ in group)
    first = group[0]
    message = (
        f"{what}: so it looks from {counted(len(group), 'channel')}, {names[0]!r} to {names[-1]!r}; is that so? "
        "It is taken for so here; --show with the show's file settles it"
    )
    return Question("offset", names, first[0].line, first[1].line, None, message)


def _plus(offset: int) -> str:
    return f"{offset:+d}" if offset else ""
