"""Commands run in this process, as the shell would see them."""

from __future__ import annotations

import gc
import io
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from chanbridge.cli import main


class Result(NamedTuple):
    status: int
    out: bytes
    err: str

    @property
    def text(self) -> str:
        return self.out.decode("utf-8")

    def json(self) -> Any:
        return json.loads(self.out)


Run = Callable[..., Result]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch) -> Run:
    return runner(monkeypatch)


SHEETS = ("--formats", "csv,xml,txt")


def runner(monkeypatch: pytest.MonkeyPatch) -> Run:
    """A function that runs one command. Without --formats handover writes only sheets as CSV, XML and text.

    What it prints beside those takes seconds, and is tested in test_papers.py.
    """

    def call(*arguments: str | Path, stdin: bytes = b"") -> Result:
        if arguments[:1] == ("handover",) and "--formats" not in arguments and "--help" not in arguments:
            arguments = (*arguments, *SHEETS)
        out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True) for _ in range(2))
        monkeypatch.setattr(sys, "argv", ["chanbridge", *map(str, arguments)])
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin), "utf-8"))
        monkeypatch.setattr(sys, "stdout", out)
        monkeypatch.setattr(sys, "stderr", err)
        with pytest.raises(SystemExit) as ended:
            main()
        gc.enable()  # a command ends with its process; here the process goes on
        assert isinstance(out.buffer, io.BytesIO)
        assert isinstance(err.buffer, io.BytesIO)
        status = ended.value.code
        assert isinstance(status, int)
        return Result(status, out.buffer.getvalue(), err.buffer.getvalue().decode("utf-8"))

    return call


def failed(result: Result, *words: str) -> None:
    """Exit 2, one line on standard error that holds these words, nothing on standard output."""
    assert result.status == 2, result
    assert result.out == b""
    lines = result.err.strip().splitlines()
    assert len(lines) == 1, lines
    assert "Traceback" not in result.err
    for word in words:
        assert word in result.err, result.err
