"""What differs between two lists, as data."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import NamedTuple

from chanbridge.compare.absent import extra, missing
from chanbridge.compare.change import Change, Kind
from chanbridge.compare.labels import Dictionary
from chanbridge.compare.match import ALIKE, Key, Match, Matching, match
from chanbridge.compare.moves import moves
from chanbridge.compare.places import FEWEST, Question, Wiring, items
from chanbridge.compare.wording import place, shown, through
from chanbridge.model import AUDIENCES, Channel, ChannelMap, Line
from chanbridge.names import Vocabulary, fold, vocabulary


class Comparison(NamedTuple):
    """`same`: the number of channels that do not differ. `changes` in the reference's order, extras last.

    `questions`: what must be asked; a doubtful match is there, and in no change. `matches`: what was taken for one
    channel, with its evidence and score.
    """

    same: int
    changes: tuple[Change, ...]
    questions: tuple[Question, ...] = ()
    matches: tuple[Match, ...] = ()


def compare(
    reference: ChannelMap,
    other: ChannelMap,
    *,
    by_id: bool = False,
    heard: Collection[str] = AUDIENCES,
    columns: Collection[str] = (),
    spares: bool = True,
    by: Key | None = None,
    wiring: Wiring = MappingProxyType({}),
    words: Vocabulary | None = None,
) -> Comparison:
    """Compare two lists channel by channel. What one list does not say at all is no difference.

    `by_id`: both lists came with ids of their own, which then say what is the same channel. `heard`: the
    audiences that both lists have a column for; what was only gathered from a name is no difference. `columns`: of
    "pair" and "short", those that both lists have. `spares`: the reference has rows for spares, so that a number
    without a channel is one. `by` forces one key. `wiring`: how the show counts sockets as slots.
    """
    dictionary = Dictionary(words or vocabulary())
    mine, empty = items(reference, wiring)
    theirs, _ = items(other, wiring)
    found = match(mine, theirs, dictionary, by_id=by_id, by=by)
    order = {item.line: at for at, item in enumerate(mine)}
    at: list[tuple[int, Change]] = []
    touched: set[int] = set()  # matches that are in a change
    loose: set[Line] = set()  # lines that stand elsewhere on the other list, each for itself
    for rows, change in moves(found):
        touched |= set(rows)
        if change.kind != "shift":
            loose.update(line for line, _ in change.lines()[:2] if line)
        at.append((order[found.matches[rows[0]].reference.line], change))
    for rows, change in _pairs(found, columns):
        touched |= set(rows)
        at.append((order[found.matches[rows[0]].reference.line], change))
    for row, pair in enumerate(found.matches):
        changes = list(_changes(pair, heard, columns)) if pair.score >= ALIKE else []
        touched |= {row} if changes else set()
        at += [(order[pair.reference.line], change) for change in changes]
    at = _owners_together(at)
    at += [(order[line], change) for line, change in missing(found, mine, theirs, loose)]
    at += [(len(order), change) for change in extra(found, mine, theirs, empty if spares else [])]
    at.sort(key=lambda pair: pair[0])
    same = len(found.matches) - len(touched)
    taken = [pair for pair in found.matches if pair.score >= ALIKE]
    return Comparison(same, tuple(change for _, change in at), tuple(found.questions), tuple(taken))


def _changes(pair: Match, heard: Collection[str], columns: Collection[str]) -> Iterator[Change]:
    """What differs about one channel, its place left out."""
    one, two = pair.reference.channel, pair.other.channel
    mine, theirs = pair.reference.line, pair.other.line
    names = tuple(dict.fromkeys((one.name, two.name)))

    def change(kind: Kind, message: str) -> Change:
        return Change(kind, names, mine, theirs, f"{one.name!r}: {message}")

    if fold(one.name) != fold(two.name):
        stayed = pair.by not in ("slot", "socket") or getattr(pair.reference, pair.by) == getattr(
            pair.other, pair.by
        )
        how = f"same {pair.by}" if stayed and pair.by != "likeness" else f"{pair.score:.0%} alike"
        message = f"{one.name!r} is called {two.name!r} on the other list ({place(theirs)}; {how})"
        yield Change("renamed", (one.name, two.name), mine, theirs, message)
    if "short" in columns and one.short and two.short and fold(one.short) != fold(two.short):
        yield change("label", f"the label is {two.short!r} on the other list, {one.short!r} here")
    for kind, ours, others in (
        ("polarity", one.polarity, two.polarity),
        ("phantom", one.phantom, two.phantom),
    ):
        if "unknown" not in (ours, others) and ours != others:
            yield change(
                "polarity" if kind == "polarity" else "phantom",
                f"{kind} is {others} on the other list, {ours} here",
            )
    if one.gain_owner and two.gain_owner and fold(one.gain_owner) != fold(two.gain_owner):
        yield change("gain-owner", _owners(one, two))
    permissions = ((name, getattr(one.audience, name), getattr(two.audience, name)) for name in heard)
    apart = [
        f"{name} is {others} on the other list, {ours} here"
        for name, ours, others in permissions
        if "open" not in (ours, others) and ours != others
    ]
    if apart:
        yield change("audience", "; ".join(apart))


def _pairs(found: Matching, columns: Collection[str]) -> Iterator[tuple[tuple[int, ...], Change]]:
    """What is wrong with pairs, both sides of one together: indexes of their matches, and the change."""
    partners = {pair.reference.channel.id: pair.other.channel.id for pair in found.matches}
    row_of = {pair.reference.channel.id: row for row, pair in enumerate(found.matches)}
    told: set[tuple[int, ...]] = set()
    for row, pair in enumerate(found.matches):
        here = pair.reference.channel
        wrong = _pair(pair, partners, columns) if pair.score >= ALIKE else ""
        mate = row_of.get(here.pair.partner or "") if here.pair else None
        rows = (row,) if mate is None else (min(row, mate), max(row, mate))
        if not wrong or rows in told:
            continue
        told.add(rows)
        both = [found.matches[at] for at in rows]
        names = tuple(one.reference.channel.name for one in both)
        lines = tuple((one.reference.line, one.other.line) for one in both)
        beside = f" (with {found.matches[mate].reference.channel.name!r})" if mate is not None else ""
        message = f"{here.name!r}: {wrong}{beside}"
        yield rows, Change("pair", names, *lines[0], message, lines if len(rows) > 1 else ())


def _pair(pair: Match, partners: Mapping[str, str], columns: Collection[str]) -> str:
    """What is wrong with a channel's pair, or ""."""
    here, there = pair.reference.channel.pair, pair.other.channel.pair
    if here is None or (there is None and "pair" not in columns):
        return ""
    if there is None:
        return f"is a single on the other list, the {here.side} of a pair here: the pair is broken"
    if here.side != there.side:
        return f"is the {there.side} side on the other list, the {here.side} here: the pair is reversed"
    if here.partner and there.partner is None and "pair" in columns and here.partner in partners:
        return "has no partner on the other list: the pair is broken"
    if here.partner and there.partner and partners.get(here.partner, there.partner) != there.partner:
        return "has another partner on the other list: the pair is broken"
    return ""


def _owners_together(found: Sequence[tuple[int, Change]]) -> list[tuple[int, Change]]:
    """Three or more preamps that went from one owner to another are one change."""
    groups: dict[str, list[tuple[int, Change]]] = {}
    for at, change in found:
        if change.kind == "gain-owner":
            said = change.message.removeprefix(f"{change.channels[0]!r}: ")
            groups.setdefault(said, []).append((at, change))
    out = [pair for pair in found if pair[1].kind != "gain-owner"]
    for said, group in groups.items():
        if len(group) < FEWEST:
            out += group
            continue
        first = group[0][1]
        names = tuple(change.channels[0] for _, change in group)
        rows = tuple((change.reference, change.other) for _, change in group)
        message = f"{said}: {through(names)}"
        out.append((group[0][0], Change("gain-owner", names, first.reference, first.other, message, rows)))
    return out


def _owners(one: Channel, two: Channel) -> str:
    return f"gain belongs to {shown(two.gain_owner)} on the other list, {shown(one.gain_owner)} here"
