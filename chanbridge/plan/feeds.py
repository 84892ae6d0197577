"""What is asked of a plan for feeds, and what a plan is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from chanbridge.model import ChannelMap, Patch, Reserved, Slot
from chanbridge.plan.stands import LeftOut
from chanbridge.said import Said


class Moved(NamedTuple):
    """A channel that does not stand where it was issued; `to` is None where it is not carried any more."""

    channel: str
    was: Slot
    to: Slot | None


class Plan(NamedTuple):
    """Which slot of which block goes to which slot of which feed.

    `layout` is "straight", "straight on two feeds" … or "packed"; `why` is one sentence for people. `proof`
    says how good a packing is, "" for a straight layout. `reserved`: slots that are left empty, and why.
    """

    layout: str
    why: str
    patches: tuple[Patch, ...]
    left_out: tuple[LeftOut, ...]
    moved: tuple[Moved, ...] = ()
    reserved: tuple[Reserved, ...] = ()
    proof: str = ""
    proved: bool = True


class Feeds(NamedTuple):
    """Ports of feeds that are planned together, with their slots: (port, slots), … Slots are counted over all of them."""

    ports: tuple[tuple[str, int], ...]

    @property
    def rooms(self) -> tuple[int, ...]:
        """The slots of each."""
        return tuple(size for _, size in self.ports)

    def slot(self, number: int) -> Slot:
        """A slot counted over all feeds as one of its feed."""
        for port, size in self.ports:
            if number <= size:
                return Slot(port, number)
            number -= size
        raise ValueError(f"there are {sum(self.rooms)} slots")

    def slots(self, numbers: Mapping[str, int]) -> dict[str, Slot]:
        """Channel → slot counted over all feeds, as slots of each."""
        return {name: self.slot(number) for name, number in numbers.items()}

    def number(self, slot: Slot) -> int:
        """A slot of a feed, counted over all."""
        before = 0
        for port, size in self.ports:
            if port == slot.port:
                return before + slot.number
            before += size
        raise ValueError(f"there is no feed {slot.port!r}")

    def __str__(self) -> str:
        return self.said()

    def said(self) -> Said:
        """How many feeds of how many slots."""
        sizes = [str(size) for size in self.rooms]
        if len(sizes) == 1:
            return Said("a feed of {size} slots", size=sizes[0])
        if len(set(sizes)) == 1:
            count = COUNTED.get(len(sizes), len(sizes))
            return Said("{count} feeds of {size} slots each", count=count, size=sizes[0])
        return Said("feeds of {sizes} and {last} slots", sizes=", ".join(sizes[:-1]), last=sizes[-1])


COUNTED = {2: Said("two"), 3: Said("three"), 4: Said("four"), 5: Said("five"), 6: Said("six")}


class Asked(NamedTuple):
    """What is asked of a plan; slots are counted over all feeds.

    `layout`: "straight" or "packed" where that is settled. `fixed`: channel → slot that it must have. `wants`:
    channel → slot that the recipient's list gives it, followed where nothing forbids it. `ungiven`: slot →
    what that list has there and the show cannot give. `avoid`: slots that stay empty where there is room, as
    another act has them. `held`: slots on which something else stands. `issued`: channel → slot that it was issued on.
    `parts`: block → its slots that go. `grain`: the converter moves channels only in blocks of so many.
    `spare`: slots left empty after each group. `keep_order`: the order of the sheets is not changed.
    `seconds`: about how long a proof may take.
    """

    layout: str | None = None
    fixed: Mapping[str, int] = {}
    wants: Mapping[str, int] = {}
    ungiven: Mapping[int, str] = {}
    avoid: frozenset[int] = frozenset()
    held: frozenset[int] = frozenset()
    issued: Mapping[str, int] = {}
    parts: Mapping[str, Sequence[int]] = {}
    grain: int = 1
    spare: int = 0
    keep_order: bool = False
    seconds: float = 3.5


NOTHING = Asked()
"""Nothing special is asked."""


def moves(whole: ChannelMap, issued: Mapping[str, Slot], made: Plan) -> tuple[Moved, ...]:
    """Which channels of a plan do not stand where they were issued, in the order of those slots."""
    at = {channel.id: patch.target for patch in made.patches for channel in whole.occupants(patch.source)[:1]}
    return moved_from(issued, at)


def moved_from(issued: Mapping[str, Slot], at: Mapping[str, Slot]) -> tuple[Moved, ...]:
    """Which channels do not stand where they were issued; `at`: channel → its slot now."""
    out = (Moved(name, was, at.get(name)) for name, was in issued.items() if at.get(name) != was)
    return tuple(sorted(out, key=lambda item: item.was))
