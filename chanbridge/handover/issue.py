"""A revision goes out: what changed for each, the paper before put aside, the whole of it in the journal."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence

from chanbridge.assemble import Delivery, Planned
from chanbridge.evening.revisions import Revision, body_of, fingerprint, spoken
from chanbridge.evening.state import State
from chanbridge.files import read_bytes, write_all
from chanbridge.handover.changes import change_documents, changes
from chanbridge.handover.recipients import recipient_map
from chanbridge.journal import Journal

Files = tuple[tuple[str, bytes], ...]


def issue(
    journal: Journal,
    state: State,
    planned: Planned,
    files: Files,
    folder: str,
    letter: str,
    *,
    at: str,
    who: str,
) -> Files:
    """Write a revision's files below a folder and enter it into the journal; returns the files written for it.

    `at`: the time in UTC. What lies there of the revision before goes to earlier/<letter>. Raises WriteError with
    nothing written, and StaleError where someone issued another meanwhile.
    """
    before = state.revision
    new = (*files[:-1], *(_changed(planned, before, letter) if before else ()), *files[-1:])
    aside = list(_earlier(folder, before)) if before else []
    names = {name for name, _ in new}
    gone = [name for name in before.files if name not in names] if before else []
    write_all(folder, [*new, *aside], gone)
    date = str(planned.map.date or "")
    journal.append("revision", body_of(letter, date, planned, dict(new)), at=at, who=who, after=state.last)
    return new


def _changed(planned: Planned, before: Revision, letter: str) -> Iterator[tuple[str, bytes]]:
    word = spoken(fingerprint(planned.map))
    for delivery in planned.deliveries:
        recipient = delivery.recipient
        if recipient.id not in before.delivered:
            continue  # nobody had a list before
        new = recipient_map(planned, delivery)
        old = recipient_map(_as_it_was(before), Delivery(recipient, _slots(before, recipient.id), (), ()))
        found = changes(old, new, recipient.id)
        title, name = planned.map.title, recipient.name or recipient.id
        for document, data in change_documents(found, name, letter, before.letter, word, title):
            yield f"{recipient.id}/{document}", data


def _as_it_was(before: Revision) -> Planned:
    return Planned(before.map, {}, (), (), ())


def _slots(before: Revision, recipient: str) -> dict[str, tuple[int, ...]]:
    return {name: tuple(slots) for name, slots in before.delivered[recipient].items()}


def _earlier(folder: str, before: Revision) -> Iterator[tuple[str, bytes]]:
    """The files of the revision before, as they lie there now, with the place they go to."""
    for name in before.files:
        path = os.path.join(folder, name)
        if os.path.isfile(path):
            yield f"earlier/{before.letter}/{name}", read_bytes(path)


def words_changed(files: Sequence[tuple[str, bytes]]) -> list[str]:
    """For each recipient with a list of changes: how many slots changed, in words."""
    said = []
    for name, data in files:
        if name.endswith("/changes.csv"):
            rows = data.decode("utf-8").count("\r\n") - 1
            said.append(f"{name.split('/')[0]}: {rows or 'nothing'} changed")
    return said
