"""Sheets and shows with nothing wrong, made at random, for faults to be planted in."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random

WORDS = (
    "Drum",
    "Viola",
    "Choir",
    "Guitar",
    "Horn",
    "Flute",
    "Vox",
    "Marimba",
    "Organ",
    "Harp",
    "Accordion",
    "Cello",
)
MICS = (
    ("large dynamic", "no"),
    ("small condenser", "yes"),
    ("line", "no"),
    ("active DI", "yes"),
    ("passive DI", "no"),
)


@dataclass(frozen=True)
class Line:
    """A row of a sheet. `socket` counts in `box`."""

    number: int
    name: str
    box: str
    socket: int
    mic: str
    phantom: str

    def but(self, **changes: object) -> Line:
        return replace(self, **changes)  # type: ignore[arg-type]


def sheet(lines: Sequence[Line]) -> bytes:
    out = io.StringIO(newline="")
    table = csv.writer(out)
    table.writerow(("Slot", "Name", "Box", "Socket", "Mic", "Phantom"))
    table.writerows((line.number, line.name, line.box, line.socket, line.mic, line.phantom) for line in lines)
    return out.getvalue().encode("utf-8")


def clean_lines(random: Random, count: int = 300, boxes: str = "ABCDEFGH") -> list[Line]:
    """A list of about `count` channels on boxes of 40 sockets: singles and pairs, each pair beginning on an odd slot."""
    lines: list[Line] = []
    while len(lines) < count:
        at = len(lines)
        mic, phantom = random.choice(MICS)
        name = f"{random.choice(WORDS)} {at + 1}"
        names = [f"{name} L", f"{name} R"] if at % 2 == 0 and random.random() < 0.3 else [name]
        lines += [
            Line(at + step + 1, each, boxes[(at + step) // 40], (at + step) % 40 + 1, mic, phantom)
            for step, each in enumerate(names)
        ]
    return lines


def pairs_of(lines: Sequence[Line]) -> list[int]:
    """Where left sides stand in a list."""
    return [at for at, line in enumerate(lines) if line.name.endswith(" L")]


def singles_of(lines: Sequence[Line]) -> list[int]:
    """Where channels without a side stand in a list."""
    return [at for at, line in enumerate(lines) if line.name[-1].isdigit()]


def write_show(folder: Path, lines: Sequence[Line]) -> str:
    """Write the sheets of a show with eight boxes, two desks and a truck; returns its show.toml, which is clean."""
    boxes = sorted({line.box for line in lines})
    text = ['title = "Clean"\nrate = 48000\nrevision = "B"\ngain_owner = "house"\ngain_frozen = "18:30"\n']
    for box in boxes:
        own = [line.but(number=line.socket) for line in lines if line.box == box]
        (folder / f"{box}.csv").write_bytes(sheet(own))
        text.append(
            f'[[box]]\nid = "{box}"\nsheet = "{box}.csv"\nblock = "block-{box}"\n[[block]]\nid = "block-{box}"\n'
        )
    blocks = ", ".join(f'"block-{box}"' for box in boxes)
    text.append(f'[[feed]]\nid = "feed"\nmode = "56@48000"\nblocks = ["block-{boxes[0]}"]\n')
    for name, takes in (("house", blocks), ("monitors", blocks), ("truck", '"feed"')):
        text.append(f'[[recipient]]\nid = "{name}"\ntakes = [{takes}]\n')
    for box in boxes:
        text.append(
            f'[[device]]\nid = "{box}"\nclock = "house"\nrate = 48000\ncircuit = "house"\nlatency_ms = 0.5\n'
            f'ports = [{{id = "out", carries = ["block-{box}"], role = "follows"}}]\n'
            f'[[link]]\nid = "main-{box}"\nends = ["{box}.out", "house.{box}"]\nmedium = "twisted pair"\n'
            "segments = [{length_m = 30}, {length_m = 40, stranded_awg = 24}]\n"
            f'[[link]]\nid = "backup-{box}"\nends = ["{box}", "house"]\nmedium = "twisted pair"\n'
            f'segments = [{{length_m = 70}}]\nbackup = true\nplugged = false\ncarries = ["block-{box}"]\n'
            f'[[link]]\nid = "monitors-{box}"\nends = ["house", "monitors.{box}"]\nmedium = "twisted pair"\n'
            "segments = [{length_m = 50}]\n"
        )
    leads = ", ".join(f'{{id = "{box}", carries = ["block-{box}"], role = "leads"}}' for box in boxes)
    listens = ", ".join(f'{{id = "{box}", carries = ["block-{box}"], role = "listens"}}' for box in boxes)
    text.append(
        f'[[device]]\nid = "house"\nclock = "own"\nrate = 48000\ncircuit = "house"\nlatency_ms = 0.6\nbudget_w = 40\n'
        f'display = 16\nbears_ms = 3\nports = [{leads}, {{id = "power", gives = {{class = 4}}}}]\n'
        f'[[device]]\nid = "monitors"\nclock = "house"\nrate = 48000\ncircuit = "house"\nlatency_ms = 1.2\n'
        f'bears_ms = 2.5\ndisplay = 16\nletters = "ascii"\nports = [{listens}]\n'
        '[[device]]\nid = "converter"\nclock = "house"\nrate = 48000\ncircuit = "house"\nlatency_ms = 0.2\n'
        'ports = [{id = "out", carries = ["feed"], role = "leads", mode = "56@48000"}, {id = "power", takes = {class = 4}}]\n'
        '[[device]]\nid = "truck"\nclock = "house"\nleaves = true\nrate = 48000\ncircuit = "generator"\nlatency_ms = 0.5\n'
        'ports = [{id = "in", carries = ["feed"], role = "listens", mode = "56@48000"}]\n'
        f'[[link]]\nid = "to-converter"\nends = ["house", "converter"]\ncarries = ["block-{boxes[0]}"]\n'
        'medium = "twisted pair"\nsegments = [{length_m = 2}]\nrate = 48000\n'
        '[[link]]\nid = "power"\nends = ["house.power", "converter.power"]\nmedium = "twisted pair"\nsegments = [{length_m = 2}]\n'
        '[[link]]\nid = "feed"\nends = ["converter.out", "truck.in"]\nmedium = "multimode fibre"\nsegments = [{length_m = 300}]\n'
    )  # fmt: skip
    return "".join(text)
