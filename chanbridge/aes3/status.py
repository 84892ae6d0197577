"""The professional channel-status block of AES3, 24 bytes, as named fields both ways.

The table states every bit once; reading and writing derive from it. Source: IEC 60958-4, EBU Tech 3250 and Rec.
ITU-R BS.647 as described in the Handbook for Sound Engineers (Ballou, ed.), p. 1469; lines marked "from memory"
had no text at hand. Bit 0 of a byte is the least significant, and the first on the link.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

BLOCK_BYTES = 24
BLOCK_BITS = 192
LABEL_WIDTH = 4
"""Characters of an origin or destination label."""


class Field(NamedTuple):
    """`width` bits of the block from bit `first` on, the lowest being the least significant."""

    name: str
    first: int
    width: int


TABLE = (
    Field("professional", 0, 1),
    Field("not_pcm", 1, 1),
    Field("emphasis", 2, 3),  # byte 0
    Field("unlocked", 5, 1),
    Field("rate_code", 6, 2),
    Field("channel_mode", 8, 4),  # byte 1
    Field("user_bits", 12, 4),
    Field("auxiliary", 16, 3),  # byte 2
    Field("length_code", 19, 3),
    Field("alignment", 22, 2),  # from memory
    Field("number_code", 24, 7),  # byte 3
    Field("multichannel", 31, 1),  # 1: the seven bits before mean something else
    Field("reference", 32, 2),  # byte 4
    Field("reserved_4", 34, 1),
    Field("extended_rate_code", 35, 4),
    Field("rate_scaled", 39, 1),  # from memory: the rate is 1/1.001 of what is said
    Field("reserved_5", 40, 8),
    Field("origin_code", 48, 32),  # bytes 6 to 9
    Field("destination_code", 80, 32),  # bytes 10 to 13
    Field("sample_address", 112, 32),  # bytes 14 to 17, samples
    Field("time_of_day", 144, 32),  # bytes 18 to 21, samples since midnight
    Field("reserved_22", 176, 4),
    Field("unreliable", 180, 4),  # bits for bytes 0-5, 6-13, 14-17, 18-21
)
"""Bytes 0 to 22; byte 23 is the CRCC over them."""

NO_EMPHASIS = 0b001
"""The only emphasis that is written: 0 would leave it open."""

RATES = {32_000: 3, 44_100: 1, 48_000: 2}
"""Rate in Hz → bits 6 and 7 of byte 0."""

EXTENDED_RATES = {96_000: 2, 24_000: 1, 192_000: 3, 22_050: 9, 88_200: 10, 176_400: 11}
"""Rate in Hz → bits 3 to 6 of byte 4, when byte 0 says nothing; 96 kHz is from the handbook, the others from memory."""

CHANNEL_MODES = {
    "not said": 0b0000,
    "two channels": 0b1000,
    "one channel": 0b0100,
    "stereo": 0b0010,
    "see byte 3": 0b1111,
}
"""What byte 1 says of the channels."""

AUXILIARY_AUDIO = 0b100
"""Bits 0 to 2 of byte 2 where all 24 bits are audio."""

LENGTH_CODES = {24: 0b101, 23: 0b100, 22: 0b010, 21: 0b110, 20: 0b001}
"""Bits of a sample → bits 3 to 5 of byte 2, of at most 24; of at most 20 each is 4 less. From memory but for 24.

Read with bit 3 first, as the tables are printed, 20 is 100. A widely used C header has 011 there, from an older table.
"""

UNRELIABLE = ((0, 5), (6, 13), (14, 17), (18, 21))
"""First and last byte of what each of the four flags in byte 22 calls unreliable."""

Crcc = Literal["right", "wrong", "not implemented"]


@dataclass(frozen=True)
class Status:
    """What a block says, every bit of bytes 0 to 22; the properties put the usual fields into words.

    The fields are the numbers on the wire, so that a block that was read is written again as it was.
    """

    professional: int = 1
    not_pcm: int = 0
    emphasis: int = NO_EMPHASIS
    unlocked: int = 0
    rate_code: int = 0
    channel_mode: int = 0
    user_bits: int = 0
    auxiliary: int = AUXILIARY_AUDIO
    length_code: int = LENGTH_CODES[24]
    alignment: int = 0
    number_code: int = 0
    multichannel: int = 0
    reference: int = 0
    reserved_4: int = 0
    extended_rate_code: int = 0
    rate_scaled: int = 0
    reserved_5: int = 0
    origin_code: int = 0
    destination_code: int = 0
    sample_address: int = 0
    time_of_day: int = 0
    reserved_22: int = 0
    unreliable: int = 0

    @classmethod
    def of(
        cls,
        *,
        rate_hz: int | None = None,
        channel: int | None = None,
        origin: str = "",
        destination: str = "",
        word_length: int = 24,
        locked: bool = True,
        reference_grade: Literal[0, 1, 2] = 0,
        unreliable: Sequence[int] = (),
        sample_address: int = 0,
        time_of_day: int = 0,
    ) -> Status:
        """A block of linear PCM in words.

        `rate_hz`: 32000, 44100, 48000, 96000 …; None leaves it open. `channel`: 1 to 128, in byte 3. `origin`,
        `destination`: at most 4 characters of ISO 646, see `labels`. `word_length`: 20 to 24 bits.
        `reference_grade`: of AES11, 0 if it is no reference. `unreliable`: numbers of the flags, see UNRELIABLE.
        Raises ValueError for what the block cannot say.
        """
        if rate_hz is not None and rate_hz not in RATES and rate_hz not in EXTENDED_RATES:
            known = ", ".join(map(str, sorted({*RATES, *EXTENDED_RATES})))
            raise ValueError(f"channel status cannot say {rate_hz} Hz; it can say {known}")
        if channel is not None and not 1 <= channel <= 128:
            raise ValueError(f"channel status cannot say channel {channel}; it can say 1 to 128")
        if word_length not in LENGTH_CODES:
            raise ValueError(f"channel status cannot say {word_length} bits here; it can say 20 to 24")
        return cls(
            rate_code=RATES.get(rate_hz or 0, 0),
            extended_rate_code=EXTENDED_RATES.get(rate_hz or 0, 0),
            channel_mode=CHANNEL_MODES["not said" if channel is None else "see byte 3"],
            number_code=(channel or 1) - 1,
            length_code=LENGTH_CODES[word_length],
            unlocked=int(not locked),
            reference={0: 0, 1: 2, 2: 1}[reference_grade],
            origin_code=_label_code(origin),
            destination_code=_label_code(destination),
            sample_address=sample_address,
            time_of_day=time_of_day,
            unreliable=sum(1 << flag for flag in set(unreliable)),
        )

    @property
    def rate_hz(self) -> int | None:
        """The sampling rate in Hz, None where it is not said."""
        for rate, code in RATES.items():
            if code == self.rate_code:
                return rate
        return next((rate for rate, code in EXTENDED_RATES.items() if code == self.extended_rate_code), None)

    @property
    def channel(self) -> int | None:
        """The channel's number from 1, None where byte 1 does not point to byte 3."""
        pointed = self.channel_mode == CHANNEL_MODES["see byte 3"] and not self.multichannel
        return self.number_code + 1 if pointed else None

    @property
    def word_length(self) -> int | None:
        """Bits of a sample that are in use, None where it is not said."""
        most = 0 if self.auxiliary == AUXILIARY_AUDIO else 4
        return next((bits - most for bits, code in LENGTH_CODES.items() if code == self.length_code), None)

    @property
    def locked(self) -> bool:
        """Whether the source's clock is locked, or nothing is said of it."""
        return not self.unlocked

    @property
    def reference_grade(self) -> int:
        """The AES11 grade of a reference signal, 0 for none."""
        return {2: 1, 1: 2}.get(self.reference, 0)

    @property
    def origin(self) -> str:
        """Where the channel comes from, at most 4 characters."""
        return _label_text(self.origin_code)

    @property
    def destination(self) -> str:
        """Where the channel goes, at most 4 characters."""
        return _label_text(self.destination_code)

    def reliable(self, byte: int) -> bool:
        """Whether byte 22 lets this byte of the block be trusted."""
        return not any(
            self.unreliable >> flag & 1 and first <= byte <= last
            for flag, (first, last) in enumerate(UNRELIABLE)
        )

    def block(self) -> bytes:
        """The 24 bytes, with their CRCC. Raises ValueError for a number that does not fit its field."""
        whole = 0
        for name, first, width in TABLE:
            value = getattr(self, name)
            if not 0 <= value < 1 << width:
                raise ValueError(f"{name} is {value}; its {width} bits hold 0 to {(1 << width) - 1}")
            whole |= value << first
        data = whole.to_bytes(BLOCK_BYTES - 1, "little")
        return data + bytes([crcc(data)])


class Block(NamedTuple):
    """A received block: what it says, or None where its CRCC is wrong or it is no professional one.

    `crcc`: "not implemented" where byte 23 is 0 and no CRCC; such a block is read, for want of better.
    """

    status: Status | None
    crcc: Crcc
    data: bytes


def read_block(data: bytes) -> Block:
    """Read 24 bytes. Raises ValueError for another number of them."""
    if len(data) != BLOCK_BYTES:
        raise ValueError(f"a block of channel status has {BLOCK_BYTES} bytes, not {len(data)}")
    check: Crcc = "right" if crcc(data[:-1]) == data[-1] else "wrong" if data[-1] else "not implemented"
    whole = int.from_bytes(data[:-1], "little")
    status = Status(**{name: whole >> first & (1 << width) - 1 for name, first, width in TABLE})
    return Block(status if status.professional and check != "wrong" else None, check, bytes(data))


def crcc(data: bytes) -> int:
    """The CRCC of bytes 0 to 22: x^8 + x^4 + x^3 + x^2 + 1, preset to ones, lowest bit first."""
    register = 0xFF
    for byte in data:
        register = _CRC[register ^ byte]
    return register


def _crc_table() -> tuple[int, ...]:
    table = []
    for value in range(256):
        for _ in range(8):
            value = value >> 1 ^ (0xB8 if value & 1 else 0)  # the polynomial, reflected
        table.append(value)
    return tuple(table)


_CRC = _crc_table()


def bits(blocks: Sequence[bytes], frames: int, start: int = 0) -> NDArray[np.bool_]:
    """The C bits, (frames, channels), of channels that send these blocks again and again.

    `start`: number of the first frame; a block begins where (start + frame) mod 192 is 0.
    """
    whole = np.frombuffer(b"".join(blocks), np.uint8).reshape(len(blocks), BLOCK_BYTES)
    sent = np.unpackbits(whole, axis=1, bitorder="little").astype(bool).T
    repeated: NDArray[np.bool_] = sent[np.arange(start, start + frames) % BLOCK_BITS]
    return repeated


def blocks(received: ArrayLike, begins: ArrayLike) -> list[list[Block]]:
    """For each channel the whole blocks in C bits, (frames, channels); `begins`: where each has a block start."""
    sent, starts = np.asarray(received).astype(bool), np.asarray(begins).astype(bool)
    out: list[list[Block]] = []
    for channel in range(sent.shape[1]):
        first = np.flatnonzero(starts[:, channel])
        first = first[first + BLOCK_BITS <= len(sent)]
        data = np.packbits(sent[first[:, None] + np.arange(BLOCK_BITS), channel], axis=1, bitorder="little")
        out.append([read_block(row.tobytes()) for row in data])
    return out


def _label_code(text: str) -> int:
    """Four characters, the first in the lowest byte, bit 7 of each 0; blanks fill up a label that is shorter."""
    if len(text) > LABEL_WIDTH or not all(" " <= letter <= "~" for letter in text):
        raise ValueError(f"{text!r} is no label of at most {LABEL_WIDTH} characters of ISO 646")
    return int.from_bytes(text.ljust(LABEL_WIDTH).encode("ascii"), "little") if text else 0


def _label_text(code: int) -> str:
    """The characters of a label; bit 7, a parity in older editions (from memory), is left out."""
    data = bytes(byte & 0x7F for byte in code.to_bytes(LABEL_WIDTH, "little"))
    return "".join(chr(byte) if 32 <= byte < 127 else " " if byte == 0 else "?" for byte in data).rstrip()


if {field.name for field in fields(Status)} != {field.name for field in TABLE}:
    raise TypeError("Status and TABLE name different fields")
