"""Channels that one of two lists does not have: each cause once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence

from chanbridge.compare.change import Change, Kind
from chanbridge.compare.match import Matching
from chanbridge.compare.places import FEWEST, UNIT, Item, box_key
from chanbridge.compare.wording import called, listed, name_of, place, shown
from chanbridge.model import Line
from chanbridge.names import counted, fold

MODES = (28, 56)
"""Channels in AES10's varispeed modes: a list that stops there was cut. AES10-2003 clause 5.1 and abstract."""


def missing(
    found: Matching, mine: Sequence[Item], theirs: Sequence[Item], loose: Collection[Line]
) -> Iterator[tuple[Line, Change]]:
    """Each missing channel, or the block or the end of the list that it is missing with, and the first line of it.

    `loose`: lines of the reference that stand elsewhere on the other list, so that they do not mark its end.
    """
    order = {item.line: at for at, item in enumerate(mine)}
    left = {order[item.line]: item for item in found.missing}
    twice = _twice(mine, theirs)
    blocks = list(_blocks(found, mine, theirs, left, order, loose))
    rest = left.keys() - {at for group, _, _ in blocks for at in group}
    blocks += _ranges(mine, rest) if found.matches else ()
    for group, kind, message in blocks:
        for at in group:
            del left[at]
        lines = [mine[at].line for at in group]
        names = tuple(mine[at].channel.name for at in group)
        rows = tuple((line, None) for line in lines)
        yield lines[0], Change(kind, names, lines[0], None, f"{message}: {listed(names)}", rows)
    pairs = {pair.reference.channel.id: pair.reference for pair in found.matches}
    for item in left.values():
        name = item.channel.name
        again = twice.get(fold(name))
        if again and item.socket and _entered(item) in {_entered(other) for other in mine if other != item}:
            message = f"{name!r} is here twice on one socket and once on the other list{_too_many(item.line)}"
            yield item.line, Change("doubled", (name,), item.line, again.line, message)
            continue
        partner = pairs.get(item.channel.pair.partner or "") if item.channel.pair else None
        broken = f": the pair with {partner.channel.name!r} is broken" if partner else ""
        other = f", which has {name!r} once where two are here" if again else ""
        message = f"{name!r} ({place(item.line)}) is not on the other list{other}{broken}"
        yield item.line, Change("missing", (name,), item.line, None, message)


def _entered(item: Item) -> tuple[str, str, int | None]:
    return fold(item.channel.name), item.box, item.socket


def _has_place(line: Line) -> bool:
    return bool(line.number or line.socket)


def _too_many(line: Line) -> str:
    """Which of two is one too many, where the list says where it stands."""
    return f": {place(line)} is the one too many" if _has_place(line) else ""


Group = tuple[list[int], Kind, str]


def _blocks(
    found: Matching,
    mine: Sequence[Item],
    theirs: Sequence[Item],
    left: dict[int, Item],
    order: dict[Line, int],
    loose: Collection[Line],
) -> Iterator[Group]:
    """Whole boxes that are missing, and the end of the list where it was cut off."""
    here = {pair.reference.line for pair in found.matches}
    here |= {
        question.reference for question in found.questions if question.kind == "match" and question.reference
    }
    if not here:
        return
    boxes: dict[str, list[int]] = {}
    for at, item in enumerate(mine):
        if item.box and item.socket:
            boxes.setdefault(item.box, []).append(at)
    there = {item.box for item in theirs}
    gone = {
        box: rows
        for box, rows in boxes.items()
        if len(rows) >= FEWEST and box not in there and all(at in left for at in rows)
    }
    end = max((order[line] for line in here.difference(loose)), default=-1)
    tail = [at for at in left if at > end]
    first = mine[tail[0]] if tail else None
    whole = {at for rows in gone.values() for at in rows} == set(tail)
    cut = first is not None and len(tail) >= FEWEST
    if cut and first and (not whole or (first.slot or 0) - 1 in MODES):
        start = f"slot {first.line.number}" if first.line.number else repr(first.channel.name)
        yield (
            tail,
            "cut-off",
            f"the other list is cut off: everything from {start} on is not there ({counted(len(tail), 'channel')})",
        )
        gone = {box: [at for at in rows if at not in tail] for box, rows in gone.items()}
    for rows in gone.values():
        if len(rows) >= FEWEST:
            name = mine[rows[0]].line.box or mine[rows[0]].box
            yield (
                rows,
                "block-missing",
                f"box {shown(name)} is missing from the other list altogether ({counted(len(rows), 'channel')})",
            )


def _ranges(mine: Sequence[Item], left: Collection[int]) -> Iterator[Group]:
    """Eight or more neighbouring rows that are missing."""
    for run in _runs(left):
        where = f"{place(mine[run[0]].line)} to {place(mine[run[-1]].line)}"
        yield (
            run,
            "block-missing",
            f"a block is missing from the other list: {where} ({counted(len(run), 'channel')})",
        )


def _runs(rows: Collection[int]) -> Iterator[list[int]]:
    """Neighbouring rows, where there are as many as a block has at least."""
    run: list[int] = []
    for at in (*sorted(rows), -1):
        if run and at == run[-1] + 1:
            run.append(at)
            continue
        if len(run) >= UNIT:
            yield run
        run = [at]


def extra(
    found: Matching, mine: Sequence[Item], theirs: Sequence[Item], spares: Sequence[Line]
) -> Iterator[Change]:
    """What only the other list has: a channel there twice, one on a spare of the reference, whole boxes, the rest."""
    again = _twice(theirs, mine)
    by_socket = {(box_key(line.box), line.socket): line for line in spares if line.socket}
    by_slot = {line.number: line for line in spares if line.number}
    twins: list[Item] = []
    rest: list[Item] = []
    for item in found.extra:
        if fold(item.channel.name) in again:
            twins.append(item)
            continue
        if found.common.sockets and item.socket:
            spare = by_socket.get((item.box, item.socket))
        else:
            spare = by_slot.get(item.slot or 0)
        if spare:
            remark = f" ({shown(spare.text)})" if spare.text else ""
            message = (
                f"{called(item.line)} stands on {place(spare)} on the other list, which is spare here{remark}"
            )
            yield Change("spare-used", (item.channel.name,), spare, item.line, message)
        else:
            rest.append(item)
    order = {item.line: at for at, item in enumerate(theirs)}
    for group in _together(twins, order):
        one, line = again[fold(group[0].channel.name)].line, group[0].line
        if len(group) == 1:
            here_once = f" ({place(one)})" if _has_place(one) else ""
            message = f"{called(line)} is on the other list twice and here once{here_once}{_too_many(line)}"
            yield Change("doubled", (name_of(line),), one, line, message)
        else:
            what = f"{place(line)} to {place(group[-1].line)} repeat channels of the other list"
            lines = [(again[fold(item.channel.name)].line, item.line) for item in group]
            yield _several("doubled", what, lines)
    here = {item.box for item in mine}
    boxes: dict[str, list[Item]] = {}
    for item in rest:
        boxes.setdefault(item.box if item.socket else "", []).append(item)
    whole = {box: group for box, group in boxes.items() if box and box not in here and len(group) >= UNIT}
    for group in whole.values():
        what = f"box {shown(group[0].line.box)} is only on the other list"
        yield _several("extra", what, [(None, item.line) for item in group])
    rest = [item for item in rest if not (item.socket and item.box in whole)]
    for group in _together(rest, order):
        line = group[0].line
        if len(group) == 1:
            message = f"{called(line)} ({place(line)}) is only on the other list"
            yield Change("extra", (name_of(line),), None, line, message)
        else:
            what = f"{place(line)} to {place(group[-1].line)} are only on the other list"
            yield _several("extra", what, [(None, item.line) for item in group])


def _several(kind: Kind, what: str, lines: Sequence[tuple[Line | None, Line]]) -> Change:
    names = tuple(name_of(line) for _, line in lines)
    message = f"{what} ({counted(len(lines), 'channel')}): {listed(names)}"
    return Change(kind, names, *lines[0], message, tuple(lines))


def _together(items: Sequence[Item], order: Mapping[Line, int]) -> list[list[Item]]:
    """Items one by one, but those of a block's length and more that are neighbours on their list together."""
    at = {order[item.line]: item for item in items}
    out = [[at[row] for row in run] for run in _runs(at)]
    grouped = {item.line for group in out for item in group}
    return [*out, *([item] for item in items if item.line not in grouped)]


def _twice(many: Sequence[Item], few: Sequence[Item]) -> dict[str, Item]:
    """Folded name → the first channel of `few` with a name that `many` has oftener; channels without one are left out."""
    times, others = (Counter(fold(item.channel.name) for item in each) for each in (many, few))
    out: dict[str, Item] = {}
    for item in few:
        name = fold(item.channel.name)
        if name and times[name] > others[name]:
            out.setdefault(name, item)
    return out
