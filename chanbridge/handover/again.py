"""A hand-over made again as its manifest says, to see whether plan and paper still agree."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence

from chanbridge.errors import Location, ReadError
from chanbridge.evening.revisions import Revision, lettered
from chanbridge.evening.state import State, current_letter, planned, read_state
from chanbridge.handover import hand_over
from chanbridge.handover.issue import revised
from chanbridge.handover.manifest import NAME, Manifest
from chanbridge.handover.printed import Asked, File, inputs, with_manifest
from chanbridge.journal import Journal
from chanbridge.show import Show


def made_again(
    show: Show, journal: Journal, made: Manifest, fonts: Sequence[str] = ()
) -> tuple[tuple[File, ...], tuple[File, ...]]:
    """What the show reads, and the files of its hand-over now, with the options of the one that was made.

    A revision that nothing has followed is made again as on the day. Raises ReadError for a manifest that asks for
    what cannot be, ShowError where the show does.
    """
    asked, issued, date = _asked(made, fonts)
    state = read_state(journal)
    revision = _newest(state, made) if issued else None
    if revision:
        state = State(
            revision.number - 1,
            state.revisions[:-1],
            [one for one in state.amendments if one.entry < revision.number],
        )
    letter = revision.letter if revision else current_letter(state)
    day = revision.date if revision else date
    plan = lettered(planned(show, state), letter, datetime.date.fromisoformat(day) if day else None)
    files = hand_over(show, plan, asked, state.revision).files
    if revision:
        files = revised(show, plan, files, asked, state.revision)
    else:
        files = with_manifest(show, plan, files, asked)
    return tuple(inputs(show)), files


def _newest(state: State, made: Manifest) -> Revision | None:
    """The revision that was made, where nothing came after it."""
    newest = state.revision
    return newest if newest and newest.letter == made.revision and not state.since() else None


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
    except (KeyError, TypeError, ValueError) as error:
        raise ReadError(
            f"this manifest does not say how the papers were made ({error}); make the hand-over again",
            Location(NAME),
        ) from None
