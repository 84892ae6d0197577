"""AES10 modes: how many slots a feed carries at which sampling rate.

The one statement of the capacities. Source: AES10-2003 abstract and clause 5.1 (56 channels at
32-48 kHz with 12.5 % varispeed; 64 at 32-48 kHz nominal; 28 at 64-96 kHz with varispeed; 32 at 96 kHz
nominal). The 192 kHz lines are derived from the same link capacity and are not in that list.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, NamedTuple

from chanbridge.errors import ModeError


class Capacity(NamedTuple):
    """One line of the capacity table. Rates are nominal sampling rates in Hz, both ends included."""

    slots: int
    lowest_hz: int
    highest_hz: int
    varispeed: bool
    source: str


CAPACITIES = (
    Capacity(56, 32_000, 48_000, True, "AES10-2003, 5.1"),
    Capacity(64, 32_000, 48_000, False, "AES10-2003, 5.1"),
    Capacity(28, 64_000, 96_000, True, "AES10-2003, 5.1"),
    Capacity(32, 96_000, 96_000, False, "AES10-2003, 5.1"),
    Capacity(14, 128_000, 192_000, True, "derived: half of the 96 kHz line"),
    Capacity(16, 192_000, 192_000, False, "derived: half of the 96 kHz line"),
)

_TEXT = re.compile(
    r"\s*(?P<slots>\d{1,4})\s*@\s*(?P<rate>\d{1,7}(?:[.,]\d{1,3})?)\s*(?P<kilo>k?)\s*(?:hz)?"
    r"(?P<words>(?:[\s,/]+[a-z]+)*)\s*",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Mode:
    """How an AES10 feed is run: `slots` channels at `rate_hz`.

    `varispeed`: the rate may be pulled by 12.5 % either way (not with 64 or 32 slots). `layout` is
    "frames" for one frame a sample, or "pairs" for the 96 kHz form in which two neighbouring 48 kHz
    slots carry successive samples of one channel; both ends must agree. Raises ModeError for a mode
    that AES10 does not have, naming one that would do.
    """

    slots: int
    rate_hz: int
    varispeed: bool = False
    layout: Literal["frames", "pairs"] = "frames"

    def __post_init__(self) -> None:
        fits = [line for line in CAPACITIES if line.lowest_hz <= self.rate_hz <= line.highest_hz]
        same = [line for line in fits if line.slots == self.slots]
        if not same:
            there = ", ".join(f"{line.slots}@{self.rate_hz}" for line in sorted(fits, reverse=True))
            advice = f"use {there}" if there else "use a rate such as 48000 or 96000 Hz"
            raise ModeError(f"AES10 has no mode of {self.slots} slots at {self.rate_hz} Hz; {advice}")
        if self.varispeed and not any(line.varispeed for line in same):
            other = next(line.slots for line in fits if line.varispeed)
            raise ModeError(
                f"AES10 has no varispeed with {self.slots} slots at {self.rate_hz} Hz; "
                f"use {other}@{self.rate_hz} varispeed, or leave varispeed out"
            )
        if self.layout == "pairs" and not 64_000 <= self.rate_hz <= 96_000:
            raise ModeError(f"pairs of slots carry 64-96 kHz; at {self.rate_hz} Hz leave 'pairs' out")

    @classmethod
    def parse(cls, text: str) -> Mode:
        """Read "64@48000", "56@44.1k varispeed" or "28@96000 pairs"."""
        found = _TEXT.fullmatch(text)
        if not found:
            raise ModeError(f"cannot read the mode {text!r}; write slots@rate, for example 64@48000")
        rate = float(found["rate"].replace(",", ".")) * (1000 if found["kilo"] else 1)
        words = set(re.split(r"[\s,/]+", found["words"].lower())) - {""}
        unknown = words - {"varispeed", "pairs"}
        if unknown or rate != int(rate):
            wrong = sorted(unknown)[0] if unknown else found["rate"]
            raise ModeError(
                f"cannot read {wrong!r} in the mode {text!r}; after slots@rate may stand varispeed or pairs"
            )
        return cls(
            int(found["slots"]), int(rate), "varispeed" in words, "pairs" if "pairs" in words else "frames"
        )

    def __str__(self) -> str:
        words = (" varispeed" if self.varispeed else "") + (" pairs" if self.layout == "pairs" else "")
        return f"{self.slots}@{self.rate_hz}{words}"
