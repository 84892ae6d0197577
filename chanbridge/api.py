"""What the command line does, for use from Python. Paths are those of a clone in the examples here.

What cannot be done raises a `chanbridge.errors.ChanbridgeError`, whose text says where, what was found and how to
mend it. `examples/notebook.py` shows all of it in one go.

>>> from chanbridge import api
>>> box_a = api.read("examples/winter-concert/box-a.csv")
>>> len(box_a.map.channels), box_a.verdicts()["spare"]
(34, 6)
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, NamedTuple

from chanbridge import formats
from chanbridge.files import write_bytes
from chanbridge.mode import Mode
from chanbridge.model import AUDIENCES, ChannelMap
from chanbridge.plan.straight import Feeds, Plan, plan_feeds
from chanbridge.sheets.grid import Options
from chanbridge.sheets.ledger import Reading

if TYPE_CHECKING:
    import pandas as pd

    from chanbridge.assemble import Planned
    from chanbridge.check.rule import Report
    from chanbridge.compare.changes import Comparison
    from chanbridge.proof import Proof
    from chanbridge.show import Show

Path = str | os.PathLike[str]

__all__ = [
    "Merged",
    "Options",
    "check",
    "compare",
    "from_frame",
    "merge",
    "prove",
    "read",
    "to_frame",
    "write",
]


def read(path: Path, format: str = "", options: Options = Options()) -> Reading:
    """Read a sheet of any kind: its map, and the ledger of what became of every row.

    `format` is one of `chanbridge formats`, else the file's ending tells. Raises ReadError, which says where and what.

    >>> reading = read("examples/winter-concert/stream.csv")
    >>> reading.map.channels[0].name
    'Kick in'
    >>> reading.rejected()
    ()
    """
    return formats.read(os.fspath(path), format or None, options)


def write(whole: ChannelMap, path: Path, port: str | None = None) -> None:
    """Write a map into a file whose ending says the kind; a list is of `port`, or of the port that the map is about.

    Raises WriteError, and leaves the file as it was. What a kind of file cannot carry, `chanbridge formats` says.

    >>> import tempfile
    >>> folder = tempfile.mkdtemp()
    >>> write(read("examples/winter-concert/box-a.csv").map, folder + "/box-a.xlsx")
    >>> read(folder + "/box-a.xlsx").map == read("examples/winter-concert/box-a.csv").map
    False
    >>> len(read(folder + "/box-a.xlsx").map.channels)
    34
    """
    name = os.fspath(path)
    known = formats.of_suffix(name)
    write_bytes(name, formats.write(whole, known, port, os.path.splitext(name)[1].lower()))


class Merged(NamedTuple):
    """Blocks on a feed: the map with the feed in it, and the plan that says why and what was left out."""

    map: ChannelMap
    plan: Plan


def merge(*sheets: Reading, onto: str, slots: int = 40) -> Merged:
    """Put sheets, each a block of `slots` channels, onto one AES10 feed of a mode such as "64@48000".

    Raises ModeError for a mode that AES10 does not have.

    >>> import tempfile
    >>> boxes = [read(f"examples/winter-concert/box-{box}") for box in ("a.csv", "b.xml")]
    >>> feed = merge(*boxes, onto="64@48000")
    >>> feed.plan.layout, [out.channel for out in feed.plan.left_out][:2]
    ('packed', ['a-guide-piano', 'a-timecode'])
    >>> write(feed.map, tempfile.mkdtemp() + "/truck.csv", "feed")
    """
    from chanbridge.assemble.fed import fed
    from chanbridge.plan.blocks import Sheet, side_by_side

    mode = Mode.parse(onto)
    blocks = side_by_side(
        [
            Sheet(os.path.splitext(os.path.basename(reading.source))[0], reading.map, slots)
            for reading in sheets
        ]
    )
    made = plan_feeds(blocks.map, blocks.blocks, Feeds((("feed", mode.slots),)))
    return Merged(fed(blocks.map, made, mode, "feed"), made)


def compare(reference: Reading, other: Reading) -> Comparison:
    """Where two sheets differ: `changes`, `questions`, and the number of channels that are the `same`.

    >>> found = compare(read("examples/winter-concert/front-of-house.csv"), read("examples/winter-concert/stream.csv"))
    >>> found.same, sorted(change.kind for change in found.changes)
    (63, ['extra', 'missing', 'moved', 'polarity', 'renamed', 'resourced'])
    """
    from chanbridge.compare.changes import compare as compared

    both = reference.layout.keys() & other.layout.keys()
    return compared(
        reference.map, other.map, by_id="id" in both, heard=[name for name in AUDIENCES if name in both],
        columns=both, spares="spare" in reference.verdicts(),
    )  # fmt: skip


def check(path: Path) -> Report:
    """What is wrong with a sheet, or with a show (its show.toml or folder): `findings`, and what was not judged.

    Raises ReadError or ShowError for what cannot be understood.

    >>> report = check("examples/winter-concert")
    >>> [finding.rule for finding in report.findings if finding.severity == "error"]
    ['transport-leaders', 'cable-power-class', 'run-too-long', 'backup-loop']
    """
    from chanbridge.check import check as checked
    from chanbridge.handover.facts import sheet_facts, show_facts

    if formats.is_show(path):
        return checked(show_facts(*_show(path)))
    return checked(sheet_facts(read(path)))


def prove(path: Path) -> Proof:
    """Whether every channel of a sheet or a show arrives where its paper says, through real AES10 frames.

    That the paper agrees with itself proves no cable. Raises ReadError or ShowError for what cannot be understood.

    >>> proof = prove("examples/winter-concert")
    >>> proof.holds, len(proof.slots) > 100
    (True, True)
    """
    from chanbridge.handover import sheets
    from chanbridge.proof import prove_sheet, prove_show

    if formats.is_show(path):
        show, planned = _show(path)
        return prove_show(show.file, planned, dict(sheets(show, planned)).get)
    return prove_sheet(read(path))


def to_frame(whole: ChannelMap) -> pd.DataFrame:
    """A map's channels as a pandas DataFrame of text, every field and unknown column in it; needs `.[frame]`.

    >>> frame = to_frame(read("examples/winter-concert/box-a.csv").map)
    >>> frame.loc[0, "Name"]
    'Kick in'
    """
    from chanbridge.formats import frame

    return frame.to_frame(whole)


def from_frame(frame: pd.DataFrame) -> Reading:
    """A DataFrame, with headings as on any sheet, as a reading.

    >>> box_a = read("examples/winter-concert/box-a.csv").map
    >>> len(from_frame(to_frame(box_a)).map.channels)
    34
    """
    from chanbridge.formats import frame as frames

    return frames.from_frame(frame)


def _show(path: Path) -> tuple[Show, Planned]:
    """A show as it stands, with every late change that its journal holds."""
    from chanbridge.evening.state import planned, read_state
    from chanbridge.journal import Journal
    from chanbridge.show import load

    show = load(os.fspath(path))
    return show, planned(show, read_state(Journal(os.path.dirname(show.source))))
