"""A hand-over made again as its manifest says, to see whether plan and paper still agree."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from chanbridge.errors import Location, ReadError
from chanbridge.evening.revisions import fingerprint, lettered
from chanbridge.evening.state import State, current_letter, planned, read_state
from chanbridge.handover import hand_over
from chanbridge.handover.issue import revised
from chanbridge.handover.manifest import NAME, Manifest
from chanbridge.handover.printed import Asked, File, inputs, with_manifest
from chanbridge.journal import Journal
from chanbridge.show import Show


class Again(NamedTuple):
    """A hand-over made again: what the show reads, the files, and the revision and hash of the plan by now."""

    inputs: tuple[File, ...]
    files: tuple[File, ...]
    revision: str
    hash: str


def made_again(show: Show, journal: Journal, made: Manifest, fonts: Sequence[str] = ()) -> Again:
    """The hand-over of a show as it is now, with the options, letter, date and hash of the one that was made.

    What differs from the paper then differs in what it says, not only in the letter and word of its heading. Raises
    ReadError for a manifest that asks for what cannot be, ShowError where the show does.
    """
    asked, issued, date = _asked(made, fonts)
    state = read_state(journal)
    letters = [one.letter for one in state.revisions]
    at = letters.index(made.revision) if issued and made.revision in letters else None
    before = state.revision
    if at is not None:
        date = state.revisions[at].date
        before = state.revisions[at - 1] if at else None
    now = planned(show, _as_issued(state) if at == len(letters) - 1 and not state.since() else state)
    hashed = fingerprint(now)
    plan = lettered(now, made.revision, datetime.date.fromisoformat(date) if date else None, made.hash)
    files = hand_over(show, plan, asked, before).files
    files = revised(show, plan, files, asked, before) if issued else with_manifest(show, plan, files, asked)
    return Again(tuple(inputs(show)), files, current_letter(state) or now.map.revision, hashed)


def _as_issued(state: State) -> State:
    """The state in which the newest revision was issued."""
    newest = state.revisions[-1]
    late = [one for one in state.amendments if one.entry < newest.number]
    return State(newest.number - 1, state.revisions[:-1], late)


def _asked(made: Manifest, fonts: Sequence[str]) -> tuple[Asked, bool, str]:
    """The options of a hand-over, whether it was issued, and its date. Raises ReadError."""

    def texts(said: object) -> tuple[str, ...]:
        if not isinstance(said, Iterable) or isinstance(said, str):
            raise TypeError(said)
        return tuple(map(str, said))

    said = made.asked
    try:
        asked = Asked(
            str(said["language"]), texts(said["formats"]), texts(said["only"]), bool(said["from_zero"]), str(said["paper"]),
            float(said["label_mm"]), int(said["label_row"]), tuple(fonts),
            None if said["line_check"] is None else texts(said["line_check"]),
        )  # fmt: skip
        asked.check()
        if said["date"]:
            datetime.date.fromisoformat(said["date"])
        return asked, bool(said["issued"]), said["date"]
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise ReadError(
            f"this manifest does not say how the papers were made ({error}); make the hand-over again",
            Location(NAME),
        ) from None
