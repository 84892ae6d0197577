"""summary.txt: channels in, channels delivered, and every one that was left out with the reason."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping

from chanbridge.assemble import Delivery, Planned
from chanbridge.compare.changes import Comparison
from chanbridge.names import counted
from chanbridge.show import Show


def wanted_but_missing(planned: Planned) -> int:
    """How many times a wanted channel does not reach a recipient, channels without a place included."""
    return len(planned.unplaced) + sum(
        item.wanted for delivery in planned.deliveries for item in delivery.missing
    )


def summary(show: Show, planned: Planned, differences: Mapping[str, Comparison]) -> str:
    """The hand-over on one page."""
    file = show.file
    parts = [file.title, f"revision {file.revision}" if file.revision else "", str(file.date or "")]
    out = [" · ".join(part for part in parts if part), ""]
    for box in file.box:
        reading = show.sheets[box.id]
        said = ", ".join(f"{count} {name}" for name, count in reading.verdicts().items())
        out.append(f"Read    box {box.id} from {box.sheet}: {len(reading.ledger)} rows ({said})")
    out += [f"In      {len(planned.map.channels)} channels", ""]
    for delivery in planned.deliveries:
        out += _delivery(delivery, differences.get(delivery.recipient.id), len(planned.map.channels))
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
    return "\n".join(out) + "\n"


def _printable(text: str) -> str:
    """A text with the bytes of a file name that are no letters shown by their codes."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def _delivery(delivery: Delivery, difference: Comparison | None, total: int) -> list[str]:
    recipient = delivery.recipient
    slots = sorted(slot for places in delivery.delivered.values() for slot in places)
    where = f", slots {slots[0]} to {slots[-1]}" if slots else ""
    out = [f"{recipient.id}: {len(delivery.delivered)} of {total} channels delivered{where}"]
    out += [f"    {line}" for line in delivery.how]
    for item in sorted(delivery.missing, key=lambda item: not item.wanted):
        out.append(
            f"    {'!!' if item.wanted else '  '} left out: {item.channel.name or item.channel.id}: {item.reason}"
        )
    if difference is not None:
        count = len(difference.changes)
        out.append(
            f"    its own list {recipient.sheet} "
            + (f"differs in {counted(count, 'place')}:" if count else "agrees with this sheet")
        )
        out += [f"       {change.kind}: {change.message}" for change in difference.changes]
    return [*out, ""]
