"""What to ask every recipient in advance; what the show file or the recipient has answered is filled in."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from typing import NamedTuple

from chanbridge.foresight.paper import joined
from chanbridge.foresight.wiring import spoken
from chanbridge.gear import Answer
from chanbridge.mode import Mode
from chanbridge.model import ChannelMap
from chanbridge.system import Device, Link, Recipient, ShowFile

TOPICS = ("rate", "mode", "clock", "connector", "click", "gain", "returns", "contact")


class Question(NamedTuple):
    """A topic for one recipient. `answered`: nothing is left to ask; else `text` says what is planned and asks."""

    recipient: str
    topic: str
    answered: bool
    text: str


def questions(file: ShowFile, whole: ChannelMap, delivered: Mapping[str, Collection[str]]) -> list[Question]:
    """The questions for each recipient in the file's order. `delivered`: recipient → ids of the channels that it gets."""
    answers = {answer.id: answer for answer in file.answer}
    return [
        question
        for recipient in file.recipient
        for question in _for(
            file,
            whole,
            recipient,
            {*delivered.get(recipient.id, ())},
            answers.get(recipient.id, Answer(id=recipient.id)),
        )
    ]


def _for(
    file: ShowFile, whole: ChannelMap, recipient: Recipient, gets: set[str], answer: Answer
) -> Iterator[Question]:
    device = next((device for device in file.device if device.id == recipient.id), None)
    links = [link for link in file.link if recipient.id in link.devices]
    modes = {feed.id: feed.mode for feed in file.feed if feed.id in recipient.takes}
    planned = {
        "rate": _rate(file, recipient, device, modes),
        "mode": _mode(file, recipient, modes),
        "clock": _clock(device),
        "connector": _connector(links, modes),
        "click": _click(whole, recipient, gets),
        "gain": _gain(file, recipient, modes),
        "returns": _returns(file, recipient),
        "contact": (False, "who, where, by which number or channel?"),
    }
    for topic in TOPICS:
        said = getattr(answer, topic)
        answered, text = (True, said) if said else planned[topic]
        yield Question(recipient.id, topic, answered, text)


Said = tuple[bool, str]


def _rate(file: ShowFile, recipient: Recipient, device: Device | None, modes: Mapping[str, Mode]) -> Said:
    blocks = {block.id: block.rate or file.rate for block in file.block}
    rates = sorted({modes[name].rate_hz if name in modes else blocks[name] for name in recipient.takes})
    sent = joined([f"{rate} Hz" for rate in rates])
    if device and device.rate and rates != [device.rate]:
        how = f", converted by {device.conversion}" if device.conversion else ": what converts it?"
        return bool(device.conversion), f"gets {sent}, runs at {device.rate} Hz{how}"
    if modes or (device and device.rate):
        return True, sent
    return False, f"gets {sent}: can it take that?"


def _mode(file: ShowFile, recipient: Recipient, modes: Mapping[str, Mode]) -> Said:
    slots = {block.id: block.slots for block in file.block}
    said = [
        f"{name} {modes[name]}" if name in modes else f"{name}, {slots[name]} slots"
        for name in recipient.takes
    ]
    return True, "; ".join(said)


def _clock(device: Device | None) -> Said:
    if not device or not device.clock:
        return False, "whose clock does it follow, and on which cable?"
    own = "leads with its own" if device.clock == "own" else f"follows {device.clock}"
    parts = [own, f"domain {device.domain}" if device.domain else "", device.conversion]
    return True, ", ".join(part for part in parts if part)


def _connector(links: list[Link], modes: Mapping[str, Mode]) -> Said:
    media = Counter(link.medium or "cable" for link in links)
    arriving = ", ".join(f"{count} {medium}" for medium, count in media.items())
    if modes and {*media} == {"coax"}:
        return True, f"BNC, 75 ohm coax ({', '.join(link.id for link in links)})"
    planned = f"planned: {arriving}" if arriving else "no cable is declared"
    return False, f"which plug, how many? {planned}"


def _click(whole: ChannelMap, recipient: Recipient, gets: set[str]) -> Said:
    quiet = [one for one in whole.channels if one.id in gets and one.audience.air == "not allowed"]
    names = ", ".join(spoken(quiet))
    if recipient.wants:
        return True, f"asked for {names}, NOT FOR AIR" if quiet else "asked for none"
    if quiet:
        return False, f"wanted? planned, NOT FOR AIR: {names}"
    return False, "wanted? none is planned"


def _gain(file: ShowFile, recipient: Recipient, modes: Mapping[str, Mode]) -> Said:
    if not file.gain_owner:
        return False, "who moves the preamps, and from when does nobody?"
    frozen = f", frozen from {file.gain_frozen}" if file.gain_frozen else "; from when does nobody?"
    if recipient.id == file.gain_owner:
        return bool(file.gain_frozen), f"moves the preamps{frozen}"
    trims = "; AES10 carries no preamp control, so trim at your end" if modes else ""
    return bool(file.gain_frozen), f"{file.gain_owner} moves the preamps{trims}{frozen}"


def _returns(file: ShowFile, recipient: Recipient) -> Said:
    sent = [
        f"{one.name or one.id} to {', '.join(one.to)}" for one in file.returns if one.maker == recipient.id
    ]
    if sent:
        return True, "sends " + "; ".join(sorted(sent))
    if recipient.listens:
        return True, "only listens, sends nothing back"
    return False, "what do you send back, and where does it come out? none is declared"
