"""Which line of one list is which line of another."""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter, deque
from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from typing import Literal, NamedTuple

from chanbridge.compare.assign import best_assignment
from chanbridge.compare.labels import Dictionary
from chanbridge.compare.places import FEWEST, Item, Question, Said, said, settle
from chanbridge.errors import ReadError
from chanbridge.names import fold

Key = Literal["socket", "name", "slot"]
KEYS: tuple[Key, ...] = ("socket", "name", "slot")

SURE = 0.9
"""Likeness from which a match is taken wherever the two stand."""

ALIKE = 0.6
"""Likeness from which two labels in one place are one channel under two names."""

DOUBTFUL = 0.65
"""Likeness from which two labels in different places are worth a question."""

MARGIN = 0.05
"""By so much a match must be better than any other that one of the two could have."""

_IN_PLACE = 500  # thousandths of likeness that the same place is worth
_CANDIDATES = 16  # for one row, beside what stands in its place
_LOOKED_AT = 40
_LONGEST_LIST = 400  # of rows that have one word, looked at for another


class Match(NamedTuple):
    """Two lines that are one channel, or, with a score below `ALIKE`, two channels in one place.

    `by`: how that is known: id, box and name, name, socket, slot or likeness. `score`: from 0 to 1.
    """

    reference: Item
    other: Item
    by: str
    score: float


class Matching(NamedTuple):
    """Matches in the reference's order, the items of each list that have none, and what was left open."""

    matches: list[Match]
    missing: list[Item]
    extra: list[Item]
    questions: list[Question]
    common: Said


def match(
    reference: Sequence[Item],
    other: Sequence[Item],
    words: Dictionary,
    *,
    by_id: bool = False,
    by: Key | None = None,
) -> Matching:
    """Match two lists: by id if both have ids of their own, by box and name, by name, by place, by likeness.

    `by` forces one key: then only lines whose socket, name or slot are equal are matched. Raises ReadError where that
    is a place that one list does not give.
    """
    matcher = _Matcher(reference, other, words)
    if by in ("socket", "slot"):
        matcher.forced("socket" if by == "socket" else "slot")
        return matcher.result()
    if by_id and by is None:
        matcher.pair_off("id", lambda item: (item.channel.id, item.slot))
        matcher.pair_off("id", lambda item: item.channel.id)
    matcher.names()
    matcher.settle()
    if by is None:
        matcher.likeness()
        matcher.in_place()
    return matcher.result()


class _Matcher:
    """Two lists on the way to being matched; `pairs`: index here → (index there, evidence, score)."""

    def __init__(self, reference: Sequence[Item], other: Sequence[Item], words: Dictionary) -> None:
        self.mine, self.theirs, self.words = list(reference), list(other), words
        self.common = said(reference, other)
        self.pairs: dict[int, tuple[int, str, float]] = {}
        self.taken: set[int] = set()
        self.questions: list[Question] = []
        self.asked: set[int] = set()
        self.asked_there: set[int] = set()

    def take(self, at: int, there: int, by: str, score: float = 1.0) -> None:
        self.pairs[at] = (there, by, score)
        self.taken.add(there)

    def left(self) -> list[int]:
        return [at for at in range(len(self.mine)) if at not in self.pairs and at not in self.asked]

    def right(self) -> list[int]:
        return [at for at in range(len(self.theirs)) if at not in self.taken and at not in self.asked_there]

    # Equal keys

    def pair_off(self, by: str, key: Callable[[Item], Hashable | None], sided: bool = False) -> None:
        """Take lines with equal keys, in order; `sided`: not two that are different sides of a pair."""
        waiting: dict[Hashable, deque[int]] = {}
        for there in self.right():
            name = key(self.theirs[there])
            if name is not None:
                waiting.setdefault(name, deque()).append(there)
        for at in self.left():
            name = key(self.mine[at])
            for there in waiting.get(name, ()) if name is not None else ():
                if not (sided and self.opposed(at, there)):
                    waiting[name].remove(there)
                    self.take(at, there, by)
                    break

    def opposed(self, at: int, there: int) -> bool:
        """Whether columns beside two equal names say different sides."""
        one, two = self.mine[at].channel, self.theirs[there].channel
        if not one.pair or not two.pair or one.pair.side == two.pair.side:
            return False
        return not any(reading.sides for reading in self.words.readings(one.name))

    def names(self) -> None:
        """By box and name, then by name; of several with one name those in one place first."""
        for by, named in (("box and name", _box_and_name), ("name", _name)):
            places: tuple[Callable[[Item], Hashable | None], ...] = (
                lambda item: (item.socket, item.slot) if item.socket and item.slot else None,
                lambda item: item.socket,
                lambda item: item.slot,
                lambda item: "",
            )
            for place in places:

                def key(
                    item: Item,
                    named: Callable[[Item], Hashable | None] = named,
                    place: Callable[[Item], Hashable | None] = place,
                ) -> Hashable | None:
                    name, where = named(item), place(item)
                    return None if name is None or where is None else (name, where)

                self.pair_off(by, key, sided=True)

    def forced(self, by: Literal["socket", "slot"]) -> None:
        """By place alone, whatever stands there; of several in one place those with one name first.

        What stands nowhere is still found by its name among what stands nowhere.
        """
        if not getattr(self.common, f"{by}s"):
            raise ReadError(f"to compare by {by} both lists must give {by}s, and one gives none")
        self.common = self.common._replace(sockets=by == "socket", slots=by == "slot")
        for named in (True, False):

            def key(item: Item, named: bool = named) -> Hashable | None:
                where = _place(item, self.common)
                return None if where is None else (where, fold(item.channel.name) if named else "")

            self.pair_off(by, key)
        for at, (there, _, _) in self.pairs.items():
            score = self.words.likeness(self.mine[at].label, self.theirs[there].label)
            self.pairs[at] = (there, by, score)
        self.pair_off(
            "name", lambda item: _name(item) if _place(item, self.common) is None else None, sided=True
        )

    def settle(self) -> bool:
        """Bring the other list into the reference's coordinates; whether anything had to be assumed for that."""
        found = settle(self.mine, self.theirs, {at: there for at, (there, _, _) in self.pairs.items()})
        self.mine, self.theirs = found.reference, found.other
        self.questions += found.questions
        self.common = said(self.mine, self.theirs)
        return bool(found.questions)

    # Places

    def by_place(self) -> str:
        return "socket" if self.common.sockets else "slot"

    def expected(self, rows: Iterable[int]) -> dict[int, Hashable]:
        """Index here → the place where a row should stand there: its own, or shifted as its neighbours are.

        The nearest matched rows above and below must be out alike; where none is on one side, two on the other.
        """
        matched = sorted(self.pairs)
        out: dict[int, Hashable] = {}
        for at in rows:
            here = bisect_left(matched, at)
            above, below = matched[max(0, here - 2) : here], matched[here : here + 2]
            telling = [*above[-1:], *below[:1]] if above and below else above or below
            shifts = {self._shift(neighbour) for neighbour in telling}
            shift = shifts.pop() if len(shifts) == 1 and len(telling) > 1 else 0
            item = self.mine[at]
            if self.common.sockets and item.socket:
                item = item._replace(socket=item.socket + shift)
            elif item.slot:
                item = item._replace(slot=item.slot + shift)
            where = _place(item, self.common)
            if where is not None:
                out[at] = where
        return out

    def _shift(self, at: int) -> int:
        one, two = self.mine[at], self.theirs[self.pairs[at][0]]
        if self.common.sockets:
            same_box = one.box == two.box or not self.common.boxes
            return two.socket - one.socket if one.socket and two.socket and same_box else 0
        return two.slot - one.slot if one.slot and two.slot else 0

    def standing(self) -> dict[Hashable, list[int]]:
        """Place → what is left of the other list there."""
        out: dict[Hashable, list[int]] = {}
        for there in self.right():
            where = _place(self.theirs[there], self.common)
            if where is not None:
                out.setdefault(where, []).append(there)
        return out

    # Labels

    def likeness(self) -> None:
        """One globally best assignment of what is left; a match that is not sure becomes a question.

        Sure ones may show that a box is called or counted otherwise there: then the rest is looked at again.
        """
        before = len(self.pairs)
        doubtful = self._alike()
        if len(self.pairs) > before and self.settle():
            doubtful = self._alike()
        for at, there, like in doubtful:
            self.ask(at, there, like)

    def _alike(self) -> list[tuple[int, int, float]]:
        """Take what is surely alike; what is doubtful, by its indexes here and there with its likeness."""
        here = {fold(self.mine[at].channel.name) for at in self.pairs}
        there_too = {fold(self.theirs[there].channel.name) for there in self.taken}
        # A second one of a name that is matched already is its double, not something alike.
        left = [at for at in self.left() if fold(self.mine[at].channel.name) not in there_too]
        right = [there for there in self.right() if fold(self.theirs[there].channel.name) not in here]
        if not left or not right:
            return []
        free = set(right)
        expected = self.expected(left)
        standing = self.standing()
        likes: dict[tuple[int, int], float] = {}
        scores: list[dict[int, int]] = []
        for at, near in zip(left, self._candidates(left, right), strict=True):
            name = self.mine[at].label
            found: dict[int, int] = {}
            beside = [there for there in standing.get(expected.get(at), ()) if there in free]
            for there in dict.fromkeys((*beside[:_CANDIDATES], *near)):
                like = self.words.likeness(name, self.theirs[there].label)
                in_place = there in beside
                if like >= (ALIKE if in_place else DOUBTFUL) and not self.opposed(at, there):
                    likes[at, there] = like
                    found[there] = round(1000 * like) + _IN_PLACE * in_place
            best = sorted(found.items(), key=lambda pair: (-pair[1], pair[0]))[:_CANDIDATES]
            scores.append(dict(best))
        chosen = best_assignment(scores)
        rival = self._rivals(scores, chosen)
        doubtful = []
        for row, there in sorted(chosen.items()):
            at, score = left[row], scores[row][there]
            like = likes[at, there]
            if score - rival[row] < 1000 * MARGIN or not (score > 1000 or like >= SURE):
                doubtful.append((at, there, like))
            else:
                self.take(at, there, self.by_place() if score > 1000 else "likeness", like)
        return doubtful

    def _rivals(self, scores: Sequence[dict[int, int]], chosen: dict[int, int]) -> dict[int, int]:
        """Row → the best score that it or its partner could have with another who is not better off elsewhere."""
        margin = round(1000 * MARGIN)
        holder = {there: row for row, there in chosen.items()}
        best: dict[int, int] = dict.fromkeys(chosen, 0)
        for row, found in enumerate(scores):
            mine = chosen.get(row)
            for there, score in found.items():
                if there == mine:
                    continue
                owner = holder.get(there)
                content = owner is not None and scores[owner][there] >= score + margin
                if mine is not None and not content:
                    best[row] = max(best[row], score)
                settled = mine is not None and found[mine] >= score + margin
                if owner is not None and not settled:
                    best[owner] = max(best[owner], score)
        return best

    def ask(self, at: int, there: int, like: float) -> None:
        one, two = self.mine[at], self.theirs[there]
        self.asked.add(at)
        self.asked_there.add(there)
        names = tuple(dict.fromkeys((one.channel.name, two.channel.name)))
        message = f"is {one.channel.name!r} the {two.channel.name!r} of the other list?"
        self.questions.append(Question("match", names, one.line, two.line, round(like, 2), message))

    def in_place(self) -> None:
        """What is left in one place on both lists: another source there, unless one word stands for another all along."""
        standing = self.standing()
        taken: set[int] = set()
        found: list[tuple[int, int]] = []
        for at, where in self.expected(self.left()).items():
            there = next((row for row in standing.get(where, ()) if row not in taken), None)
            if there is not None:
                taken.add(there)
                found.append((at, there))
        labels = [(self.mine[at].label, self.theirs[there].label) for at, there in found]
        changed = [self.words.changed_word(*both) for both in labels]
        often = Counter(changed)
        for (at, there), both, word in zip(found, labels, changed, strict=True):
            renamed = word is not None and often[word] >= FEWEST
            like = ALIKE if renamed else min(self.words.likeness(*both), ALIKE - 0.01)
            self.take(at, there, self.by_place(), like)

    def _candidates(self, left: Sequence[int], right: Sequence[int]) -> Iterator[list[int]]:
        """For each row what shares the most words with it, slips and abbreviations included."""
        holders: dict[tuple[str, tuple[str, ...] | None], dict[int, None]] = {}
        for there in right:
            for reading in self.words.readings(self.theirs[there].label):
                for word in reading.words or reading.sides or ("",):
                    for marks in (reading.marks, None):
                        holders.setdefault((word, marks), {})[there] = None
        near = self._near(
            {word for at in left for word in self._words(self.mine[at])},
            {word for there in right for word in self._words(self.theirs[there])},
        )
        lists = {key: list(rows)[:_LONGEST_LIST] for key, rows in holders.items()}
        for at in left:
            shared: Counter[int] = Counter()
            for reading in self.words.readings(self.mine[at].label):
                for word in reading.words or reading.sides or ("",):
                    for alike in (word, *near.get(word, ())):
                        for marks in (reading.marks, ()) if reading.marks else (None,):
                            shared.update(lists.get((alike, marks), ()))
            yield [there for there, _ in shared.most_common(_LOOKED_AT)]

    def _words(self, item: Item) -> set[str]:
        return {word for reading in self.words.readings(item.label) for word in reading.words}

    def _near(self, here: set[str], there: set[str]) -> dict[str, list[str]]:
        """Word here → the words there that are an abbreviation or a slip of it."""
        out: dict[str, list[str]] = {}
        for one, other in self.words.near(sorted(here), sorted(there)):
            out.setdefault(one, []).append(other)
        return out

    def result(self) -> Matching:
        matches = [
            Match(self.mine[at], self.theirs[there], by, score)
            for at, (there, by, score) in sorted(self.pairs.items())
        ]
        missing = [self.mine[at] for at in self.left()]
        extra = [self.theirs[there] for there in self.right()]
        return Matching(matches, missing, extra, self.questions, self.common)


def _place(item: Item, common: Said) -> Hashable | None:
    """Where an item stands, by what both lists give; None where it stands nowhere."""
    if common.sockets:
        return (item.box if common.boxes else "", item.socket) if item.socket else None
    return item.slot if common.slots else None


def _box_and_name(item: Item) -> Hashable | None:
    return (item.box, _name(item)) if item.box and _name(item) else None


def _name(item: Item) -> Hashable | None:
    return fold(item.channel.name) or None
