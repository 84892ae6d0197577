"""What show.toml declares for lists of gear, for advance questions and for the case that something is lost."""

from __future__ import annotations

from typing import Annotated, NamedTuple

from pydantic import BaseModel, ConfigDict, Field

Metres = Annotated[float, Field(gt=0, le=10_000)]
Percent = Annotated[float, Field(ge=0, le=400)]


class _Declared(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Limit(NamedTuple):
    """The longest run of a medium in m: `sure` up to here, no more than `most`; and where that is from."""

    sure: float
    most: float
    source: str


class Fallback(_Declared):
    """What the crew does when a thing is lost.

    `id`: a box, device, cable, block, feed, recipient or supply circuit; "circuit stage" where two have one name.
    """

    id: str
    do: Annotated[str, Field(min_length=1)]


class SubBox(_Declared):
    """A small box on the stage whose tails plug into a stage box, from socket `first` of `box` on.

    `sockets`: how many it has; `length_m`: its multicore with the tails.
    """

    id: str
    box: str
    first: Annotated[int, Field(strict=True, ge=1)] = 1
    sockets: Annotated[int, Field(strict=True, ge=1, le=1024)]
    length_m: Metres | None = None


class Kit(_Declared):
    """What the lists of gear need beside the sheets.

    `spares_percent`: how much of everything goes along unused, rounded up. `cable_m`: box or sub-box, or a box with
    a socket ("B 30") → m of the cable plugged there. `adaptors`: box with a socket → what its source needs besides, ""
    for nothing. `same`: words of a sheet → the words under which they are listed.
    """

    spares_percent: Percent | None = None
    cable_m: dict[str, Metres] = {}
    adaptors: dict[str, str] = {}
    same: dict[str, str] = {}


class Answer(_Declared):
    """What a recipient (`id`) has answered to the advance questions; "" is not answered yet."""

    id: str
    rate: str = ""
    mode: str = ""
    clock: str = ""
    connector: str = ""
    click: str = ""
    gain: str = ""
    returns: str = ""
    contact: str = ""
