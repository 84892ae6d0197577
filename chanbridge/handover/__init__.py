"""What each recipient is handed: documents as (name, bytes), written by nobody here."""

from __future__ import annotations

from collections.abc import Iterator

from chanbridge import formats
from chanbridge.assemble import Planned
from chanbridge.compare.changes import Comparison, compare
from chanbridge.formats.characters import encode
from chanbridge.handover.recipients import recipient_map, sheet_text
from chanbridge.handover.summary import summary
from chanbridge.model import AUDIENCES
from chanbridge.show import Show


def documents(show: Show, planned: Planned) -> Iterator[tuple[str, bytes]]:
    """Every file of a hand-over with its path below the hand-over's folder; the summary comes last."""
    differences: dict[str, Comparison] = {}
    for delivery in planned.deliveries:
        recipient = delivery.recipient
        whole = recipient_map(planned, delivery)
        for name in ("csv", "xml"):
            yield f"{recipient.id}/sheet.{name}", formats.write(whole, formats.named(name), recipient.id)
        yield f"{recipient.id}/sheet.txt", encode(sheet_text(whole, recipient, delivery))
        kept = show.kept.get(recipient.id)
        if kept:
            differences[recipient.id] = compare(
                whole,
                kept.map,
                by_id="id" in kept.layout,
                heard=[name for name in AUDIENCES if name in kept.layout],
            )
    yield "summary.txt", encode(summary(show, planned, differences))
