"""A made-up rig: what is played goes through cables, filters, faults and converters, and all that was done is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import soxr
from numpy.typing import NDArray
from scipy import signal

from chanbridge.ident.codes import PERIOD_S, Real, numbers
from chanbridge.ident.detect import Detected
from chanbridge.ident.play import Signals

SENT_DBFS = -20.0
PLAYED_HZ = 48_000
_MARGIN_S = 0.4  # cut off at both ends, where filters and converters begin


@dataclass(frozen=True)
class Memory:
    """A recording that lies in memory."""

    samples: Real
    rate_hz: int

    @property
    def inputs(self) -> int:
        return int(self.samples.shape[1])

    @property
    def length(self) -> int:
        return len(self.samples)

    def read(self, start: int, count: int) -> Real:
        return self.samples[start : start + count]


@dataclass(frozen=True)
class Cable:
    """One input: `sources` by their number, with gain in dB each, the carried one first; none is a dead line."""

    sources: tuple[tuple[int, float], ...] = ()
    reversed: bool = False
    delay_s: float = 0.0
    high_pass_hz: float = 0.0
    low_pass_hz: float = 0.0
    noise_dbfs: float = -80.0
    hum_dbfs: float = -200.0
    clip_dbfs: float = 200.0
    dropouts: int = 0
    other: str = ""


@dataclass(frozen=True)
class Rig:
    """What is recorded. `ppm`: the recorder's clock against the player's; `rates`: conversions on the way."""

    cables: tuple[Cable, ...]
    sources: int
    seconds: float = 4.0
    rate_hz: int = 48_000
    ppm: float = 0.0
    via_hz: tuple[int, ...] = ()
    seed: int = 0
    codes: Sequence[int] = field(default=())

    def record(self) -> Memory:
        """Play and record."""
        random = np.random.default_rng(self.seed)
        codes = self.codes or numbers()[: self.sources]
        skipped = 1.5 + random.uniform(0, 2 * PERIOD_S)
        lasting = self.seconds + 2 * _MARGIN_S
        player = Signals("ident", codes, PLAYED_HZ, skipped + lasting + 0.5, SENT_DBFS)
        whole = np.concatenate(list(player.blocks()))
        begin = int(skipped * PLAYED_HZ)
        played = whole[begin : begin + int(lasting * PLAYED_HZ)]
        spectra = np.fft.rfft(played, axis=0).astype(np.complex64)
        lines = np.stack([self._through(cable, spectra, len(played)) for cable in self.cables], axis=1)
        rate = float(PLAYED_HZ)
        for via in (*self.via_hz, self.rate_hz):
            # The last converter runs at its own clock: it takes more samples of a second that are called a second.
            target = via * (1 + self.ppm * 1e-6) if via == self.rate_hz else float(via)
            if target != rate:
                lines = soxr.resample(lines, rate, target, quality="VHQ")
            rate = target
        edge = int(_MARGIN_S * self.rate_hz)
        lines = lines[edge : edge + int(self.seconds * self.rate_hz)]
        for at, cable in enumerate(self.cables):
            lines[:, at] = self._spoilt(cable, lines[:, at], random)
        return Memory(np.ascontiguousarray(lines, np.float32), self.rate_hz)

    def _through(self, cable: Cable, spectra: NDArray[np.complex64], length: int) -> Real:
        hz = np.fft.rfftfreq(length, 1 / PLAYED_HZ)
        path = np.exp(-2j * np.pi * hz * cable.delay_s) * (-1 if cable.reversed else 1)
        for kind, corner, order in (("high", cable.high_pass_hz, 2), ("low", cable.low_pass_hz, 4)):
            if corner:
                b, a = signal.butter(order, 2 * np.pi * corner, kind, analog=True)
                path = path * signal.freqs(b, a, 2 * np.pi * hz)[1]
        total = np.zeros(len(hz), np.complex64)
        for number, (source, gain_db) in enumerate(cable.sources):
            away = (
                np.exp(-2j * np.pi * hz * 0.0003 * number) if number else 1.0
            )  # crosstalk comes by another way
            total += spectra[:, source] * (10 ** (gain_db / 20) * path * away)
        return np.fft.irfft(total, length).astype(np.float32)

    def _spoilt(self, cable: Cable, line: Real, random: np.random.Generator) -> Real:
        time = np.arange(len(line)) / self.rate_hz
        out = line + random.normal(size=len(line)) * 10 ** (cable.noise_dbfs / 20)
        if cable.hum_dbfs > -150:
            hum = sum(np.sin(2 * np.pi * 50 * n * time + n) / n for n in (1, 2, 3, 5, 7, 9, 11))
            out = out + hum * 10 ** (cable.hum_dbfs / 20)
        out = out + OTHERS[cable.other](time, random) if cable.other else out
        top = 10 ** (cable.clip_dbfs / 20)
        out = np.clip(out, -top, top)
        for _ in range(cable.dropouts):
            start = int(random.integers(len(out)))
            out[start : start + int(random.uniform(0.005, 0.08) * self.rate_hz)] = 0
        return out.astype(np.float32)


def _notes(time: NDArray[np.float64], random: np.random.Generator) -> NDArray[np.float64]:
    """A tune with overtones, a beat under it."""
    rate = round(1 / (time[1] - time[0]))
    out = np.zeros(len(time))
    for begin in range(0, len(time), rate // 4):
        after = time[: min(rate, len(time) - begin)]
        hz = 110 * 2 ** (random.integers(0, 36) / 12)
        note = sum(np.sin(2 * np.pi * hz * n * after) / n**1.3 for n in range(1, 12)) * np.exp(-after * 6)
        out[begin : begin + len(after)] += note + random.normal(size=len(after)) * np.exp(-after * 40) * 0.5
    return np.asarray(out * 0.05)


def _pink(time: NDArray[np.float64], random: np.random.Generator) -> NDArray[np.float64]:
    spectrum = np.fft.rfft(random.normal(size=len(time)))
    return np.asarray(np.fft.irfft(spectrum / np.sqrt(np.arange(len(spectrum)) + 1), len(time)) * 3)


def _tone(time: NDArray[np.float64], random: np.random.Generator) -> NDArray[np.float64]:
    return np.asarray(0.1 * np.sin(2 * np.pi * random.uniform(200, 5000) * time))


def _pulses(time: NDArray[np.float64], random: np.random.Generator) -> NDArray[np.float64]:
    """Clicks in a fixed rhythm, near the period of the signals."""
    return np.asarray(((time / (PERIOD_S * random.uniform(0.9999, 1.0001))) % 1 < 0.0003) * 0.5)


OTHERS = {"notes": _notes, "pink": _pink, "tone": _tone, "pulses": _pulses}
"""Signals that are no ident."""


def random_rig(seed: int, inputs: int, seconds: float = 4.0) -> Rig:
    """Everything that happens to rigs, at random; each input may be dead, another signal, or two channels summed."""
    random = np.random.default_rng(1000 + seed)
    order = random.permutation(inputs)
    high = 100.0 if random.random() < 0.5 else 0.0
    low = 10_000.0 if random.random() < 0.5 else 0.0
    cables = []
    for at, source in enumerate(order):
        gain = float(random.uniform(-60, 0))
        chance = random.random()
        cable = Cable(
            ((int(source), gain),),
            bool(random.random() < 0.3),
            float(random.uniform(0, 0.03)),
            high,
            low,
            hum_dbfs=float(random.choice([-200, -200, -70, -40])),
            dropouts=int(random.choice([0, 0, 0, 2])),
        )
        other = int(order[(at + 1) % inputs])
        if chance < 0.06:
            cable = replace(cable, sources=())
        elif chance < 0.12:
            cable = replace(cable, sources=(), other=str(random.choice([*OTHERS])))
        elif chance < 0.18:
            cable = replace(cable, sources=(*cable.sources, (other, gain - float(random.uniform(3, 15)))))
        elif chance < 0.4:
            cable = replace(cable, sources=(*cable.sources, (other, gain - 40)))
        elif chance < 0.46:
            cable = replace(cable, clip_dbfs=-20 + gain + float(random.uniform(0, 3)))
        cables.append(cable)
    rate = int(random.choice([44_100, 48_000, 96_000]))
    via = ((), (44_100,), (96_000,))[int(random.integers(3))]
    return Rig(
        tuple(cables), inputs, seconds, rate, float(random.uniform(-200, 200)),
        tuple(each for each in via if each != rate), seed,
    )  # fmt: skip


@dataclass
class Score:
    """How a reading compares with the truth. Delays in samples at the recording's rate, gains in dB."""

    named: int = 0
    unsure: int = 0
    wrong: int = 0
    polarity: int = 0
    delay: float = 0.0
    gain: float = 0.0
    second_found: int = 0
    second_missed: int = 0
    false_second: int = 0
    confident_nothing: int = 0
    said: list[str] = field(default_factory=list)

    def summary(self) -> str:
        """The figures in one line."""
        return (
            f"{self.named} named rightly, {self.unsure} unsure, {self.wrong} wrong, "
            f"{self.confident_nothing} named where nothing was; {self.polarity} wrong polarities; delay at most "
            f"{self.delay:.2f} samples off, gain {self.gain:.1f} dB; second signals: {self.second_found} found, "
            f"{self.second_missed} missed, {self.false_second} invented"
        )

    def add(self, rig: Rig, found: Detected, codes: Sequence[int]) -> None:
        """Compare every input."""
        live = [cable for cable in rig.cables if cable.sources]
        middle = float(np.median([cable.delay_s for cable in live])) if live else 0.0
        delays: list[float] = []
        for cable, heard in zip(rig.cables, found.inputs, strict=True):
            if not cable.sources:
                self.confident_nothing += heard.state == "ident"
                self.unsure += heard.state == "unsure"
                if heard.state in ("ident", "unsure", "stranger"):
                    self.said.append(f"seed {rig.seed}: nothing played, heard {heard}")
                continue
            (source, gain), *others = cable.sources
            if heard.state != "ident" or heard.gain_db is None or heard.delay_ms is None:
                self.unsure += 1
                self.said.append(f"seed {rig.seed}: not sure of {cable}: {heard}")
                continue
            if heard.code != codes[source]:
                self.wrong += 1
                self.said.append(f"seed {rig.seed}: wrong at {cable}: {heard}")
                continue
            self.named += 1
            self.polarity += heard.reversed != cable.reversed
            delays.append(heard.delay_ms / 1000 - (cable.delay_s - middle))
            if cable.clip_dbfs > 100 and not cable.dropouts:
                self.gain = max(self.gain, abs(heard.gain_db - gain))
            wanted = {codes[other] for other, _ in others}
            got = {also.code for also in heard.also}
            self.second_found += len(wanted & got)
            self.second_missed += len(wanted - got)
            self.false_second += len(got - wanted)
            if got - wanted:
                self.said.append(f"seed {rig.seed}: no such second at {cable}: {heard}")
        if delays:
            apart = np.array(delays) - np.median(delays)  # dead lines move the middle of what was heard
            self.delay = max(self.delay, float(np.abs(apart).max()) * rig.rate_hz)
