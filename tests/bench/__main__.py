"""Print how long things take beside what they are measured against: `python -m tests.bench [PART …]`.

Processor time of a command and all that it starts is what ratios and growth are of, as it tells least of what else the
machine does; the time by the wall stands beside it. Compiled bytecode is used on both sides.
"""

from __future__ import annotations

import sys
import tempfile
from importlib import import_module
from pathlib import Path
from time import perf_counter

from tests.bench.measure import HEADING

PARTS = ("starting", "rows", "packing", "comparing", "shows", "frames", "identing")
ON_REQUEST = ("phones",)
"""What waits by the clock, and so would double the time of the rest."""


def main(wanted: list[str]) -> None:
    """Each part asked for; unless any is named all but those on request."""
    known = (*PARTS, *ON_REQUEST)
    unknown = [name for name in wanted if name not in known]
    if unknown:
        sys.exit(f"there is no part {unknown[0]!r}; there are {', '.join(known)}")
    print(HEADING)
    for name in wanted or PARTS:
        begun = perf_counter()
        part = import_module(f"tests.bench.{name}")
        print(f"-- {name}")
        with tempfile.TemporaryDirectory() as folder:
            if name == "phones":
                lines = part.lines(Path(folder))
            else:
                lines = (row.text() for row in part.rows(Path(folder)))
            for line in lines:
                print(line, flush=True)
        print(f"   ({perf_counter() - begun:.0f} s)", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
