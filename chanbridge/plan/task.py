"""What is to be packed: pieces of channels, the feeds they go onto, and what is asked of their places.

Slots are counted over all feeds here, one after the other, from 1. What a packing is judged by is a `Score`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import NamedTuple

LEVELS = ("must", "want", "spare", "not for air")
"""How much a channel matters, most first; the last makes room for all others."""


class Piece(NamedTuple):
    """Channels that move as one body: one, the two of a pair, or what a converter moves together.

    `channels`: (offset from the first slot, id). `width` in slots. It begins on slots 1, 1 + `step`,
    1 + 2 `step` … of a feed. `rank`: its place in the order of the sheets, from 0. `rigid`: a converter moves
    it as it stands, and the end of a feed may cut it off. A piece without channels keeps a slot empty.
    """

    channels: tuple[tuple[int, str], ...]
    width: int
    step: int
    rank: int
    group: str = ""
    rigid: bool = False


class Score(NamedTuple):
    """What a packing is judged by, the first difference deciding; less is better.

    `lost`: channels of level "must" left out. `moved`: channels not on the slot that was issued for them.
    `split`: pairs not side by side with the left on an odd slot (only a converter's grain can cause it).
    `want`, `spare`, `quiet`: channels of the lower levels left out. `early` and `early2`: what is left out,
    counted and squared from the end of the sheets, so that the later give way. `breaks`: how many more runs
    of neighbouring slots the groups are in than there are groups. `order`: distance from the places in the
    order of the sheets, the earlier groups' counting more.
    """

    lost: int = 0
    moved: int = 0
    split: int = 0
    want: int = 0
    spare: int = 0
    quiet: int = 0
    early: int = 0
    early2: int = 0
    breaks: int = 0
    order: int = 0


CARRYING = 8
"""The first fields of a score say what is carried and what moves; the rest is about neighbours."""


class Task:
    """Pieces in the order in which they should stand, and what is asked.

    `rooms`: slots of each feed. `levels`: channel → index into LEVELS. `fixed`, `issued`: channel → slot that
    it must have, that it had. `barred`: slots that stay empty.
    """

    def __init__(
        self,
        pieces: Sequence[Piece],
        rooms: Sequence[int],
        levels: Mapping[str, int],
        fixed: Mapping[str, int] = {},
        issued: Mapping[str, int] = {},
        barred: frozenset[int] = frozenset(),
        pairs: Sequence[tuple[str, str]] = (),
    ) -> None:
        self.pieces = tuple(pieces)
        self.rooms = tuple(rooms)
        self.levels, self.fixed, self.barred, self.pairs = levels, fixed, barred, tuple(pairs)
        here = {name for piece in self.pieces for _, name in piece.channels}
        self.issued = {name: slot for name, slot in issued.items() if name in here}

    def __repr__(self) -> str:
        said = (self.pieces, self.rooms, self.levels, self.fixed, self.issued, self.barred, self.pairs)
        return f"Task({', '.join(map(repr, said))})"

    @cached_property
    def ends(self) -> dict[int, int]:
        """First slot of a feed → its last."""
        ends, first = {}, 1
        for size in self.rooms:
            ends[first] = first + size - 1
            first += size
        return ends

    @property
    def total(self) -> int:
        """Slots of all feeds together."""
        return sum(self.rooms)

    def last_of_room(self, slot: int) -> int:
        """The last slot of the feed in which a slot lies."""
        return next(last for last in self.ends.values() if slot <= last)

    def starts(self, piece: Piece) -> list[int]:
        """The slots on which a piece may begin."""
        places = {slot: name for name, slot in self.fixed.items()}
        own = {name: offset for offset, name in piece.channels}
        bound = {self.fixed[name] - offset for name, offset in own.items() if name in self.fixed}
        found = []
        for first, last in self.ends.items():
            for start in range(first, last + 1, piece.step):
                if bound and bound != {start}:
                    continue
                if not piece.rigid and start + piece.width - 1 > last:
                    continue
                covered = range(start, min(start + piece.width - 1, last) + 1)
                if not self.barred.isdisjoint(covered):
                    continue
                if piece.rigid:
                    if not bound or all(self.fixed[name] <= last for name in own if name in self.fixed):
                        found.append(start)
                elif not any(slot in places and places[slot] not in own for slot in covered):
                    found.append(start)
        return found

    def carried(self, piece: Piece, start: int) -> list[tuple[str, int]]:
        """The channels of a piece that begins on a slot, with theirs; those past the feed's end are left out."""
        if not piece.rigid:
            return [(name, start + offset) for offset, name in piece.channels]
        last = self.last_of_room(start)
        return [(name, start + offset) for offset, name in piece.channels if start + offset <= last]

    def moved(self, piece: Piece, start: int | None) -> int:
        """How many issued channels of a piece do not stand on their slot if it begins here, or is left out."""
        if not self.issued:
            return 0
        at = dict(self.carried(piece, start)) if start is not None else {}
        return sum(at.get(name) != self.issued[name] for _, name in piece.channels if name in self.issued)

    @cached_property
    def _count(self) -> int:
        return max((piece.rank for piece in self.pieces), default=0) + 1

    def loss(self, names: Sequence[str], rank: int) -> Score:
        """The part of the score that comes from leaving channels of a rank out."""
        levels = [self.levels[name] for name in names]
        late = self._count - rank
        return Score(
            lost=levels.count(0), want=levels.count(1), spare=levels.count(2), quiet=levels.count(3),
            early=late * len(names), early2=late * late * len(names),
        )  # fmt: skip

    def left_out(self, piece: Piece, start: int | None) -> Score:
        """The loss from a piece that begins on a slot, or is left out, with what moves."""
        here = {name for name, _ in self.carried(piece, start)} if start is not None else set()
        gone = [name for _, name in piece.channels if name not in here]
        return self.loss(gone, piece.rank)._replace(moved=self.moved(piece, start))

    def weight(self, piece: Piece) -> int:
        """What one slot of distance from its place costs a piece; the same for all of one width in a group, or in none.

        So those that are displaced together keep their order.
        """
        return piece.width * (2 * self._count - self._leads[piece.group])

    @cached_property
    def _leads(self) -> dict[str, int]:
        leads: dict[str, int] = {}
        for piece in self.pieces:
            leads[piece.group] = min(piece.rank, leads.get(piece.group, piece.rank))
        return leads

    def score(self, at: Mapping[int, int], ideal: Mapping[int, int]) -> Score:
        """The score of a packing: index of a piece → its first slot; `ideal` are the places to be near to."""
        parts = [self.left_out(piece, at.get(index)) for index, piece in enumerate(self.pieces)]
        order = sum(
            self.weight(self.pieces[index]) * abs(start - ideal[index])
            for index, start in at.items()
            if index in ideal
        )
        more = Score(split=self.split(at), breaks=self.breaks(at), order=order)
        return Score(*map(sum, zip(*parts, more, strict=True)))

    def split(self, at: Mapping[int, int]) -> int:
        """Pairs of which both are carried, but not side by side with the left on an odd slot of a feed."""
        where = {
            name: slot
            for index, start in at.items()
            for name, slot in self.carried(self.pieces[index], start)
        }
        return sum(
            not self.beside(where[left], where[right])
            for left, right in self.pairs
            if left in where and right in where
        )

    def beside(self, left: int, right: int) -> bool:
        """Whether two slots are a couple: an odd slot of a feed and the next."""
        first = max(start for start in self.ends if start <= left)
        return right == left + 1 <= self.ends[first] and (left - first) % 2 == 0

    def breaks(self, at: Mapping[int, int]) -> int:
        """Runs of neighbouring slots that groups are in, less the groups; empty slots break nothing."""
        runs, open_group, room = 0, "", 0
        groups = set()
        for start, index in sorted((start, index) for index, start in at.items()):
            group = self.pieces[index].group
            last = self.last_of_room(start)
            if group and (group != open_group or last != room):
                runs += 1
            open_group, room = group, last
            groups |= {group} - {""}
        return runs - len(groups)
