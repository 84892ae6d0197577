"""How fast idents are read, in how much memory; and `python -m tests.bench.identing [RIGS]`: how many names are wrong.

The baseline is another library that reads the same samples and does nothing with them.
"""

from __future__ import annotations

import os
import resource
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

from chanbridge.ident.codes import numbers
from chanbridge.ident.detect import detect
from chanbridge.ident.play import Signals, write
from chanbridge.ident.recording import open_take
from tests.bench.measure import PYTHON, TOOL, Row, spent, work
from tests.ident.rig import SENT_DBFS, Score, random_rig

INPUTS, SECONDS = 64, 20
ONLY_READING = "import sys, soundfile; soundfile.read(sys.argv[1], dtype='float32')"


def file(folder: str, seconds: float) -> str:
    """A recording of 64 inputs at 48 kHz."""
    path = os.path.join(folder, f"ident-{seconds:g}.wav")
    signals = Signals("ident", numbers()[:INPUTS], 48_000, seconds, SENT_DBFS)
    with open(path, "wb") as stream:
        write(stream, signals, [f"Chair {n}" for n in range(1, INPUTS + 1)], "", "")
    return path


def rows(folder: Path) -> Iterator[Row]:
    """The command on one core, its start included."""
    sheet = folder / "ident.csv"
    lines = (f"{n},Chair {n}" for n in range(1, INPUTS + 1))
    sheet.write_text("\n".join(("Ch,Name", *lines, "")), "utf-8")
    one_core = ("env", "OPENBLAS_NUM_THREADS=1")
    taken = {}
    for lasting in (SECONDS, SECONDS // 10):
        path = work("identing", "make", str(folder), str(lasting)).strip()
        mine = spent(*one_core, TOOL, "ident", "read", path, "--against", str(sheet), times=1)
        taken[lasting] = mine, spent(*one_core, PYTHON, "-c", ONLY_READING, path, times=1)
        os.unlink(path)
    mine, other = taken[SECONDS]
    yield Row(
        f"ident read, {INPUTS} inputs x {SECONDS} s",
        mine,
        "soundfile, only reading",
        other,
        taken[SECONDS // 10][0],
    )


def speed(path: str) -> None:
    """Times real time and memory of reading one file."""
    with ExitStack() as stack:
        take = open_take(stack, [path])
        wall, busy = time.perf_counter(), time.process_time()
        detect(take, numbers()[:INPUTS], SENT_DBFS)
        wall, busy = time.perf_counter() - wall, time.process_time() - busy
        lasting = take.length / take.rate_hz
        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(
            f"{INPUTS} inputs x {lasting:4.0f} s: {lasting / wall:5.1f} x real time by the wall, "
            f"{lasting / busy:5.1f} by the processor; {most:4.0f} MB at most"
        )


def rates(rigs: int) -> None:
    """Random rigs of 64 inputs: names that are right, unsure and wrong."""
    total = Score()
    for seed in range(rigs):
        rig = random_rig(seed, INPUTS, 4.0)
        total.add(rig, detect(rig.record(), numbers()[:INPUTS], SENT_DBFS), numbers())
    print(f"{rigs} random rigs of {INPUTS} inputs: {total.summary()}")


if __name__ == "__main__" and sys.argv[1:2] == ["make"]:
    print(file(sys.argv[2], float(sys.argv[3])))
elif __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        for lasting in (SECONDS, SECONDS, 6 * SECONDS):
            speed(file(folder, lasting))
    rates(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
