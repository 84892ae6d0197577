"""A show's commands beside a bare interpreter: the example, and made-up shows of two and of twenty stage boxes."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from tests.bench.measure import PYTHON, ROOT, TOOL, Row, spent

SMALL, LARGE = 2, 20
INPUTS = 32
_FOUND = (0, 1)
"""How a command ends that has something to say."""


def rows(folder: Path) -> Iterator[Row]:
    """What is asked of a show on the day, its start included."""
    bare = spent(PYTHON, "-c", "pass", times=7)
    example = str(ROOT / "examples" / "winter-concert")
    shows = [str(show(folder / f"boxes-{boxes}", boxes)) for boxes in (LARGE, SMALL)]
    for command in (("prove",), ("check",), ("lose", "--each")):
        name = " ".join(command)
        yield Row(
            f"{name}, the example", spent(TOOL, *command, example, statuses=_FOUND), "python -c pass", bare
        )
        many, few = (spent(TOOL, *command, path, times=1, statuses=_FOUND) for path in shows)
        yield Row(f"{name}, {LARGE} boxes, {LARGE} cables", many, "python -c pass", bare, few)
    lists = ("--formats", "csv,xml,txt")
    some, paper = (
        spent(TOOL, "handover", example, "-o", str(folder / f"paper-{at}"), *more, times=2, statuses=_FOUND)
        for at, more in enumerate((lists, ()))
    )
    yield Row("handover, the example, all papers", paper, "the same, lists alone", some)
    many, few = (
        spent(TOOL, "handover", path, "-o", f"{path}-out", *lists, times=1, statuses=_FOUND) for path in shows
    )
    yield Row(f"handover, {LARGE} boxes, lists", many, "python -c pass", bare, few)


def show(folder: Path, boxes: int) -> Path:
    """A show in which each box has a sheet, a block, a cable to the desk, and a feed to the recorder's own truck."""
    folder.mkdir()
    parts = ['title = "Many boxes"', "rate = 48000"]
    blocks = ", ".join(f'"block-{at}"' for at in range(boxes))
    feeds = ", ".join(f'"feed-{at}"' for at in range(boxes))
    for at in range(boxes):
        lines = (f"{n},Chair {at}-{n},{n},yes" for n in range(1, INPUTS + 1))
        (folder / f"box-{at}.csv").write_text("\n".join(("Ch,Name,Socket,48V", *lines, "")), "utf-8")
        parts += [
            f'[[box]]\nid = "box-{at}"\nsheet = "box-{at}.csv"\ninputs = {INPUTS}\nblock = "block-{at}"',
            f'[[block]]\nid = "block-{at}"\nslots = {INPUTS}',
            f'[[feed]]\nid = "feed-{at}"\nmode = "64@48000"\nblocks = ["block-{at}"]',
            f'[[device]]\nid = "box-{at}"\nclock = "desk"\nrate = 48000\n'
            f'ports = [{{id = "main", carries = ["block-{at}"], role = "follows"}}]',
            f'[[link]]\nid = "cable-{at}"\nends = ["box-{at}.main", "desk.{at}"]\nmedium = "twisted pair"\n'
            "segments = [{length_m = 50}]",
        ]
    ports = ", ".join(f'{{id = "{at}", carries = ["block-{at}"], role = "leads"}}' for at in range(boxes))
    parts += [
        f'[[recipient]]\nid = "desk"\ntakes = [{blocks}]',
        f'[[recipient]]\nid = "truck"\ntakes = [{feeds}]',
        f'[[device]]\nid = "desk"\nclock = "own"\nrate = 48000\nports = [{ports}]',
    ]
    (folder / "show.toml").write_text("\n\n".join(parts) + "\n", "utf-8")
    return folder
