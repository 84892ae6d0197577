"""The lists as documents: text for two pages, and CSV."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import Any

from chanbridge.foresight.labels import labels
from chanbridge.foresight.paper import csv_bytes, plain, table, wrapped
from chanbridge.foresight.pull import Pull, pull
from chanbridge.foresight.questions import Question, questions
from chanbridge.model import ChannelMap
from chanbridge.system import ShowFile

HANGING = "Rigging, mains and earthing: licensed people, after local codes and the makers' instructions."


def documents(
    file: ShowFile,
    maps: Sequence[ChannelMap],
    delivered: Mapping[str, Collection[str]],
    care: Mapping[Any, str],
) -> Iterator[tuple[str, bytes]]:
    """The lists of a show with their paths below the hand-over's folder.

    `maps`: the show's map and its acts', in order. `delivered`: recipient → ids of the channels that it gets.
    `care`: the usual cautions by subject, as in `check.rule.CARE`.
    """
    asked = questions(file, maps[0], delivered)
    for name, lines in (
        ("lists/kit.txt", kit_lines(file, maps, care)),
        ("lists/questions.txt", question_lines(file, maps[0], asked)),
        ("lists/labels.txt", label_lines(file, maps)),
    ):
        yield name, _encoded(lines)
    yield "lists/kit.csv", kit_csv(file, maps)
    yield "lists/questions.csv", question_csv(asked)
    yield "lists/labels.csv", label_csv(file, maps)
    for recipient in file.recipient:
        own = [question for question in asked if question.recipient == recipient.id]
        yield f"{recipient.id}/questions.txt", _encoded(question_lines(file, maps[0], own))


def _encoded(lines: Iterable[str]) -> bytes:
    return ("\n".join(lines).rstrip() + "\n").encode("utf-8", "backslashreplace")


def _about(stated: ChannelMap, what: str) -> list[str]:
    revision = f", revision {stated.revision}" if stated.revision else ""
    date = f", {stated.date}" if stated.date else ""
    return [*wrapped(stated.title), *wrapped(f"{what}{revision}{date}"), ""]


def kit_lines(file: ShowFile, maps: Sequence[ChannelMap], care: Mapping[Any, str]) -> Iterator[str]:
    """What to bring, section by section, then what is not said."""
    found = pull(file, maps)
    yield from _about(maps[0], "What to bring")
    rows = []
    section = ""
    for item in found.items:
        if item.section != section:
            section = item.section
            rows.append(["", "", section.upper(), ""])
        spare = item.spare(file.kit.spares_percent)
        rows.append([str(item.need + spare), f"{spare}" if spare else "", item.what, item.places])
    yield from table(["Bring", "Spare", "What", "For"], rows)
    yield from _unsaid(found)
    yield ""
    yield from wrapped(care["phantom"], "! ", "  ")
    yield from wrapped(HANGING, "! ", "  ")


def _unsaid(found: Pull) -> Iterator[str]:
    if found.unsaid:
        yield ""
        yield "Not said:"
        for text in found.unsaid:
            yield from wrapped(text, "  ", "    ")


def kit_csv(file: ShowFile, maps: Sequence[ChannelMap]) -> bytes:
    """Section, what, need, spare, bring, and for which channel on which socket, or for which cable or device."""
    rows = []
    for item in pull(file, maps).items:
        spare = item.spare(file.kit.spares_percent)
        users = [f"{one.socket} {plain(one.channel.name or one.channel.id)}" for one in item.sockets]
        rows.append(
            [
                item.section,
                item.what,
                str(item.need),
                str(spare),
                str(item.need + spare),
                "; ".join([*users, *item.others]),
            ]
        )
    return csv_bytes(["Section", "What", "Need", "Spare", "Bring", "For"], rows)


def question_lines(file: ShowFile, stated: ChannelMap, asked: Sequence[Question]) -> Iterator[str]:
    """The questions recipient by recipient; `[x]` is answered, `[ ]` is not."""
    yield from _about(stated, "Questions: [x] answered, [ ] please answer")
    names = {recipient.id: recipient.name for recipient in file.recipient}
    last = ""
    for question in asked:
        if question.recipient != last:
            if last:
                yield ""
            last = question.recipient
            name = names.get(last, "")
            yield from wrapped(f"{name} ({last})" if name else last)
        mark = "[x]" if question.answered else "[ ]"
        yield from wrapped(question.text, f"{mark} {question.topic:<9} ", " " * 14)


def question_csv(asked: Sequence[Question]) -> bytes:
    """Recipient, topic, whether it is answered, the answer, or what is asked."""
    rows = [[one.recipient, one.topic, "yes" if one.answered else "no", one.text] for one in asked]
    return csv_bytes(["Recipient", "Topic", "Answered", "Text"], rows)


def label_lines(file: ShowFile, maps: Sequence[ChannelMap]) -> Iterator[str]:
    """Every cable with what stands on both its ends."""
    yield from _about(maps[0], "Cables: the label goes on both ends")
    rows = [
        [f"{one.length_m:g}" if one.length_m else "?", one.start, one.end, one.text]
        for one in labels(file, maps)
    ]
    yield from table(["m", "From", "To", "Label"], rows)


def label_csv(file: ShowFile, maps: Sequence[ChannelMap]) -> bytes:
    """One row for each end of each cable, for a label printer."""
    rows = [
        [one.text, here, there, f"{one.length_m:g}" if one.length_m else ""]
        for one in labels(file, maps)
        for here, there in ((one.start, one.end), (one.end, one.start))
    ]
    return csv_bytes(["Label", "This end", "Other end", "Length m"], rows)
