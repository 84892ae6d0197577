"""Samples to the 32-bit subframes of AES10 and back. The bits are those of the table in `layout`."""

from __future__ import annotations

from functools import cache, cached_property
from itertools import pairwise
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from chanbridge.aes10.layout import (
    BLOCK_FRAMES,
    FIELDS,
    INACTIVE,
    PARITY_COVERS,
    field_of,
    link_slots,
    placed,
)
from chanbridge.mode import Mode

LOWEST, HIGHEST = -(1 << 23), (1 << 23) - 1
"""The range of a 24-bit sample."""

Words = NDArray[np.uint32]
Bits = NDArray[np.bool_]
Kind = Literal["parity", "frame sync", "subframe order", "block start", "activity gap"]

_SYNC, _ACTIVE, _B, _BLOCK = (
    np.uint32(FIELDS[name].ones) for name in ("frame_sync", "active", "b_subframe", "block_start")
)
_PARITY_AT = np.uint32(FIELDS["parity"].first)
_AUDIO = FIELDS["audio"]
_ABOVE = 32 - _AUDIO.width
"""How far a sample is shifted up to drop what is not in its 24 bits."""
_PIECE = 65_536
"""Words worked on at a time, so that they stay in the processor's cache."""


class Irregularity(NamedTuple):
    """Something that a subframe should not be. `frame` counts from 0 as in the array, `slot` from 1."""

    frame: int
    slot: int
    kind: Kind


def encode_subframes(
    samples: ArrayLike,
    *,
    mode: Mode,
    status: ArrayLike | None = None,
    active: ArrayLike | None = None,
    validity: ArrayLike | None = None,
    user: ArrayLike | None = None,
    start: int = 0,
) -> Words:
    """The subframes of samples: uint32 (frames, slots), bit k of the standard being bit k of the integer.

    `samples`: integers of 24 bits, (frames, channels); slots without a channel carry silence. `status`,
    `validity`, `user`: the C, V and U bits, 0 unless given, and `active`, 1 unless given: one for each sample,
    or anything that spreads over them. An inactive slot is 32 zero bits. A spare slot is sent as active
    silence, because active slots are contiguous from the first. `start`: number of the first frame; a
    channel-status block begins in every slot where (start + frame) mod 192 is 0.

    With pairs at 96 kHz two samples of a channel make one frame, in neighbouring slots: (2 × frames, channels)
    becomes (frames, 2 × slots), and `start` counts such frames.

    Raises ValueError for samples beyond 24 bits or an array that does not fit the mode.
    """
    audio = _samples(samples, mode)
    given = audio.shape
    audio = _folded(audio, mode)
    channels, slots = audio.shape[1], link_slots(mode)
    extra = {
        name: _folded(_spread(bits, given, name), mode)
        for name, bits in (("validity", validity), ("user", user), ("status", status))
        if bits is not None
    }
    words = np.empty((len(audio), slots), np.uint32)
    flags = _flags_of_piece(slots)
    step = len(flags)
    ones, parities = np.empty((step, slots), np.uint8), np.empty((step, slots), np.uint32)
    for at in range(0, len(words), step):
        piece = words[at : at + step]
        count, parity = ones[: len(piece)], parities[: len(piece)]
        piece[:, channels:] = 0
        np.left_shift(audio[at : at + step].view(np.uint32), np.uint32(_ABOVE), out=piece[:, :channels])
        np.right_shift(piece, np.uint32(_ABOVE - _AUDIO.first), out=piece)
        for name, bits in extra.items():
            piece[:, :channels] |= placed(bits[at : at + step].astype(np.uint32), name)
        np.bitwise_count(piece, out=count)
        np.left_shift(count, _PARITY_AT, out=parity)  # bit 0 of the count becomes bit 31, the rest falls off
        piece |= parity
        piece |= flags[: len(piece)]
    words[-start % BLOCK_FRAMES :: BLOCK_FRAMES] |= _BLOCK
    if active is not None:
        words[~_folded(_lit(active, given, mode), mode)] = INACTIVE
    return words


def _flags(slots: int) -> Words:
    """The flags of a frame's active slots, the block start left out."""
    numbers = np.arange(slots)
    flags: Words = _ACTIVE | np.where(numbers % 2 == 1, _B, np.uint32(0))
    flags[:1] |= _SYNC
    return flags


@cache
def _flags_of_piece(slots: int) -> Words:
    """The flags of as many frames as are worked on at a time; not to be written to."""
    return np.tile(_flags(slots), (max(1, _PIECE // slots), 1))


def _samples(samples: ArrayLike, mode: Mode) -> NDArray[np.int32]:
    audio = np.asarray(samples)
    if audio.ndim != 2 or not (np.issubdtype(audio.dtype, np.integer) or audio.size == 0):
        raise ValueError(f"samples are integers of shape (frames, channels), not {audio.dtype} {audio.shape}")
    if audio.shape[1] > mode.slots:
        raise ValueError(
            f"{audio.shape[1]} channels do not fit the mode {mode}, which has {mode.slots} slots"
        )
    if mode.layout == "pairs" and len(audio) % 2:
        raise ValueError(f"{len(audio)} samples a channel: pairs of slots carry an even number of them")
    if audio.size and (audio.min() < LOWEST or audio.max() > HIGHEST):
        raise ValueError(
            f"samples run from {audio.min()} to {audio.max()}; 24 bits hold {LOWEST} to {HIGHEST}"
        )
    return np.ascontiguousarray(audio, np.int32)


def _spread(bits: ArrayLike, shape: tuple[int, ...], name: str) -> Bits:
    try:
        return np.broadcast_to(np.asarray(bits), shape).astype(bool)
    except ValueError:
        raise ValueError(
            f"{name} has the shape {np.shape(bits)} and the samples {shape}; give one for each sample or channel"
        ) from None


def _lit(active: ArrayLike, shape: tuple[int, ...], mode: Mode) -> Bits:
    """Which slots are active, (samples, slots); what is said of the channels alone leaves the slots after them out."""
    frames, channels = shape
    if np.shape(active)[-1:] in ((), (1,), (mode.slots,)):
        return _spread(active, (frames, mode.slots), "active")
    lit = np.zeros((frames, mode.slots), bool)
    lit[:, :channels] = _spread(active, shape, "active")
    return lit


def _folded(values: NDArray[Any], mode: Mode) -> NDArray[Any]:
    """With pairs, two samples of a channel side by side: (2n, channels) becomes (n, 2 × channels)."""
    if mode.layout != "pairs":
        return values
    samples, channels = values.shape
    return values.reshape(samples // 2, 2, channels).transpose(0, 2, 1).reshape(samples // 2, 2 * channels)


def _unfolded(values: NDArray[Any], mode: Mode) -> NDArray[Any]:
    """The reverse of `_folded`."""
    if mode.layout != "pairs":
        return values
    frames, slots = values.shape
    return values.reshape(frames, slots // 2, 2).transpose(0, 2, 1).reshape(2 * frames, slots // 2)


class Subframes:
    """Received subframes, each field worked out when it is asked for and as it was received.

    `samples`: int32. `active`, `validity`, `user`, `status`, `parity`: bool. All are (frames, channels), and with
    pairs (2 × frames, channels), the samples of a channel one after the other. Nothing is put right.
    """

    def __init__(self, words: Words, mode: Mode) -> None:
        self.words = words
        self.mode = mode

    @cached_property
    def samples(self) -> NDArray[np.int32]:
        """24-bit samples with their sign."""
        audio = np.left_shift(self.words.view(np.int32), np.int32(_ABOVE - _AUDIO.first))
        np.right_shift(audio, np.int32(_ABOVE), out=audio)
        return _unfolded(audio, self.mode)

    @cached_property
    def active(self) -> Bits:
        """Whether the slot says that it carries a channel."""
        return self._bit("active")

    @cached_property
    def validity(self) -> Bits:
        """The V bits; 1 says that the sample is not fit to be heard."""
        return self._bit("validity")

    @cached_property
    def user(self) -> Bits:
        """The U bits."""
        return self._bit("user")

    @cached_property
    def status(self) -> Bits:
        """The C bits; 192 of them from a block start on are a block of channel status."""
        return self._bit("status")

    @cached_property
    def parity(self) -> Bits:
        """The P bits as they came; whether they are right is among the irregularities."""
        return self._bit("parity")

    @cached_property
    def block_start(self) -> Bits:
        """Where a block of channel status begins."""
        return self._bit("block_start")

    def _bit(self, name: str) -> Bits:
        return _unfolded(field_of(self.words, name).astype(bool), self.mode)

    @cached_property
    def irregularities(self) -> tuple[Irregularity, ...]:
        """What the standard does not allow, by frame and slot of the link.

        "parity": an odd number of ones in bits 4 to 31, or an inactive slot that is not all zero. "frame sync":
        set elsewhere than in slot 1, or not set there. "subframe order": an A where a B should be, or the other
        way. "block start": not with the frame's other slots, or not 192 frames after the one before. "activity
        gap": an active slot after an inactive one.
        """
        flags = _flags_of_piece(self.words.shape[1])
        step = len(flags)
        room, ones = np.empty_like(flags), np.empty(flags.shape, np.uint8)
        found: list[Irregularity] = []
        begins: list[int] = []
        for at in range(0, len(self.words), step):
            piece = self.words[at : at + step]
            size = len(piece)
            if _all_well(piece, flags[:size], room[:size], ones[:size]):
                begins += (np.flatnonzero(piece[:, 0] & _BLOCK) + at).tolist()
            else:
                found += _piece_irregularities(piece, at)
                begins += (np.flatnonzero(_block_frames(piece)) + at).tolist()
        active = bool(begins) or bool((self.words & _ACTIVE).any())
        found += [
            Irregularity(frame, 1, "block start") for frame in _out_of_step(begins, len(self.words), active)
        ]
        return tuple(sorted(found))


def decode_subframes(words: ArrayLike, *, mode: Mode) -> Subframes:
    """What subframes (frames, slots) carry; bad bits raise nothing, they are among the irregularities.

    Raises ValueError for an array that has another number of slots than the mode's frames.
    """
    received = np.ascontiguousarray(words, np.uint32)
    if received.ndim != 2 or received.shape[1] != link_slots(mode):
        raise ValueError(
            f"the words have the shape {received.shape}; a frame of {mode} has {link_slots(mode)} subframes"
        )
    return Subframes(received, mode)


def _all_well(words: Words, flags: Words, room: Words, ones: NDArray[np.uint8]) -> bool:
    """Whether a piece holds nothing irregular, told in a few passes; the slots active in its first frame stay so."""
    lit = words[0] & _ACTIVE
    active = int(np.count_nonzero(lit))
    if not lit[:active].all() or not active:
        return False
    expected = flags if active == len(lit) else np.where(lit, flags, np.uint32(0))
    differing = np.bitwise_xor(words, expected, out=room)
    differing[np.flatnonzero(words[:, 0] & _BLOCK), :active] ^= _BLOCK
    if np.bitwise_or.reduce(differing, axis=None) & ~np.uint32(PARITY_COVERS):
        return False
    if active < len(lit) and differing[:, active:].any():
        return False
    np.bitwise_count(differing, out=ones)
    return not np.bitwise_or.reduce(ones, axis=None) & 1


def _piece_irregularities(words: Words, first: int) -> list[Irregularity]:
    flags = _flags(words.shape[1])
    active = (words & _ACTIVE) != 0
    odd = np.bitwise_count(words & np.uint32(PARITY_COVERS)) % 2 == 1
    masks: dict[Kind, Bits] = {
        "parity": np.where(active, odd, words != INACTIVE),
        "frame sync": (words ^ flags) & _SYNC != 0,
        "subframe order": active & ((words ^ flags) & _B != 0),
        "block start": active & ((words & _BLOCK != 0) != _block_frames(words)[:, None]),
        "activity gap": active & ~np.logical_and.accumulate(active, axis=1),
    }
    return [
        Irregularity(first + int(frame), int(slot) + 1, kind)
        for kind, mask in masks.items()
        for frame, slot in np.argwhere(mask)
    ]


def _block_frames(words: Words) -> Bits:
    """Frames in which a block begins: more than half of the active slots say so."""
    active = (words & _ACTIVE) != 0
    begins = active & (words & _BLOCK != 0)
    said: Bits = np.count_nonzero(begins, axis=1) * 2 > np.count_nonzero(active, axis=1)
    return said


def _out_of_step(begins: list[int], frames: int, active: bool) -> list[int]:
    """Frames where a block begins too early, or should have begun: once for each jump."""
    if not begins:
        return [BLOCK_FRAMES - 1] if active and frames >= BLOCK_FRAMES else []
    out = [begins[0] - BLOCK_FRAMES] if begins[0] >= BLOCK_FRAMES else []
    out += [
        min(after, before + BLOCK_FRAMES)
        for before, after in pairwise(begins)
        if after - before != BLOCK_FRAMES
    ]
    if frames - begins[-1] > BLOCK_FRAMES:
        out.append(begins[-1] + BLOCK_FRAMES)
    return out
