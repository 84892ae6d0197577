"""What a late change asks for, as steps on the map of the stage; and why it cannot be, with what would free it."""

from __future__ import annotations

from collections.abc import Sequence
from difflib import get_close_matches
from typing import Any

from chanbridge.evening.steps import Step, socket_text
from chanbridge.evening.words import AmendError, Asked
from chanbridge.model import Channel, ChannelMap, Slot
from chanbridge.names import fold, slug, unique, vocabulary
from chanbridge.sheets import values


def steps_for(asked: Asked, stage: ChannelMap) -> tuple[Step, ...]:
    """What was asked, as steps on the stage as it stands.

    Raises AmendError with the reason where it cannot be, and with what would free it.
    """
    return _MAKERS[asked.what](asked, stage)


def check(steps: Sequence[Step], stage: ChannelMap) -> None:
    """Raise AmendError where steps cannot be carried out: a channel or a socket is not as it has to be."""
    moving = {step.channel for step in steps if step.change in ("move", "remove")}
    for step in steps:
        if step.change == "add":
            if stage.channel(step.channel):
                raise AmendError(f"{(step.fields or {}).get('name')!r} is there already")
        elif not stage.channel(step.channel):
            raise AmendError(f"the channel {step.channel!r} is not there any more")
        if step.at and step.change in ("move", "add"):
            _free(stage, step.at, moving)


# Which channel, which socket


def find(stage: ChannelMap, said: str) -> Channel:
    """The channel that someone means: by name, by id, by socket. Raises AmendError with the nearest names."""
    named = [channel for channel in stage.channels if fold(channel.name) == fold(said)]
    if len(named) == 1:
        return named[0]
    if named:
        where = " and ".join(f"{said} at {socket_text(_at(stage, channel.id))}" for channel in named)
        raise AmendError(f"there are {len(named)} called {said!r}: {where}; name it by its socket")
    known = stage.channel(said)
    if known:
        return known
    try:
        slot = _socket(stage, said)
    except AmendError:
        slot = None  # it was meant as a name
    if slot:
        # Not what is heard there: what enters there.
        standing = [channel for channel, at in stage.entries if at == slot]
        if len(standing) == 1:
            return stage.channel(standing[0]) or Channel(id=standing[0])
        if not standing:
            raise AmendError(f"nothing stands at {socket_text(slot)}")
        names = " and ".join(repr((stage.channel(name) or Channel(id=name)).name) for name in standing)
        raise AmendError(f"{names} share {socket_text(slot)}; say which")
    known_names = {fold(channel.name): channel.name for channel in stage.channels if channel.name}
    words = {*fold(said).split()}
    near = [name for folded, name in known_names.items() if words <= {*folded.split()}][:3]
    near = near or [known_names[name] for name in get_close_matches(fold(said), known_names, 3, 0.6)]
    advice = f"; did you mean {' or '.join(map(repr, near))}?" if near else ""
    raise AmendError(f"there is no channel {said!r}{advice}")


def _staged(stage: ChannelMap, said: str) -> Channel:
    """The channel on a socket that someone means. Raises AmendError for what a desk or the truck makes."""
    channel = find(stage, said)
    if _at(stage, channel.id) is None:
        maker = next((stage.port(slot.port).device for name, slot in stage.entries if name == channel.id), "")
        raise AmendError(
            f"{channel.name!r} stands at no socket of the stage, it is made by {maker or 'a desk'}; change show.toml"
        )
    return channel


def _both(stage: ChannelMap, said: str) -> tuple[Channel, ...]:
    """The channel that someone means, or both sides of a pair named by what its names have in common."""
    words = vocabulary()
    sides = {}
    for channel in stage.channels:
        sided = values.sided(channel.name, words)
        if channel.pair and sided and sided.stem == fold(said):
            sides[channel.pair.side] = channel
    if len(sides) == 2 and not any(fold(channel.name) == fold(said) for channel in stage.channels):
        return tuple(
            _staged(stage, sides[side].id) for side in ("left", "right", "mid", "side") if side in sides
        )
    return (_staged(stage, said),)


def _socket(stage: ChannelMap, said: str) -> Slot:
    """The socket that someone means. Raises AmendError where it is none."""
    boxes = {fold(port.device or port.id): port for port in stage.ports if port.kind == "sockets"}
    found = values.sockets(said)
    if not found or len(found) > 1 or not boxes:
        raise AmendError(f"{said!r} is no socket; write a box and a number, such as A16")
    box, number = found[0]
    if not box and len(boxes) == 1:
        box = next(iter(boxes))
    port = boxes.get(fold(box))
    if port is None:
        raise AmendError(
            f"there is no box {box!r}; there are {', '.join(port.id for port in boxes.values())}"
            if box
            else f"{said!r} names no box; write for example {next(iter(boxes.values())).id}{number}"
        )
    if number > port.size > 0:
        free = _free_sockets(stage, port.id)
        raise AmendError(
            f"box {port.id} has {port.size} inputs, so there is no {port.id}{number}"
            + (f"; free are {', '.join(free)}" if free else "; all of them are taken")
        )
    return Slot(port.id, number)


def _at(stage: ChannelMap, channel: str) -> Slot | None:
    sockets = {port.id for port in stage.ports if port.kind == "sockets"}
    return next((slot for name, slot in stage.entries if name == channel and slot.port in sockets), None)


def _free(stage: ChannelMap, slot: Slot, moving: set[str], who: str = "") -> None:
    """Raise AmendError where a socket is taken by a channel that stays there."""
    holders = [name for name, at in stage.entries if at == slot and name not in moving]
    if holders:
        held = stage.channel(holders[0])
        name = held.name if held else holders[0]
        free = _free_sockets(stage, slot.port)
        ways = [f'"remove {name}"', *([f'"swap {who} and {name}"'] if who else [])]
        if free:
            ways.insert(0, f'"{name} to {free[0]}"')
        raise AmendError(
            f"{socket_text(slot)} is taken by {name!r}; free it with {' or '.join(ways)}"
            + (f", or use a free one: {', '.join(free)}" if free else "")
        )


def _free_sockets(stage: ChannelMap, box: str) -> list[str]:
    """Four sockets of a box that nothing enters at, those without a remark first."""
    taken = {slot.number for _, slot in stage.entries if slot.port == box}
    marked = {slot.number for slot, text in stage.reserved if slot.port == box and text}
    size = stage.port(box).size
    free = [number for number in range(1, size + 1) if number not in taken]
    free.sort(key=lambda number: (number in marked, number))
    return [socket_text(Slot(box, number)) for number in free[:4]]


# Each thing that may be asked


def _move(asked: Asked, stage: ChannelMap) -> tuple[Step, ...]:
    target = _socket(stage, asked.other)
    both = _both(stage, asked.who)
    moving = {channel.id for channel in both}
    steps = []
    for more, channel in enumerate(both):
        at = Slot(target.port, target.number + more)
        if more:
            _socket(stage, socket_text(at))
        left = _at(stage, channel.id)
        if left == at:
            raise AmendError(f"{channel.name!r} is at {socket_text(at)} already")
        _free(stage, at, moving, channel.name)
        steps.append(Step("move", channel.id, channel.name, channel.name, left, at))
    return tuple(steps)


def _rename(asked: Asked, stage: ChannelMap) -> tuple[Step, ...]:
    channel = _staged(stage, asked.who)
    other = next((item for item in stage.channels if fold(item.name) == fold(asked.other)), None)
    if other is channel and channel.name == asked.other:
        raise AmendError(f"it is called {asked.other!r} already")
    if other is not None and other is not channel:
        raise AmendError(
            f"another channel is called {other.name!r}, at {socket_text(_at(stage, other.id))}; two of one name are "
            "not told apart at the desks: choose another"
        )
    heard = [name for name in _meant_for(asked.other)[0] if getattr(channel.audience, name) != "not allowed"]
    if heard:
        where, at = "on air" if heard[0] == "air" else "in the room", socket_text(_at(stage, channel.id))
        raise AmendError(
            f"{asked.other!r} says that it must not be heard {where}, where {channel.name!r} may be, and a rename leaves "
            f'that as it is; say "remove {channel.name}", then "add {asked.other} at {at}"'
        )
    return (Step("rename", channel.id, channel.name, asked.other),)


def _add(asked: Asked, stage: ChannelMap) -> tuple[Step, ...]:
    same = next((item for item in stage.channels if fold(item.name) == fold(asked.who)), None)
    if same:
        raise AmendError(
            f"there is a channel {same.name!r} already, at {socket_text(_at(stage, same.id))}; choose another name, or "
            f'say "{same.name} to {asked.other}"'
        )
    at = _socket(stage, asked.other)
    _free(stage, at, set())
    name = unique(slug(at.port, asked.who) or "channel", {channel.id for channel in stage.channels})
    closed, role = _meant_for(asked.who)
    kind = vocabulary().kinds.get(fold(asked.transducer)) or role
    owners = {channel.gain_owner for channel in stage.channels}
    owner = owners.pop() if len(owners) == 1 else ""
    said: dict[str, Any] = {
        "id": name, "name": asked.who, "transducer": asked.transducer, "kind": kind, "gain_owner": owner,
        "audience": dict.fromkeys(closed, "not allowed"),
    }  # fmt: skip
    told = {key: value for key, value in said.items() if value}
    return (Step("add", name, "", asked.who, None, at, told),)


def _meant_for(name: str) -> tuple[tuple[str, ...], str | None]:
    """Who may not hear a channel of this name and of which kind it is, as a sheet's name would say."""
    words = vocabulary()
    role = values.roles(name, words)
    return values.meant_for(*role, words) if role and not values.is_misleading(name, words) else ((), None)


def _remove(asked: Asked, stage: ChannelMap) -> tuple[Step, ...]:
    steps = []
    for channel in _both(stage, asked.who):
        fields = channel.model_dump(mode="json", exclude_defaults=True) | {"id": channel.id}
        holding = [mix for mix in stage.channels if channel.id in mix.contents]
        mixes = tuple((mix.id, mix.contents.index(channel.id)) for mix in holding)
        at = _at(stage, channel.id)
        steps.append(Step("remove", channel.id, channel.name, "", at, None, fields, mixes))
    return tuple(steps)


def _swap(asked: Asked, stage: ChannelMap) -> tuple[Step, ...]:
    one, other = _staged(stage, asked.who), _staged(stage, asked.other)
    if one is other:
        raise AmendError(f"{one.name!r} cannot be swapped with itself")
    places = {channel.id: _at(stage, channel.id) for channel in (one, other)}
    if places[one.id] == places[other.id]:
        raise AmendError(f"{one.name!r} and {other.name!r} share {socket_text(places[one.id])}")
    return (
        Step("move", one.id, one.name, one.name, places[one.id], places[other.id]),
        Step("move", other.id, other.name, other.name, places[other.id], places[one.id]),
    )


def _phantom(asked: Asked, stage: ChannelMap) -> tuple[Step, ...]:
    wanted = asked.other.lower()
    steps = []
    for channel in _both(stage, asked.who):
        if channel.phantom != wanted:
            steps.append(Step("phantom", channel.id, channel.phantom, wanted, None, _at(stage, channel.id)))
    if not steps:
        raise AmendError(f"phantom for {asked.who!r} is {wanted} already")
    return tuple(steps)


def _note(asked: Asked, stage: ChannelMap) -> tuple[Step, ...]:
    channel = _staged(stage, asked.who)
    if channel.notes == asked.other:
        raise AmendError(f"{channel.name!r} has that note already")
    return (Step("note", channel.id, channel.notes, asked.other),)


_MAKERS = {
    "move": _move,
    "rename": _rename,
    "add": _add,
    "remove": _remove,
    "swap": _swap,
    "phantom": _phantom,
    "note": _note,
}
