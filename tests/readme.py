"""The commands of README.md with what they print. `python -m tests.readme` writes their output anew.

A block ```console holds commands after "$ " and what each prints, errors included. A comment above the block chooses
lines: `<!-- lines 1-20 -->` the first twenty, `<!-- lines -6 -->` the last six, of each command; "…" stands for the rest.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
_BLOCK = re.compile(
    r"(?:<!-- lines (?P<first>\d*)-(?P<last>\d+) -->\n)?```console\n(?P<body>.*?)```\n", re.DOTALL
)


class Shown(NamedTuple):
    """A command of the README with what the README says that it prints."""

    command: str
    output: str


class Block(NamedTuple):
    """A block of commands. `first`, `last`: which lines of each output are shown, None for all of them."""

    text: str
    shown: tuple[Shown, ...]
    first: int | None
    last: int | None


def blocks(text: str) -> Iterator[Block]:
    """The blocks of commands, in order."""
    for found in _BLOCK.finditer(text):
        parts = re.split(r"^\$ ", found["body"], flags=re.MULTILINE)[1:]
        shown = tuple(Shown(*part.partition("\n")[::2]) for part in parts)
        first = int(found["first"]) if found["first"] else None
        yield Block(found[0], shown, first, int(found["last"]) if found["last"] else None)


def cut(block: Block, output: str) -> str:
    """The lines of an output that a block shows."""
    lines = output.splitlines()
    if block.last is None:
        kept = lines
    elif block.first is None:
        kept = ["…", *lines[-block.last :]] if len(lines) > block.last else lines
    else:
        kept = lines[block.first - 1 : block.last] + (["…"] if len(lines) > block.last else [])
        kept = ["…"] * (block.first > 1) + kept
    return "".join(f"{line.rstrip()}\n" for line in kept)


def run(command: str, folder: Path, **more: str) -> str:
    """What a command prints in a folder, errors included; in the language and width that the README was written in.

    `more`: environment variables.
    """
    environment = os.environ | {
        "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}",
        "LC_ALL": "C.UTF-8",
        "COLUMNS": "80",
        "LINES": "50",
        **more,
    }
    done = subprocess.run(
        ["bash", "-c", command],
        cwd=folder,
        env=environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        timeout=120,
        check=False,
    )
    return done.stdout.decode("utf-8")


def workplace() -> Path:
    """A new folder with what the README's commands need: a copy of the examples."""
    folder = Path(tempfile.mkdtemp())
    shutil.copytree(ROOT / "examples", folder / "examples", ignore=shutil.ignore_patterns("journal.*"))
    (folder / "out").mkdir()
    return folder


def renewed(text: str) -> str:
    """The README with the output of every command as it is now."""
    folder = workplace()
    try:
        for block in list(blocks(text)):
            body = "".join(
                f"$ {shown.command}\n{cut(block, run(shown.command, folder))}" for shown in block.shown
            )
            start = block.text.index("```console\n")
            text = text.replace(block.text, f"{block.text[:start]}```console\n{body}```\n", 1)
    finally:
        shutil.rmtree(folder)
    return text


if __name__ == "__main__":
    README.write_text(renewed(README.read_text("utf-8")), "utf-8")
