"""chanbridge as a library: what is public is typed, explained and shown; the notebook runs."""

from __future__ import annotations

import doctest
import inspect
import os
import re
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest

from chanbridge import api, errors

FUNCTIONS = [name for name in api.__all__ if inspect.isfunction(getattr(api, name))]
NOTEBOOK = "notebook.py"


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_public_function_is_typed_and_shown(name: str) -> None:
    function = getattr(api, name)
    signature = inspect.signature(function)
    assert signature.return_annotation is not inspect.Signature.empty
    assert all(each.annotation is not inspect.Parameter.empty for each in signature.parameters.values())
    doc = inspect.getdoc(function) or ""
    assert f">>> {name}(" in doc or f"= {name}(" in doc or f"({name}(" in doc, "no example calls it"


def test_all_that_is_promised_is_public() -> None:
    promised = {"read", "write", "merge", "compare", "check", "prove", "to_frame", "from_frame"}
    assert promised == {*FUNCTIONS}
    own = {
        name
        for name, item in vars(api).items()
        if inspect.isfunction(item) and item.__module__ == api.__name__
    }
    assert {name for name in own if not name.startswith("_")} == promised


def test_others_see_the_types() -> None:
    assert files("chanbridge").joinpath("py.typed").is_file()


def test_the_examples_of_errors() -> None:
    failed, tried = doctest.testmod(errors)
    assert tried >= 2
    assert failed == 0


@pytest.mark.slow
def test_the_notebook_runs_as_a_script(clone: Path) -> None:
    path = clone / "examples" / NOTEBOOK
    done = subprocess.run(
        [sys.executable, path],
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"PYTHONUTF8": "1"},
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    for said in (
        "'channel': 34",
        "packed: straight through",
        "Guide piano - not for air",
        "63 channels are the same",
        "True 384 slots",
        "'Ana' is called 'Anna'",
    ):
        assert said in done.stdout
    assert (clone / "out" / "truck.xlsx").stat().st_size > 1000


def test_the_notebook_shows_every_public_function() -> None:
    text = (Path(__file__).parents[2] / "examples" / NOTEBOOK).read_text("utf-8")
    assert {*re.findall(r"\bapi\.(\w+)\(", text)} == {*FUNCTIONS}
    assert len(re.findall(r"^# %% ", text, re.MULTILINE)) > 8
