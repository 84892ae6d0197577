"""A rehearsal with a recording in the place of inputs: what is replaced, what stays live, and the way back."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import NamedTuple

from chanbridge.assemble import Planned
from chanbridge.errors import ShowError, unknown
from chanbridge.evening.amend import find
from chanbridge.evening.steps import socket_text
from chanbridge.formats.text import draw, plain
from chanbridge.model import Channel, Slot
from chanbridge.system import Recipient

CAUTION = (
    "Faders and in-ears down before the first playback: recorded levels are not tonight's, and hearing can be damaged. "
    "Tell everyone on stage what is live."
)


class Place(NamedTuple):
    """A slot of the desk: its channel, the socket it comes from, and the track that can take its place (0: none).

    `why`: why it stays live, "" where the recording replaces it.
    """

    slot: int
    channel: Channel
    socket: Slot | None
    track: int
    why: str


def recorder_of(planned: Planned, said: str = "") -> Recipient:
    """The recorder that plays: the one that is named, or the only one. Raises ShowError."""
    recorders = _of_kind(planned, "recorder", said)
    if len(recorders) != 1:
        ids = ", ".join(recorder.id for recorder in recorders) or "none"
        raise ShowError(f"say which recorder plays, with --recorder; there is {ids}")
    return recorders[0]


def desk_of(planned: Planned, said: str = "") -> Recipient:
    """The desk that is fed: the one that is named, or the first that mixes for the room. Raises ShowError."""
    desks = _of_kind(planned, "desk", said)
    if not desks:
        raise ShowError("the show has no desk that a recording could be played to")
    return next((desk for desk in desks if "room" in desk.tags), desks[0])


def _of_kind(planned: Planned, kind: str, said: str) -> list[Recipient]:
    """The recipients of a kind; only the one that is named, where one is. Raises ShowError."""
    found = [one.recipient for one in planned.deliveries if one.recipient.kind == kind]
    named = [recipient for recipient in found if recipient.id == said]
    if said and not named:
        raise ShowError(unknown(kind, said, [recipient.id for recipient in found]))
    return named or found


def places(planned: Planned, recorder: Recipient, desk: Recipient, live: Sequence[str]) -> list[Place]:
    """Every channel on a desk with what becomes of it. `live`: names of channels that stay live. Raises AmendError."""
    stay = {find(planned.map, name).id for name in live}
    delivered = {one.recipient.id: one.delivered for one in planned.deliveries}
    tracks = delivered[recorder.id]
    out = []
    for name, slots in delivered[desk.id].items():
        channel = planned.map.channel(name)
        if channel is None:
            continue
        track = tracks.get(name, (0,))[0]
        why = ""
        if name in stay:
            why = "stays live: you said so"
        elif channel.kind == "talkback":
            why = "stays live: talkback"
        elif not track:
            why = "stays live: it is not recorded"
        entered = next((slot for owner, slot in planned.map.entries if owner == name), None)
        out += [Place(slot, channel, entered, track, why) for slot in slots]
    return sorted(out, key=lambda place: place.slot)


def sheet(
    planned: Planned, recorder: Recipient, desk: Recipient, found: Sequence[Place], show: str
) -> list[str]:
    """The sheet to switch over and back, to tick off with a pencil. `show` is the path of the show."""
    replaced = [place for place in found if not place.why]
    rows = [
        [
            str(place.slot),
            plain(place.channel.name),
            f"track {place.track}",
            "[ ]",
            socket_text(place.socket),
            "[ ]",
        ]
        for place in replaced
    ]
    where = desk.name or desk.id
    return [
        plain(planned.map.title),
        f"Rehearsal with the recording of {recorder.name or recorder.id}, played to {where}",
        "",
        f"{len(replaced)} inputs are replaced, {len(found) - len(replaced)} stay live.",
        *textwrap.wrap(CAUTION, 79),
        "",
        *draw(["Slot", "Name", "Plays", "Over", "Back to", "Back"], rows),
        "",
        "Stays live:",
        *draw(
            ["Slot", "Name", "From", "Why"],
            [
                [
                    str(place.slot),
                    plain(place.channel.name),
                    socket_text(place.socket),
                    place.why.partition(": ")[2],
                ]
                for place in found
                if place.why
            ],
        ),
        "",
        "When every line of the column Back is ticked, and each input was heard live:",
        f"  chanbridge rehearsal {show} --off",
    ]
