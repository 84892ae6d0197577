"""A revision goes out: what changed for each, the paper before put aside, the whole of it in the journal."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence

from chanbridge.assemble import Delivery, Planned
from chanbridge.evening.revisions import Revision, body_of
from chanbridge.evening.state import State
from chanbridge.files import read_bytes, write_all
from chanbridge.handover.changes import Changed, change_documents, changes
from chanbridge.handover.printed import Asked, changed_papers, with_manifest
from chanbridge.handover.recipients import recipient_map
from chanbridge.journal import Journal
from chanbridge.show import Show
from chanbridge.system import Recipient

Files = tuple[tuple[str, bytes], ...]


def issue(
    journal: Journal,
    state: State,
    planned: Planned,
    files: Files,
    folder: str,
    letter: str,
    show: Show,
    asked: Asked,
    *,
    at: str,
    who: str,
) -> Files:
    """Write a revision's files below a folder and enter it into the journal; returns the files written for it.

    `at`: the time in UTC. What lies there of the revision before goes to earlier/<letter>. Raises WriteError with
    nothing written, and StaleError where someone issued another meanwhile.
    """
    before = state.revision
    new = revised(show, planned, files, asked, before)
    aside = list(_earlier(folder, before)) if before else []
    names = {name for name, _ in new}
    gone = [name for name in before.files if name not in names] if before else []
    write_all(folder, [*new, *aside], gone)
    date = str(planned.map.date or "")
    journal.append("revision", body_of(letter, date, planned, dict(new)), at=at, who=who, after=state.last)
    return new


def _changed(
    show: Show, planned: Planned, before: Revision, letter: str, asked: Asked
) -> Iterator[tuple[str, bytes]]:
    word = planned.word
    for recipient, found in changes_since(planned, before):
        title, name = planned.map.title, recipient.name or recipient.id
        for document, data in change_documents(found, name, letter, before.letter, word, title):
            if asked.wants(f"{recipient.id}/{document}"):
                yield f"{recipient.id}/{document}", data
        yield from changed_papers(show, planned, asked, recipient, found, before.letter)


def changes_since(planned: Planned, before: Revision) -> Iterator[tuple[Recipient, list[Changed]]]:
    """For everyone who had a list before: the slots that are not as they were."""
    for delivery in planned.deliveries:
        recipient = delivery.recipient
        if recipient.id in before.delivered:
            new = recipient_map(planned, delivery)
            old = recipient_map(_as_it_was(before), Delivery(recipient, _slots(before, recipient.id), (), ()))
            yield recipient, changes(old, new, recipient.id)


def changed_rows(planned: Planned, before: Revision) -> dict[str, frozenset[str]]:
    """Recipient → the slots that are not as they were, such as "truck 37"."""
    return {
        recipient.id: frozenset(f"{recipient.id} {one.slot}" for one in found)
        for recipient, found in changes_since(planned, before)
    }


def revised(show: Show, planned: Planned, files: Files, asked: Asked, before: Revision | None) -> Files:
    """The files with what changed for each since the revision before, and with their manifest."""
    letter = planned.map.revision
    more = _changed(show, planned, before, letter, asked) if before else ()
    return with_manifest(show, planned, (*files[:-1], *more, *files[-1:]), asked, issued=True, date="")


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
