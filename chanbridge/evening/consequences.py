"""What a late change means for each of those who work with the paper, in one sentence each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from chanbridge.assemble import Delivery, Planned
from chanbridge.check.power import harmed_by_phantom
from chanbridge.evening.steps import Step, socket_text
from chanbridge.model import Channel
from chanbridge.names import fold, vocabulary
from chanbridge.system import CREW


class Word(NamedTuple):
    """What to say to someone. `must`: it changes what they do, so they must be told."""

    name: str
    must: bool
    sentence: str


def consequences(before: Planned, after: Planned, steps: Sequence[Step]) -> dict[str, Word]:
    """Recipient id, or CREW → what to say to them; the crew comes first, then the recipients in the show's order."""
    out = {CREW: Word("Stage crew", *_to_crew(before, after, steps))}
    then = {delivery.recipient.id: delivery.delivered for delivery in before.deliveries}
    owners = {
        channel.gain_owner
        for step in steps
        for planned in (before, after)
        if (channel := planned.map.channel(step.channel))
    }
    for delivery in after.deliveries:
        recipient = delivery.recipient
        moved = _moved(before, after, then.get(recipient.id, {}), delivery.delivered)
        moved += _not_reaching(before, delivery)
        acts = _in_acts(before, after, recipient.id, moved)
        elsewhere = {
            name
            for name in delivery.delivered
            if then.get(recipient.id, {}).get(name) != delivery.delivered[name]
        }
        said = [
            *moved,
            *_told(
                after,
                [step for step in steps if step.change != "move" or step.channel not in elsewhere],
                delivery.delivered,
            ),
            *acts,
        ]
        must = bool(moved or acts)
        for step in steps:
            here = step.channel in delivery.delivered
            must = must or (here and step.change == "rename")
            # It pops in every mix.
            must = must or (here and recipient.kind == "desk" and step.change == "phantom")
            must = must or (here and recipient.id in owners and step.change in ("move", "note"))
        sentence = " ".join(said) if said else "Nothing changes for you."
        out[recipient.id] = Word(recipient.name or recipient.id, must, sentence)
    return out


def _moved(
    before: Planned, after: Planned, then: Mapping[str, Sequence[int]], now: Mapping[str, Sequence[int]]
) -> list[str]:
    """What comes, goes or moves on a recipient's slots."""
    said = []
    for name in sorted({*then, *now}, key=lambda name: (now.get(name) or then.get(name) or (0,))[0]):
        old, new = then.get(name, ()), now.get(name, ())
        if tuple(old) == tuple(new):
            continue
        channel = after.map.channel(name) or before.map.channel(name) or Channel(id=name)
        if not old:
            what = f" ({channel.transducer})" if channel.transducer else ""
            mark = ", NOT FOR AIR" if channel.audience.air == "not allowed" else ""
            said.append(f"New: {channel.name}{what} comes on {_slots(new)}{mark}.")
        elif not new:
            holder = next((other for other, slots in now.items() if old[0] in slots), "")
            held = after.map.channel(holder) if holder else None
            then_there = f"carries {held.name} now" if held else "is free"
            said.append(f"{channel.name} is gone; {_slots(old)} {then_there}.")
        else:
            said.append(f"{channel.name} comes on {_slots(new)} now, not {_slots(old)}.")
    return said


def _not_reaching(before: Planned, delivery: Delivery) -> list[str]:
    """New channels that a recipient should have and does not get."""
    return [
        f"New: {out.channel.name} does NOT reach you: {out.reason}."
        for out in delivery.missing
        if out.wanted and before.map.channel(out.channel.id) is None
    ]


def _in_acts(before: Planned, after: Planned, recipient: str, said: Sequence[str]) -> list[str]:
    """What comes, goes or moves on a recipient's slots in acts, beside what is `said` of the whole show."""
    ones = {played.act.id: played for played in before.acts}
    out = []
    for played in after.acts:
        if played.act.id not in ones:
            continue
        one, other = ones[played.act.id].planned, played.planned
        then, now = (
            {delivery.recipient.id: delivery.delivered for delivery in each.deliveries}.get(recipient, {})
            for each in (one, other)
        )
        moved = [sentence for sentence in _moved(one, other, then, now) if sentence not in said]
        if moved:
            out.append(f"In {played.act.name or played.act.id}: {' '.join(moved)}")
    return out


def _told(after: Planned, steps: Sequence[Step], now: Mapping[str, Sequence[int]]) -> list[str]:
    """What changes of a channel that a recipient gets where it was."""
    said = []
    for step in steps:
        channel = after.map.channel(step.channel)
        slots = now.get(step.channel)
        if channel is None or not slots:
            continue
        if step.change == "rename":
            mark = "; it stays NOT FOR AIR" if channel.audience.air == "not allowed" else ""
            said.append(f"{_slots(slots).capitalize()}: {step.was} is called {step.now} now{mark}.")
        elif step.change == "move":
            said.append(f"{channel.name} is on {_slots(slots)}; its socket is {socket_text(step.at)} now.")
        elif step.change == "phantom":
            said.append(f"Mute {_slots(slots)}: phantom {_setting(step)} for {channel.name}.")
        elif step.change == "note":
            said.append(f"{channel.name}, {_slots(slots)}: {step.now or 'the note is gone'}.")
    return said


def _to_crew(before: Planned, after: Planned, steps: Sequence[Step]) -> tuple[bool, str]:
    said = []
    marks = {
        slot: text for slot, text in before.map.reserved if fold(text) not in vocabulary().values["nothing"]
    }
    for step in steps:
        channel = after.map.channel(step.channel)
        name = channel.name if channel else step.was
        if step.change == "move":
            origin = f" out of {socket_text(step.left)}" if step.left else ""
            said.append(f"Plug {name}{origin} into {socket_text(step.at)}.")
        elif step.change == "add":
            what = str((step.fields or {}).get("transducer", ""))
            said.append(f"Plug {name}{f' ({what})' if what else ''} into {socket_text(step.at)}.")
        if step.change in ("move", "add") and step.at in marks:
            said.append(f"{socket_text(step.at)} is marked on its sheet: {marks[step.at]}.")
        if step.change == "remove":
            said.append(f"Take {step.was} out of {socket_text(step.left)}." if step.left else "")
        elif step.change == "phantom":
            said.append(f"Phantom {_setting(step)} at {socket_text(step.at or step.left)} ({name}).")
            harmed = harmed_by_phantom(channel) if channel and step.now == "on" else ""
            if channel and harmed:
                what = "ribbon microphone" if harmed == "ribbon" else f"{channel.kind} source"
                said.append(f"{name} is a {what}: phantom can harm it, ask before it is switched.")
        elif step.change == "note" and step.now:
            said.append(f"{name}: {step.now}.")
    plugs = {"move", "add", "remove", "phantom"} & {step.change for step in steps}
    if plugs:
        said.append("Channel muted everywhere first.")
    told = " ".join(filter(None, said))
    return (bool(told), told or "Nothing changes for you.")


def _setting(step: Step) -> str:
    """How phantom is set: on or off; taken back where no list said, that can only be asked."""
    return step.now if step.now in ("on", "off") else "as it was before, which no list says,"


def _slots(slots: Sequence[int]) -> str:
    if len(slots) == 1:
        return f"slot {slots[0]}"
    return f"slots {', '.join(map(str, slots[:-1]))} and {slots[-1]}"


CAUTION = (
    "Mute the channel at every desk, in-ears included, before a plug is pulled or phantom is switched, and switch "
    "phantom off before patching; what the makers of the microphones and the house say comes first."
)
