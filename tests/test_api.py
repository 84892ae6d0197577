"""The public names, by their own examples."""

from __future__ import annotations

import doctest
import subprocess
import sys
from pathlib import Path

import pytest

from chanbridge import api


def test_the_examples_in_the_docstrings(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(Path(__file__).parents[1])
    failed, tried = doctest.testmod(api)
    assert tried > 15
    assert failed == 0


def test_importing_the_package_imports_nothing_else() -> None:
    code = (
        "import sys, chanbridge; sys.exit(any(name in sys.modules for name in ('pydantic', 'lxml', 'numpy')))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
