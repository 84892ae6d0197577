"""The recipes of DEVELOPERS.md, followed in a copy of the package. `python -m tests.newcomer.recipes` renews their output.

A comment above a block of code says where the code goes: `<!-- FILE -->` for a new file, `<!-- FILE after LINE -->` or
`<!-- FILE before LINE -->` for lines beside the one line of a file that begins so. `<!-- try -->` stands above commands.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from tests import readme

DEVELOPERS = readme.ROOT / "DEVELOPERS.md"
_BLOCK = re.compile(
    r"<!-- (?P<file>\S+?)(?: (?P<side>after|before) (?P<line>.+?))? -->\n```\w+\n(?P<body>.*?)```\n",
    re.DOTALL,
)


class Step(NamedTuple):
    """A block of a recipe: code for a file, or commands to try (`file` is "try")."""

    text: str
    file: str
    side: str
    line: str
    body: str


def recipes(text: str) -> Iterator[tuple[str, list[Step]]]:
    """Each recipe: its heading, and its steps in order."""
    for part in re.split(r"^## ", text, flags=re.MULTILINE)[1:]:
        steps = [
            Step(found[0], found["file"], found["side"] or "", found["line"] or "", found["body"])
            for found in _BLOCK.finditer(part)
        ]
        if steps:
            yield part.partition("\n")[0], steps


def apply(step: Step, folder: Path) -> None:
    """Put a step's code where it says."""
    path = folder / step.file
    if not step.side:
        assert not path.exists(), f"{step.file} is there already"
        path.write_text(step.body, "utf-8")
        return
    lines = path.read_text("utf-8").splitlines(keepends=True)
    at = [number for number, line in enumerate(lines) if line.startswith(step.line)]
    assert len(at) == 1, f"{len(at)} lines of {step.file} begin with {step.line!r}"
    lines.insert(at[0] + (step.side == "after"), step.body)
    path.write_text("".join(lines), "utf-8")


def followed(steps: list[Step], folder: Path) -> str:
    """What the commands of a recipe print after its code is in place, as the recipe shows them."""
    shown = []
    for step in steps:
        if step.file != "try":
            apply(step, folder)
            continue
        for part in re.split(r"^\$ ", step.body, flags=re.MULTILINE)[1:]:
            command = part.partition("\n")[0]
            shown.append(f"$ {command}\n{readme.run(command, folder, PYTHONPATH=str(folder))}")
    return "".join(shown)


def workplace() -> Path:
    """A new folder with a copy of the package and of the examples, in which commands find that copy."""
    folder = readme.workplace()
    shutil.copytree(
        readme.ROOT / "chanbridge", folder / "chanbridge", ignore=shutil.ignore_patterns("__pycache__")
    )
    return folder


def renewed(text: str) -> str:
    """DEVELOPERS.md with the output of every recipe as it is now."""
    for _, steps in recipes(text):
        folder = workplace()
        try:
            output = followed(steps, folder)
        finally:
            shutil.rmtree(folder)
        tried = next(step for step in steps if step.file == "try")
        text = text.replace(tried.text, f"<!-- try -->\n```console\n{output}```\n", 1)
    return text


if __name__ == "__main__":
    DEVELOPERS.write_text(renewed(DEVELOPERS.read_text("utf-8")), "utf-8")
