"""The command list is complete: help, an example, a test and a place in the README for each command."""

from __future__ import annotations

from pathlib import Path

import pytest

from chanbridge import __version__
from chanbridge.cli import COMMANDS
from tests.cli.conftest import Run

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_an_example_a_test_and_a_place_in_the_readme(run: Run, name: str) -> None:
    result = run(name, "--help")
    assert result.status == 0
    assert f"Example: chanbridge {name}" in " ".join(result.text.split())
    assert f'"{name}"' in "".join(path.read_text("utf-8") for path in Path(__file__).parent.glob("test_*.py"))
    assert f"chanbridge {name}" in (ROOT / "README.md").read_text("utf-8")


def test_every_command_module_is_listed() -> None:
    modules = {path.stem for path in (ROOT / "chanbridge" / "cli").glob("*.py")} - {
        "__init__",
        "evening",
        "merged",
        "papers",
        "sources",
    }
    assert modules == set(COMMANDS)


def test_help_and_version(run: Run) -> None:
    text = run("--help").text
    assert all(name in text and line in text for name, line in COMMANDS.items())
    assert run("--version").text == f"chanbridge {__version__}\n"


def test_a_typo_is_met_with_the_nearest_word(run: Run) -> None:
    result = run("merg")
    assert result.status == 2
    assert "did you mean 'merge'?" in result.err
    assert run("read", "--jsn", "x").status == 2


def test_formats(run: Run) -> None:
    text = run("formats").text
    for suffix in (".csv", ".xml", ".json", ".txt"):
        assert suffix in text
