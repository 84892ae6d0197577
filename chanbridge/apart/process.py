"""Starts the process that opens workbooks, and takes what it says."""

from __future__ import annotations

import gc
import marshal
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

from chanbridge.apart.sheet import SECONDS, TOO_LARGE, Sheet
from chanbridge.errors import Location, ReadError

_ROOT = Path(__file__).parents[2]


def sheets(data: bytes, source: str, hidden: bool) -> list[Sheet]:
    """Every sheet of an XLSX, XLS or ODS workbook; hidden ones without content unless they are asked for.

    python-calamine makes room for whatever size a workbook states and ends its process where there is not
    that much, so it runs in another one, with bounds to its memory (where the system has them) and time.
    Raises ReadError for whatever is no workbook, is encrypted, damaged or too large.
    """
    paths = [os.path.abspath(path) for path in (*sys.path, str(_ROOT))]
    program = f"import sys; sys.path += {paths!r}; from chanbridge.apart.cells import main; main()"
    try:
        done = subprocess.run(
            [sys.executable, "-I", "-S", "-c", program, *(["hidden"] if hidden else [])],
            input=data,
            capture_output=True,
            timeout=2 * SECONDS,
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise ReadError(_TOO_LONG, Location(source)) from None
    if done.returncode == 1:
        raise RuntimeError(
            done.stderr.decode(errors="replace")
        )  # a fault of the program, not of the workbook
    if done.returncode:
        raise ReadError(_TOO_LONG if -done.returncode in _OUT_OF_TIME else TOO_LARGE, Location(source))
    result = _loaded(done.stdout)
    if isinstance(result, str):
        raise ReadError(result, Location(source))
    return [Sheet(*fields) for fields in result]


def _loaded(output: bytes) -> Any:
    collecting = gc.isenabled()
    gc.disable()  # nothing that is made here is garbage
    try:
        return marshal.loads(output)
    finally:
        if collecting:
            gc.enable()


_OUT_OF_TIME = (9, 24)  # SIGKILL and SIGXCPU, of the bound on processor time
_TOO_LONG = f"reading this workbook takes more than {SECONDS} seconds, which no channel list does; is it the right file?"
