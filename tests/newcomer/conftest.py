"""Commands run in this process, in a folder with a copy of the examples."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.cli.conftest import Run, runner

ROOT = Path(__file__).parents[2]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch) -> Run:
    return runner(monkeypatch)


@pytest.fixture
def clone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder as a new clone is, as far as commands see it; it is the current one."""
    ignored = shutil.ignore_patterns("journal.*", "share.keys")
    shutil.copytree(ROOT / "examples", tmp_path / "examples", ignore=ignored)
    monkeypatch.chdir(tmp_path)
    return tmp_path
