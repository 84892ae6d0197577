"""The single things of a show that can be lost, by name."""

from __future__ import annotations

from typing import Literal, NamedTuple

from chanbridge.errors import ShowError, nearest
from chanbridge.names import fold
from chanbridge.system import ShowFile

ThingKind = Literal["box", "recipient", "device", "link", "circuit", "block", "feed"]


class Thing(NamedTuple):
    """Something that can be lost. A device with the id of a box or recipient is that box or recipient."""

    kind: ThingKind
    id: str

    def __str__(self) -> str:
        return f"{'cable' if self.kind == 'link' else self.kind} {self.id}"

    @property
    def called(self) -> str:
        """As people call it: `box A`, `cable risers`, `monitors`."""
        return self.id if self.kind in ("recipient", "device") else str(self)


def things(file: ShowFile) -> list[Thing]:
    """Every thing of a show: what stands on the stage and in racks, cables, supplies, and what is carried."""
    found = [Thing("box", box.id) for box in file.box]
    found += [Thing("recipient", recipient.id) for recipient in file.recipient]
    places = {thing.id for thing in found}
    found += [Thing("device", device.id) for device in file.device if device.id not in places]
    found += [Thing("link", link.id) for link in file.link]
    circuits = dict.fromkeys(device.circuit for device in file.device if device.circuit)
    found += [Thing("circuit", name) for name in circuits]
    found += [Thing("block", block.id) for block in file.block]
    found += [Thing("feed", feed.id) for feed in file.feed]
    return found


def thing_named(file: ShowFile, text: str) -> Thing:
    """The thing that a text names: its id, or its kind and its id, as in "circuit stage" or "cable risers".

    Raises ShowError for none, with the nearest, and for several.
    """
    there = things(file)
    wanted = fold(text)
    found = [
        thing for thing in there if fold(str(thing)) == wanted or fold(f"{thing.kind} {thing.id}") == wanted
    ]
    found = found or [thing for thing in there if fold(thing.id) == wanted]
    if len(found) == 1:
        return found[0]
    if found:
        raise ShowError(
            f"{text!r} is several things; write {' or '.join(repr(str(thing)) for thing in found)}"
        )
    advice = nearest(
        text, [thing.called for thing in there], [name for thing in there for name in (thing.id, str(thing))]
    )
    raise ShowError(f"there is no {text!r} in this show; {advice}")
