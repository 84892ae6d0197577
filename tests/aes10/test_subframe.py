"""Subframes against a slow encoder, against every single wrong bit, and as arrays."""

from __future__ import annotations

from importlib import import_module

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from numpy.typing import NDArray

from chanbridge.aes10 import Mode, decode_subframes, encode_subframes
from chanbridge.aes10.layout import PARITY_COVERS, SUBFRAME, field_of, placed
from tests.aes10 import slow

SMALL = Mode.parse("28@96000")
MODES = [
    "64@48000",
    "56@48000",
    "56@44100 varispeed",
    "28@96000",
    "32@96000",
    "28@96000 pairs",
    "32@96000 pairs",
    "16@192000",
]
SAMPLES = arrays.arrays(
    np.int32, st.tuples(st.integers(0, 5), st.just(28)), elements=st.integers(-(2**23), 2**23 - 1)
)

anycrc = import_module("anycrc")  # it has no type stubs


def noise(mode: Mode, frames: int, seed: int = 1) -> NDArray[np.int32]:
    return np.random.default_rng(seed).integers(-(2**23), 2**23, (frames, mode.slots), dtype=np.int32)


@given(SAMPLES, st.integers(0, 500), st.integers(0, 2**32))
def test_encoder_and_the_slow_one_agree(samples: NDArray[np.int32], start: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    bits = {name: rng.random(samples.shape) < 0.5 for name in ("status", "validity", "user", "active")}
    words = encode_subframes(samples, mode=SMALL, start=start, **bits)
    assert words.dtype == np.uint32
    for frame, row in enumerate(samples):
        for slot, sample in enumerate(row):
            said = {name: int(values[frame, slot]) for name, values in bits.items()}
            expected = slow.as_word(slow.subframe(int(sample), slot, start + frame, **said))
            assert words[frame, slot] == expected


@pytest.mark.parametrize("text", MODES)
def test_what_goes_in_comes_out(text: str) -> None:
    mode = Mode.parse(text)
    rng = np.random.default_rng(7)
    samples = noise(mode, 400)
    bits = {name: rng.random(samples.shape) < 0.5 for name in ("status", "validity", "user")}
    got = decode_subframes(encode_subframes(samples, mode=mode, start=100, **bits), mode=mode)
    assert (got.samples == samples).all()
    assert got.samples.dtype == np.int32
    assert all((getattr(got, name) == values).all() for name, values in bits.items())
    assert got.active.all()
    assert got.irregularities == ()


def test_without_status_the_c_bit_is_0_and_every_slot_is_active() -> None:
    mode = Mode.parse("64@48000")
    got = decode_subframes(encode_subframes(noise(mode, 3)[:, :40], mode=mode), mode=mode)
    assert not got.status.any()
    assert got.active.shape == (3, 64)
    assert got.active.all()
    assert not got.samples[:, 40:].any()


def test_a_block_of_status_begins_in_every_channel_at_192() -> None:
    mode = Mode.parse("64@48000")
    words = encode_subframes(noise(mode, 400), mode=mode, start=1000)
    begins = np.flatnonzero((words >> 3 & 1).all(axis=1))
    assert begins.tolist() == [frame for frame in range(400) if (1000 + frame) % 192 == 0]
    assert np.count_nonzero(words >> 3 & 1) == 64 * len(begins)


def test_inactive_slots_are_zero_and_what_is_said_of_channels_leaves_the_rest_out() -> None:
    mode = Mode.parse("56@48000")
    samples = noise(mode, 10)
    words = encode_subframes(samples, mode=mode, active=np.arange(56) < 20)
    assert not words[:, 20:].any()
    assert (words[:, :20] != 0).all()
    assert (encode_subframes(samples[:, :20], mode=mode, active=np.ones(20, bool)) == words).all()
    assert decode_subframes(words, mode=mode).irregularities == ()


@given(arrays.arrays(np.uint32, (3, 28)))
def test_any_words_are_read_and_written_back_as_they_were(words: NDArray[np.uint32]) -> None:
    again = np.zeros_like(words)
    for field in SUBFRAME:  # between them they have every bit
        again |= placed(field_of(words, field.name), field.name)
    assert (again == words).all()
    got = decode_subframes(words, mode=SMALL)
    assert got.samples.shape == (3, 28)
    assert (got.parity == words >> 31).all()
    assert all(0 <= item.frame < 3 and 1 <= item.slot <= 28 for item in got.irregularities)


def test_the_table_holds_every_bit_once() -> None:
    assert sorted(bit for field in SUBFRAME for bit in range(field.first, field.first + field.width)) == [
        *range(32)
    ]


@given(st.integers(0, 2**32 - 1))
def test_parity_as_an_independent_library_has_it(word: int) -> None:
    """A CRC of one bit, with the polynomial x + 1, is a parity."""
    ones = anycrc.CRC(1, 1, 0, False, False, 0).calc(word.to_bytes(4, "big"))
    assert int(np.bitwise_count(np.uint32(word))) % 2 == ones == word.bit_count() % 2


@pytest.mark.parametrize("slot", [1, 2, 3, 27, 28])
@pytest.mark.parametrize("bit", range(32))
def test_every_single_wrong_bit_is_found(slot: int, bit: int) -> None:
    words = encode_subframes(noise(SMALL, 5), mode=SMALL, start=190)
    words[3, slot - 1] ^= np.uint32(1 << bit)
    found = decode_subframes(words, mode=SMALL).irregularities
    kind = {
        0: "frame sync",
        1: "activity gap" if slot < 28 else "parity",
        2: "subframe order",
        3: "block start",
    }
    assert any(item.frame == 3 and item.kind == kind.get(bit, "parity") for item in found)
    assert bit == 1 or (3, slot) in {(item.frame, item.slot) for item in found}
    if PARITY_COVERS >> bit & 1:
        assert [(item.frame, item.slot, item.kind) for item in found] == [(3, slot, "parity")]


@pytest.mark.parametrize("bit", range(32))
def test_a_wrong_bit_in_an_inactive_slot_is_found_or_makes_it_a_silent_channel(bit: int) -> None:
    words = encode_subframes(noise(SMALL, 5), mode=SMALL, active=np.arange(28) < 10)
    words[3, 10] ^= np.uint32(
        1 << bit
    )  # slot 11, an A; with bit 1 it is active silence, which the standard allows
    got = decode_subframes(words, mode=SMALL)
    assert got.irregularities or (bit == 1 and got.active[3, 10] and got.samples[3, 10] == 0)


def test_blocks_that_begin_at_the_wrong_time_are_found_once() -> None:
    mode = Mode.parse("28@96000")
    words = encode_subframes(noise(mode, 2000), mode=mode)
    cut = np.delete(words, slice(500, 550), axis=0)
    found = decode_subframes(cut, mode=mode).irregularities
    assert [(item.frame, item.kind) for item in found] == [(526, "block start")]
    words &= ~np.uint32(8)
    assert {item.kind for item in decode_subframes(words, mode=mode).irregularities} == {"block start"}


def test_an_inactive_slot_before_an_active_one_is_a_gap() -> None:
    words = encode_subframes(noise(SMALL, 2), mode=SMALL, active=np.arange(28) != 5)
    found = decode_subframes(words, mode=SMALL).irregularities
    assert {item.kind for item in found} == {"activity gap"}
    assert {item.slot for item in found} == set(range(7, 29))


def test_pairs_put_two_samples_of_a_channel_side_by_side() -> None:
    """From memory: 48 kHz frames in which two neighbouring channels carry successive samples of one."""
    pairs, frames = Mode.parse("28@96000 pairs"), Mode.parse("28@96000")
    samples = noise(pairs, 400)
    words = encode_subframes(samples, mode=pairs)
    assert words.shape == (200, 56)
    audio = (words >> 4 & 0xFFFFFF).astype(np.int64)
    assert (audio[:, 0] == samples[::2, 0] & 0xFFFFFF).all()
    assert (audio[:, 1] == samples[1::2, 0] & 0xFFFFFF).all()
    assert encode_subframes(samples, mode=frames).shape == (400, 28)


@pytest.mark.parametrize(
    ("samples", "message"),
    [
        (np.full((1, 2), 2**23), "24 bits"),
        (np.full((1, 2), -(2**23) - 1), "24 bits"),
        (np.zeros((2, 29), int), "29 channels do not fit"),
        (np.zeros((2, 2)), "integers"),
        (np.zeros(3, int), "shape"),
    ],
)
def test_samples_that_do_not_fit_are_refused(samples: NDArray[np.int64], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        encode_subframes(samples, mode=SMALL)


def test_arrays_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ValueError, match="even number"):
        encode_subframes(np.zeros((3, 2), int), mode=Mode.parse("28@96000 pairs"))
    with pytest.raises(ValueError, match="status has the shape"):
        encode_subframes(np.zeros((3, 2), int), mode=SMALL, status=np.zeros((4, 2)))
    with pytest.raises(ValueError, match="28 subframes"):
        decode_subframes(np.zeros((3, 2), np.uint32), mode=SMALL)


def test_nothing_is_a_frame_too() -> None:
    words = encode_subframes(np.zeros((0, 5), int), mode=SMALL)
    assert words.shape == (0, 28)
    assert decode_subframes(words, mode=SMALL).irregularities == ()
    assert decode_subframes(words, mode=SMALL).samples.shape == (0, 28)
