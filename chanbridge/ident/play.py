"""The files that are played: ident signals, tones for ears, and the one signal that is carried round."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import BinaryIO, Literal

import numpy as np
from numpy.typing import NDArray

from chanbridge.ident import labels
from chanbridge.ident.codes import Real, waves
from chanbridge.ident.wav import Chunk, Format, encode, head_bytes, tail_bytes

RATES_HZ = (32_000, 44_100, 48_000, 88_200, 96_000, 176_400, 192_000)

MOST_CHANNELS = 256
"""Of one file; a larger plan is played box by box."""

LOUD_DBFS = -12.0
"""Above this a file is made only on request."""

SHORTEST_S, LONGEST_S = 4.0, 3600.0

CAUTION = (
    "CAUTION: this file is full-band signal on every channel. Before it is played: tell everyone; mute loudspeakers",
    "and in-ears; switch phantom off and turn preamps down where a line output meets an open input; start low, and",
    "bring it up while someone watches the meters. Loud signals damage hearing and loudspeakers. Follow the makers'",
    "instructions and the house's rules.",
)
"""Printed before a file is made."""

_LEAD_S = 1.2
_FADE_S = 0.1
_BLOCK_S = 0.5
_LEAD_NOTES_HZ = (523.25, 659.26, 783.99)  # three rising notes: an ident follows
_STEPS_HZ = tuple(523.25 * 2 ** (step / 12) for step in (0, 2, 4, 5, 7, 9, 11, 12, 14))
_TENS_HZ, _HUNDREDS_HZ = 196.0, 98.0

Kind = Literal["ident", "tone"]


class Signals:
    """What a file plays. `codes`: of each channel, None for silence; for tones, the channel's number instead.

    `level_dbfs`: RMS while a channel plays. `seconds`: of the whole file, lead-in and fades included.
    """

    def __init__(
        self, kind: Kind, codes: Sequence[int | None], rate_hz: int, seconds: float, level_dbfs: float
    ) -> None:
        self.kind = kind
        self.codes = tuple(codes)
        self.rate_hz = rate_hz
        self.seconds = seconds
        self.level_dbfs = level_dbfs
        playing = [code for code in codes if code is not None]
        self._rows = waves(playing, rate_hz) if kind == "ident" else _tunes(playing, rate_hz)

    @property
    def frames(self) -> int:
        """Samples of each channel."""
        return round(self.seconds * self.rate_hz)

    @property
    def peak_dbfs(self) -> float:
        """The highest sample of any channel."""
        top = max(float(np.abs(row).max()) for row in self._rows) if len(self._rows) else 0.0
        return self.level_dbfs + 20 * float(np.log10(max(top, np.sqrt(2)))) if top else -200.0

    def blocks(self) -> Iterator[Real]:
        """The file's samples as (frames, channels), half a second at a time."""
        level = np.float32(10 ** (self.level_dbfs / 20))
        playing = [at for at, code in enumerate(self.codes) if code is not None]
        step = int(_BLOCK_S * self.rate_hz)
        lead = self._lead()
        for start in range(0, self.frames, step):
            at = np.arange(start, min(start + step, self.frames))
            block = np.zeros((len(at), len(self.codes)), np.float32)
            after = at - len(lead)
            envelope = np.clip(np.minimum(after, self.frames - 1 - at) / (_FADE_S * self.rate_hz), 0, 1)
            shape = (level * np.sin(np.pi / 2 * envelope) ** 2).astype(np.float32)
            block[:, playing] = (np.take(self._rows, after, axis=1, mode="wrap") * shape).T
            sounding = at[at < len(lead)]
            block[: len(sounding), playing] += (level * lead[sounding])[:, None]
            yield block

    def _lead(self) -> Real:
        """Three rising notes, 6 dB below the signal, on every channel at once."""
        length = _LEAD_S / 3
        notes = [_note(hz, length * 0.8, length, self.rate_hz) for hz in _LEAD_NOTES_HZ]
        return np.concatenate(notes) * np.float32(0.5)


def write(stream: BinaryIO, signals: Signals, names: Sequence[str], title: str, date: str) -> None:
    """Write the file as 24-bit WAV, its channels' names in iXML. `date`: the show's, "" where it has none."""
    stored = Format(len(signals.codes), signals.rate_hz, 24)
    said = labels.Broadcast(
        description=f"{'Ident signals' if signals.kind == 'ident' else 'Tones'}: {title}".rstrip(": "),
        originator="chanbridge",
        date=date,
        history=f"A=PCM,F={signals.rate_hz},W=24,T=level {signals.level_dbfs:g} dBFS RMS\r\n",
    )
    level = {"NOTE": f"level {signals.level_dbfs:g} dBFS RMS"}
    chunks = [
        Chunk(b"bext", labels.write_bext(said)),
        Chunk(b"iXML", labels.write_names(names, project=title, more=level)),
    ]
    stream.write(head_bytes(stored, signals.frames, chunks))
    for block in signals.blocks():
        stream.write(encode(block))
    stream.write(tail_bytes(stored, signals.frames))


def _note(hz: float, sounding_s: float, length_s: float, rate_hz: int) -> Real:
    """A sine of RMS 1 with soft ends, then silence."""
    time = np.arange(round(length_s * rate_hz)) / rate_hz
    ends = np.clip(np.minimum(time, sounding_s - time) / 0.02, 0, 1)
    wave: NDArray[np.float64] = np.sqrt(2) * np.sin(2 * np.pi * hz * time) * np.sin(np.pi / 2 * ends) ** 2
    return wave.astype(np.float32)


def _tunes(numbers: Sequence[int], rate_hz: int) -> Real:
    """Each number to be counted by ear: a low note for each ten, then rising notes for the rest; repeated."""
    tunes = [
        np.concatenate(
            [
                *(_note(_HUNDREDS_HZ, 0.4, 0.5, rate_hz) for _ in range(number // 100)),
                *(_note(_TENS_HZ, 0.3, 0.4, rate_hz) for _ in range(number // 10 % 10)),
                *(_note(hz, 0.16, 0.22, rate_hz) for hz in _STEPS_HZ[: number % 10]),
                np.zeros(rate_hz, np.float32),
            ]
        )
        for number in numbers
    ]
    out = np.zeros((len(tunes), max(map(len, tunes), default=0)), np.float32)
    for row, tune in zip(out, tunes, strict=True):
        row[: len(tune)] = tune
    return out
