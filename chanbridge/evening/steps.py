"""The steps of a late change, carried out on the map of the stage; to the journal's JSON and back.

Steps say where things end, not how they get there, so carrying them out twice is carrying them out once: a change that
has found its way into the sheets stays true.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Literal, NamedTuple, get_args

from chanbridge.evening.words import AmendError
from chanbridge.model import OTHER_SIDE, Channel, ChannelMap, Entry, Pair, Slot

Change = Literal["move", "rename", "add", "remove", "phantom", "note"]


class Step(NamedTuple):
    """One thing that becomes true of a channel: where it enters, how it is called, that it is there or not.

    `was` and `now` are a name, a phantom setting or a note. `left` and `at` are sockets (box, number), None where
    there is none. `fields` are those of a channel that comes or goes; `mixes` those that it is in, with its place
    there.
    """

    change: Change
    channel: str
    was: str = ""
    now: str = ""
    left: Slot | None = None
    at: Slot | None = None
    fields: dict[str, Any] | None = None
    mixes: tuple[tuple[str, int], ...] = ()


def to_json(step: Step) -> dict[str, Any]:
    """A step as the journal keeps it."""
    return {name: value for name, value in step._asdict().items() if value not in (None, "", ())}


def from_json(said: dict[str, Any]) -> Step:
    """The reverse of `to_json`. Raises AmendError, or TypeError or ValueError, for what is no step."""
    read: dict[str, Any] = {name: Slot(*said[name]) for name in ("left", "at") if name in said}
    read["mixes"] = tuple((str(mix), int(at)) for mix, at in said.get("mixes", ()))
    step = Step(**(said | read))
    if step.change not in get_args(Change):
        raise AmendError(f"the journal holds a change that this version does not know: {step.change!r}")
    if step.fields is not None:
        Channel(**step.fields)
    return step


def opposite(steps: Sequence[Step]) -> tuple[Step, ...]:
    """The steps that undo others, last first."""
    return tuple(
        step._replace(change=_turned(step.change), was=step.now, now=step.was, left=step.at, at=step.left)
        for step in reversed(steps)
    )


def _turned(change: Change) -> Change:
    return "remove" if change == "add" else "add" if change == "remove" else change


def carried_out(stage: ChannelMap, steps: Iterable[Step]) -> tuple[ChannelMap, list[str]]:
    """The stage with the steps carried out, and what of them could not be because the sheets have moved on."""
    channels = {channel.id: channel for channel in stage.channels}
    entries = list(stage.entries)
    odd: list[str] = []
    sizes = {port.id: port.size for port in stage.ports if port.kind == "sockets"}
    for step in steps:
        held = channels.get(step.channel)
        if step.at and step.change in ("add", "move") and not _is_there(step.at, sizes):
            odd.append(
                f"a late change puts {step.now or step.channel!r} at {socket_text(step.at)}, and there is no such socket any "
                "more; say where it goes"
            )
            continue
        if step.change == "add" and held is None:
            held = channels[step.channel] = Channel(**(step.fields or {"id": step.channel}))
            _named_again(channels, held, step.mixes)
        if step.change == "remove":
            if held is None:
                continue
            del channels[step.channel]
            entries = [entry for entry in entries if entry.channel != step.channel]
            _unnamed(channels, step.channel)
            continue
        if held is None:
            odd.append(f"a late change is about {step.was or step.channel!r}, which no sheet has any more")
            continue
        if step.change in ("add", "move") and step.at:
            standing = [entry.slot for entry in entries if entry.channel == step.channel]
            if step.change == "move" and standing and step.at not in standing and step.left not in standing:
                odd.append(
                    f"a late change moved {held.name!r} from {socket_text(step.left)} to {socket_text(step.at)}, but its sheet "
                    f"says {socket_text(standing[0])} now; the late change counts"
                )
            entries = [entry for entry in entries if entry.channel != step.channel]
            entries.append(Entry(step.channel, step.at))
        elif step.change == "rename":
            channels[step.channel] = held.changed(name=step.now, short="")
        elif step.change == "phantom":
            channels[step.channel] = held.changed(phantom=step.now or "unknown")
        elif step.change == "note":
            channels[step.channel] = held.changed(notes=step.now)
    made = stage.changed(channels=tuple(channels.values()), entries=tuple(entries))
    return made, odd


def _is_there(socket: Slot, sizes: Mapping[str, int]) -> bool:
    """Whether a socket is one of the stage's; `sizes`: box → how many it has, 0 where nobody said."""
    return socket.port in sizes and (not sizes[socket.port] or socket.number <= sizes[socket.port])


def _unnamed(channels: dict[str, Channel], gone: str) -> None:
    """Take a channel out of the pairs and mixes that name it."""
    for other in [*channels.values()]:
        if other.pair and other.pair.partner == gone:
            other = other.changed(pair=None)
        if gone in other.contents:
            other = other.changed(contents=tuple(name for name in other.contents if name != gone))
        channels[other.id] = other


def _named_again(channels: dict[str, Channel], held: Channel, mixed: Iterable[tuple[str, int]]) -> None:
    """Make a channel that has come back its partner's other side, and put it back into the mixes that held it."""
    if held.pair and (partner := channels.get(held.pair.partner or "")) and partner.pair is None:
        pair = Pair(partner=held.id, side=OTHER_SIDE[held.pair.side])
        channels[partner.id] = partner.changed(pair=pair)
    for name, at in mixed:
        if (mix := channels.get(name)) and held.id not in mix.contents:
            channels[name] = mix.changed(contents=(*mix.contents[:at], held.id, *mix.contents[at:]))


def socket_text(slot: Slot | None) -> str:
    """`A16`: a socket as people say it; `B2 7` where the box ends in a figure."""
    if slot is None:
        return "no socket"
    return f"{slot.port} {slot.number}" if slot.port[-1:].isdigit() else f"{slot.port}{slot.number}"
