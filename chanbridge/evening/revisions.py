"""Revisions: one letter for the whole show, a hash of all that it says, and a word for the radio."""

from __future__ import annotations

import datetime
import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Annotated, Any, NamedTuple

from pydantic import Field

from chanbridge.assemble import Delivery, Planned, Played
from chanbridge.errors import ShowError
from chanbridge.formats import native
from chanbridge.model import MOST_SLOTS, ChannelMap, Entry, Port, Slot
from chanbridge.names import spoken
from chanbridge.sheets.grid import Options
from chanbridge.sheets.interpret import reading_of
from chanbridge.show import Show

Stands = Mapping[
    str, Mapping[Annotated[str, Field(min_length=1)], Annotated[int, Field(ge=1, le=MOST_SLOTS)]]
]
"""Feed, or act/feed, → channel id → the slot on which it was issued."""


class Issued(NamedTuple):
    """What was issued of the show or of an act. `delivered`: recipient → channel → its slots."""

    map: ChannelMap
    delivered: Mapping[str, Mapping[str, Sequence[int]]]


class Revision(NamedTuple):
    """What was issued under a letter.

    `number` is its entry in the journal, `files` name → SHA-256 of each document. `parts`: folder, as in
    `Planned.parts`, → what was issued of it.
    """

    number: int
    letter: str
    date: str
    hash: str
    stands: Stands
    files: Mapping[str, str]
    parts: Mapping[str, Issued]

    @property
    def word(self) -> str:
        """The hash, easy to say."""
        return spoken(self.hash)


def fingerprint(planned: Planned) -> str:
    """The SHA-256 of all that a plan and its acts say, as hexadecimal digits; letter and date are no part of it."""
    hashed = hashlib.sha256()
    for _, part in planned.parts():
        hashed.update(native.write(part.map.changed(revision="", date=None), None, ".json"))
    return hashed.hexdigest()


def stands_of(planned: Planned) -> dict[str, dict[str, int]]:
    """Where each channel stands on each feed of a plan, and on each feed in each act."""
    parts = [("", planned), *((f"{played.act.id}/", played.planned) for played in planned.acts)]
    out: dict[str, dict[str, int]] = {}
    for act, part in parts:
        for feed, made in part.feeds.items():
            slots = out.setdefault(f"{act}{feed}", {})
            for source, target in made.patches:
                for channel in part.map.occupants(source)[:1]:
                    slots.setdefault(channel.id, target.number)
    return out


def held_to(show: Show, stands: Stands) -> Show:
    """The show, planned so that what was issued stays where it is as far as can be."""
    issued = dict(show.issued)
    feeds, acts = {feed.id for feed in show.file.feed}, {"", *(act.id for act in show.file.act)}
    for key, slots in stands.items():
        act, _, feed = key.rpartition("/")
        if feed not in feeds or act not in acts:
            continue
        channels = {name: {"id": name, "name": name} for name in slots}
        kept = ChannelMap(
            channels=tuple(channels.values()),
            entries=tuple(Entry(name, Slot(feed, number)) for name, number in slots.items()),
            ports=(Port(id=feed, kind="feed", size=max(slots.values(), default=0)),),
        )
        issued[key] = reading_of(kept, f"what was issued on {feed}", "json")
    return replace(show, issued=issued)


def map_text(whole: ChannelMap) -> str:
    """A map as the journal keeps it."""
    return native.write(whole, None, ".json").decode("utf-8")


def map_of(text: str, source: str) -> ChannelMap:
    """The reverse of `map_text`. Raises ReadError."""
    return native.read(text.encode("utf-8"), source, Options())


def next_letter(letter: str) -> str:
    """The letter after another: B after A, AA after Z, 4 after 3."""
    if not letter:
        return "A"
    if letter.isdigit():
        return str(int(letter) + 1)
    body = letter.upper()
    if body.strip("Z") == "":
        return "A" * (len(body) + 1)
    last = body.rstrip("Z")
    return last[:-1] + chr(ord(last[-1]) + 1) + "A" * (len(body) - len(last))


def body_of(letter: str, date: str, planned: Planned, files: Mapping[str, bytes]) -> dict[str, Any]:
    """A revision as the journal keeps it."""
    return {
        "letter": letter,
        "date": date,
        "hash": fingerprint(planned),
        "stands": stands_of(planned),
        "files": {name: hashlib.sha256(data).hexdigest() for name, data in files.items()},
        "parts": {
            folder: {
                "map": map_text(part.map),
                "delivered": {
                    one.recipient.id: {name: list(slots) for name, slots in one.delivered.items()}
                    for one in part.deliveries
                },
            }
            for folder, part in planned.parts()
        },
    }


def from_body(number: int, body: Mapping[str, Any], source: str) -> Revision:
    """The reverse of `body_of`. Raises ReadError where the map is none."""
    parts = {
        folder: Issued(map_of(part["map"], source), part["delivered"])
        for folder, part in body["parts"].items()
    }
    return Revision(number, body["letter"], body["date"], body["hash"], body["stands"], body["files"], parts)


def lettered(planned: Planned, letter: str, date: datetime.date | None, hashed: str = "") -> Planned:
    """The plan with a letter, a date and the whole show's hash on every page; `hashed` stands in for the hash."""
    hashed = hashed or fingerprint(planned)

    def with_hash(one: Planned) -> Planned:
        whole = one.map.changed(revision=letter or one.map.revision, date=date or one.map.date)
        return one._replace(map=whole, hash=hashed)

    acts = tuple(one._replace(planned=with_hash(one.planned)) for one in planned.acts)
    return with_hash(planned)._replace(acts=acts)


def moved(planned: Planned, before: Revision) -> list[str]:
    """Channels that stand elsewhere on a feed than before, in words."""
    now = stands_of(planned)
    said = []
    for feed, slots in before.stands.items():
        for name, slot in slots.items() if feed in planned.feeds else ():  # of acts: see below
            new = now.get(feed, {}).get(name)
            if new != slot and planned.map.channel(name):
                held = planned.map.channel(name)
                said.append(f"{held.name if held else name} from {feed} {slot} to {new or 'nowhere'}")
    for played in planned.acts:
        then = before.parts.get(f"acts/{played.act.id}/")
        for delivery in played.planned.deliveries if then else ():
            if then and {*delivery.recipient.takes} & {*planned.feeds}:
                said += _moved_in_act(played, delivery, then.delivered.get(delivery.recipient.id, {}))
    return [*dict.fromkeys(said)]


def _moved_in_act(played: Played, delivery: Delivery, then: Mapping[str, Sequence[int]]) -> list[str]:
    """Channels that a recipient has elsewhere, or no more, in an act; `then`: channel → its slots before."""
    called, feed = played.act.name or played.act.id, " and ".join(delivery.recipient.takes)
    said = []
    for name, slots in then.items():
        new, held = delivery.delivered.get(name, ()), played.planned.map.channel(name)
        if held and [*new] != [*slots]:
            ways = [", ".join(map(str, places)) or "nowhere" for places in (slots, new)]
            said.append(f"in {called} {held.name} from {feed} {ways[0]} to {ways[1]}")
    return said


def check_letter(letter: str, known: tuple[Revision, ...]) -> None:
    """Raise ShowError where a letter cannot be the next revision's."""
    if not re.fullmatch(r"[A-Z]{1,3}|\d{1,3}", letter):
        raise ShowError(
            f"--revision {letter!r}: write a letter such as {next_letter(known[-1].letter if known else '')}"
        )
    if any(revision.letter == letter for revision in known):
        raise ShowError(f"revision {letter} was issued already; the next is {next_letter(known[-1].letter)}")
