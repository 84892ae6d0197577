"""A revision goes out: what changed for each, the paper before put aside, the whole of it in the journal."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence

from chanbridge.assemble import Delivery, Planned
from chanbridge.evening.revisions import Issued, Revision, body_of
from chanbridge.evening.state import State
from chanbridge.files import read_bytes, write_all
from chanbridge.handover.changes import Changed, change_documents, changed_sockets, changes
from chanbridge.handover.manifest import digest
from chanbridge.handover.printed import Asked, changed_papers, with_manifest
from chanbridge.handover.recipients import recipient_map
from chanbridge.journal import Journal
from chanbridge.show import Show
from chanbridge.system import CREW, Recipient, ShowFile

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

    `at`: the time in UTC. What lies there of the revision before goes to earlier/<letter>. Raises WriteError, or
    StaleError where someone wrote to the journal meanwhile, with nothing written and no revision issued.
    """
    before = state.revision
    new = revised(show, planned, files, asked, before)
    names = {name for name, _ in new}
    gone = [name for name in before.files if name not in names] if before else []

    def lay_down() -> None:
        if before and (aside := list(_earlier(folder, before))):
            write_all(folder, aside)  # before anything takes its place: a run can end at any moment
        write_all(folder, new, gone)

    body = body_of(letter, str(planned.map.date or ""), planned, dict(new))
    journal.append("revision", body, at=at, who=who, after=state.last, first=lay_down)
    return new


def _changed(
    show: Show, planned: Planned, before: Revision, letter: str, asked: Asked
) -> Iterator[tuple[str, bytes]]:
    for folder, part in planned.parts():
        for recipient, found in changes_since(part, before.parts.get(folder)):
            title, name = part.map.title, recipient.name or recipient.id
            for document, data in change_documents(found, name, letter, before.letter, part.word, title):
                if asked.wants(f"{folder}{recipient.id}/{document}"):
                    yield f"{folder}{recipient.id}/{document}", data
            yield from changed_papers(show, part, asked, recipient, found, before.letter, folder)


def changes_since(planned: Planned, before: Issued | None) -> Iterator[tuple[Recipient, list[Changed]]]:
    """For everyone who had a list before: the slots that are not as they were."""
    for delivery in planned.deliveries if before else ():
        recipient = delivery.recipient
        if before and recipient.id in before.delivered:
            slots = {name: tuple(slots) for name, slots in before.delivered[recipient.id].items()}
            was = Planned(before.map, {}, (), (), ())
            old = recipient_map(was, Delivery(recipient, slots, (), ()))
            yield recipient, changes(old, recipient_map(planned, delivery), recipient.id)


def changed_rows(file: ShowFile, planned: Planned, before: Revision) -> dict[str, frozenset[str]]:
    """Folder of a sheet, such as truck or acts/late/truck → its rows that are not as they were: truck 37, A 12."""
    out = {}
    for folder, part in planned.parts():
        issued = before.parts.get(folder)
        if issued:
            for recipient, found in changes_since(part, issued):
                out[folder + recipient.id] = frozenset(f"{recipient.id} {one.slot}" for one in found)
            out[folder + CREW] = changed_sockets(file, issued.map, part.map)
    return out


def revised(show: Show, planned: Planned, files: Files, asked: Asked, before: Revision | None) -> Files:
    """The files with what changed for each since the revision before, and with their manifest."""
    letter = planned.map.revision
    more = _changed(show, planned, before, letter, asked) if before else ()
    return with_manifest(show, planned, (*files[:-1], *more, *files[-1:]), asked, issued=True, date="")


def _earlier(folder: str, before: Revision) -> Iterator[tuple[str, bytes]]:
    """The files of the revision before, as they lie there now, with the place they go to.

    What an attempt that was ended has put aside already stays, where something else has taken its place since.
    """
    for name, made in before.files.items():
        path = os.path.join(folder, name)
        aside = f"earlier/{before.letter}/{name}"
        if os.path.isfile(path):
            data = read_bytes(path)
            if digest(data) == made or not os.path.exists(os.path.join(folder, aside)):
                yield aside, data


def words_changed(files: Sequence[tuple[str, bytes]]) -> list[str]:
    """For each recipient with a list of changes: how many slots changed, in words."""
    said = []
    for name, data in files:
        if name.endswith("/changes.csv"):
            rows = data.decode("utf-8").count("\r\n") - 1
            said.append(f"{name.rpartition('/')[0]}: {rows or 'nothing'} changed")
    return said
