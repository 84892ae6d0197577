"""Gear: the standards' figures for cables, and what show.toml declares for lists, for questions, for a loss."""

from __future__ import annotations

from typing import Annotated, NamedTuple

from pydantic import BaseModel, ConfigDict, Field

Metres = Annotated[float, Field(gt=0, le=10_000)]
Percent = Annotated[float, Field(ge=0, le=400)]


class Limit(NamedTuple):
    """The longest run of a medium in m: `sure` up to here, no more than `most`; and where that is from."""

    sure: float
    most: float
    source: str


LIMITS: dict[str, Limit] = {
    "twisted pair": Limit(100, 100, "structured cabling"),
    "coax": Limit(50, 100, "AES10 on 75 ohm coax, from memory"),
    "multimode fibre": Limit(2000, 2000, "AES10, 100BASE-FX"),
}
"""Media that have a limit of their own. Single-mode fibre and analogue lines: their maker says."""

STRANDED = {24: 0.2, 26: 0.5}
"""How much of its reach stranded cable of a gauge (AWG) loses: TIA-568 annexes, from memory."""


def counted_m(length_m: float, stranded_awg: int | None, medium: str | None) -> float:
    """Metres that a piece of cable uses up of its medium's limit: a stranded one (of this gauge) more than it has."""
    if medium != "twisted pair" or stranded_awg is None:
        return length_m
    return length_m / (1 - STRANDED[stranded_awg])


AT_SOURCE_W = (15.4, 4.0, 7.0, 15.4, 30.0, 45.0, 60.0, 75.0, 90.0)
AT_DEVICE_W = (12.95, 3.84, 6.49, 12.95, 25.5, 40.0, 51.0, 62.0, 71.3)
"""Watts by class of Power over Ethernet, 0 to 8 (IEEE 802.3)."""


class _Declared(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


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
