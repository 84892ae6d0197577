"""What a show takes, as `size` works it out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from chanbridge.foresight.needs import Listener, Needs, Piece, Place, StoreCable


class Box(NamedTuple):
    """A box of the show. `piece`: its kind in the store, "" for one that has to be found; `used`: inputs with a channel."""

    id: str
    piece: str
    place: str
    inputs: int
    outputs: int
    block: str
    first: int
    first_output: int
    used: int


class Run(NamedTuple):
    """A cable between two ends for one block or feed. `length_m` with slack; `pieces`: of the store, in order.

    `counted_m`: what it uses up of its medium's limit, stranded pieces more than they have.
    """

    id: str
    start: str
    end: str
    carries: str
    medium: str
    length_m: float
    pieces: tuple[StoreCable, ...]
    counted_m: float
    limit_m: float | None
    backup: bool = False


class Switch(NamedTuple):
    """What joins the ends of one block, and the watts that it sends over cables."""

    block: str
    piece: str
    ends: int
    watts: float


class Bring(NamedTuple):
    """So many of a kind in the store's words."""

    piece: Piece
    number: int

    @property
    def hire(self) -> int:
        """How many the store lacks."""
        return max(0, self.number - self.piece.have)


class Circuit(NamedTuple):
    """What hangs on the supply at one place. `circuits`: None where no supply is declared; `unsaid`: without watts."""

    place: str
    watts: float
    circuits: int | None
    unsaid: tuple[str, ...]


class Room(NamedTuple):
    """How much of something is used and left. `more`: how many more of what is needed still fit, spares kept."""

    what: str
    used: float
    of: float
    more: int | None = None
    need: int = 0

    @property
    def left(self) -> float:
        """What is not used, in the unit that `what` names; below 0 where it does not fit."""
        return self.of - self.used


class Size(NamedTuple):
    """What the needs take. `wrong`: what does not fit as it is; `unsaid`: what the needs do not say."""

    needs: Needs
    boxes: tuple[Box, ...]
    blocks: tuple[str, ...]
    feeds: int
    ports: tuple[tuple[str, int], ...]
    switches: tuple[Switch, ...]
    converters: int
    runs: tuple[Run, ...]
    circuits: tuple[Circuit, ...]
    bring: tuple[Bring, ...]
    rooms: tuple[Room, ...]
    wrong: tuple[str, ...]
    unsaid: tuple[str, ...]

    @property
    def channels(self) -> int:
        """Sources at all places, spares left out."""
        return sum(place.inputs for place in self.needs.place)

    @property
    def watts(self) -> float:
        """Watts sent over cables."""
        return sum(switch.watts for switch in self.switches)

    def first_full(self) -> Room | None:
        """What is full first when everything grows by the same share; None where nothing is known to be."""
        grows = [room for room in self.rooms if room.more is not None and room.need]
        return min(grows, key=lambda room: (room.more or 0) / room.need, default=None)


def with_spares(count: int, percent: float | None) -> int:
    """A number of sockets with so much kept free, rounded up."""
    return count + math.ceil(round(count * (percent or 0) / 100, 9))


def mix_outputs(needs: Needs, place: Place) -> int:
    """Outputs at a place that mixes take."""
    return sum(mix.outputs for mix in needs.mix if mix.to == place.id)


def hears(listener: Listener, blocks: Sequence[str]) -> tuple[str, ...]:
    """The blocks that a listener hears: the first ones for which it has ports."""
    return tuple(blocks[: listener.ports])


def each(listener: Listener) -> list[str]:
    """The names of all that are alike: `mixers-1`, `mixers-2`; of one alone its own."""
    if listener.count == 1:
        return [listener.id]
    return [f"{listener.id}-{number}" for number in range(1, listener.count + 1)]


def key(piece: Piece) -> str:
    """A piece of the store by its kind and id."""
    return f"{type(piece).__name__} {piece.id}"
