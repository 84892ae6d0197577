"""summary.txt: channels in, channels delivered, and every one that was left out with the reason."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping

from chanbridge.assemble import Delivery, Planned, Played
from chanbridge.assemble.acts import changeover
from chanbridge.compare.changes import Comparison
from chanbridge.handover.stage import contents, hearing
from chanbridge.names import counted, fold
from chanbridge.proof import Proof
from chanbridge.show import Show

FEW = 8
"""As many channels that are left out for one reason stand on lines of their own."""


def wanted_but_missing(planned: Planned) -> int:
    """How many times a wanted channel does not reach a recipient in any act, channels without a place included."""
    missing = {
        (delivery.recipient.id, item.channel.id)
        for _, one in planned.parts()
        for delivery in one.deliveries
        for item in delivery.missing
        if item.wanted
    }
    return len(planned.unplaced) + len(missing)


def summary(show: Show, planned: Planned, differences: Mapping[str, Comparison], proof: Proof) -> str:
    """The hand-over on one page."""
    file = show.file
    whole = planned.map
    revision = f"revision {whole.revision}" if whole.revision else ""
    word = f"word {planned.word}" if revision and planned.word else ""
    parts = [whole.title, revision, word, str(whole.date or "")]
    out = [" · ".join(part for part in parts if part), ""]
    for box in file.box:
        reading = show.sheets[box.id]
        said = ", ".join(f"{count} {name}" for name, count in reading.verdicts().items())
        out.append(f"Read    box {box.id} from {box.sheet}: {len(reading.ledger)} rows ({said})")
    total = len(planned.map.channels) - len(planned.returns)
    back = f", {len(planned.returns)} back" if planned.returns else ""
    out += [f"In      {total} channels{back}", ""]
    for delivery in planned.deliveries:
        out += _delivery(planned, delivery, differences.get(delivery.recipient.id), total, proof)
    out += hearing(file)
    out += _returns(planned)
    for played in planned.acts:
        out += _act(planned, played, proof)
    if planned.unplaced:
        out.append("Without a place on any box, and so with nobody:")
        out += [
            f"    !! {channel.name or channel.id}: {_printable(reason)}"
            for channel, reason in planned.unplaced
        ]
        out.append("")
    quiet = [channel.name for channel in planned.map.channels if channel.audience.air == "not allowed"]
    if quiet:
        out += textwrap.wrap(
            f"Marked NOT FOR AIR wherever they are carried: {', '.join(quiet)}", 96, subsequent_indent="    "
        )
        out.append("")
    noticed = [problem for problem in planned.problems if problem.code != "role"]
    if noticed:
        out.append("Noticed while reading:")
        out += [f"    {_printable(str(problem))}" for problem in noticed]
        out.append("")
    missing = wanted_but_missing(planned)
    out.append(
        f"NOT COMPLETE: {counted(missing, 'wanted channel')} not delivered; they are marked !! above."
        if missing
        else "Complete: every wanted channel reaches everyone who should have it."
    )
    asked = sum(map(len, planned.ungiven.values()))
    if asked:
        out.append(f"Asked for, and the show does not have it: {counted(asked, 'slot')}; see above.")
    return "\n".join(out) + "\n"


def _printable(text: str) -> str:
    """A text with the bytes of a file name that are no letters shown by their codes."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def _returns(planned: Planned) -> list[str]:
    """What comes back: from which output, what is in it, where it comes out."""
    out = []
    for name, slot in planned.map.entries:
        channel = planned.map.channel(name)
        if channel and name in planned.returns:
            ends = [end for end in planned.map.trace(slot).forward if not end.port.endswith(" back")]
            inside = contents(planned.map, channel)
            said = f"    {channel.name}: {slot} to {', '.join(map(str, ends))}" + (
                f"; {inside}" if inside else ""
            )
            out += textwrap.wrap(said, 96, subsequent_indent="        ")
    return ["What comes back:", *out, ""] if out else []


def _act(planned: Planned, played: Played, proof: Proof) -> list[str]:
    """An act in a few lines: what changes on the stage, and who misses what that they get without it."""
    at = [one.act.id for one in planned.acts].index(played.act.id)
    before = planned.acts[at - 1].planned.map if at else planned.map
    changes, stays = changeover(before, played.planned.map)
    name = played.act.name or played.act.id
    called = name if fold(name).startswith("act ") else f"Act {name}"
    out = [f"{called}: {counted(len(changes), 'socket')} to repatch, {counted(stays, 'channel')} as they are"]
    out += [f"    * {problem}" for problem in played.problems]
    out += [
        f"    {line}"
        for line in proof.lines(
            *(f"acts/{played.act.id}/{one.recipient.id}" for one in played.planned.deliveries)
        )
    ]
    base = {(one.recipient.id, item.channel.id) for one in planned.deliveries for item in one.missing}
    for delivery in played.planned.deliveries:
        for item in delivery.missing:
            if item.wanted and (delivery.recipient.id, item.channel.id) not in base:
                out.append(
                    f"    !! {delivery.recipient.id}: left out: {item.channel.name or item.channel.id}: {item.reason}"
                )
    return [*out, ""]


def _missing(delivery: Delivery) -> list[str]:
    """What does not reach a recipient: the wanted channels line by line, many others of one reason together."""
    together: dict[str, list[str]] = {}
    for item in delivery.missing:
        if not item.wanted:
            together.setdefault(item.reason, []).append(item.channel.name or item.channel.id)
    out = [
        f"    !! left out: {item.channel.name or item.channel.id}: {item.reason}"
        for item in delivery.missing
        if item.wanted
    ]
    for reason, names in together.items():
        if len(names) <= FEW:
            out += [f"       left out: {name}: {reason}" for name in names]
        else:
            said = f"       left out, {counted(len(names), 'channel')}: {reason}: {', '.join(names)}"
            out += textwrap.wrap(
                said, 96, subsequent_indent="           ", break_long_words=False, break_on_hyphens=False
            )
    return out


def _delivery(
    planned: Planned, delivery: Delivery, difference: Comparison | None, total: int, proof: Proof
) -> list[str]:
    recipient = delivery.recipient
    slots = sorted(slot for places in delivery.delivered.values() for slot in places)
    where = f", slots {slots[0]} to {slots[-1]}" if slots else ""
    back = sum(name in planned.returns for name in delivery.delivered)
    more = f" and {back} that come back" if back else ""
    out = [f"{recipient.id}: {len(delivery.delivered) - back} of {total} channels delivered{more}{where}"]
    out += [f"    {line}" for line in delivery.how]
    out += [f"    {line}" for line in proof.lines(recipient.id)]
    out += [f"    the show cannot give {text}" for text in planned.ungiven.get(recipient.id, ())]
    out += _missing(delivery)
    if difference is not None:
        count = len(difference.changes)
        out.append(
            f"    its own list {recipient.sheet} "
            + (f"differs in {counted(count, 'place')}:" if count else "agrees with this sheet")
            + (" but for what must be asked:" if difference.questions and not count else "")
        )
        out += [f"       {change.kind}: {change.message}" for change in difference.changes]
        out += [f"       question: {question.message}" for question in difference.questions]
    return [*out, ""]
