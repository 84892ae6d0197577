"""What show.toml declares about the world around the map: boxes, blocks, feeds, recipients."""

from __future__ import annotations

import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from chanbridge.model import ModeField

Tag = Literal["air", "room", "monitors", "record", "comms"]
Id = Annotated[str, Field(pattern=r"^[\w][\w \-]{0,47}$")]
"""Names a thing in the show; recipients' ids name folders too, so no slashes and no dots."""


class _Declared(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Block(_Declared):
    """A transport block: `slots` channels down one cable. `rate`: sampling rate in Hz, else the show's."""

    id: Id
    slots: Annotated[int, Field(strict=True, ge=1, le=1024)] = 40
    rate: Annotated[int, Field(strict=True, gt=0)] | None = None


class _Kept(_Declared):
    """How to read a sheet where that is not plain: see `chanbridge read --help`. `columns`: heading → field."""

    columns: dict[str, str] = {}
    encoding: str = ""
    delimiter: str = ""
    record: str = ""


class Box(_Kept):
    """A stage box and its sheet.

    `inputs` and `outputs`: numbers of sockets. `block`: the block that carries its inputs; `first`: the slot
    of that block on which its first socket stands.
    """

    id: Id
    sheet: str
    inputs: Annotated[int, Field(strict=True, ge=1, le=1024)] = 40
    outputs: Annotated[int, Field(strict=True, ge=0, le=1024)] = 0
    block: str
    first: Annotated[int, Field(strict=True, ge=1)] = 1


class Feed(_Declared):
    """An AES10 feed that carries blocks, in the order named.

    `conversion` declares what changes the sampling rate where the blocks' differs from the feed's.
    """

    id: Id
    mode: ModeField
    blocks: Annotated[tuple[str, ...], Field(min_length=1)]
    conversion: str = ""


class Recipient(_Kept):
    """Who gets a sheet.

    `takes`: one feed, or blocks one after the other. `inputs`: how many slots it has, else all that it
    takes. `sheet`: the list that the recipient keeps, compared at every hand-over. `tags`: where what it
    makes is heard; they decide which channels it must get.
    """

    id: Id
    name: str = ""
    kind: Literal["feed", "desk", "recorder", "mixers"] = "desk"
    takes: Annotated[tuple[str, ...], Field(min_length=1)]
    inputs: Annotated[int, Field(strict=True, ge=1, le=4096)] | None = None
    sheet: str = ""
    tags: tuple[Tag, ...] = ()


class ShowFile(_Declared):
    """The content of show.toml. `rate` is the show's sampling rate in Hz."""

    title: str
    date: Annotated[datetime.date, Field(strict=True)] | None = None
    revision: str = ""
    rate: Annotated[int, Field(strict=True, gt=0)]
    gain_owner: str = ""
    box: Annotated[tuple[Box, ...], Field(min_length=1)]
    block: Annotated[tuple[Block, ...], Field(min_length=1)]
    feed: tuple[Feed, ...] = ()
    recipient: Annotated[tuple[Recipient, ...], Field(min_length=1)]
