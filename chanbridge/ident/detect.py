"""Which ident signals each input of a recording carries."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np

from chanbridge.ident.cancel import DOUBTFUL, Part, held_down, parts, search
from chanbridge.ident.codes import MOST_CODES, PERIOD_S, WALK, spectra
from chanbridge.ident.fold import SHORTEST_PERIODS, Recording, stretches
from chanbridge.ident.look import Frame, Look, Visit, look, visits

SURE = 0.9
"""Confidence from which an input's channel is named."""

SILENT_DBFS = -60.0
"""An input in which no ident is found and which is not louder than this is silent."""

SHORTEST_S = SHORTEST_PERIODS * PERIOD_S
"""Seconds; a recording that is shorter cannot be read."""

LOWEST_HZ, HIGHEST_HZ = 32_000, 400_000
"""Sampling rates of recordings that can be read."""

MOST_INPUTS = 1024
"""Inputs of one recording."""

_CLIPPED = 0.003  # of the samples lie at the peak; a tenth of that in an ident that is whole
_AT_HOME = 10 ** (-30 / 20)  # of the gain that a signal has where it is loudest; below that it is crosstalk
_STRANGER = 0.2  # of the energy repeats in the signals' own time: worth a search through the whole family

State = Literal["ident", "unsure", "stranger", "other", "silent"]


class Also(NamedTuple):
    """A further signal in an input: its code and its gain in dB."""

    code: int
    gain_db: float


class Heard(NamedTuple):
    """What one input carries.

    `state`: "ident", or "unsure" where `code` is only the likeliest; "stranger" is an ident that was not among those
    looked for; "other" is no ident, "silent" nothing. `confidence`: from 0 to 1. `gain_db`: against the level at which
    the signal is sent. `delay_ms`: against the median of all inputs, half a period (85 ms) either way. `ppm`: the
    recorder's clock against the player's. `level_dbfs`: RMS of all that is in the input. `clipped`: its peaks are cut
    off. `also`: further signals, the loudest first.
    """

    state: State
    level_dbfs: float
    clipped: bool = False
    code: int | None = None
    confidence: float = 0.0
    gain_db: float | None = None
    reversed: bool | None = None
    delay_ms: float | None = None
    ppm: float | None = None
    also: tuple[Also, ...] = ()


class Detected(NamedTuple):
    """What every input carries, and where the carried signal was heard, one visit after the other."""

    inputs: tuple[Heard, ...]
    visits: tuple[Visit, ...]


def confidence(clear: float) -> float:
    """From how far a signal stands out of the rest: 0.9 at nine times its spread, 0.99 at thirteen.

    Noise comes to six; an ident that is whole and alone to more than thirty.
    """
    return min(float(1 - 10 ** -((clear / 9.0) ** 2)), 0.999)


def decibels(linear: float) -> float:
    """20 log10, and -200 for what is nothing."""
    return float(20 * np.log10(max(linear, 1e-10)))


def detect(recording: Recording, codes: Sequence[int], level_dbfs: float) -> Detected:
    """Find which of these codes each input carries. `level_dbfs`: RMS at which they were sent."""
    known = spectra([*codes, WALK])
    best: tuple[Look, ...] = ()
    common: tuple[Look, ...] = ()
    power = np.zeros(recording.inputs)
    frames: list[Frame] = []
    for number, stretch in enumerate(stretches(recording)):
        seen = look(recording, stretch, known, number)
        power = np.maximum(power, seen.power)
        frames += seen.frames
        best = tuple(
            max(pair, key=lambda each: each.quality)
            for pair in zip(best or seen.looks, seen.looks, strict=True)
        )
        common = max(common or seen.looks, seen.looks, key=_quality)
    # Delays compare best within one window, so an input is taken from the one that shows most of them.
    chosen = [
        one if one.peak.clear > 0.8 * two.peak.clear else two for one, two in zip(common, best, strict=True)
    ]
    apart = [parts(each.lines, known, each.peak) if each.peak.clear >= DOUBTFUL else [] for each in chosen]
    loudest: dict[int, float] = {}
    # Where a signal is the loudest of its input; not where it is summed to another.
    for found in filter(None, apart):
        top = max(found, key=lambda part: abs(part.gain))
        loudest[top.code] = max(loudest.get(top.code, 0.0), abs(top.gain))
    names = [*codes, WALK]
    heard = []
    for at, (each, found) in enumerate(zip(chosen, apart, strict=True)):
        level = decibels(float(np.sqrt(power[at])))
        if found:
            heard.append(_heard(each, found, loudest, names, level, level_dbfs, recording.rate_hz))
        elif each.in_step > _STRANGER:
            heard.append(_stranger(each, level))
        else:
            heard.append(Heard("other" if level > SILENT_DBFS else "silent", level))
        heard[-1] = heard[-1]._replace(clipped=bool(each.flat > _CLIPPED and _alone(heard[-1], level_dbfs)))
    return Detected(tuple(_from_the_median(heard, chosen, recording.rate_hz)), visits(frames))


def _alone(each: Heard, sent_dbfs: float) -> bool:
    """Whether an input carries hardly more than its ident; hum has flat tops of its own."""
    return each.gain_db is not None and each.level_dbfs - (each.gain_db + sent_dbfs) < 1.5


def _quality(looks: Sequence[Look]) -> float:
    return sum(each.quality for each in looks if each.peak.clear > DOUBTFUL)


def _heard(
    each: Look, found: Sequence[Part], loudest: dict[int, float], names: Sequence[int],
    level: float, sent_dbfs: float, rate_hz: int,
) -> Heard:  # fmt: skip
    """Of the signals in an input the loudest is what it carries, crosstalk from where a signal is much louder apart."""
    home = [part for part in found if abs(part.gain) >= _AT_HOME * loudest.get(part.code, 0.0)]
    by_gain = sorted(found, key=lambda part: -abs(part.gain))
    main = max(home or by_gain[:1], key=lambda part: abs(part.gain))
    trust = confidence(main.clear) if home else min(confidence(main.clear), 0.5)
    also = tuple(
        Also(names[part.code], decibels(abs(part.gain)) - sent_dbfs) for part in by_gain if part is not main
    )
    return Heard(
        "ident" if trust >= SURE else "unsure", level, False, names[main.code], trust,
        decibels(abs(main.gain)) - sent_dbfs, main.gain < 0,
        main.delay * each.period / rate_hz * 1000,
        (each.period / (PERIOD_S * rate_hz) - 1) * 1e6, also,
    )  # fmt: skip


def _stranger(each: Look, level: float) -> Heard:
    """An ident of another plan, or something else that repeats."""
    family = range(MOST_CODES)
    peak = search(held_down(each.lines), spectra(family))
    trust = confidence(peak.clear)
    if trust < SURE:
        return Heard("other" if level > SILENT_DBFS else "silent", level)
    return Heard("stranger", level, False, family[peak.code], trust)


def _from_the_median(heard: Sequence[Heard], chosen: Sequence[Look], rate_hz: int) -> list[Heard]:
    """Delays counted from the median of all inputs of a window, the shorter way round the period."""
    out = [each if each.state == "ident" else each._replace(delay_ms=None, reversed=None) for each in heard]
    for window in {each.window for each in chosen}:
        inside = [at for at, each in enumerate(chosen) if each.window == window and out[at].state == "ident"]
        if not inside:
            continue
        round_ms = np.array([chosen[at].period for at in inside]) / rate_hz * 1000
        raw = np.array([heard[at].delay_ms or 0.0 for at in inside])
        about = np.angle(np.mean(np.exp(2j * np.pi * raw / round_ms))) / (2 * np.pi) * round_ms
        near = (raw - about + round_ms / 2) % round_ms - round_ms / 2 + about
        for at, delay in zip(inside, near - np.median(near), strict=True):
            out[at] = out[at]._replace(delay_ms=float(delay))
    return out
