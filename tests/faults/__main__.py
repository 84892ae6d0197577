"""The long run: `python -m tests.faults --minutes 60 [--seed 1] [--only csv]`.

Every reader gets files made wrong, in turn, until the time is over. What comes out that is no error of ours, takes longer
than `SECONDS` or more memory than `MEMORY` is written to --keep with its trace; exit status 1 where there is any.
"""

from __future__ import annotations

import argparse
import hashlib
import random
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path
from types import FrameType

from tests.faults.mutate import LARGEST, mutated
from tests.faults.targets import TARGETS, met

SECONDS, WALL_S = 20, 200
"""Longer than this for one file of at most `LARGEST` bytes is a hang: of this process's own time, and by the clock."""
MEMORY = 3 * 1024**3
"""Bytes of address space for the whole process; what a file would take beyond them is unbounded."""


class Hang(BaseException):
    """One file takes longer than it may."""


def _late(number: int, frame: FrameType | None) -> None:
    raise Hang(f"more than {SECONDS} s")


def _clock(own: int, wall: int) -> None:
    signal.setitimer(signal.ITIMER_PROF, own)
    signal.alarm(wall)


def main() -> int:
    """Run until the time is over; 1 where anything was found."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__)
    parser.add_argument("--minutes", type=float, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", action="append", choices=TARGETS)
    parser.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()) / "chanbridge-faults")
    asked = parser.parse_args()
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    signal.signal(signal.SIGALRM, _late)
    signal.signal(signal.SIGPROF, _late)
    asked.keep.mkdir(parents=True, exist_ok=True)
    pick = random.Random(asked.seed)
    end = time.monotonic() + 60 * asked.minutes
    taken: Counter[str] = Counter()
    refused: Counter[str] = Counter()
    found: Counter[str] = Counter()
    names = asked.only or list(TARGETS)
    with tempfile.TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as scratch:
        while time.monotonic() < end:
            name = pick.choice(names)
            target = TARGETS[name]
            data = mutated(pick, pick.choice(target.seeds()), target.ways)
            folder = Path(scratch) / name
            folder.mkdir(exist_ok=True)
            _clock(SECONDS, WALL_S)
            try:
                said = met(name, data, folder)
            except (Exception, Hang) as error:
                _clock(0, 0)
                where = traceback.extract_tb(error.__traceback__)[-1]
                key = f"{name} {type(error).__name__} {Path(where.filename).name}:{where.lineno}"
                found[key] += 1
                if found[key] == 1:
                    kept = asked.keep / f"{name}-{hashlib.sha256(data).hexdigest()[:10]}"
                    kept.write_bytes(data)
                    kept.with_suffix(".trace").write_text(traceback.format_exc(), "utf-8", "backslashreplace")
                    print(f"FOUND {key}: {error!r:.200} -> {kept}", flush=True)
            else:
                _clock(0, 0)
                (refused if said else taken)[name] += 1
    for name in names:
        print(f"{name:<10}{taken[name]:>8} taken{refused[name]:>8} refused with a message of ours")
    print(
        f"{sum((taken + refused + found).values())} files of at most {LARGEST:,} bytes, seed {asked.seed}; {len(found)} faults"
    )
    for key, times in found.most_common():
        print(f"  {times:>5} × {key}")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
