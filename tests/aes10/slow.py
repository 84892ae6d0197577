"""AES10 the slow and obvious way: texts of 0 and 1, one bit after the other, straight from the tables of the standard."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import floor

# Handbook for Sound Engineers, ch. 39: 0 to 9, A and D; the other four from memory.
GROUPS = {
    "0000": "11110", "0001": "01001", "0010": "10100", "0011": "10101", "0100": "01010", "0101": "01011",
    "0110": "01110", "0111": "01111", "1000": "10010", "1001": "10011", "1010": "10110", "1011": "10111",
    "1100": "11010", "1101": "11011", "1110": "11100", "1111": "11101",
}  # fmt: skip
JK = "1100010001"


def subframe(
    sample: int, slot: int, frame: int, *, status: int = 0, validity: int = 0, user: int = 0, active: int = 1
) -> str:
    """The 32 bits of a channel, bit 0 first; `slot` counts from 0 as in the standard."""
    if not active:
        return "0" * 32
    flags = [slot == 0, True, slot % 2 == 1, frame % 192 == 0]
    audio = [sample >> place & 1 for place in range(24)]
    rest = [*audio, validity, user, status]
    return "".join(str(int(bit)) for bit in [*flags, *rest, sum(rest) % 2])


def as_word(bits: str) -> int:
    """Bit k of a text as bit k of a number."""
    return sum(1 << place for place, bit in enumerate(bits) if bit == "1")


def coded(bits: str) -> str:
    """4B5B, four bits at a time, the first being the leftmost."""
    return "".join(GROUPS[bits[at : at + 4]] for at in range(0, len(bits), 4))


def link(frames: Sequence[Sequence[str]], rate: int) -> str:
    """All bits of a link: before each frame the symbols that fill it up to 125 Mbit/s, four at a time if they fit."""
    out = ""
    spare = Fraction(125_000_000, 10 * rate) - 4 * len(frames[0])
    step = 4 if spare >= 4 else 1
    for number, frame in enumerate(frames):
        symbols = floor((number + 1) * spare / step) - floor(number * spare / step)
        out += JK * step * symbols + "".join(coded(bits) for bits in frame)
    return out


def levels(bits: str) -> str:
    """NRZI from a low level on: a 1 changes the level."""
    level, out = 0, ""
    for bit in bits:
        level ^= int(bit)
        out += str(level)
    return out
