"""The channel-status block against published blocks, other libraries' CRC, and its own bytes."""

from __future__ import annotations

import random
from importlib import import_module

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge.aes3.status import (
    BLOCK_BYTES,
    LENGTH_CODES,
    TABLE,
    Status,
    bits,
    blocks,
    crcc,
    read_block,
)

anycrc = import_module("anycrc")  # it has no type stubs

# The worked examples of the standard (AES3, EBU Tech 3250): bytes 0 to 22, then byte 23.
PUBLISHED = [
    (bytes.fromhex("3D02000002") + bytes(18), 0x9B),
    (bytes.fromhex("01") + bytes(22), 0x32),
]


@pytest.mark.parametrize(("data", "byte_23"), PUBLISHED)
def test_the_published_examples(data: bytes, byte_23: int) -> None:
    assert crcc(data) == byte_23
    assert read_block(data + bytes([byte_23])).crcc == "right"


@given(st.binary(max_size=64))
def test_crcc_as_an_independent_library_has_it(data: bytes) -> None:
    assert crcc(data) == anycrc.Model("CRC8-TECH-3250").calc(data)


def test_crcc_of_the_catalogue() -> None:
    """CRC-8/TECH-3250 in the catalogue of parametrised CRCs: check value 97 for the digits 1 to 9."""
    assert crcc(b"123456789") == 0x97


def test_the_table_covers_bytes_0_to_22_once() -> None:
    covered = [bit for field in TABLE for bit in range(field.first, field.first + field.width)]
    assert sorted(covered) == list(range(23 * 8))


# Handbook for Sound Engineers, p. 1469; bit 0 is the least significant.
SEEN = [
    (Status.of(rate_hz=48_000), 0, 0x01 | 0x04 | 0x80),
    (Status.of(rate_hz=44_100), 0, 0x01 | 0x04 | 0x40),
    (Status.of(rate_hz=32_000), 0, 0x01 | 0x04 | 0xC0),
    (Status.of(locked=False), 0, 0x01 | 0x04 | 0x20),
    (Status(not_pcm=1), 0, 0x01 | 0x02 | 0x04),
    (Status(channel_mode=0b1000), 1, 0x08),
    (Status(channel_mode=0b0100), 1, 0x04),
    (Status(channel_mode=0b0010), 1, 0x02),
    (Status.of(channel=1), 1, 0x0F),
    (Status.of(), 2, 0x2C),
    (Status.of(channel=1), 3, 0),
    (Status.of(channel=128), 3, 127),
    (Status.of(reference_grade=1), 4, 0x02),
    (Status.of(reference_grade=2), 4, 0x01),
    (Status.of(rate_hz=96_000), 4, 0b0001_0000),
    (Status.of(origin="KICK"), 6, ord("K")),
    (Status.of(origin="KICK"), 9, ord("K")),
    (Status.of(destination="TRK1"), 10, ord("T")),
    (Status.of(destination="TRK1"), 13, ord("1")),
    (Status.of(sample_address=0x01020304), 14, 0x04),
    (Status.of(time_of_day=0x01020304), 21, 0x01),
    (Status.of(unreliable=[1]), 22, 0b0010_0000),
]


@pytest.mark.parametrize(("status", "byte", "value"), SEEN)
def test_bytes_as_the_handbook_prints_them(status: Status, byte: int, value: int) -> None:
    assert status.block()[byte] == value


def test_shorter_words_are_coded_as_the_newer_table_has_them() -> None:
    """From memory of IEC 60958-4: printed with bit 3 first, 20 of at most 24 bits is 100, and not 011."""
    assert f"{LENGTH_CODES[20]:03b}"[::-1] == "100"
    assert f"{LENGTH_CODES[21]:03b}"[::-1] == "011"
    assert f"{LENGTH_CODES[24]:03b}"[::-1] == "101"
    assert Status.of(word_length=20).word_length == 20
    assert Status(auxiliary=0, length_code=LENGTH_CODES[24]).word_length == 20


@given(st.binary(min_size=23, max_size=23).map(lambda data: bytes([data[0] | 1]) + data[1:]))
def test_a_block_that_was_read_is_written_as_it_was(data: bytes) -> None:
    whole = data + bytes([crcc(data)])
    read = read_block(whole)
    assert read.crcc == "right"
    assert read.status is not None
    assert read.status.block() == whole


@given(
    st.builds(
        Status.of,
        rate_hz=st.sampled_from([None, 32_000, 44_100, 48_000, 88_200, 96_000, 192_000]),
        channel=st.none() | st.integers(1, 128),
        origin=st.text(st.characters(min_codepoint=33, max_codepoint=126), max_size=4),
        destination=st.text(st.characters(min_codepoint=33, max_codepoint=126), max_size=4),
        word_length=st.integers(20, 24),
        locked=st.booleans(),
        reference_grade=st.sampled_from([0, 1, 2]),
        unreliable=st.lists(st.integers(0, 3)),
    )
)
def test_fields_both_ways(status: Status) -> None:
    again = read_block(status.block()).status
    assert again == status
    names = ("rate_hz", "channel", "origin", "destination", "word_length", "locked", "reference_grade")
    assert all(getattr(again, name) == getattr(status, name) for name in names)


def test_words_come_out_as_they_went_in() -> None:
    status = Status.of(
        rate_hz=96_000, channel=64, origin="VoxL", destination="trk", word_length=20, locked=False,
        reference_grade=2, unreliable=[0],
    )  # fmt: skip
    assert (status.rate_hz, status.channel, status.origin, status.destination) == (96_000, 64, "VoxL", "trk")
    assert (status.word_length, status.locked, status.reference_grade) == (20, False, 2)
    assert [status.reliable(byte) for byte in (0, 5, 6, 13)] == [False, False, True, True]


@pytest.mark.parametrize("bit", range(192))
def test_no_wrong_bit_is_trusted(bit: int) -> None:
    sent = Status.of(rate_hz=48_000, channel=7, origin="KICK").block()
    damaged = (int.from_bytes(sent, "little") ^ 1 << bit).to_bytes(BLOCK_BYTES, "little")
    read = read_block(damaged)
    assert read.crcc == "wrong"
    assert read.status is None
    assert read.data == damaged


def test_a_zero_byte_23_is_not_implemented() -> None:
    read = read_block(Status.of(origin="KICK").block()[:-1] + b"\0")
    assert read.crcc == "not implemented"
    assert read.status is not None
    assert read.status.origin == "KICK"


def test_no_status_at_all_and_a_consumer_block_say_nothing() -> None:
    assert read_block(bytes(24)).status is None
    assert read_block(bytes(24)).crcc == "not implemented"


def test_labels_with_the_parity_of_older_editions_are_read() -> None:
    """From memory: older editions had odd parity in bit 7 of each character."""
    data = bytearray(Status.of(origin="KICK").block())
    for at in range(6, 10):
        data[at] |= 0x80 * (data[at].bit_count() % 2 == 0)
    data[23] = crcc(bytes(data[:23]))
    status = read_block(bytes(data)).status
    assert status is not None
    assert status.origin == "KICK"


@pytest.mark.parametrize(
    "wrong",
    [
        {"origin": "KICKS"}, {"origin": "Kör"}, {"destination": "a\n"}, {"channel": 129}, {"channel": 0},
        {"rate_hz": 50_000}, {"word_length": 16}, {"sample_address": 1 << 32}, {"time_of_day": -1},
    ],
)  # fmt: skip
def test_what_a_block_cannot_say_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"cannot say|no label|hold"):
        Status.of(**wrong).block()  # type: ignore[arg-type]


def test_a_block_of_another_size_is_refused() -> None:
    with pytest.raises(ValueError, match="24 bytes, not 23"):
        read_block(bytes(23))


def test_bits_on_the_way_and_back() -> None:
    rng = random.Random(1)
    sent = [Status.of(channel=number, origin=f"C{number}").block() for number in (1, 2, 3)]
    start = rng.randrange(192)
    on_the_way = bits(sent, 1000, start)
    assert on_the_way.shape == (1000, 3)
    slow = [int(sent[0][k % 192 // 8] >> k % 8 & 1) for k in range(start, start + 1000)]
    assert on_the_way[:, 0].tolist() == [bool(bit) for bit in slow]
    begins = np.zeros((1000, 3), bool)
    begins[(-start) % 192 :: 192] = True
    received = blocks(on_the_way, begins)
    assert [[block.data for block in channel] for channel in received] == [[data] * 4 for data in sent]
