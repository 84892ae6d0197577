"""The bits of the link against a slow encoder, the published figures, and every kind of damage."""

from __future__ import annotations

import itertools
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from chanbridge.aes10 import (
    Break,
    LineDecoder,
    LineEncoder,
    Mode,
    decode_line,
    decode_subframes,
    encode_line,
    encode_subframes,
)
from chanbridge.aes10.layout import CODE_4B5B, SYNC, frame_starts, link_rate, link_slots
from tests.aes10 import slow

MODES = [
    "64@48000",
    "56@48000",
    "64@44100",
    "56@32000",
    "28@96000",
    "32@96000",
    "32@96000 pairs",
    "16@192000",
    "14@192000",
]
Bits = NDArray[np.uint8]
Words = NDArray[np.uint32]


def frames(mode: Mode, count: int, seed: int = 1) -> Words:
    """Subframes of noise, in as many frames of the link."""
    count *= link_slots(mode) // mode.slots
    samples = np.random.default_rng(seed).integers(-(2**23), 2**23, (count, mode.slots), dtype=np.int32)
    return encode_subframes(samples, mode=mode)


def bits(data: bytes) -> Bits:
    return np.unpackbits(np.frombuffer(data, np.uint8))


def packed(stream: Bits) -> bytes:
    return np.packbits(stream).tobytes()


def places(found: Words, sent: Words) -> list[int]:
    """Which of the frames sent each one found is, -1 for one that never was."""
    known = {row.tobytes(): at for at, row in enumerate(sent)}
    return [known.get(row.tobytes(), -1) for row in found]


# -- tables


def test_4b5b_as_printed() -> None:
    """Handbook for Sound Engineers, ch. 39, for 0 to 9, A and D; the others from memory."""
    assert [f"{group:05b}" for group in CODE_4B5B] == [*slow.GROUPS.values()]
    assert f"{SYNC:010b}" == slow.JK == "1100010001"


def test_no_symbol_appears_in_coded_data_and_no_run_of_zeros_is_longer_than_three() -> None:
    """Computed: ten bits at any place lie in at most three groups."""
    for three in itertools.product(slow.GROUPS.values(), repeat=3):
        assert slow.JK not in "".join(three)
        assert "0000" not in "".join(three)


# -- the bits themselves


@pytest.mark.parametrize("text", MODES)
@pytest.mark.parametrize("nrzi", [False, True])
def test_encoder_and_the_slow_one_agree(text: str, nrzi: bool) -> None:
    mode = Mode.parse(text)
    words = frames(mode, 7, seed=len(text))
    texts = [[f"{word:032b}"[::-1] for word in row] for row in words.tolist()]
    expected = slow.link(texts, link_rate(mode))
    expected += (slow.JK * 4)[: -len(expected) % 8]
    sent = encode_line(words, mode=mode, nrzi=nrzi)
    assert "".join(map(str, bits(sent))) == (slow.levels(expected) if nrzi else expected)


def test_the_first_bit_is_the_most_significant_of_the_first_byte() -> None:
    mode = Mode.parse("64@48000")
    assert f"{encode_line(frames(mode, 1), mode=mode)[0]:08b}" == slow.JK[:8]


def test_the_lowest_numbered_bit_goes_out_first_and_left_in_its_group() -> None:
    """Own reading of the standard: bits 0 1 2 3 of the first subframe are 1 1 0 1, so D in 4B5B, not B."""
    mode = Mode.parse("64@48000")
    sent = "".join(map(str, bits(encode_line(frames(mode, 1), mode=mode))))
    assert sent[40:45] == slow.GROUPS["1101"]


# -- data rates

# Pairs a frame on average, computed from 125 Mbit/s: 125e6 / (10 × fs) − 4 × channels.
AVERAGE_PAIRS = [("56@48000", 36.4), ("64@48000", 4.4), ("28@96000", 18.2), ("32@96000", 2.2)]


@pytest.mark.parametrize(("text", "pairs"), AVERAGE_PAIRS)
def test_fill_as_computed_from_the_rate_of_the_link(text: str, pairs: float) -> None:
    mode = Mode.parse(text)
    seconds = 96
    count = link_rate(mode) // 100
    sent = encode_line(frames(mode, count), mode=mode)
    assert len(sent) * 8 == pytest.approx(125_000_000 / 100, abs=40)
    assert decode_line(sent, mode=mode).report.syncs / count == pytest.approx(pairs, abs=0.05)
    assert frame_starts(mode, link_rate(mode) * seconds, 0)[0] * 10 == 125_000_000 * seconds


def test_published_data_rates_from_counted_bits() -> None:
    """AES10: 64 × 32 bit × 48 kHz is 98 304 kbit/s, and 98 688 with a symbol a frame; 56 × 32 × 54 kHz is 96 768."""
    mode = Mode.parse("64@48000")
    count = 480
    words = frames(mode, count)
    coded = (
        len(encode_line(words, mode=mode)) * 8
        - decode_line(encode_line(words, mode=mode), mode=mode).report.syncs * 10
    )
    assert coded * 4 // 5 * 48_000 // count == 98_304_000
    assert (coded + 10 * count) * 4 // 5 * 48_000 // count == 98_688_000
    fewer = frames(Mode.parse("56@48000 varispeed"), count)
    assert fewer.nbytes * 8 * 54_000 // count == 96_768_000


@pytest.mark.parametrize("text", MODES)
def test_every_frame_has_a_symbol_and_the_link_is_never_more_than_full(text: str) -> None:
    mode = Mode.parse(text)
    starts = frame_starts(mode, 0, 5000)
    fill = np.diff(starts) - 4 * link_slots(mode)
    assert fill.min() >= 1
    ideal = np.arange(5001) * 12_500_000 / link_rate(mode)
    assert ((starts <= ideal) & (starts > ideal - 5)).all()


# -- there and back


@pytest.mark.parametrize("text", MODES)
@pytest.mark.parametrize("nrzi", [False, True])
def test_what_goes_in_comes_out(text: str, nrzi: bool) -> None:
    mode = Mode.parse(text)
    words = frames(mode, 50)
    line = decode_line(encode_line(words, mode=mode, nrzi=nrzi), mode=mode, nrzi=nrzi)
    assert (line.words == words).all()
    assert line.words.dtype == np.uint32
    report = line.report
    assert (report.first_sync, report.frames, report.before, report.unframed) == (0, 50, 0, 0)
    assert (report.code_errors, report.breaks) == ((), ())
    assert report.after < 8
    assert decode_subframes(line.words, mode=mode).irregularities == ()


def test_the_last_frame_needs_nothing_after_it() -> None:
    for text in MODES:
        mode = Mode.parse(text)
        words = frames(mode, 1)
        assert (decode_line(encode_line(words, mode=mode), mode=mode).words == words).all()


@pytest.mark.parametrize("text", ["64@48000", "32@96000", "16@192000"])
@pytest.mark.parametrize("size", [1, 13, 1000, 5003])
def test_pieces_of_any_size_are_as_good_as_the_whole(text: str, size: int) -> None:
    mode = Mode.parse(text)
    words = frames(mode, 30)
    whole = encode_line(words, mode=mode, nrzi=True)
    encoder, decoder = LineEncoder(mode, nrzi=True), LineDecoder(mode, nrzi=True)
    parts = [encoder.feed(words[at : at + 7]) for at in range(0, 30, 7)]
    assert b"".join([*parts, encoder.finish()]) == whole
    got = [decoder.feed(whole[at : at + size]) for at in range(0, len(whole), size)]
    assert (np.concatenate([*got, decoder.finish()]) == words).all()
    assert decoder.report == decode_line(whole, mode=mode, nrzi=True).report


def test_symbols_may_stand_between_any_channels() -> None:
    """The standard asks for a symbol at least once a frame, at any boundary of channels."""
    mode = Mode.parse("56@48000")
    words = frames(mode, 40)
    rng = random.Random(5)
    stream = ""
    for row in words.tolist():
        for word in row:
            stream += slow.JK * rng.choice([0, 0, 0, 1, 2, 4, 7]) + slow.coded(f"{word:032b}"[::-1])
    line = decode_line(packed(np.array([*map(int, slow.JK + stream)], np.uint8)), mode=mode)
    assert (line.words == words).all()
    assert line.report.breaks == ()


# -- damage


@pytest.mark.parametrize("text", ["64@48000", "56@48000", "32@96000", "32@96000 pairs", "16@192000"])
class TestDamage:
    """Frames that were not touched arrive, in their order, whatever happened to the others."""

    def sent(self, text: str) -> tuple[Mode, Words, Bits]:
        mode = Mode.parse(text)
        words = frames(mode, 40)
        return mode, words, bits(encode_line(words, mode=mode))

    def test_decoding_begins_at_any_bit(self, text: str) -> None:
        mode, words, stream = self.sent(text)
        for offset in [*range(1, 42), *range(42, len(stream) // 4, 401)]:
            line = decode_line(packed(stream[offset:]), mode=mode)
            found = places(line.words, words)
            assert found == [*range(found[0], 40)]
            assert found[0] <= offset * 40 // len(stream) + 1
            assert not line.report.breaks

    def test_bits_before_the_first_symbol_do_no_harm(self, text: str) -> None:
        mode, words, stream = self.sent(text)
        for count in range(1, 48):
            junk = np.random.default_rng(count).integers(0, 2, count).astype(np.uint8)
            assert (decode_line(packed(np.concatenate([junk, stream])), mode=mode).words == words).all()

    def test_an_end_that_is_cut_off_costs_one_frame(self, text: str) -> None:
        mode, words, stream = self.sent(text)
        for end in range(len(stream) - 8, 0, -1600):  # whole bytes: what pads a byte would be taken for bits
            found = places(decode_line(packed(stream[:end]), mode=mode).words, words)
            assert found == [*range(len(found))]
            assert len(found) >= end * 40 // len(stream) - 1

    def test_a_wrong_bit_costs_no_frame(self, text: str) -> None:
        mode, words, stream = self.sent(text)
        for bit in random.Random(1).sample(range(len(stream)), 80):
            stream[bit] ^= 1
            line = decode_line(packed(stream), mode=mode)
            stream[bit] ^= 1
            assert line.words.shape == words.shape, bit
            changed = np.argwhere(line.words != words)
            assert len(changed) <= 1, bit
            if len(changed):
                irregular = decode_subframes(line.words, mode=mode).irregularities
                assert line.report.code_errors or irregular or _two_bits(line.words, words), bit

    def test_a_slip_costs_what_it_hits(self, text: str) -> None:
        mode, words, stream = self.sent(text)
        rng = random.Random(2)
        for _ in range(50):
            at, count = (
                rng.randrange(len(stream)),
                rng.choice([1, 2, 3, 7, 9, 10, 11, 20, 30, 39, 40, 41, 80, 400]),
            )
            if rng.random() < 0.5:
                slipped = np.delete(stream, slice(at, at + count))
            else:
                slipped = np.insert(
                    stream, at, np.random.default_rng(at).integers(0, 2, count).astype(np.uint8)
                )
            line = decode_line(packed(slipped), mode=mode)
            found = places(line.words, words)
            real = [place for place in found if place >= 0]
            assert real == sorted(set(real))
            assert len(real) >= 40 - 2 - count * 40 // len(stream) - 1
            assert found.count(-1) <= 2
            assert -1 not in found or line.report.breaks or line.report.code_errors

    def test_levels_of_the_other_polarity_are_the_same_bits(self, text: str) -> None:
        mode, words, _ = self.sent(text)
        data = encode_line(words, mode=mode, nrzi=True)
        assert (decode_line(bytes(255 - byte for byte in data), mode=mode, nrzi=True).words == words).all()

    def test_a_hole_is_bridged(self, text: str) -> None:
        mode, words, stream = self.sent(text)
        third = len(stream) // 3
        for value in (0, 1):
            holed = stream.copy()
            holed[third : 2 * third] = value
            found = places(decode_line(packed(holed), mode=mode).words, words)
            real = [place for place in found if place >= 0]
            assert {*range(12), *range(28, 40)} <= {*real}
            assert real == sorted(set(real))


@pytest.mark.parametrize("text", ["16@192000", "14@192000"])
def test_no_wrong_bit_near_the_end_costs_a_frame(text: str) -> None:
    """Where no symbol follows that could tell how words stand."""
    mode = Mode.parse(text)
    words = frames(mode, 3)
    stream = bits(encode_line(words, mode=mode))
    for bit in range(len(stream) - 760, len(stream), 2):
        stream[bit] ^= 1
        line = decode_line(packed(stream), mode=mode)
        stream[bit] ^= 1
        assert line.words.shape == words.shape, bit
        assert len(np.argwhere(line.words != words)) <= 1, bit


def _two_bits(one: Words, other: Words) -> bool:
    """A wrong bit on the link can turn a group into another group, two bits of the subframe apart: then parity is even."""
    return int(np.bitwise_count(one ^ other).sum()) % 2 == 0


def test_a_break_says_where_it_was() -> None:
    mode = Mode.parse("64@48000")
    words = frames(mode, 20)
    stream = bits(encode_line(words, mode=mode))
    at = 160 + 2600 * 5 + 1003
    report = decode_line(packed(np.delete(stream, at)), mode=mode).report
    (found,) = report.breaks
    assert isinstance(found, Break)
    assert found.frame == 5
    assert at - 40 <= found.at <= at + 40
    assert found.bits == 39
    assert report.unframed == 63
    assert report.frames == 19


def test_a_code_error_says_which_subframe_it_is_in() -> None:
    mode = Mode.parse("64@48000")
    words = frames(mode, 20)
    words[7, 9] = 0
    stream = bits(encode_line(words, mode=mode))
    at = (
        decode_line(packed(stream), mode=mode).report.syncs
        and int(frame_starts(mode, 8, 0)[0]) * 10 - 64 * 40 + 9 * 40
    )
    stream[at] ^= 1  # 11110 becomes 01110, which is a group as well
    stream[at + 5] ^= 1
    stream[at + 6] ^= 1  # 11110 becomes 00110, which is none
    line = decode_line(packed(stream), mode=mode)
    assert [tuple(place) for place in line.report.code_errors] == [(7, 10)]
    assert (np.delete(line.words, 7, axis=0) == np.delete(words, 7, axis=0)).all()


@given(st.binary(max_size=3000), st.sampled_from(MODES), st.booleans())
def test_any_bytes_are_read(data: bytes, text: str, nrzi: bool) -> None:
    mode = Mode.parse(text)
    line = decode_line(data, mode=mode, nrzi=nrzi)
    assert line.words.shape == (line.report.frames, link_slots(mode))
    assert line.report.bits == len(data) * 8
    decode_subframes(line.words, mode=mode)


@pytest.mark.parametrize("data", [b"", b"\0", b"\0" * 50_000, b"\xff" * 50_000, b"\x55" * 50_001])
def test_bytes_without_a_symbol_give_no_frames(data: bytes) -> None:
    mode = Mode.parse("64@48000")
    line = decode_line(data, mode=mode)
    assert line.words.shape == (0, 64)
    assert line.report == line.report._replace(first_sync=None, syncs=0, frames=0, before=len(data) * 8)


def test_noise_gives_no_frames() -> None:
    for seed in range(3):
        line = decode_line(np.random.default_rng(seed).bytes(200_001), mode=Mode.parse("64@48000"))
        assert len(line.words) == 0
        assert line.report.syncs > 0


def test_nothing_but_fill_gives_no_frames() -> None:
    line = decode_line(packed(np.array([*map(int, slow.JK * 4000)], np.uint8)), mode=Mode.parse("64@48000"))
    assert (len(line.words), line.report.syncs) == (0, 4000)


def test_a_wrong_number_of_slots_is_refused() -> None:
    with pytest.raises(ValueError, match="64 subframes"):
        encode_line(np.zeros((3, 56), np.uint32), mode=Mode.parse("64@48000"))
    assert encode_line(np.zeros((0, 64), np.uint32), mode=Mode.parse("64@48000")) == b""


def test_frames_of_another_mode_are_not_taken_for_these() -> None:
    sent = encode_line(frames(Mode.parse("56@48000"), 50), mode=Mode.parse("56@48000"))
    line = decode_line(sent, mode=Mode.parse("64@48000"))
    assert len(line.words) <= 1
    assert line.report.unframed > 2000
