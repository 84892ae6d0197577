"""The example in the help of every command runs as it stands, in a clone."""

from __future__ import annotations

import glob
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from chanbridge.cli import COMMANDS, group
from tests.cli.conftest import Run

pytestmark = pytest.mark.slow

CHANBRIDGE = (sys.executable, "-m", "chanbridge")
AFTER = {
    "verify": "handover",
    "ident read": "ident make",
    "reorder": "ident make",
    "drill mark": "drill make",
}
"""Command → the command whose example must have run before, because it makes what this one looks at."""
WARNS = {"compare", "check", "lose", "status", "drill mark"}
"""Commands whose examples find something: their exit status is 1."""


def commands(group: click.Group, above: str = "") -> Iterator[tuple[str, click.Command]]:
    """Every command by its whole name, those of groups too."""
    for name in group.list_commands(click.Context(group)):
        command = group.get_command(click.Context(group), name)
        assert command
        yield f"{above}{name}", command
        if isinstance(command, click.Group):
            yield from commands(command, f"{name} ")


def example(command: click.Command) -> str:
    found = re.findall(r"Example:\s+(chanbridge .+)", command.help or "")
    assert len(found) == 1, command.name
    return str(found[0])


def words(line: str) -> list[str]:
    """The words of a command as a shell gives them, file names filled in."""
    return [name for word in shlex.split(line) for name in (sorted(glob.glob(word)) or [word])]


def test_every_example_runs(run: Run, clone: Path) -> None:
    known = dict(commands(group))
    assert set(COMMANDS) < set(known)
    lines = {example(command): name for name, command in [("", group), *known.items()]}
    wrong = []
    for line, name in sorted(lines.items(), key=lambda each: (AFTER.get(each[1], each[1]), each[1] in AFTER)):
        if name == "serve":  # it runs until it is stopped; see below
            continue
        yes = ["--yes"] * (name == "amend")  # nobody is here to be asked
        result = run(*words(line)[1:], *yes)
        if result.status != (name in WARNS):
            wrong.append((line, result.status, result.err))
    assert not wrong


def test_the_example_of_serve_runs_until_it_is_stopped(clone: Path) -> None:
    line = example(dict(commands(group))["serve"])
    serving = subprocess.Popen(
        [*CHANBRIDGE, *words(line)[1:], "--port", "0"], stdout=subprocess.PIPE, text=True
    )
    try:
        assert serving.stdout
        assert "http://127.0.0.1:" in serving.stdout.readline()
    finally:
        serving.terminate()
        serving.communicate(timeout=20)
