"""What `size` is told: the needs of a show, and what lies in the user's own store."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from chanbridge.errors import unknown
from chanbridge.gear import Metres, Percent
from chanbridge.model import ModeField
from chanbridge.names import fold
from chanbridge.system import Id, Mistake, Tag

Count = Annotated[int, Field(strict=True, ge=0, le=1000)]
Some = Annotated[int, Field(strict=True, ge=1, le=1000)]
Watts = Annotated[float, Field(ge=0, le=100_000)]
Medium = Literal["twisted pair", "coax", "multimode fibre", "single-mode fibre"]


class _Declared(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Place(_Declared):
    """Where sources stand. `outputs`: beside those that mixes take. `distance_m`: the way of a cable to the first listener."""

    id: Id
    inputs: Count = 0
    outputs: Count = 0
    distance_m: Metres | None = None


class Listener(_Declared):
    """A desk, recorder or group of mixers that hears the blocks; the first one leads them.

    `count`: how many alike. `inputs`: how many one has. `ports`: to how many blocks one listens at once, else to all.
    `distance_m`: the way of a cable to the first listener. `watts`: from its supply; `class`: of its power over the
    cable. `tags`: where what it makes is heard.
    """

    id: Id
    name: str = ""
    kind: Literal["desk", "recorder", "mixers"] = "desk"
    count: Some = 1
    inputs: Some | None = None
    ports: Some | None = None
    distance_m: Metres | None = None
    watts: Watts | None = None
    power_class: Annotated[int | None, Field(alias="class", strict=True, ge=0, le=8)] = None
    tags: tuple[Tag, ...] = ()


class Mix(_Declared):
    """Mixes of one listener (`from`) that come out at a place (`to`): `count` of them, two outputs each in stereo."""

    maker: Annotated[str, Field(alias="from")]
    to: str
    count: Some = 1
    stereo: bool = False

    @property
    def outputs(self) -> int:
        """Outputs that they take."""
        return self.count * (2 if self.stereo else 1)


class Truck(_Declared):
    """A truck on AES10. `back`: channels that it sends. `conversion`: what changes the rate where the mode has another."""

    mode: ModeField
    distance_m: Metres | None = None
    medium: Medium = "coax"
    back: Count = 0
    conversion: str = ""


class Supply(_Declared):
    """One supply circuit, and how much of it is used at most."""

    volts: Annotated[float, Field(gt=0, le=1000)]
    amps: Annotated[float, Field(gt=0, le=1000)]
    load_percent: Annotated[float, Field(gt=0, le=100)]

    @property
    def watts(self) -> float:
        """What may hang on one circuit."""
        return self.volts * self.amps * self.load_percent / 100


class Needs(_Declared):
    """A show that does not exist yet.

    `rate` in Hz. `spare_percent`: sockets kept free, rounded up; `slack_percent`: how much longer a cable is than its
    way. `block_slots`: channels of a block each way. `backup`: every run from a place lies there twice.
    """

    title: str
    rate: Annotated[int, Field(strict=True, gt=0)]
    spare_percent: Percent | None = None
    slack_percent: Percent | None = None
    block_slots: Annotated[int, Field(strict=True, ge=1, le=1024)] = 40
    backup: bool = False
    place: Annotated[tuple[Place, ...], Field(min_length=1)]
    listener: Annotated[tuple[Listener, ...], Field(min_length=1)]
    mix: tuple[Mix, ...] = ()
    truck: Truck | None = None
    supply: Supply | None = None


class Piece(_Declared):
    """Something of which there are `have` in the store. `price`: of hiring one, in the user's own money."""

    id: Annotated[str, Field(min_length=1)]
    have: Count = 0
    watts: Watts | None = None
    weight_kg: Annotated[float | None, Field(ge=0, le=10_000)] = None
    price: Annotated[float | None, Field(ge=0, le=1_000_000)] = None


class StoreBox(Piece):
    """A stage box with its numbers of sockets."""

    inputs: Count
    outputs: Count = 0


class StoreCable(Piece):
    """A cable or reel. `stranded_awg`: the gauge of a stranded one."""

    medium: Medium
    length_m: Metres
    stranded_awg: Literal[24, 26] | None = None


class StoreSwitch(Piece):
    """A switch. `budget_w`: watts for all cables that it powers."""

    ports: Some
    budget_w: Watts | None = None


class StoreConverter(Piece):
    """What puts blocks onto `feeds` AES10 feeds."""

    feeds: Some = 1


class Store(_Declared):
    """The user's own kit."""

    box: tuple[StoreBox, ...] = ()
    cable: tuple[StoreCable, ...] = ()
    switch: tuple[StoreSwitch, ...] = ()
    converter: tuple[StoreConverter, ...] = ()


def needs_mistakes(needs: Needs) -> Iterator[Mistake]:
    """What cannot be so, in the order of the file's tables."""
    seen = {"truck"} if needs.truck else set()
    for table in ("place", "listener"):
        for at, item in enumerate(getattr(needs, table)):
            if fold(item.id) in seen:
                yield (table, at, "id"), f"the id {item.id!r} is taken; every place and listener has its own"
            seen.add(fold(item.id))
    for at, listener in enumerate(needs.listener):
        if re.match(r"(box|block|feed|switch)-|(truck|converter)$", fold(listener.id)):
            yield (
                ("listener", at, "id"),
                f"the show uses the name {listener.id!r} itself; call this listener something else",
            )
    if not any(place.inputs for place in needs.place):
        yield ("place", 0, "inputs"), "no place has any inputs; write inputs = …"
    if needs.listener[0].count > 1:
        yield (
            ("listener", 0, "count"),
            "the first listener leads the blocks, and there is one of it; write count = 1",
        )
    if needs.truck and needs.truck.back > needs.truck.mode.slots:
        yield (
            ("truck", "back"),
            f"one feed brings {needs.truck.mode.slots} channels back at {needs.truck.mode}",
        )
    makers = [listener.id for listener in needs.listener if listener.kind == "desk"]
    for at, mix in enumerate(needs.mix):
        if mix.maker not in makers:
            yield ("mix", at, "from"), f"no desk: {unknown('', mix.maker, makers)}"
        if mix.to not in [place.id for place in needs.place]:
            yield ("mix", at, "to"), unknown("", mix.to, [place.id for place in needs.place])


def store_mistakes(store: Store, slots: int) -> Iterator[Mistake]:
    """What cannot be so in a kit file; `slots`: of a block."""
    for table in ("box", "cable", "switch", "converter"):
        seen = set()
        for at, item in enumerate(getattr(store, table)):
            if item.id in seen:
                yield (table, at, "id"), f"{item.id!r} is there twice; put both into one, with have = …"
            seen.add(item.id)
    for at, box in enumerate(store.box):
        for key in ("inputs", "outputs"):
            if getattr(box, key) > slots:
                yield (
                    ("box", at, key),
                    f"a block has {slots} slots, and this box {getattr(box, key)} {key}; write it as two boxes, or block_slots = … in the needs",
                )
        if not box.inputs and not box.outputs:
            yield ("box", at, "inputs"), "a box without sockets; write inputs = …"
