"""What a map is made of: channels, ports, and the places and patches between them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import repeat
from typing import Annotated, Any, Literal, NamedTuple, Self, TypeVar

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    PlainSerializer,
    WithJsonSchema,
)
from pydantic_core import core_schema

from chanbridge.mode import Mode

Kind = Literal[
    "mic", "di", "line", "wireless", "digital", "playback", "talkback", "ambience", "mix", "return", "unknown"
]
Side = Literal["left", "right", "mid", "side"]
Permission = Literal["allowed", "not allowed", "open"]
PortKind = Literal["sockets", "block", "feed", "desk", "recorder", "mixers", "outputs"]

MOST_SLOTS = 200_000
"""No port has more slots; a number above it is no slot."""

LISTED = "slots"
"""Id of the port that a plain list's numbers count in."""

AUDIENCES = ("air", "room", "monitors", "record", "comms")

OTHER_SIDE: dict[Side, Side] = {"left": "right", "right": "left", "mid": "side", "side": "mid"}

ModeField = Annotated[
    Mode,
    BeforeValidator(lambda value: Mode.parse(value) if isinstance(value, str) else value),
    PlainSerializer(str, return_type=str),
    WithJsonSchema({"type": "string", "examples": ["64@48000", "56@48000 varispeed"]}),
]


class Made:
    """A named tuple that is one already is taken as it is; only plain tuples are looked into."""

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        whole = handler(source)
        return core_schema.json_or_python_schema(
            whole,
            core_schema.union_schema([core_schema.is_instance_schema(source), whole], mode="left_to_right"),
        )


class Frozen(BaseModel):
    """What every part of a map is: never changed once it is made, and without fields that nobody knows."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", serialize_by_alias=True, validate_by_name=True, defer_build=True
    )

    def changed(self, **fields: Any) -> Self:
        """A validated copy with some fields replaced."""
        return type(self)(**{name: getattr(self, name) for name in type(self).model_fields} | fields)


class Pair(Frozen):
    """The side that a channel is of a pair. `partner` is the other's id, or None while it is not known."""

    partner: Annotated[Annotated[str, Field(min_length=1)] | None, Field(alias="with")] = None
    side: Side


class Audience(Frozen):
    """Who may hear a channel. Being carried to a place is not the same as being heard there."""

    air: Permission = "open"
    room: Permission = "open"
    monitors: Permission = "open"
    record: Permission = "open"
    comms: Permission = "open"


OPEN = Audience()
"""Nobody has said who may hear a channel; the default is this very object."""


class Extra(NamedTuple):
    """A cell of a column that the model has no field for."""

    heading: str
    text: str


class Channel(Frozen):
    """One signal with its identity.

    `pad_db` and `gain_db` are in dB and finite. `needs_power`: whether the transducer or DI needs
    phantom to work; None where nobody said. `phantom` is what the sheet says of the supply; "optional"
    is not "off". `contents` are the ids of the channels in a mix, `tap` is where they are taken relative
    to their faders. `extras` are cells of unknown columns, in the order of the map's `headings`; an empty
    cell is there only before a filled one under the same heading.
    """

    id: Annotated[str, Field(min_length=1, pattern=r"\S")]
    name: str = ""
    short: str = ""
    kind: Kind = "unknown"
    transducer: str = ""
    needs_power: bool | None = None
    stand: str = ""
    position: str = ""
    group: str = ""
    phantom: Literal["on", "off", "optional", "unknown"] = "unknown"
    polarity: Literal["normal", "reversed", "unknown"] = "unknown"
    pad_db: Annotated[float, Field(allow_inf_nan=False)] | None = None
    gain_db: Annotated[float, Field(allow_inf_nan=False)] | None = None
    gain_owner: str = ""
    pair: Pair | None = None
    audience: Audience = OPEN
    priority: Literal["must", "want", "spare"] = "must"
    contents: tuple[str, ...] = ()
    tap: Literal["before fader", "after fader"] | None = None
    notes: str = ""
    extras: tuple[Annotated[Extra, Made()], ...] = ()

    def with_ids(self, ids: Mapping[str, str]) -> Channel:
        """This channel with its own id, its partner's and its contents' replaced where `ids` has another."""
        partner = self.pair.partner if self.pair else None
        named = (self.id, *self.contents, *([partner] if partner else []))
        if all(ids.get(name, name) == name for name in named):
            return self
        return self.changed(
            id=ids.get(self.id, self.id),
            contents=tuple(ids.get(name, name) for name in self.contents),
            pair=Pair(partner=ids.get(partner, partner), side=self.pair.side)
            if self.pair and partner
            else self.pair,
        )


def channels_of(columns: Mapping[str, Sequence[Any]]) -> list[Channel]:
    """Many channels from columns of values, field by field, that are known to be valid: they are not looked into again."""
    usual = Channel.model_construct(id="").__dict__
    names, said = tuple(columns), set(columns)
    make, put, out = Channel.__new__, object.__setattr__, []
    for row in zip(*columns.values(), strict=True):
        fields = usual.copy()
        fields.update(zip(names, row, strict=True))
        channel = make(Channel)
        put(channel, "__dict__", fields)
        put(channel, "__pydantic_fields_set__", said)
        put(channel, "__pydantic_extra__", None)
        put(channel, "__pydantic_private__", None)
        out.append(channel)
    return out


class Port(Frozen):
    """Anything with numbered positions.

    `direction`: "in" runs from the stage towards the desks, "out" the other way. `first`: the block slot
    on which a box's first socket stands, from 1. `size`: number of slots, 0 where it is not known.
    `rate_hz`: sampling rate in Hz. `mode`: of an AES10 feed. `mirrors`: the port that this one backs up.
    """

    id: Annotated[str, Field(min_length=1, pattern=r"\S")]
    device: str = ""
    name: str = ""
    direction: Literal["in", "out"] = "in"
    kind: PortKind = "block"
    first: Annotated[int, Field(ge=1)] = 1
    size: Annotated[int, Field(ge=0, le=MOST_SLOTS)] = 0
    rate_hz: Annotated[int, Field(gt=0)] | None = None
    mode: ModeField | None = None
    mirrors: str | None = None


_Tuple = TypeVar("_Tuple", bound=tuple[Any, ...])


def each(kind: type[_Tuple], *columns: Iterable[Any]) -> list[_Tuple]:
    """Named tuples of one kind from their fields, column by column, all of one length: many at a time are made faster."""
    return list(map(tuple.__new__, repeat(kind), zip(*columns, strict=True)))


class Slot(NamedTuple):
    """One position in a port, counted from 1."""

    port: str
    number: Annotated[int, Field(ge=1, le=MOST_SLOTS)]

    def __str__(self) -> str:
        return f"{self.port} {self.number}"


class Patch(NamedTuple):
    """What stands in `source` is heard in `target`."""

    source: Slot
    target: Slot


class Entry(NamedTuple):
    """Where a channel (by id) comes into the system.

    Channels that share a socket have a second entry each, at the slot that carries the signal under their
    name; of two channels of one socket the one named nearer to a slot occupies it.
    """

    channel: str
    slot: Slot


class Reserved(NamedTuple):
    """A remark on a slot that carries no channel: why it is spare, what its wire is used for."""

    slot: Slot
    text: str


class Row(NamedTuple):
    """One line of a port's sheet.

    `entry` is the slot in which the line's signal came into the system, if it did; `text` a remark on a
    spare. A slot in which two channels meet has two lines.
    """

    number: int
    channel: Channel | None
    entry: Slot | None
    text: str


class Line(NamedTuple):
    """A channel or a spare as one line of a list.

    `number`: its slot in the listed port, None for what does not stand there. `box` and `socket`: where it
    enters, "" and None where that is not known. `text`: a remark on a spare.
    """

    number: int | None
    channel: Channel | None
    box: str
    socket: int | None
    text: str


class Trace(NamedTuple):
    """All slots reached from one slot through every patch, nearest first, the slot itself left out."""

    back: tuple[Slot, ...]
    forward: tuple[Slot, ...]
