"""The show as it stands at one moment, with all that is worked out of it once, and what changed to get there."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from chanbridge.assemble import Planned
from chanbridge.errors import ChanbridgeError
from chanbridge.evening.revisions import lettered
from chanbridge.evening.state import State, current_letter, planned, read_state
from chanbridge.files import read_bytes
from chanbridge.journal import Journal
from chanbridge.show import Show, load
from chanbridge.web.views import between, changed_rows

if TYPE_CHECKING:
    from chanbridge.check.rule import Report
    from chanbridge.handover.changes import Changed
    from chanbridge.handover.flow import Flow
    from chanbridge.handover.paper import Picture

START = "At the start"
"""How the show is called as the boxes' sheets have it, before the first act."""

MOST_NEWS = 12
"""Lines of news that are kept in sight."""


class News(NamedTuple):
    """Something that happened to the show. `number` counts from 1; `serious`: somebody has to act."""

    number: int
    text: str
    serious: bool = False


@dataclass(frozen=True)
class Snapshot:
    """The show, the evening and the plan of both. `number` grows by 1 with every change.

    `changed`: act and port → slots whose rows are not as they were in the snapshot before. `trouble`: why the files as they are
    now cannot be read; the show is then the last one that could be.
    """

    number: int
    show: Show
    state: State
    planned: Planned
    news: tuple[News, ...] = ()
    changed: Mapping[tuple[str, str], frozenset[int]] = field(default_factory=dict)
    trouble: str = ""

    @cached_property
    def acts(self) -> dict[str, Planned]:
        """Act id → the show as it is then, in running order; "" is how it stands at the start."""
        return {"": self.planned, **{one.act.id: one.planned for one in self.planned.acts}}

    @cached_property
    def called(self) -> dict[str, str]:
        """Act id → how it is called."""
        return {"": START, **{one.act.id: one.act.name or one.act.id for one in self.planned.acts}}

    @cached_property
    def letter(self) -> str:
        """What stands on paper that is printed now, such as `B+2`; "" before the first revision."""
        return current_letter(self.state)

    @cached_property
    def report(self) -> Report:
        """What `chanbridge check` finds."""
        from chanbridge.check import check
        from chanbridge.handover.facts import show_facts

        return check(show_facts(self.show, self.planned))

    @cached_property
    def _flows(self) -> dict[str, tuple[Flow, Picture]]:
        return {}

    def flow(self, act: str = "") -> tuple[Flow, Picture]:
        """The flow picture of an act and what it is made of."""
        from chanbridge.handover.flow import picture
        from chanbridge.handover.route import flow
        from chanbridge.handover.words import Words

        if act not in self._flows:
            words = Words()
            made = flow(self.show.file, self.acts[act], words)
            self._flows[act] = made, picture(made, words)
        return self._flows[act]

    @cached_property
    def papers(self) -> Mapping[str, bytes]:
        """The files of a hand-over as it would be written now: path below its folder → content.

        The line check on the cover is left out: it changes with every tick, see `cover`.
        """
        return self._handed_over(())

    def cover(self, line_check: tuple[str, ...]) -> Mapping[str, bytes]:
        """The cover alone, with the line check as it is now."""
        made = self._handed_over(line_check, only=("cover",))
        return {name: data for name, data in made.items() if name.startswith("cover.")}

    def _handed_over(self, line_check: tuple[str, ...], only: tuple[str, ...] = ()) -> Mapping[str, bytes]:
        from chanbridge.handover import hand_over
        from chanbridge.handover.printed import Asked

        planned = lettered(self.planned, self.letter, None)
        asked = Asked(only=only, line_check=line_check or None)
        return dict(hand_over(self.show, planned, asked, self.state.revision).files)

    @cached_property
    def names(self) -> dict[str, str]:
        """Channel id → name, of every act."""
        out: dict[str, str] = {}
        for planned_ in self.acts.values():
            for channel in planned_.map.channels:
                out.setdefault(channel.id, channel.name or channel.id)
        return out


def first(show: Show, journal: Journal) -> Snapshot:
    """The show as it is when the server starts. Raises ShowError and JournalError."""
    state = read_state(journal)
    news = (News(1, journal.repaired, True),) if journal.repaired else ()
    return Snapshot(1, show, state, planned(show, state), news)


def again(path: str, journal: Journal, before: Snapshot) -> Snapshot:
    """The show read anew, with what changed; where it cannot be read the old one, saying why."""
    try:
        show = load(path, accept_rejected=True)
        return _after(before, show, read_state(journal))
    except ChanbridgeError as error:
        return replace(before, number=before.number + 1, trouble=str(error), changed={})


def amended(journal: Journal, before: Snapshot) -> Snapshot:
    """The same show with what the journal says now. Raises JournalError and ShowError."""
    return _after(before, before.show, read_state(journal))


def _after(before: Snapshot, show: Show, state: State) -> Snapshot:
    made = planned(show, state)
    lines: list[tuple[str, bool]] = []
    known = len(before.state.amendments)
    lines += [(f"Late change {one.number}: {one.said}", True) for one in state.amendments[known:]]
    lines += [
        (f"Revision {one.letter} is out, word {one.word}", True)
        for one in state.revisions[len(before.state.revisions) :]
    ]
    number = before.number + 1
    after = Snapshot(number, show, state, made)
    changed = {
        (act, port): slots
        for act, planned_ in after.acts.items()
        if act in before.acts
        for port, slots in changed_rows(before.acts[act], planned_).items()
    }
    if not state.amendments[known:]:
        lines += [(text, False) for text in _moved(before, after)]
    if before.trouble:
        lines.append(("The show can be read again", False))
    last = before.news[-1].number if before.news else 0
    news = [News(last + at, text, serious) for at, (text, serious) in enumerate(lines, 1)]
    return Snapshot(number, show, state, made, (*before.news, *news)[-MOST_NEWS:], changed)


def _moved(before: Snapshot, after: Snapshot) -> Iterator[str]:
    """A line for each recipient with slots that are not as they were; an act adds what is not said yet."""
    said: set[tuple[str, Changed]] = set()
    for act, planned_ in after.acts.items():
        if act not in before.acts:
            continue
        for one in between(before.acts[act], planned_):
            new = [item for item in one.changed if (one.recipient, item) not in said]
            said.update((one.recipient, item) for item in new)
            if new:
                also = f" (and {len(new) - 1} more)" if len(new) > 1 else ""
                when = f", {after.called[act]}" if act else ""
                yield f"{one.name}{when}, slot {new[0].slot}: {new[0].to_do}{also}"


_Stat = tuple[int, int, int]


class Watch:
    """Looks whether the files of a show were saved: by their times and sizes first, then by their content."""

    def __init__(self, show: Show, journal: Journal) -> None:
        self._journal = journal
        self._seen: dict[str, _Stat | None] = {}
        self._hashes: dict[str, bytes] = {}
        self._moving: dict[str, _Stat | None] = {}
        self.follow(show)

    def follow(self, show: Show) -> None:
        """Watch the files that this show names; what they hold now is what is known."""
        self._seen = {path: _stat(path) for path in files_of(show)}
        self._hashes = {path: _digest(path) for path in self._seen}
        self.seen_journal()

    def seen_journal(self) -> None:
        """The journal as it is now is known."""
        self._written = self._journal_stat()

    def saved(self) -> bool:
        """Whether a file holds something else than before; one that is still being written waits for the next look."""
        now = {path: _stat(path) for path in self._seen}
        odd = {path: stat for path, stat in now.items() if stat != self._seen[path]}
        if odd != self._moving:
            self._moving = odd
            return False
        self._moving = {}
        other = False
        for path, stat in odd.items():
            self._seen[path] = stat
            digest = _digest(path)
            other = other or digest != self._hashes[path]
            self._hashes[path] = digest
        return other

    def written(self) -> bool:
        """Whether the journal was written since it was looked at last."""
        return self._journal_stat() != self._written

    def _journal_stat(self) -> tuple[_Stat | None, ...]:
        return tuple(_stat(f"{self._journal.path}{ending}") for ending in ("", "-wal"))


def files_of(show: Show) -> list[str]:
    """The show file and every sheet that it names."""
    folder = Path(show.source).parent
    file = show.file
    named = [
        *(item.sheet for item in file.box),
        *(name for item in file.recipient for name in (item.sheet, item.wants)),
        *(item.keep for item in file.feed),
        *(item.sheet for item in file.act),
    ]
    return [show.source, *dict.fromkeys(str(folder / name) for name in named if name)]


def _stat(path: str) -> _Stat | None:
    try:
        found = os.stat(path)
    except OSError:
        return None  # gone, which is a change like another
    return found.st_mtime_ns, found.st_size, found.st_ino


def _digest(path: str) -> bytes:
    try:
        return hashlib.sha256(read_bytes(path)).digest()
    except ChanbridgeError:
        return b""  # gone or being written; reading the show says what is wrong
