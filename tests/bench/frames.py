"""AES10 frames: how many times faster than real time they are made and read, beside a copy of the same samples.

One core; its own time is counted, so that what else the machine does counts as little as can be.
"""

from __future__ import annotations

import resource
import time
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from chanbridge.aes10 import LineDecoder, LineEncoder, Mode, decode_subframes, encode_subframes

SECONDS = 60
BLOCK = 8192
"""Frames worked on at a time."""


def blocks(mode: Mode) -> Iterator[NDArray[np.int32]]:
    """Noise at 18 dB below full scale, a different stretch of it in every block."""
    rng = np.random.default_rng(1)
    level = (1 << 23) * 10 ** (-18 / 20)
    noise = np.clip(rng.normal(0, level, (4 * BLOCK, mode.slots)), -(1 << 23), (1 << 23) - 1).astype(np.int32)
    frames = SECONDS * mode.rate_hz
    for start in range(0, frames, BLOCK):
        at = start * 7 % (3 * BLOCK)
        yield noise[at : at + min(BLOCK, frames - start)]


def run(text: str) -> None:
    """A minute of audio to the line code and back, block by block, everything checked."""
    mode = Mode.parse(text)
    encoder, decoder = LineEncoder(mode), LineDecoder(mode)
    copying: list[float] = []
    encoding: list[float] = []
    decoding: list[float] = []
    start = read = 0
    awaited = np.zeros((0, mode.slots), np.int32)
    for samples in blocks(mode):
        one = time.process_time()
        samples.copy()
        two = time.process_time()
        data = encoder.feed(encode_subframes(samples, mode=mode, start=start))
        three = time.process_time()
        got = decode_subframes(decoder.feed(data), mode=mode)
        same, wrong = got.samples, got.irregularities
        four = time.process_time()
        awaited = np.concatenate([awaited, samples])
        if wrong or not np.array_equal(same, awaited[: len(same)]):
            raise SystemExit(f"{text}: what was decoded is not what was sent")
        awaited = awaited[len(same) :]
        read += len(same)
        start += len(samples)
        for taken, seconds in ((copying, two - one), (encoding, three - two), (decoding, four - three)):
            taken.append(seconds / len(samples) * mode.rate_hz)
    read += len(decoder.finish())
    if read != start or decoder.report.breaks or decoder.report.code_errors:
        raise SystemExit(f"{text}: {read} of {start} frames came back")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    copy = float(np.median(copying))
    for what, taken in (("encode", encoding), ("decode", decoding)):
        usual = float(np.median(taken))
        print(
            f"{what} {text:<28}{1 / usual:6.0f} x real time (best {1 / min(taken):.0f})   "
            f"copy of the samples{1 / copy:8.0f} x   ratio {usual / copy:6.1f}"
        )
    print(f"{SECONDS} s in blocks of {BLOCK} frames, peak memory {peak} MB")


def main() -> None:
    """The two modes that are most used, and one whose symbols do not come in fours."""
    for text in ("64@48000", "56@48000", "32@96000"):
        run(text)


if __name__ == "__main__":
    main()
