"""What each recipient is handed: documents as (name, bytes), written by nobody here."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from chanbridge import formats
from chanbridge.assemble import Delivery, Planned
from chanbridge.check import check
from chanbridge.check.rule import CARE
from chanbridge.compare.changes import Comparison, compare
from chanbridge.evening.revisions import Revision, lettered
from chanbridge.foresight.lists import documents as list_documents
from chanbridge.formats.characters import encode
from chanbridge.handover.cover import Told
from chanbridge.handover.facts import show_facts
from chanbridge.handover.issue import changed_rows
from chanbridge.handover.printed import ALL, Asked, papers, told_by
from chanbridge.handover.recipients import recipient_map, sheet_text
from chanbridge.handover.stage import box_documents, changeover_documents
from chanbridge.handover.summary import summary
from chanbridge.model import AUDIENCES
from chanbridge.proof import Proof, prove_show
from chanbridge.show import Show


class HandedOver(NamedTuple):
    """Every file of a hand-over with its path below the hand-over's folder, the summary last; and their proof."""

    files: tuple[tuple[str, bytes], ...]
    proof: Proof


def hand_over(
    show: Show,
    planned: Planned,
    asked: Asked = ALL,
    before: Revision | None = None,
) -> HandedOver:
    """Print every sheet, prove them as they are printed, and sum it all up.

    `asked`: which papers, and how; all sheets are proved, whichever are asked for. `before`: the revision that
    everyone has; what is not as it was gets a change bar.
    """
    if not planned.hash:
        planned = lettered(planned, "", None)
    printed = tuple(sheets(show, planned))
    proof = prove_show(show.file, planned, dict(printed).get)
    differences = _differences(show, planned)
    text = summary(show, planned, differences, proof)
    said = proof.lines(*(delivery.recipient.id for delivery in planned.deliveries))
    bars = changed_rows(show.file, planned, before) if before else {}

    def told() -> Told:
        return told_by(check(show_facts(show, planned)), said, show)._replace(line_check=asked.line_check)

    files = (
        *(file for file in printed if asked.wants(file[0])),
        *(file for file in lists(show, planned) if asked.wants(file[0])),
        *papers(show, planned, asked, differences, bars, told),
    )
    return HandedOver((*files, ("summary.txt", encode(text))), proof)


def lists(show: Show, planned: Planned) -> Iterator[tuple[str, bytes]]:
    """What to bring, what to ask each recipient, what to write on the cables, over all acts."""
    maps = [part.map for _, part in planned.parts()]
    delivered = {one.recipient.id: [*one.delivered] for one in planned.deliveries}
    return list_documents(show.file, maps, delivered, CARE)


def _differences(show: Show, planned: Planned) -> dict[str, Comparison]:
    """Recipient id → where the list that it keeps differs from its sheet."""
    differences = {}
    for delivery in planned.deliveries:
        kept = show.kept.get(delivery.recipient.id)
        if kept:
            differences[delivery.recipient.id] = compare(
                recipient_map(planned, delivery),
                kept.map,
                by_id="id" in kept.layout,
                heard=[name for name in AUDIENCES if name in kept.layout],
            )
    return differences


def sheets(show: Show, planned: Planned) -> Iterator[tuple[str, bytes]]:
    """Every file of a hand-over but its summary."""
    for folder, part in planned.parts():
        for delivery in part.deliveries:
            yield from ((folder + name, data) for name, data in _sheets(part, delivery))
        yield from ((folder + name, data) for name, data in box_documents(show.file, part))
    yield from changeover_documents(planned)


def _sheets(planned: Planned, delivery: Delivery) -> Iterator[tuple[str, bytes]]:
    """A recipient's sheet in every kind."""
    recipient = delivery.recipient
    whole = recipient_map(planned, delivery)
    for name in ("csv", "xml"):
        yield f"{recipient.id}/sheet.{name}", formats.write(whole, formats.named(name), recipient.id)
    yield f"{recipient.id}/sheet.txt", encode(sheet_text(whole, recipient, delivery, planned.word))
