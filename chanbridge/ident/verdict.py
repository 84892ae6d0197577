"""What a recording says against the plan, in the words that `compare` has for it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from chanbridge.ident.codes import WALK
from chanbridge.ident.detect import Heard
from chanbridge.ident.places import Coded, Place
from chanbridge.model import Channel
from chanbridge.names import counted

TOGETHER_DB = -20.0
"""A second signal above this, against the louder one, was patched there; below, it is crosstalk."""

CROSSTALK_DB = -50.0
"""Crosstalk above this, against what the input carries, is a finding; below, it is only listed."""

_RUN = 3  # neighbours with one fault are one finding from here on

Kind = Literal[
    "missing", "block-missing", "cut-off", "extra", "moved", "shift", "swap", "pair", "doubled", "polarity", "crosstalk"
]  # fmt: skip


class Finding(NamedTuple):
    """One difference from the plan. `channels`: their names; `inputs`: of the recording, from 1."""

    kind: Kind
    channels: tuple[str, ...]
    inputs: tuple[int, ...]
    message: str


class Verdict(NamedTuple):
    """What differs from the plan; `questions`: inputs that could not be read for sure, which are in no finding;
    `not_judged`: planned channels whose inputs were not recorded."""

    findings: tuple[Finding, ...]
    questions: tuple[Finding, ...]
    not_judged: tuple[str, ...]


class Move(NamedTuple):
    """A channel on another input than the planned one; both from 0."""

    code: int
    planned: int
    heard: int

    @property
    def offset(self) -> int:
        """How many inputs later than planned; below 0 earlier."""
        return self.heard - self.planned


@dataclass(frozen=True)
class Plan:
    """What each input should carry. `places`: of the recorded port; `coded`: which code means what. Inputs count from
    0 here."""

    places: Sequence[Place]
    coded: Coded

    def wanted(self, at: int) -> list[int]:
        """The codes planned at an input; none past the plan's end."""
        place = self.places[at] if at < len(self.places) else None
        return [self.coded.codes[each.source] for each in place.occupants] if place else []

    def homes(self, code: int) -> list[int]:
        """The inputs at which a code is planned."""
        return [at for at in range(len(self.places)) if code in self.wanted(at)]

    def channel(self, code: int, at: int | None = None) -> Channel | None:
        """The channel that a code means: at an input where it is planned, the one planned there."""
        here = self.places[at].occupants if at is not None and at < len(self.places) else ()
        planned = (each.channel for each in here if self.coded.codes[each.source] == code)
        return next(planned, next(iter(self.coded.channels.get(code, ())), None))

    def name(self, code: int, at: int | None = None) -> str:
        """A code's name for people."""
        if code == WALK:
            return "the carried signal"
        channel = self.channel(code, at)
        if channel:
            return channel.name or channel.id
        spare = next((source for source, known in self.coded.codes.items() if known == code), None)
        return f"spare {spare}" if spare else "an ident of another plan"


class Judge:
    """Goes through what was heard, one kind of fault after the other; each input is explained once."""

    def __init__(self, heard: Sequence[Heard], plan: Plan) -> None:
        self.heard = heard
        self.plan = plan
        self.got = [each.code if each.state == "ident" and each.code != WALK else None for each in heard]
        self.findings: list[Finding] = []

    def verdict(self) -> Verdict:
        """Everything that differs, in the order of the inputs."""
        moves = self._misplaced()
        absent = [at for at in range(min(len(self.got), len(self.plan.places))) if self._missed(at)]
        moves, absent = self._shifted(moves, absent)
        self._moved(moves)
        self._absent(absent)
        for at in range(len(self.got)):
            self._beside(at)
            if self.heard[at].state == "stranger":
                self._add("extra", [], [at], f"input {at + 1} carries an ident that is not of this plan; was it made from another one?")  # fmt: skip
        self._reversed()
        doubtful = [at for at, each in enumerate(self.heard) if each.state == "unsure"]
        questions = tuple(
            Finding("missing", self._names(self.plan.wanted(at), at), (at + 1,), self._doubt(at))
            for at in doubtful
        )
        found = set(self.got)
        beyond = [
            place.name
            for place in self.plan.places[len(self.got) :]
            if any(self.plan.coded.codes[each.source] not in found for each in place.occupants)
        ]
        findings = sorted(self.findings, key=lambda each: min(each.inputs))
        return Verdict(tuple(findings), questions, tuple(beyond))

    def _add(self, kind: Kind, codes: Iterable[int], inputs: Sequence[int], message: str) -> None:
        self.findings.append(Finding(kind, self._names(codes), tuple(at + 1 for at in inputs), message))

    def _names(self, codes: Iterable[int], at: int | None = None) -> tuple[str, ...]:
        return tuple(self.plan.name(code, at) for code in codes)

    def _at(self, at: int) -> set[int]:
        """The codes patched to an input: the loudest, others near it, and planned ones at any level."""
        each = self.heard[at]
        if self.got[at] is None or each.gain_db is None:
            return set()
        wanted = self.plan.wanted(at)
        near = {a.code for a in each.also if a.gain_db - each.gain_db >= TOGETHER_DB or a.code in wanted}
        return {each.code, *near} - {None} if each.code is not None else near

    def _misplaced(self) -> list[Move]:
        """What stands on an input that is not its own, and nowhere else; the rest is said at once."""
        moves: list[Move] = []
        for at, code in enumerate(self.got):
            if code is None or code in self.plan.wanted(at):
                continue
            name, homes = self.plan.name(code), self.plan.homes(code)
            right = [home for home in homes if home < len(self.got) and code in self._at(home)]
            if not homes:
                self._add("extra", [code], [at], f"input {at + 1} carries {name!r}, which the plan does not have here")  # fmt: skip
            elif right:
                self._add("doubled", [code], [at], f"{name!r} is on input {at + 1} as well as on its own, {right[0] + 1}")  # fmt: skip
            elif any(move.code == code for move in moves):
                self._add("doubled", [code], [at], f"{name!r} is on input {at + 1} too; planned is input {homes[0] + 1}")  # fmt: skip
            else:
                moves.append(Move(code, homes[0], at))
        return moves

    def _missed(self, at: int) -> list[int]:
        """The codes planned at an input that are heard neither there nor on any input that is not theirs."""
        if self.heard[at].state == "unsure":
            return []
        away = [code for code in self.plan.wanted(at) if code not in self._at(at)]
        return [
            code
            for code in away
            if not any(code in self._at(other) for other in range(len(self.got)) if code not in self.plan.wanted(other))
        ]  # fmt: skip

    def _shifted(self, moves: list[Move], absent: list[int]) -> tuple[list[Move], list[int]]:
        """Runs of channels that are all equally far off, with those that fall off the end by it, as one finding."""
        planned = [at for at in range(len(self.plan.places)) if self.plan.wanted(at)]

        def joined(low: int, high: int) -> bool:
            return all(at in absent for at in planned if low < at < high)

        runs: list[list[Move]] = []
        for move in sorted(moves, key=lambda move: move.planned):
            before = runs[-1][-1] if runs else None
            if before and before.offset == move.offset and joined(before.planned, move.planned):
                runs[-1].append(move)
            else:
                runs.append([move])
        for run in (each for each in runs if len(each) >= _RUN):
            first, last, offset = run[0].planned, run[-1].planned, run[0].offset
            off = [
                at for at in absent
                if not 0 <= at + offset < len(self.got) and (joined(at, first) if at < first else joined(last, at))
            ]  # fmt: skip
            where = f"{counted(abs(offset), 'input')} {'later' if offset > 0 else 'earlier'}"
            said = f"{counted(len(run), 'channel')} planned on inputs {first + 1} to {last + 1} come {where}, {self._from_to(run[0].code, run[-1].code)}"
            if off:
                lost = [code for at in off for code in self._missed(at)]
                said += f"; that leaves no input for {', '.join(map(repr, self._names(lost)))}"
            self._add("shift", [move.code for move in run], [move.heard for move in run], said)
            moves = [move for move in moves if move not in run]
            absent = [at for at in absent if at not in off]
        return moves, absent

    def _from_to(self, first: int, last: int) -> str:
        return f"{self.plan.name(first)!r} to {self.plan.name(last)!r}"

    def _moved(self, moves: Sequence[Move]) -> None:
        by_place = {(move.planned, move.heard): move for move in moves}
        for move in moves:
            other = by_place.get((move.heard, move.planned))
            name = self.plan.name(move.code)
            if other is None:
                self._add("moved", [move.code], [move.heard], f"{name!r} is on input {move.heard + 1}; planned is input {move.planned + 1}")  # fmt: skip
            elif move.planned < other.planned:
                one, two = self.plan.channel(move.code), self.plan.channel(other.code)
                sides = one and two and one.pair and one.pair.partner == two.id
                how = "are the wrong way round" if sides else "have changed places"
                said = f"{name!r} and {self.plan.name(other.code)!r} {how} (inputs {move.planned + 1} and {other.planned + 1})"
                self._add("pair" if sides else "swap", [move.code, other.code], [move.planned, other.planned], said)  # fmt: skip

    def _absent(self, absent: Sequence[int]) -> None:
        last = max((at for at in range(len(self.got)) if self.plan.wanted(at)), default=-1)
        for run in self._runs(absent):
            state = self.heard[run[0]].state
            codes = [code for at in run for code in self._missed(at)]
            if len(run) >= _RUN and state in ("silent", "other"):
                what = "are silent" if state == "silent" else "carry something that is no ident"
                kind: Kind = "cut-off" if run[-1] == last and run[0] > 0 else "block-missing"
                said = f"inputs {run[0] + 1} to {run[-1] + 1} {what}: {counted(len(codes), 'channel')} heard nowhere, {self._from_to(codes[0], codes[-1])}"
                self._add(kind, codes, run, said)
                continue
            for at in run:
                for code in self._missed(at):
                    self._add("missing", [code], [at], f"{self.plan.name(code, at)!r} is heard nowhere; its input {at + 1} {self._instead(at)}")  # fmt: skip

    def _instead(self, at: int) -> str:
        each = self.heard[at]
        match each.state:
            case "silent":
                return f"is silent ({each.level_dbfs:.0f} dBFS)"
            case "other":
                return f"carries something that is no ident ({each.level_dbfs:.0f} dBFS)"
            case "stranger":
                return "carries an ident that is not of this plan"
        return f"carries {self.plan.name(each.code, at)!r}" if each.code is not None else "is open"

    def _runs(self, places: Sequence[int]) -> list[list[int]]:
        """Inputs side by side in one state; those for which nothing is planned do not part them."""
        runs: list[list[int]] = []
        for at in places:
            before = runs[-1][-1] if runs else None
            if (
                before is not None
                and self.heard[before].state == self.heard[at].state
                and not any(self.plan.wanted(between) for between in range(before + 1, at))
            ):
                runs[-1].append(at)
            else:
                runs.append([at])
        return runs

    def _beside(self, at: int) -> None:
        """Further signals in an input: patched there, or crosstalk."""
        each, code = self.heard[at], self.got[at]
        if code is None or each.gain_db is None:
            return
        for also in each.also:
            apart = also.gain_db - each.gain_db
            if also.code in self.plan.wanted(at) or also.code == WALK:
                continue
            name, mine = self.plan.name(also.code), self.plan.name(code, at)
            how = f"{abs(apart):.0f} dB {'under' if apart < 0 else 'over'} it"
            if apart >= TOGETHER_DB:
                own = [home + 1 for home in self.plan.homes(also.code)]
                where = f", planned on input {own[0]}" if own else ""
                self._add("doubled", [code, also.code], [at], f"input {at + 1} carries {mine!r} and, {how}, {name!r}{where}")  # fmt: skip
            elif apart >= CROSSTALK_DB:
                self._add("crosstalk", [also.code, code], [at], f"{name!r} is heard in input {at + 1} ({mine!r}), {how}")  # fmt: skip

    def _reversed(self) -> None:
        """Reversed polarity where the plan does not say so; where it does, a desk's switch may do it later."""
        wrong = [
            at
            for at, code in enumerate(self.got)
            if code is not None and self.heard[at].reversed and not self._meant(at, code)
        ]
        live = [at for at, code in enumerate(self.got) if code is not None]
        if len(wrong) > _RUN and all(self.heard[at].reversed for at in live):
            codes = [code for code in self.got if code is not None]
            self._add("polarity", codes, live, f"all {len(live)} inputs are reversed; look first at what they have in common")  # fmt: skip
            return
        for at in wrong:
            code = self.got[at]
            if code is not None:
                self._add(
                    "polarity", [code], [at], f"{self.plan.name(code, at)!r} (input {at + 1}) is reversed"
                )

    def _meant(self, at: int, code: int) -> bool:
        channel = self.plan.channel(code, at)
        return channel is not None and channel.polarity == "reversed"

    def _doubt(self, at: int) -> str:
        each = self.heard[at]
        likely = self.plan.name(each.code, at) if each.code is not None else ""
        planned = " + ".join(map(repr, self._names(self.plan.wanted(at), at))) or "nothing"
        return f"input {at + 1} may carry {likely!r} (confidence {each.confidence:.2f}); planned is {planned}: listen to it"
