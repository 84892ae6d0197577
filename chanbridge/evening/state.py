"""Where the evening stands: what was issued, what has changed since, who was told and who has received it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any, NamedTuple, TypeVar

from pydantic import TypeAdapter

from chanbridge.assemble import Planned, assemble
from chanbridge.errors import ChanbridgeError, Location, Problem
from chanbridge.evening.revisions import Revision, Stands, from_body, held_to
from chanbridge.evening.steps import Step, carried_out, from_json
from chanbridge.journal import Entry, Journal, JournalError
from chanbridge.model import ChannelMap
from chanbridge.names import spoken
from chanbridge.show import Show


class Amendment(NamedTuple):
    """A late change as the journal has it. `number` counts the amendments from 1; `entry` is its place in the journal.

    `concerns`: recipient id → the sentence for those who must be told. `stands`: where channels stood on the feeds
    once it was made. `undoes` is the number of the amendment that it takes back, or 0.
    """

    number: int
    entry: int
    at: str
    who: str
    said: str
    steps: tuple[Step, ...]
    concerns: dict[str, str]
    stands: Stands
    undoes: int


class Rehearsal(NamedTuple):
    """That a recording is played in the place of inputs. `live`: ids of channels that stay live. `since` is UTC."""

    since: str
    recorder: str
    live: tuple[str, ...]


@dataclass
class State:
    """What the journal says. `last` is the number of its last entry.

    `told` and `received`: recipient id → the letters and the amendment numbers that they were told, or said to have.
    """

    last: int = 0
    revisions: list[Revision] = field(default_factory=list)
    amendments: list[Amendment] = field(default_factory=list)
    told: dict[str, set[str | int]] = field(default_factory=dict)
    received: dict[str, set[str | int]] = field(default_factory=dict)
    rehearsal: Rehearsal | None = None

    @property
    def revision(self) -> Revision | None:
        """The newest revision, or None before the first."""
        return self.revisions[-1] if self.revisions else None

    @property
    def stands(self) -> Stands:
        """Where channels stood on the feeds last."""
        written = [(one.number, one.stands) for one in self.revisions]
        written += [(one.entry, one.stands) for one in self.amendments]
        return max(written, key=lambda pair: pair[0])[1] if written else {}

    def since(self) -> list[Amendment]:
        """The amendments that are younger than the newest revision: no paper has them yet."""
        newest = self.revisions[-1].number if self.revisions else 0
        return [amendment for amendment in self.amendments if amendment.entry > newest]

    def undone(self) -> set[int]:
        """Numbers of the amendments that are taken back; one whose taking back was taken back counts again."""
        back: set[int] = set()
        for amendment in reversed(self.amendments):
            if amendment.undoes and amendment.number not in back:
                back.add(amendment.undoes)
        return back

    def missing(self, recipient: str, said: dict[str, set[str | int]]) -> list[str | int]:
        """What someone should have been told, or should have said to have, and has not: a letter, numbers."""
        known = said.get(recipient, set())
        newest = self.revision
        out: list[str | int] = []
        if newest and newest.letter not in known and recipient in newest_recipients(newest):
            out.append(newest.letter)
        out += [one.number for one in self.since() if recipient in one.concerns and one.number not in known]
        return out


def newest_recipients(revision: Revision) -> set[str]:
    """The recipients that a revision was written for."""
    return {name.split("/")[0] for name in revision.files if "/" in name}


def current_letter(state: State) -> str:
    """What stands on paper that is printed now: `B`, or `B+2` with two late changes since; "" before the first."""
    newest = state.revision
    if newest is None:
        return ""
    late = len(state.since())
    return f"{newest.letter}+{late}" if late else newest.letter


def read_state(journal: Journal) -> State:
    """What a journal says. Raises JournalError where an entry says what this version does not understand."""
    state = State()
    for entry in journal.entries():
        try:
            _take(state, entry, str(journal.path))
        except (KeyError, TypeError, ValueError, AttributeError, ChanbridgeError) as error:
            raise JournalError(
                f"entry {entry.number} ({entry.kind[:40]}) says what this version does not understand; use the chanbridge "
                f"that wrote it, or set the journal aside ({type(error).__name__})",
                Location(str(journal.path)),
            ) from None
        state.last = entry.number
    return state


def _take(state: State, entry: Entry, source: str) -> None:
    """Add what an entry says. Whatever is raised means that it is not what this version writes."""
    body = entry.body
    if entry.kind == "revision":
        revision = _held(Revision, from_body(entry.number, body, source))
        spoken(revision.hash)
        state.revisions.append(revision)
    elif entry.kind == "amendment":
        made = Amendment(
            len(state.amendments) + 1, entry.number, entry.at, entry.who, body["said"],
            tuple(map(from_json, body["steps"])), body["concerns"], body["stands"], body.get("undoes", 0),
        )  # fmt: skip
        state.amendments.append(_held(Amendment, made))
    elif entry.kind in ("told", "received"):
        heard = _held(_Heard, _Heard(body["recipient"], body["what"]))
        said = state.told if entry.kind == "told" else state.received
        said.setdefault(heard.recipient, set()).update(heard.what)
    elif entry.kind == "rehearsal":
        on = body.get("on")
        made_on = Rehearsal(entry.at, body["recorder"], tuple(body["live"])) if on else None
        state.rehearsal = _held(Rehearsal, made_on) if made_on else None


class _Heard(NamedTuple):
    recipient: str
    what: tuple[str | int, ...]


_Kind = TypeVar("_Kind")


_shape: Callable[[Any], TypeAdapter[Any]] = cache(TypeAdapter)


def _held(kind: type[_Kind], made: _Kind) -> _Kind:
    """What was read, its fields of the kinds that they are said to be; pydantic's ValidationError where they are not."""
    checked: _Kind = _shape(kind).validate_python(made)
    return checked


def unfit(made: Planned) -> list[str]:
    """What is said of late changes that cannot be carried out as they were made, as the sheets have moved on."""
    return [problem.message for problem in made.problems if problem.code == "amendment"]


def planned(show: Show, state: State, more: Sequence[Step] = (), stands: Stands | None = None) -> Planned:
    """The show as it stands: with every late change, and with what was issued where it was issued.

    `more`: steps beside those in the journal; `stands`: where channels stand on the feeds, if not as in the journal.
    Raises ShowError.
    """
    odd: list[str] = []

    def amended(stage: ChannelMap) -> ChannelMap:
        undone, made = state.undone(), stage
        for one in state.amendments:
            made, said = carried_out(made, one.steps)
            odd.extend(said if one.number not in undone else ())
        made, said = carried_out(made, more)
        odd.extend(said)
        before, now = ({slot for _, slot in one.entries} for one in (stage, made))
        free = (item for item in made.reserved if item.slot in before or item.slot not in now)
        return made.changed(reserved=tuple(free))  # what the sheet says of a socket that is taken now is over

    made = assemble(held_to(show, state.stands if stands is None else stands), amended)
    problems = tuple(Problem(Location("journal"), "amendment", text) for text in dict.fromkeys(odd))
    return made._replace(problems=(*made.problems, *problems))
