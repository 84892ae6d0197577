"""The capacity table against the published figures."""

from __future__ import annotations

import pytest

from chanbridge.errors import ModeError
from chanbridge.mode import CAPACITIES, Capacity, Mode

# AES10-2003, abstract and clause 5.1: channels, nominal rates in Hz, whether +-12.5 % varispeed is allowed.
PUBLISHED = [
    (56, 32_000, True), (56, 44_100, True), (56, 48_000, True),
    (64, 32_000, False), (64, 44_100, False), (64, 48_000, False),
    (28, 64_000, True), (28, 88_200, True), (28, 96_000, True),
    (32, 96_000, False),
]  # fmt: skip


@pytest.mark.parametrize(("slots", "rate", "varispeed"), PUBLISHED)
def test_published_capacities(slots: int, rate: int, varispeed: bool) -> None:
    assert Mode(slots, rate).slots == slots
    if varispeed:
        assert Mode(slots, rate, varispeed=True).varispeed
    else:
        with pytest.raises(ModeError, match="no varispeed"):
            Mode(slots, rate, varispeed=True)


# Handbook for Sound Engineers, chapter 39: 100 Mbit/s of data; a channel takes 32 bits in each sample.
@pytest.mark.parametrize("capacity", CAPACITIES)
def test_every_capacity_fits_the_link(capacity: Capacity) -> None:
    pulled = 1.125 if capacity.varispeed else 1.0
    assert capacity.slots * 32 * capacity.highest_hz * pulled <= 100_000_000


def test_published_data_rates() -> None:
    """56 x 32 bit x 54 kHz = 96 768 kbit/s; 64 x 32 bit x 48 kHz = 98 304 kbit/s (AES10-2003)."""
    assert 56 * 32 * 48_000 * 1.125 == 96_768_000
    assert Mode(64, 48_000).slots * 32 * Mode(64, 48_000).rate_hz == 98_304_000


@pytest.mark.parametrize(
    ("text", "mode"),
    [
        ("64@48000", Mode(64, 48_000)),
        (" 56 @ 44.1k ", Mode(56, 44_100)),
        ("56@48kHz varispeed", Mode(56, 48_000, varispeed=True)),
        ("28@96000 pairs", Mode(28, 96_000, layout="pairs")),
        ("28@96000, varispeed, pairs", Mode(28, 96_000, True, "pairs")),
        ("32@96k", Mode(32, 96_000)),
    ],
)
def test_parse(text: str, mode: Mode) -> None:
    assert Mode.parse(text) == mode
    assert Mode.parse(str(mode)) == mode


@pytest.mark.parametrize(
    ("text", "advice"),
    [
        ("64@96000", "32@96000"),
        ("48@48000", "64@48000, 56@48000"),
        ("64@48000 varispeed", "56@48000 varispeed"),
        ("32@96000 varispeed", "28@96000 varispeed"),
        ("64@50000", "48000 or 96000"),
        ("64 at 48k", "64@48000"),
        ("", "64@48000"),
        ("64@48000 fast", "'fast'"),
        ("56@48000 pairs", "leave 'pairs' out"),
        ("64@-1", "64@48000"),
        ("0@48000", "64@48000"),
        ("64@44.1", "no mode|cannot read"),
    ],
)
def test_modes_that_do_not_exist_name_one_that_does(text: str, advice: str) -> None:
    with pytest.raises(ModeError, match=advice):
        Mode.parse(text)
