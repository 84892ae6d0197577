"""The cover page of a hand-over: whom to call, who gets what, what was found, what is proved and what is not."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from chanbridge.handover.paper import Column, Heading, Notes, Page, Row, Table
from chanbridge.handover.words import Words


class Share(NamedTuple):
    """What one recipient gets: channels of all there are, the first and the last slot in words, what it lacks."""

    recipient: str
    channels: str
    slots: str
    lacking: int


class LeftOut(NamedTuple):
    """A channel that someone does not get, and why. `wanted`: it should."""

    recipient: str
    channel: str
    reason: str
    wanted: bool


class Told(NamedTuple):
    """What others say of a show. None where nobody asked.

    `findings`: (severity, place, message) of the check, the worst first. `proof`: the proof's own lines. `line_check`:
    what is ticked. `cautions`: subjects of `check.rule.CARE` beside the usual ones.
    """

    findings: tuple[tuple[str, str, str], ...] | None = None
    proof: tuple[str, ...] | None = None
    line_check: tuple[str, ...] | None = None
    cautions: tuple[str, ...] = ()


def cover_page(
    heading: Heading, shares: Sequence[Share], left_out: Sequence[LeftOut], told: Told, words: Words
) -> Page:
    """The cover: contacts have empty fields to fill in by hand."""
    subjects = dict.fromkeys(("sound", *told.cautions, "mains"))
    parts = [
        _shares(shares, words),
        _findings(told.findings, words),
        Notes(
            words("proof"),
            tuple(map(words.say, told.proof)) if told.proof is not None else (words("not_asked"),),
        ),
        Notes(words("line_check"), told.line_check if told.line_check is not None else (words("not_begun"),)),
        _left_out(left_out, words),
        Notes(words("cautions"), tuple(words(f"care_{subject}") for subject in subjects), careful=True),
    ]
    return Page(heading, (_contacts(shares, words), *parts))


def _contacts(shares: Sequence[Share], words: Words) -> Table:
    columns = (
        Column("paper", words("paper"), "label"),
        Column("person", words("person"), "text"),
        Column("phone", words("phone"), "text"),
    )
    names = [*(share.recipient for share in shares), words("stage")]
    rows = tuple(Row(f"contact {name}", (name, "", "")) for name in names)
    return Table(words("contacts"), columns, rows)


def _shares(shares: Sequence[Share], words: Words) -> Table:
    columns = (
        Column("paper", words("paper"), "label"),
        Column("delivered", words("delivered"), "text"),
        Column("slots", words("slots_used"), "text"),
        Column("lacking", words("lacking"), "mark"),
    )
    rows = tuple(
        Row(
            f"share {share.recipient}",
            (share.recipient, share.channels, share.slots, str(share.lacking) if share.lacking else ""),
            careful=bool(share.lacking),
        )
        for share in shares
    )
    return Table(words("summary"), columns, rows)


def _findings(findings: tuple[tuple[str, str, str], ...] | None, words: Words) -> Table | Notes:
    if not findings:
        return Notes(words("findings"), (words("not_asked" if findings is None else "nothing_found"),))
    columns = (
        Column("kind", words("kind"), "mark"),
        Column("place", words("position"), "small"),
        Column("change", words("what"), "small"),
    )
    rows = tuple(
        Row(f"finding {at}", (words(severity), place, message), careful=severity == "error")
        for at, (severity, place, message) in enumerate(findings)
    )
    return Table(words("findings"), columns, rows)


def _left_out(left_out: Sequence[LeftOut], words: Words) -> Table | Notes:
    if not left_out:
        return Notes(words("left_out"), (words("everything_there"),))
    columns = (
        Column("paper", words("paper"), "label"),
        Column("name", words("name"), "name"),
        Column("wanted", words("wanted"), "mark"),
        Column("reason", words("reason"), "small"),
    )
    rows = tuple(
        Row(
            f"left out {at}",
            (item.recipient, item.channel, words("wanted") if item.wanted else "", words.say(item.reason)),
            careful=item.wanted,
        )
        for at, item in enumerate(sorted(left_out, key=lambda item: not item.wanted))
    )
    return Table(words("left_out"), columns, rows)
