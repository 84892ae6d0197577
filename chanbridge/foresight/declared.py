"""What cannot be so about the gear, fallbacks and answers that show.toml declares."""

from __future__ import annotations

from collections.abc import Iterator

from chanbridge.errors import ShowError, unknown
from chanbridge.foresight.things import thing_named
from chanbridge.names import fold
from chanbridge.system import Mistake, ShowFile


def gear_mistakes(file: ShowFile) -> Iterator[Mistake]:
    """What cannot be so, in the order of the file's tables."""
    for at, fallback in enumerate(file.fallback):
        try:
            thing_named(file, fallback.id)
        except ShowError as error:
            yield ("fallback", at, "id"), error.message
    boxes = {box.id: box for box in file.box}
    taken = {fold(name) for name in boxes}
    for at, sub in enumerate(file.subbox):
        box = boxes.get(sub.box)
        if fold(sub.id) in taken:
            yield ("subbox", at, "id"), f"the id {sub.id!r} is taken; give this sub-box one of its own"
        taken.add(fold(sub.id))
        if not box:
            yield ("subbox", at, "box"), unknown("", sub.box, boxes)
        elif sub.first + sub.sockets - 1 > box.inputs:
            last = sub.first + sub.sockets - 1
            yield (
                ("subbox", at, "sockets"),
                f"its last tail is {sub.box} {last}, and box {sub.box!r} ends at {box.inputs}",
            )
        for other in file.subbox[:at]:
            shared = {*range(sub.first, sub.first + sub.sockets)} & {
                *range(other.first, other.first + other.sockets)
            }
            if other.box == sub.box and shared:
                said = f"socket {sub.box} {min(shared)} has a tail of {other.id!r} already"
                yield ("subbox", at, "first"), said
    places = {*boxes, *(sub.id for sub in file.subbox)}
    sockets = {f"{box.id} {number}" for box in file.box for number in range(1, box.inputs + 1)}
    for name in file.kit.cable_m:
        if name not in places | sockets:
            yield (
                ("kit", "cable_m"),
                f"cable_m: {unknown('', name, places)}; a socket is written {file.box[0].id} 1",
            )
    for name in file.kit.adaptors:
        if name not in sockets:
            yield (
                ("kit", "adaptors"),
                f"adaptors: write a box and its socket, such as {file.box[0].id} 1, not {name!r}",
            )
    recipients = [recipient.id for recipient in file.recipient]
    seen: set[str] = set()
    for at, answer in enumerate(file.answer):
        if answer.id not in recipients:
            yield ("answer", at, "id"), unknown("", answer.id, recipients)
        if answer.id in seen:
            yield ("answer", at, "id"), f"{answer.id!r} has answers above; put them together"
        seen.add(answer.id)
