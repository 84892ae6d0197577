"""Paper: sheets that are older than others, and two that share a name."""

from __future__ import annotations

from pathlib import PurePosixPath

from chanbridge.check.rule import Facts, Found, Said, Unjudged, rule
from chanbridge.model import ChannelMap
from chanbridge.names import fold


def older(one: str, other: str) -> bool:
    """Whether a revision is before another; letters and numbers cannot be compared with each other."""
    if one.isdigit() and other.isdigit():
        return int(one) < int(other)
    letters = one.isalpha() and other.isalpha()
    return letters and (len(one), one.upper()) < (len(other), other.upper())


def _age(whole: ChannelMap) -> str:
    parts = (f"revision {whole.revision}" if whole.revision else "", f"of {whole.date}" if whole.date else "")
    return " ".join(part for part in parts if part)


@rule("sheet-older", "warning", needs="show")
def sheet_older(facts: Facts) -> Said:
    """A box's sheet of an earlier revision than the show's; a note where it is earlier than another box's.

    Fails:
        Revision A,
        Socket,Name
        1,Kick
        revision = "B"
    Passes:
        Revision B,
        Socket,Name
        1,Kick
        revision = "B"
    """
    boxes = {sheet.source: sheet for sheet in facts.sheets if sheet.use == "box"}
    for sheet in boxes.values():
        revision = sheet.map.revision
        newer = [other for other in boxes.values() if older(revision, other.map.revision)]
        if facts.file and older(revision, facts.file.revision):
            yield Found(
                sheet.source,
                f"it is revision {revision} and the show is {facts.file.revision}; ask for the new one",
            )
        elif newer:
            message = f"it is revision {revision} and {newer[0].source} is {newer[0].map.revision}; ask whether both are the newest"
            yield Found(sheet.source, message, (), "note")


@rule("list-older", "warning", needs="show")
def list_older(facts: Facts) -> Said:
    """A recipient's own list that is older than a box's sheet, or of an earlier revision than the show.

    Fails:
        List of 2026-12-05,
        Socket,Name
        1,Kick
        == desk.csv
        List of 2026-12-01,
        Slot,Name
        1,Kick
        [[recipient]]
        id = "desk"
        takes = ["one"]
        sheet = "desk.csv"
    Passes:
        List of 2026-12-05,
        Socket,Name
        1,Kick
        == desk.csv
        List of 2026-12-05,
        Slot,Name
        1,Kick
        [[recipient]]
        id = "desk"
        takes = ["one"]
        sheet = "desk.csv"
    """
    dated = [
        (sheet.map.date, sheet.source) for sheet in facts.sheets if sheet.use == "box" and sheet.map.date
    ]
    kept = [sheet for sheet in facts.sheets if sheet.use in ("kept", "wants")]
    unsaid = [sheet.source for sheet in kept if not _age(sheet.map)]
    for sheet in kept:
        if facts.file and older(sheet.map.revision, facts.file.revision):
            message = f"{sheet.owner} works from revision {sheet.map.revision} and the show is {facts.file.revision}; send the new one"
            yield Found(sheet.source, message)
        elif sheet.map.date and dated and sheet.map.date < max(dated)[0]:
            date, source = max(dated)
            yield Found(
                sheet.source,
                f"{sheet.owner}'s list is of {sheet.map.date} and {source} of {date}; send the new one",
            )
    if unsaid:
        yield Unjudged(f"no date or revision stands on {', '.join(unsaid)}")


@rule("sheet-name-twice", "error", needs="show")
def sheet_name_twice(facts: Facts) -> Said:
    """Two sheets with one file name whose contents differ.

    Fails:
        Socket,Name
        1,Kick
        == old/a.csv
        Slot,Name
        1,Snare
        [[recipient]]
        id = "desk"
        takes = ["one"]
        sheet = "old/a.csv"
    Passes:
        Socket,Name
        1,Kick
        == desk.csv
        Slot,Name
        1,Snare
        [[recipient]]
        id = "desk"
        takes = ["one"]
        sheet = "desk.csv"
    """
    seen: dict[str, tuple[str, ChannelMap]] = {}
    for sheet in facts.sheets:
        name = fold(PurePosixPath(sheet.source).name)
        first, content = seen.setdefault(name, (sheet.source, sheet.map))
        if first != sheet.source and content != sheet.map:
            ages = [age for age in (_age(content), _age(sheet.map)) if age]
            which = f" ({' and '.join(ages)})" if ages else ""
            yield Found(
                sheet.source,
                f"it has the name of {first} and other content{which}; rename one, or take it away",
            )


RULES = (sheet_older, list_older, sheet_name_twice)
