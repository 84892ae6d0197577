"""A late change as it is made: what it means for whom, and its entry in the journal once that was agreed to."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import NamedTuple

from chanbridge.assemble import Planned
from chanbridge.errors import ChanbridgeError, ShowError
from chanbridge.evening.amend import check, steps_for
from chanbridge.evening.consequences import CAUTION, Word, consequences
from chanbridge.evening.revisions import stands_of
from chanbridge.evening.state import State, planned, read_state
from chanbridge.evening.steps import Step, opposite, to_json
from chanbridge.evening.words import AmendError, Asked, misspelt, understand
from chanbridge.journal import Entry, Journal, StaleError
from chanbridge.names import fold
from chanbridge.show import Show

_TRIES = 5
_PLUGS = ("move", "add", "remove", "phantom")


class Meant(NamedTuple):
    """What a late change means. `agreed`: a digest of all that is shown; `caution` is "" where no plug is touched.

    `number`: what it would be called; `body`: its entry in the journal, which must follow the entry `after`.
    """

    said: str
    words: dict[str, Word]
    caution: str
    agreed: str
    number: int
    body: dict[str, object]
    after: int


class ChangedError(ChanbridgeError):
    """What a change means is not what was agreed to. `meant` is what it means now."""

    def __init__(self, meant: Meant) -> None:
        super().__init__("the show has changed meanwhile: look at it again before you agree")
        self.meant = meant


def make(
    show: Show,
    journal: Journal,
    said: str,
    agreed: str,
    *,
    at: str,
    who: str,
    undoes: int = 0,
    looked: Meant | None = None,
) -> tuple[int, Entry]:
    """Write a change into the journal where it means what was agreed to; its number and its entry.

    `looked`: what `look` said just now, so that nothing is planned twice. Raises ChangedError where it means something
    else by now, AmendError where it cannot be made any more.
    """
    meant = looked or look(show, journal, said, undoes)
    for _ in range(_TRIES):
        if meant.agreed != agreed:
            raise ChangedError(meant)
        try:
            return meant.number, journal.append("amendment", meant.body, at=at, who=who, after=meant.after)
        except StaleError:  # somebody else wrote: look again whether that changes anything
            meant = look(show, journal, said, undoes)
    raise AmendError("others are writing to the journal all the time; try again")


def look(show: Show, journal: Journal, said: str, undoes: int = 0) -> Meant:
    """What a change would mean now. `undoes`: the number of the late change that is taken back, or 0.

    Raises AmendError where it is not understood or cannot be made.
    """
    state = read_state(journal)
    before = planned(show, state)
    if undoes:
        steps = _back(state, undoes)
        said = f"undo {undoes}: {state.amendments[undoes - 1].said}"
    else:
        asked = understand(said)
        try:
            steps = steps_for(asked, before.map)
        except AmendError as error:
            _refuse_of_an_act(before, asked)
            near = misspelt(said)
            raise AmendError(f"{error}; did you mean {near!r}?") if near else error from None
    check(steps, before.map)
    try:
        after = planned(show, state, steps, stands_of(before))
    except ShowError as error:  # show.toml names what is not there or not called so any more
        ids = ", ".join(dict.fromkeys(step.channel for step in steps))
        raise AmendError(
            f"the show cannot be made with this change: {error}; mend that first (a name there may be the id: {ids})"
        ) from None
    words = consequences(before, after, steps)
    body = {
        "said": said,
        "steps": [to_json(step) for step in steps],
        "concerns": {name: word.sentence for name, word in words.items() if word.must},
        "stands": stands_of(after),
        "undoes": undoes,
    }
    caution = CAUTION if any(step.change in _PLUGS for step in steps) else ""
    agreed = hashlib.sha256(repr((steps, words)).encode("utf-8", "surrogatepass")).hexdigest()
    return Meant(said, words, caution, agreed, len(state.amendments) + 1, body, state.last)


def _refuse_of_an_act(plan: Planned, asked: Asked) -> None:
    """Raise AmendError where a channel is meant that comes only with an act."""
    names = {fold(channel.name) for channel in plan.map.channels}
    for said in (asked.who, asked.other):
        for act, played, _ in plan.acts:
            held = next((one for one in played.map.channels if fold(one.name) == fold(said)), None)
            if held and fold(said) not in names:
                sheet = f"{act.sheet} or in " if act.sheet else ""
                raise AmendError(
                    f"{held.name!r} comes with the act {act.name or act.id!r}, and late changes are made to what stands at "
                    f"the start; change it in {sheet}show.toml, under [[act]] {act.id}"
                )


def _back(state: State, number: int) -> Sequence[Step]:
    if not 1 <= number <= len(state.amendments):
        raise AmendError(f"there is no late change {number}; there are {len(state.amendments) or 'none yet'}")
    if number in state.undone():
        raise AmendError(f"late change {number} was taken back already")
    return opposite(state.amendments[number - 1].steps)
