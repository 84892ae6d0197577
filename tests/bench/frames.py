"""AES10 frames: how many times faster than real time they are made and read, beside a copy of the same samples.

One core; its own processor time is counted. Each mode runs in a process of its own, which checks what comes back.
"""

from __future__ import annotations

import json
import resource
import sys
from collections.abc import Iterator
from pathlib import Path
from time import process_time

from tests.bench.measure import Row, Spent, work

SECONDS = 60
BLOCK = 8192
"""Samples of a channel worked on at a time."""

MODES = ("64@48000", "56@48000", "32@96000", "32@96000 pairs", "64@48000 nrzi")
"""The modes that are most used, one whose symbols do not come in fours, both forms of 96 kHz, and levels."""


def rows(_: Path) -> Iterator[Row]:
    """A minute of audio, and a tenth of it."""
    for text in MODES:
        minute, tenth = (
            json.loads(work("frames", text, str(seconds))) for seconds in (SECONDS, SECONDS // 10)
        )
        copy = Spent(sum(minute["copy"]))
        for way in ("encode", "decode"):
            taken = minute[way]
            usual, best = (SECONDS / len(taken) / one for one in (sorted(taken)[len(taken) // 2], min(taken)))
            name = f"{way} {text}, {usual:.0f} (best {best:.0f}) x"
            mine = Spent(sum(taken), peak_mb=minute["peak_mb"][0])
            yield Row(name, mine, "copy of the samples", copy, Spent(sum(tenth[way])))


def run(text: str, seconds: int) -> dict[str, list[float]]:
    """To the line code and back, block by block, everything checked: the seconds of each block, and the memory."""
    import numpy as np

    from chanbridge.aes10 import LineDecoder, LineEncoder, Mode, decode_subframes, encode_subframes

    nrzi = text.endswith(" nrzi")
    mode = Mode.parse(text.removesuffix(" nrzi"))
    encoder, decoder = LineEncoder(mode, nrzi=nrzi), LineDecoder(mode, nrzi=nrzi)
    rng = np.random.default_rng(1)
    level = (1 << 23) * 10 ** (-18 / 20)  # noise at 18 dB below full scale
    noise = np.clip(rng.normal(0, level, (4 * BLOCK, mode.slots)), -(1 << 23), (1 << 23) - 1).astype(np.int32)
    taken: dict[str, list[float]] = {"copy": [], "encode": [], "decode": []}
    sent = read = 0
    awaited = noise[:0]
    count = -(-seconds * mode.rate_hz // BLOCK)
    for turn in range(count):
        at = turn * 7 * 2 % (3 * BLOCK)
        samples = noise[at : at + BLOCK]
        moments = [process_time()]
        samples.copy()
        moments.append(process_time())
        data = encoder.feed(encode_subframes(samples, mode=mode, start=sent))
        moments.append(process_time())
        got = decode_subframes(decoder.feed(data), mode=mode)
        same, wrong = got.samples, got.irregularities
        moments.append(process_time())
        awaited = np.concatenate([awaited, samples])
        if wrong or not np.array_equal(same, awaited[: len(same)]):
            sys.exit(f"{text}: what was decoded is not what was sent")
        awaited = awaited[len(same) :]
        sent += len(samples) // (2 if mode.layout == "pairs" else 1)
        read += len(same)
        for one, begin, end in zip(taken.values(), moments, moments[1:], strict=False):
            one.append(end - begin)
    report = decoder.report
    if report.breaks or report.code_errors or count * BLOCK - read > 2:
        sys.exit(f"{text}: {read} of {count * BLOCK} samples came back")
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {**taken, "peak_mb": [peak_mb]}


if __name__ == "__main__":
    print(json.dumps(run(sys.argv[1], int(sys.argv[2]))))
