"""Who hears what: roles that must not leave for air or the room, and who lacks a channel."""

from __future__ import annotations

from collections.abc import Iterator

from chanbridge.check.rule import Facts, Found, Said, named, rule
from chanbridge.model import Channel, ChannelMap
from chanbridge.names import any_of, fold, vocabulary

LEAVES = ("air", "room")
"""Where a mistake is heard by everyone."""


def inside(whole: ChannelMap, mix: Channel) -> Iterator[Channel]:
    """Every channel in a mix, those of mixes within it included, each once."""
    queue, seen = [*mix.contents], {mix.id}
    for name in queue:
        channel = whole.channel(name)
        if channel and name not in seen:
            seen.add(name)
            yield channel
            queue += channel.contents


def mixes(facts: Facts) -> Iterator[Channel]:
    """Every channel that holds others; of a pair that holds the same the first."""
    seen: set[tuple[str | None, tuple[str, ...]]] = set()
    for channel in facts.map.channels:
        if channel.contents and (channel.id, channel.contents) not in seen:
            yield channel
            seen.add((channel.pair.partner if channel.pair else None, channel.contents))


def _leaves_for(facts: Facts, mix: Channel) -> Iterator[str]:
    """Where a mix is heard: allowed by itself, or standing at a recipient of that tag and not forbidden."""
    recipients = facts.file.recipient if facts.file else ()
    for name in LEAVES:
        permission = getattr(mix.audience, name)
        at = [
            item.id for item in recipients if name in item.tags and mix.id in facts.standing.get(item.id, {})
        ]
        if permission == "allowed" or (permission == "open" and (at or not facts.file)):
            yield name


@rule("not-for-air-in-mix", "error", care="sound")
def not_for_air_in_mix(facts: Facts) -> Said:
    """Click, cue, guide, talkback or timecode in a mix that leaves for air or the room, mixes within it included.

    Fails:
        Slot,Name,Kind,Contents,Air
        1,Ana,mic,,yes
        2,Click,line,,no
        3,Music mix,mix,ana; click,yes
    Passes:
        Slot,Name,Kind,Contents,Air
        1,Ana,mic,,yes
        2,Click,line,,no
        3,Music mix,mix,ana,yes
    """
    for mix in mixes(facts):
        for name in _leaves_for(facts, mix):
            wrong = [
                channel
                for channel in inside(facts.map, mix)
                if getattr(channel.audience, name) == "not allowed" and channel.kind != "ambience"
            ]
            if wrong:
                place = "on air" if name == "air" else "in the room"
                message = f"{mix.name!r} is heard {place} and holds {named(wrong)}; take it out of the mix, or mark the mix"
                yield Found(facts.where(mix), message, (mix, *wrong))


@rule("ambience-in-room", "warning", care="sound")
def ambience_in_room(facts: Facts) -> Said:
    """An ambience microphone that the room's loudspeakers get, alone or in a mix: it howls.

    Fails:
        Slot,Name,Kind,Room
        1,Ambience L,ambience,yes
        2,Ambience R,ambience,no
    Passes:
        Slot,Name,Kind,Room
        1,Ambience L,ambience,no
        2,Ambience R,ambience,no
    """
    for channel in facts.map.channels:
        if channel.kind == "ambience" and channel.audience.room == "allowed":
            yield Found(
                facts.where(channel),
                f"{channel.name!r} is allowed in the room, where it howls; write not allowed",
                (channel,),
            )
    for mix in mixes(facts):
        wrong = [channel for channel in inside(facts.map, mix) if channel.kind == "ambience"]
        if wrong and "room" in _leaves_for(facts, mix):
            message = f"{mix.name!r} is heard in the room and holds {named(wrong)}; take it out of the mix, or mark the mix"
            yield Found(facts.where(mix), message, (mix, *wrong))


@rule("role-unmarked", "warning", care="sound")
def role_unmarked(facts: Facts) -> Said:
    """A name that says click, cue, guide, talkback or timecode on a channel that may go on air.

    Fails:
        Slot,Name,Air
        1,Ana,yes
        2,Click,yes
    Passes:
        Slot,Name,Air
        1,Ana,yes
        2,Click,no
    """
    for channel in facts.map.channels:
        word = "" if channel.contents else _role(channel.name)
        if word and channel.audience.air != "not allowed":
            said = "is allowed on air" if channel.audience.air == "allowed" else "is not kept from air"
            message = (
                f"{channel.name!r} {said}, and its name says {word!r}; mark it not for air, or rename it"
            )
            yield Found(facts.where(channel), message, (channel,))


def _role(name: str) -> str:
    """The word in a name that keeps it from air, or ""; a name with a word that misleads has none."""
    text, roles = fold(name), vocabulary().roles
    found = any_of(roles["not_for_air"]).search(text)
    return found[0] if found and not any_of(roles["misleading"]).search(text) else ""


@rule("contents-unknown", "error")
def contents_unknown(facts: Facts) -> Said:
    """A mix that names a channel which is not there, or that holds itself.

    Fails:
        Slot,Name,Kind,Contents
        1,Ana,mic,
        2,Music mix,mix,ana; jonas
    Passes:
        Slot,Name,Kind,Contents
        1,Ana,mic,
        2,Music mix,mix,ana
    """
    ids_of = {fold(channel.name): channel.id for channel in facts.map.channels}
    for mix in mixes(facts):
        unknown = [name for name in mix.contents if not facts.map.channel(name)]
        if unknown:
            names = ", ".join(map(repr, unknown))
            ids = [ids_of[fold(name)] for name in unknown if fold(name) in ids_of]
            meant = f" ({', '.join(map(repr, ids))}?)" if ids else ""
            yield Found(
                facts.where(mix),
                f"{mix.name!r} holds {names}, which nobody sends; name channels by their ids{meant}",
                (mix,),
            )
        if any(mix.id in channel.contents for channel in (mix, *inside(facts.map, mix))):
            yield Found(facts.where(mix), f"{mix.name!r} holds itself; take it out of its contents", (mix,))


@rule("must-have-missing", "error", needs="show")
def must_have_missing(facts: Facts) -> Said:
    """A channel that a recipient should get and does not.

    Fails:
        Socket,Name
        1,Kick
        8,Ana
        [[recipient]]
        id = "desk"
        takes = ["one"]
        inputs = 4
    Passes:
        Socket,Name
        1,Kick
        4,Ana
        [[recipient]]
        id = "desk"
        takes = ["one"]
        inputs = 4
    """
    file = facts.file
    takes = {item.id: item.heard for item in file.recipient} if file else {}
    first = {feed.id: feed.continues or feed.id for feed in file.feed} if file else {}
    by_reason: dict[tuple[str, str], list[Channel]] = {}
    for item in facts.missing:
        full = any(
            item.channel in facts.overflow.get(first.get(name, name), ()) for name in takes[item.recipient]
        )
        if item.wanted and not full:  # a feed without room is over-capacity, once for all who take it
            by_reason.setdefault((item.recipient, item.reason), []).append(item.channel)
    for (recipient, reason), channels in by_reason.items():
        yield Found(recipient, f"{recipient} does not get {named(channels)}: {reason}", tuple(channels))


@rule("not-to-be-had", "warning", needs="show")
def not_to_be_had(facts: Facts) -> Said:
    """What a recipient's list asks for and the show does not have.

    Fails:
        Socket,Name
        1,Kick
        == wants.csv
        Slot,Name
        1,Kick
        2,Steel drum
        [[recipient]]
        id = "desk"
        takes = ["one"]
        wants = "wants.csv"
    Passes:
        Socket,Name
        1,Kick
        2,Steel drum
        == wants.csv
        Slot,Name
        1,Kick
        2,Steel drum
        [[recipient]]
        id = "desk"
        takes = ["one"]
        wants = "wants.csv"
    """
    for recipient, texts in facts.ungiven.items():
        for text in texts:
            yield Found(recipient, f"it asks for {text}, which the show does not have; ask what is meant")


@rule("act-clash", "warning", needs="show")
def act_clash(facts: Facts) -> Said:
    """What an act does that clashes with an act before: a socket named twice, a channel that moves on a feed.

    Fails:
        Socket,Name
        1,Kick
        == choir.csv
        Box,Socket,Name
        A,3,Alto
        A,3,Tenor
        [[act]]
        id = "choir"
        sheet = "choir.csv"
    Passes:
        Socket,Name
        1,Kick
        == choir.csv
        Box,Socket,Name
        A,3,Alto
        A,4,Tenor
        [[act]]
        id = "choir"
        sheet = "choir.csv"
    """
    for text in facts.clashes:
        yield Found("its changes", f"{text}; tell whoever it concerns")


RULES = (
    not_for_air_in_mix, ambience_in_room, role_unmarked, contents_unknown, must_have_missing, not_to_be_had,
    act_clash,
)  # fmt: skip
