"""The notation of the rules' examples (see chanbridge/check/rule.py) as files, and files as facts."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from chanbridge import formats
from chanbridge.assemble import assemble
from chanbridge.check import check
from chanbridge.check.rule import Facts
from chanbridge.handover.facts import sheet_facts, show_facts
from chanbridge.model import Channel, ChannelMap, Entry, Port, Slot
from chanbridge.show import load

BASE = {
    "box": '[[box]]\nid = "A"\nsheet = "a.csv"\ninputs = 8\nblock = "one"\n',
    "block": '[[block]]\nid = "one"\nslots = 8\n',
    "recipient": '[[recipient]]\nid = "desk"\ntakes = ["one"]\n',
}


def written(text: str, folder: Path) -> Path:
    """Write an example into a folder; returns what is to be checked: the sheet alone, or the folder."""
    sheets: dict[str, list[str]] = {"a.csv": []}
    name, keys, tables = "a.csv", list[str](), list[str]()
    for line in text.splitlines():
        other = re.fullmatch(r"== (\S+\.csv)", line)
        if tables or line.startswith("[["):
            tables.append(line)
        elif re.match(r"\w+ = ", line):
            keys.append(line)
        elif other:
            name = other[1]
            sheets[name] = []
        elif line.strip():
            sheets[name].append(line)
    is_show = bool(keys or tables)
    sheets["a.csv"] = sheets["a.csv"] or ["Socket,Name", "1,Kick"]
    for name, lines in sheets.items():
        (folder / name).parent.mkdir(exist_ok=True, parents=True)
        (folder / name).write_text("\n".join(lines) + "\n", "utf-8")
    if not is_show:
        return folder / "a.csv"
    declared = tomllib.loads("\n".join(tables))
    more = "".join(table for kind, table in BASE.items() if kind not in declared)
    show = "\n".join(['title = "Example"', "rate = 48000", *keys, *tables, more])
    (folder / "show.toml").write_text(show, "utf-8")
    return folder


def facts_of(path: Path) -> Facts:
    """What the rules are given of a sheet or of a show's folder."""
    if path.is_dir():
        show = load(str(path))
        return show_facts(show, assemble(show))
    return sheet_facts(formats.read(str(path)))


def example(text: str, folder: Path) -> Facts:
    """An example as facts."""
    return facts_of(written(text, folder))


def said(facts: Facts, *only: str) -> list[tuple[str, str, tuple[str, ...]]]:
    """The findings as (rule, severity, names)."""
    return [(item.rule, item.severity, item.channels) for item in check(facts, only=only).findings]


def on_slots(*channels: Channel, **more: Any) -> Facts:
    """Channels one after the other on a port."""
    entries = tuple(Entry(channel.id, Slot("p", at)) for at, channel in enumerate(channels, 1))
    return Facts(
        ChannelMap(channels=channels, entries=entries, ports=(Port(id="p", size=len(channels)),), **more)
    )
