"""From the sheets of a show to one map, planned for every recipient."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from chanbridge.assemble.acts import Stage, stages
from chanbridge.assemble.boxes import Builder
from chanbridge.assemble.feeds import Ways, check_fixes, in_act, plan_all, settle
from chanbridge.assemble.lists import Listed, listed
from chanbridge.assemble.returns import add_returns
from chanbridge.errors import Problem
from chanbridge.mode import Mode
from chanbridge.model import Channel, ChannelMap, Patch, Port, Reserved, Slot
from chanbridge.names import spoken
from chanbridge.plan.declared import first_feed, reaches
from chanbridge.plan.straight import Plan
from chanbridge.said import Listed as SaidList
from chanbridge.said import Said
from chanbridge.show import Show
from chanbridge.system import Act, Box, Recipient, ShowFile


class NotDelivered(NamedTuple):
    """A channel that a recipient does not get. `wanted`: it should have it."""

    channel: Channel
    reason: str
    wanted: bool


class Delivery(NamedTuple):
    """What a recipient gets. `delivered`: channel id → the slots of its port where the channel stands."""

    recipient: Recipient
    delivered: Mapping[str, tuple[int, ...]]
    missing: tuple[NotDelivered, ...]
    how: tuple[str, ...]


class Played(NamedTuple):
    """An act: the whole show as it is then, and what of it is noteworthy beside the acts before it."""

    act: Act
    planned: Planned
    problems: tuple[str, ...]


class Planned(NamedTuple):
    """The show as one map, from every box's sockets to every recipient's slots, and back to the boxes' outputs.

    `unplaced`: channels whose sheet puts them nowhere. `feeds`: feed id → its plan. `returns`: ids of the
    channels that come back. `ungiven`: recipient id → what its list asks for and the show cannot give.
    `hash`: of all that the show says, in hexadecimal digits, on paper that is printed. `act`: the name of an act.
    """

    map: ChannelMap
    feeds: Mapping[str, Plan]
    deliveries: tuple[Delivery, ...]
    unplaced: tuple[tuple[Channel, str], ...]
    problems: tuple[Problem, ...]
    returns: tuple[str, ...] = ()
    ungiven: Mapping[str, tuple[str, ...]] = {}
    acts: tuple[Played, ...] = ()
    hash: str = ""
    act: str = ""

    def parts(self) -> Iterator[tuple[str, Planned]]:
        """The show and each act, with the folder of its sheets: "" for the show, such as acts/interval/ for an act."""
        yield "", self
        for played in self.acts:
            yield f"acts/{played.act.id}/", played.planned

    @property
    def word(self) -> str:
        """The hash, easy to say; "" where there is none."""
        return spoken(self.hash) if self.hash else ""


def assemble(show: Show, amend: Callable[[ChannelMap], ChannelMap] | None = None) -> Planned:
    """Put every box on its block, every block on its feeds, and work out what each recipient gets, act by act.

    `amend` changes the stage (the boxes with their channels) before anything is planned.
    Raises ShowError where the show file asks for what cannot be.
    """
    builder = Builder(show)
    for box in sorted(show.file.box, key=lambda box: box.id):  # as any order of the show file would have it
        builder.add_box(box)
    stage = amend(builder.map()) if amend else builder.map()
    played = stages(show, stage)
    check_fixes(show, [stage, *(one.map for one in played)])
    base, acts = _in_turn(show, stage, played, {})
    first = {feed.id: feed.continues or feed.id for feed in show.file.feed}
    moving = {first[name] for act in acts for name, made in act.feeds.items() if made.moved}
    said: dict[str, str] = {}
    if moving:
        ways, said = settle(
            show, [stage, *(one.map for one in played)], [one.feeds for one in (base, *acts)], moving
        )
        if ways:
            base, acts = _in_turn(show, stage, played, ways)
    unplaced, problems = tuple(builder.unplaced), tuple(builder.problems)
    finished = tuple(
        Played(
            one.act,
            _named(planned, one.act)._replace(unplaced=unplaced, problems=problems),
            _noteworthy(one, planned, said),
        )
        for one, planned in zip(played, acts, strict=True)
    )
    return base._replace(unplaced=unplaced, problems=problems, acts=finished)


def _named(planned: Planned, act: Act) -> Planned:
    """An act's plan with the act's name, in the title too: its sheets lie beside those of the show."""
    name = act.name or act.id
    whole = planned.map
    return planned._replace(
        act=name, map=whole.changed(title=f"{whole.title}: {name}" if whole.title else name)
    )


def _in_turn(
    show: Show, base: ChannelMap, played: Sequence[Stage], ways: Ways
) -> tuple[Planned, list[Planned]]:
    """The show and then each act, every channel where it stood before if that can be."""
    begun = _planned(show, base, ways, first=True)
    return begun, [_planned(in_act(show, stage.act.id), stage.map, ways, first=False) for stage in played]


def _noteworthy(stage: Stage, planned: Planned, proofs: Mapping[str, str]) -> tuple[str, ...]:
    """What clashes with the acts before: what the overlay did, and channels that move on a feed."""
    said = list(stage.problems)
    for feed, made in planned.feeds.items():
        for moved in made.moved:
            if moved.was.port == feed:
                channel = planned.map.channel(moved.channel)
                name = channel.name if channel else moved.channel
                to = f"comes on {moved.to} now" if moved.to else "is not carried any more"
                said.append(f"{name!r} stood on {moved.was} in an act before and {to}")
        if made.moved and feed in proofs:
            said.append(f"{feed}: {proofs[feed]}")
    return tuple(said)


def _planned(show: Show, whole: ChannelMap, ways: Ways, *, first: bool) -> Planned:
    """One act, or the show without acts: planned from the boxes' sockets to all recipients."""
    file = show.file
    feeds = plan_all(show, whole, ways, first=first)
    ports, patches = list(whole.ports), list(whole.patches)
    for feed in file.feed:
        ports.append(
            Port(id=feed.id, kind="feed", size=feed.mode.slots, mode=feed.mode, rate_hz=feed.mode.rate_hz)
        )
        patches += feeds[feed.id].patches
    reserved = [
        *whole.reserved,
        *(item for made in {id(made): made for made in feeds.values()}.values() for item in made.reserved),
    ]
    sizes = {port.id: port.size for port in ports}
    modes = {feed.id: feed.mode for feed in file.feed}
    asked = {name: listed(reading, whole) for name, reading in show.wants.items()}
    stood = whole.changed(ports=tuple(ports), patches=tuple(patches))
    for recipient in file.recipient:
        port, more = _recipient_port(recipient, sizes, modes, file)
        if recipient.id in asked and recipient.takes[0] not in modes:
            more = _wanted_patches(stood, recipient, local_boxes(file, recipient), asked[recipient.id])
            if recipient.inputs is None:  # a list that names a slot says that there is one
                port = port.changed(size=max([port.size, *asked[recipient.id].slots.values()]))
            reserved += _not_given(recipient, asked[recipient.id], more, port.size)
        ports.append(port)
        patches += more
    whole = whole.changed(ports=tuple(ports), patches=tuple(patches), reserved=tuple(dict.fromkeys(reserved)))
    homes = {row.channel.id: block.id for block in file.block for row in whole.sheet(block.id) if row.channel}
    for box in file.box:
        if box.desk:
            homes |= {row.channel.id: box.id for row in whole.sheet(box.id) if row.channel}
    whole, returned = add_returns(show, whole)
    deliveries = tuple(
        _delivery(whole, recipient, feeds, file, homes, asked.get(recipient.id), first=first)
        for recipient in file.recipient
    )
    ungiven = {
        name: tuple(
            f"slot {line.number}: {line.channel.name}" for line in one.unknown if line.channel and line.number
        )
        for name, one in asked.items()
    }
    return Planned(whole, feeds, deliveries, (), (), returned, ungiven)


def local_boxes(file: ShowFile, recipient: Recipient) -> list[Box]:
    """The boxes whose sockets are a recipient's own."""
    return [box for box in file.box if box.desk == recipient.id]


def _recipient_port(
    recipient: Recipient, sizes: Mapping[str, int], modes: Mapping[str, Mode], file: ShowFile
) -> tuple[Port, list[Patch]]:
    taken = sum(sizes[name] for name in recipient.heard)
    local = local_boxes(file, recipient)
    size = recipient.inputs or max([taken, *(taken + box.first - 1 + box.inputs for box in local)])
    patches = []
    offset = 0
    for name in recipient.heard:
        for number in range(1, min(sizes[name], size - offset) + 1):
            patches.append(Patch(Slot(name, number), Slot(recipient.id, offset + number)))
        offset += sizes[name]
    for box in local:
        before = taken + box.first - 1
        for socket in range(1, min(box.inputs, size - before) + 1):
            patches.append(Patch(Slot(box.id, socket), Slot(recipient.id, before + socket)))
    mode = modes.get(recipient.takes[0]) if len(recipient.heard) == 1 else None
    kind = "feed" if mode and recipient.kind == "desk" else recipient.kind
    port = Port(
        id=recipient.id, name=recipient.name, kind=kind, size=size, mode=mode if kind == "feed" else None,
        rate_hz=mode.rate_hz if mode else file.rate,
    )  # fmt: skip
    return port, patches


def _wanted_patches(
    whole: ChannelMap, recipient: Recipient, local: Sequence[Box], asked: Listed
) -> list[Patch]:
    """The patches of a recipient that takes blocks and says which channel it wants on which slot.

    `local`: the boxes whose sockets are its own.
    """
    at: dict[str, Slot] = {}
    for name in (*recipient.heard, *(box.id for box in local)):
        for row in whole.sheet(name):
            if row.channel:
                at.setdefault(row.channel.id, Slot(name, row.number))
    return [
        Patch(at[name], Slot(recipient.id, number))
        for name, number in asked.slots.items()
        if name in at and (recipient.inputs is None or number <= recipient.inputs)
    ]


def _not_given(
    recipient: Recipient, asked: Listed, patches: Iterable[Patch], size: int
) -> Iterator[Reserved]:
    """What stands on a recipient's slots for which it asks what the show cannot give."""
    taken = {patch.target.number for patch in patches}
    for line in asked.unknown:
        if line.channel and line.number and line.number <= size and line.number not in taken:
            yield Reserved(Slot(recipient.id, line.number), f"asked for: {line.channel.name}")


def _delivery(
    whole: ChannelMap,
    recipient: Recipient,
    feeds: Mapping[str, Plan],
    file: ShowFile,
    homes: Mapping[str, str],
    asked: Listed | None,
    *,
    first: bool,
) -> Delivery:
    """What stands on a recipient's port, one channel a slot, and why each other channel does not.

    `homes`: channel id → the block that carries it, or the box that is local to a desk; a channel without one
    is nobody's, and named once for all. `asked`: the list of a recipient that says what it wants. `first`: nothing
    was played before, so what moved on a feed did so since that was issued.
    """
    at, reasons = _standing(whole, recipient, feeds)
    listening = recipient.model_copy(update={"takes": recipient.heard})
    reachable = {*reaches(file, listening), *(box.id for box in local_boxes(file, recipient))}
    others = {
        patch.source: feed
        for feed, made in feeds.items()
        if feed not in recipient.heard
        for patch in made.patches
    }
    elsewhere = {
        channel.id: feed for slot, feed in others.items() for channel in whole.occupants(slot)[:1]
    }  # fmt: skip
    on_feeds = any(name in feeds for name in recipient.heard)
    size = whole.port(recipient.id).size
    missing = []
    for channel in whole.channels:
        if channel.id in at or channel.id not in homes:
            continue
        home = homes[channel.id]
        wanted = home in reachable and is_wanted(channel, recipient)
        if channel.id in reasons:
            reason = reasons[channel.id]
        elif home not in reachable:
            reason = _unreachable(home, recipient, file)
        elif asked and not on_feeds and channel.id not in asked.slots:
            reason, wanted = Said("{who} does not ask for it", who=recipient.id), False
        elif on_feeds and channel.id in elsewhere:
            other = elsewhere[channel.id]
            reason = Said("carried on {feed}, which {who} does not take", feed=other, who=recipient.id)
        else:
            reason = Said("{who} has {size} inputs, and it stands beyond them", who=recipient.id, size=size)
        missing.append(NotDelivered(channel, reason, wanted))
    how: list[str] = []
    for feed in file.feed:
        if feed.id in recipient.heard:
            told = bool(first_feed(file, feed).model_fields_set & _ASKS)
            how += _how(feed.id, feed.mode, feeds[feed.id], told)
            how += _since_issued(whole, feed.id, feeds[feed.id]) if first else ()
    if asked:
        how += _against_list(whole, at, asked)
    return Delivery(recipient, {name: tuple(slots) for name, slots in at.items()}, tuple(missing), tuple(how))


def _standing(
    whole: ChannelMap, recipient: Recipient, feeds: Mapping[str, Plan]
) -> tuple[dict[str, list[int]], dict[str, str]]:
    """Channel id → the slots of a recipient where it stands, and channel id → why it counts for nothing there.

    What a feed leaves out stands on none of that feed's slots, whatever the sockets beneath say; it may stand on
    those of another.
    """
    under = [name for name in recipient.heard for _ in range(whole.port(name).size)]
    gone = {
        name: {out.channel: out.reason for out in feeds[name].left_out}
        for name in recipient.heard
        if name in feeds
    }
    reasons = {channel: reason for left_out in gone.values() for channel, reason in left_out.items()}
    at: dict[str, list[int]] = {}
    holders: dict[int, Channel] = {}
    for number, channel, _, _ in whole.sheet(recipient.id):
        carrier = under[number - 1] if number <= len(under) else ""
        if channel is None or channel.id in gone.get(carrier, {}):
            continue
        holder = holders.setdefault(number, channel)
        if holder is channel:
            at.setdefault(channel.id, []).append(number)
        else:
            reasons[channel.id] = Said("slot {slot} already carries {name!r}", slot=number, name=holder.name)
    return at, reasons


def _against_list(whole: ChannelMap, at: Mapping[str, Sequence[int]], asked: Listed) -> list[str]:
    """What a recipient's list asks for and does not get as it has it, though the show has the channel."""
    names = {channel.id: channel.name for channel in whole.channels}
    instead = [
        Said("{name} on {slot} instead of {wanted}", name=names[channel], slot=at[channel][0], wanted=number)
        for channel, number in asked.slots.items()
        if channel in at and number not in at[channel]
    ]
    if not instead:
        return [*asked.remarks]
    return [*asked.remarks, Said("not where its list asks: {places}", places=SaidList(", ", instead))]


_ASKS = {"fix", "keep", "grain", "spare", "layout"}


def _how(name: str, mode: Mode, made: Plan, asked: bool) -> list[str]:
    """How a feed is laid out, and where it was asked or is open how well that was done."""
    lines: list[str] = [Said("{feed} ({mode}): {why}", feed=name, mode=mode, why=made.why)]
    if made.proof and (asked or not made.proved):
        lines.append(Said("{feed}: {why}", feed=name, why=made.proof))
    return lines


def _since_issued(whole: ChannelMap, feed: str, made: Plan) -> list[str]:
    """Which channels do not stand on a feed where the sheet that was issued for it has them."""
    names = {channel.id: channel.name for channel in whole.channels}
    places = []
    for moved in made.moved:
        if moved.was.port == feed:
            name, was = names[moved.channel], moved.was.number
            if moved.to is None:
                places.append(Said("{name} not carried instead of on {wanted}", name=name, wanted=was))
            else:
                to = moved.to.number if moved.to.port == feed else str(moved.to)
                places.append(Said("{name} on {slot} instead of {wanted}", name=name, slot=to, wanted=was))
    if not places:
        return []
    return [Said("{feed}: not where it was issued: {places}", feed=feed, places=SaidList(", ", places))]


def _unreachable(home: str, recipient: Recipient, file: ShowFile) -> str:
    """Why a recipient does not hear what stands on a block, or on the sockets of a desk."""
    desk = next((box.desk for box in file.box if box.id == home and box.desk), "")
    if desk:
        return Said("stands on {home}, local to {desk}, and no block carries it", home=home, desk=desk)
    if home in reaches(file, recipient):
        ports = Said("one port") if recipient.ports == 1 else Said("{count} ports", count=recipient.ports)
        hears = ", ".join(recipient.heard)
        return Said(
            "stands on {home}; {who} has {ports} and hears {hears}",
            home=home, who=recipient.id, ports=ports, hears=hears,
        )  # fmt: skip
    return Said("stands on {home}, which {who} does not take", home=home, who=recipient.id)


def is_wanted(channel: Channel, recipient: Recipient) -> bool:
    """Whether a recipient must get a channel: anyone who hears it through the recipient may hear it."""
    permissions = [getattr(channel.audience, tag) for tag in recipient.tags]
    return not permissions or any(permission != "not allowed" for permission in permissions)
