"""What show.toml declares about the world around the map: boxes, blocks, feeds, recipients, returns, acts."""

from __future__ import annotations

import datetime
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, StrictBool, model_validator

from chanbridge.gear import Answer, Fallback, Kit, SubBox
from chanbridge.model import ModeField

Tag = Literal["air", "room", "monitors", "record", "comms"]
PaperKind = Literal[
    "truck",
    "front-of-house",
    "monitors",
    "stream",
    "recorder",
    "musicians",
    "volunteer",
]
"""For whom a sheet is laid out; its columns stand in handover/needs.py."""
Mistake = tuple[tuple[str | int, ...], str]
"""Something in the show file that cannot be so: its place, as `show.line_of` takes it, and a message."""
Id = Annotated[str, Field(pattern=r"^[\w][\w \-]{0,47}$")]
"""Names a thing in the show; recipients' ids name folders too, so no slashes and no dots."""

CREW = "crew"
"""The stage crew, as a recipient of papers and of late changes."""

RESERVED = frozenset({CREW, "acts", "changeovers", "cover", "earlier", "flow", "lists"})
"""What a hand-over calls folders and pages of its own: no box and no recipient is called so."""


class _Declared(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)


Whole = Annotated[int, Field(strict=True, ge=1, le=1024)]


class Block(_Declared):
    """A transport block: `slots` channels down one cable, and `back` the other way (as many if not said).

    `rate`: sampling rate in Hz, else the show's.
    """

    id: Id
    slots: Whole = 40
    back: Annotated[int, Field(strict=True, ge=0, le=1024)] | None = None
    rate: Annotated[int, Field(strict=True, gt=0)] | None = None


class _Kept(_Declared):
    """How to read a sheet where that is not plain: see `chanbridge read --help`. `columns`: heading → field."""

    columns: dict[str, str] = {}
    encoding: str = ""
    delimiter: str = ""
    record: str = ""


class Box(_Kept):
    """A stage box, or the sockets on a desk itself, and its sheet.

    `inputs` and `outputs`: numbers of sockets. `block`: the block that carries them; `first`: the slot of
    that block on which its first input stands; `first_output`: the slot on the way back that comes out of
    its first output. `desk` instead of `block`: the sockets are local to that recipient and no block carries
    them; they stand after all that it takes, and `first` counts from there. Several boxes may have one sheet: its
    rows name their box, or have numbers that count the slots of all blocks one after the other.
    """

    id: Id
    sheet: str
    inputs: Whole = 40
    outputs: Annotated[int, Field(strict=True, ge=0, le=1024)] = 0
    block: str = ""
    desk: str = ""
    first: Annotated[int, Field(strict=True, ge=1)] = 1
    first_output: Annotated[int, Field(strict=True, ge=1)] = 1


class Feed(_Declared):
    """An AES10 feed that carries blocks, in the order named.

    `continues`: the feed that this one is planned together with; then `blocks` are that feed's and are left
    out here. `parts`: block → the slots of it that go, such as "1-16, 33"; else all. `back`: the mode of the
    cable that comes back, else as `mode`. `conversion` declares what changes the sampling rate where the
    blocks' differs from the feed's. How it is packed: `layout` settles the layout, which is else the first that
    carries every channel; `fix`: channel → slot of this feed; `grain`: the converter moves channels only
    in blocks of so many; `spare`: slots left empty after each group; `keep`: the sheet that was issued for
    this feed, from which as few channels move as can be.
    """

    id: Id
    mode: ModeField
    blocks: tuple[str, ...] = ()
    continues: str = ""
    parts: dict[str, str] = {}
    back: ModeField | None = None
    conversion: str = ""
    layout: Literal["straight", "packed"] | None = None
    fix: dict[str, Annotated[int, Field(strict=True, ge=1, le=1024)]] = {}
    grain: Annotated[int, Field(strict=True, ge=1, le=64)] = 1
    spare: Annotated[int, Field(strict=True, ge=0, le=64)] = 0
    keep: str = ""


class Recipient(_Kept):
    """Who gets a sheet.

    `takes`: feeds, or blocks, one after the other. `inputs`: how many slots it has, else all that it takes, or as
    many as its list of wants names. `ports`: to how many feeds or blocks it can listen at once, the first ones named;
    else to all. `listens`: it only receives, and sends nothing back. `sheet`: the list that the recipient keeps,
    compared at every hand-over. `wants`: the list of slots and names that it asks for; the plan follows it. `tags`:
    where what it makes is heard; they decide which channels it must get. `paper`: for whom its sheet is laid out,
    where kind and tags do not say it.
    """

    id: Id
    name: str = ""
    kind: Literal["feed", "desk", "recorder", "mixers"] = "desk"
    paper: PaperKind | None = None
    takes: Annotated[tuple[str, ...], Field(min_length=1)]
    inputs: Annotated[int, Field(strict=True, ge=1, le=4096)] | None = None
    ports: Annotated[int, Field(strict=True, ge=1, le=64)] | None = None
    listens: bool = False
    sheet: str = ""
    wants: str = ""
    tags: tuple[Tag, ...] = ()

    @property
    def heard(self) -> tuple[str, ...]:
        """The feeds or blocks that it listens to: all that it takes, or as many as it has ports."""
        return self.takes[: self.ports]


class Return(_Declared):
    """What a desk or the truck sends: a mix, a mix-minus, a stem, talkback or programme.

    `from`: the recipient that makes it, on its output `output`, else its next free one in the order of ids. `to`:
    where it comes out, each a box with the number of an output ("B 3"), or a recipient that gets it after all that it
    takes ("monitors"), or a slot of a feed ("truck-feed 63"), which the plan then leaves to it. `contents`: the
    channels or returns in it, by id or name; `minus`: everything that may go on air but these. `tap`: where they are
    taken. `stereo`: left and right, on two neighbouring outputs. `tags`: where it is heard.
    """

    id: Id
    name: str = ""
    kind: Literal["mix", "talkback", "return"] = "mix"
    maker: Annotated[str, Field(alias="from")]
    output: Whole | None = None
    to: Annotated[tuple[str, ...], Field(min_length=1)]
    contents: tuple[str, ...] = ()
    minus: tuple[str, ...] = ()
    tap: Literal["before fader", "after fader"] | None = None
    stereo: bool = False
    notes: str = ""
    tags: tuple[Tag, ...] = ()

    def numbers(self, first: int) -> range:
        """The outputs or slots that it takes from `first` on: one, or two where it is stereo."""
        return range(first, first + 1 + self.stereo)


class Act(_Kept):
    """A part of the show with changes on the stage, in running order; the sheets of the boxes come first.

    `over`: the act that it changes, else the show as the boxes' sheets have it. `sheet`: a list with box,
    socket and name of the sockets that are used otherwise. `sockets`: the same in the show file, box and
    socket → name, "" for a socket that is free. A channel of the show that is named on another socket moves
    there and stays the same channel.
    """

    id: Id
    name: str = ""
    over: str = ""
    sheet: str = ""
    sockets: dict[str, str] = {}


class CablePower(_Declared):
    """Power over a cable at one port: a class of IEEE 802.3 (0 to 8), or watts, or both.

    `watts` are those at this end: sent out where a port gives, used where it takes. `not_standard`: what it is
    where it follows no class, such as "injector, 24 V"; it then needs its watts.
    """

    power_class: Annotated[int | None, Field(alias="class", strict=True, ge=0, le=8)] = None
    watts: Annotated[float | None, Field(strict=True, gt=0, le=1000)] = None
    not_standard: str = ""

    @model_validator(mode="after")
    def _stated(self) -> Self:
        if self.watts is None and (self.power_class is None or self.not_standard):
            raise ValueError("power needs class = 0 to 8, or watts = …")
        return self


class DevicePort(_Declared):
    """Where cables are plugged into a device.

    `carries`: the blocks, feeds and returns on it. `role`: on those, `leads` the one that says what is sent,
    `follows`, or `listens` (hears all, sends nothing). `mode` of an AES10 port; `rate` in Hz of another. `gives`,
    `takes`: power over the cable.
    """

    id: Id
    carries: tuple[str, ...] = ()
    role: Literal["leads", "follows", "listens"] | None = None
    mode: ModeField | None = None
    rate: Annotated[int, Field(strict=True, gt=0)] | None = None
    gives: CablePower | None = None
    takes: CablePower | None = None

    @property
    def rate_hz(self) -> int | None:
        """The sampling rate in Hz, from the mode where there is one."""
        return self.mode.rate_hz if self.mode else self.rate


class Split(_Declared):
    """A copper split before a box: `direct` is wired straight through, `isolated` outputs have transformers.

    `box`: whose sockets it splits. `direct`, `isolated`: recipients, boxes or devices. `phantom`: who switches it on.
    """

    box: str
    direct: tuple[str, ...] = ()
    isolated: tuple[str, ...] = ()
    phantom: tuple[str, ...] = ()


Milliseconds = Annotated[float, Field(strict=True, ge=0, le=10_000)]
Origin = Literal["declared", "standard", "common practice"]


class Device(_Declared):
    """A thing in a rack or on the stage. With the id of a box or a recipient it is that box or recipient.

    `switch`: it joins all that is plugged into it. `sockets`: how many of its own it has that no block carries.
    `clock`: `own` where it leads its clock `domain`, else the device that it follows. `leaves`: it goes before the
    others, as a truck does. `rate`: sampling rate in Hz; `conversion`: what changes rates in it. `circuit`: the
    supply that it hangs on. `budget_w`: watts for all cables that it powers. `grain`: it moves channels in groups
    of so many. `latency_ms`: through it; `bears_ms`: the most from a socket to its output, in ms. `display`:
    characters of its labels; `letters`: which it can show.
    """

    id: Id
    name: str = ""
    ports: tuple[DevicePort, ...] = ()
    switch: StrictBool = False
    split: Split | None = None
    sockets: Annotated[int | None, Field(strict=True, ge=0, le=4096)] = None
    clock: str = ""
    domain: str = ""
    leaves: StrictBool = False
    rate: Annotated[int, Field(strict=True, gt=0)] | None = None
    conversion: str = ""
    circuit: str = ""
    budget_w: Annotated[float | None, Field(strict=True, gt=0, le=10_000)] = None
    grain: Annotated[int, Field(strict=True, ge=1, le=64)] = 1
    latency_ms: Milliseconds | None = None
    latency_origin: Origin = "declared"
    bears_ms: Milliseconds | None = None
    display: Annotated[int | None, Field(strict=True, ge=1, le=64)] = None
    letters: Literal["ascii", "latin-1", "any"] = "any"


class Segment(_Declared):
    """One piece of a cable, in m. `stranded_awg`: the gauge of a stranded one (a reel, a patch cord)."""

    length_m: Annotated[float, Field(strict=True, gt=0, le=200_000)]
    stranded_awg: Literal[24, 26] | None = None


class Link(_Declared):
    """A cable between two ends, each `DEVICE` or `DEVICE.PORT`.

    `direction`: `one way` runs from the first end to the second. `carries`: blocks, feeds and returns, else those of
    its ports. `couplers`: joints between segments. `backup`: it stands in for another; `plugged`: whether it is in.
    `redundancy`: what keeps two ways from being a loop. `rate` in Hz; `speed_mbit`: what a network cable carries each
    way. `limit_m`: the longest run that its maker allows, in m. `isolated`: no metal joins the ends' supplies.
    `latency_ms`: along it.
    """

    id: Id
    ends: Annotated[tuple[str, ...], Field(min_length=2, max_length=2)]
    direction: Literal["both", "one way"] = "both"
    medium: Literal["twisted pair", "coax", "multimode fibre", "single-mode fibre", "analogue"] | None = None
    segments: tuple[Segment, ...] = ()
    couplers: Annotated[int | None, Field(strict=True, ge=0, le=100)] = None
    carries: tuple[str, ...] = ()
    backup: StrictBool = False
    plugged: StrictBool | None = None
    redundancy: str = ""
    rate: Annotated[int, Field(strict=True, gt=0)] | None = None
    speed_mbit: Annotated[int | None, Field(strict=True, gt=0)] = None
    limit_m: Annotated[float | None, Field(strict=True, gt=0)] = None
    isolated: StrictBool = False
    latency_ms: Milliseconds | None = None
    latency_origin: Origin = "declared"

    def end(self, at: int) -> tuple[str, str]:
        """The device and the port ("" for none named) at the first (0) or the second end (1)."""
        device, _, port = self.ends[at].partition(".")
        return device, port

    @property
    def devices(self) -> tuple[str, str]:
        """The devices that it joins."""
        return self.end(0)[0], self.end(1)[0]

    @property
    def in_use(self) -> bool:
        """Whether signals run on it: it is plugged, and a backup only where that is said."""
        return bool(self.plugged) if self.plugged is not None else not self.backup

    @property
    def joints(self) -> int:
        """Couplers in it: those said, and at least one between each two segments."""
        return max(self.couplers or 0, len(self.segments) - 1)


class ShowFile(_Declared):
    """The content of show.toml. `rate` is the show's sampling rate in Hz; `returns` are its [[return]]s.

    `gain_frozen`: from when on nobody moves a preamp, such as "18:30".
    """

    title: str
    date: Annotated[datetime.date, Field(strict=True)] | None = None
    revision: str = ""
    rate: Annotated[int, Field(strict=True, gt=0)]
    gain_owner: str = ""
    gain_frozen: str = ""
    box: Annotated[tuple[Box, ...], Field(min_length=1)]
    block: Annotated[tuple[Block, ...], Field(min_length=1)]
    feed: tuple[Feed, ...] = ()
    recipient: Annotated[tuple[Recipient, ...], Field(min_length=1)]
    returns: Annotated[tuple[Return, ...], Field(alias="return")] = ()
    act: tuple[Act, ...] = ()
    device: tuple[Device, ...] = ()
    link: tuple[Link, ...] = ()
    fallback: tuple[Fallback, ...] = ()
    subbox: tuple[SubBox, ...] = ()
    kit: Kit = Kit()
    answer: tuple[Answer, ...] = ()

    def port_at(self, link: Link, end: int) -> DevicePort | None:
        """The port that an end (0 or 1) of a link is plugged into, where it names one."""
        name, port_id = link.end(end)
        ports = (port for device in self.device if device.id == name for port in device.ports)
        return next((port for port in ports if port.id == port_id), None)
