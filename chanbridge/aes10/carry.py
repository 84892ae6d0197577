"""A channel map carried out on samples: what arrives in each slot when every channel sends its own.

Patches copy, merges add, a change of sampling rate holds the earlier sample, and a feed is encoded to the bits of its
link and decoded again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from graphlib import CycleError, TopologicalSorter
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from chanbridge.aes3.labels import labels
from chanbridge.aes3.status import EXTENDED_RATES, RATES, Status, bits, blocks
from chanbridge.aes10.layout import BLOCK_FRAMES
from chanbridge.aes10.linecode import encode_line
from chanbridge.aes10.receive import decode_line
from chanbridge.aes10.subframe import HIGHEST, LOWEST, decode_subframes, encode_subframes
from chanbridge.errors import ReadError
from chanbridge.mode import Mode
from chanbridge.model import ChannelMap, Port, Slot

MOST = 4096
"""Channels, and slots of a port, that are carried out; more are no show."""

_AT_ONCE = 256
"""Channels that send in one go; each has a time of its own in it, so the others are silent then."""

_HOLD = 4
"""Samples at the lowest rate in the map for which a channel sends."""

_TAG_BITS = 20
_SPREAD = 40_503
"""Odd, so that channel numbers from 1 times this are all different in 20 bits, and well mixed."""

_ROUNDS_OF_A_LOOP = 3
"""How often signals are carried on where they would go round for ever."""

_USUAL_RATE_HZ = 48_000
"""Where neither a port nor the map says at which rate it runs."""

Signal = NDArray[np.int64]
"""Samples of a port, (slots, frames)."""


class Arrived(NamedTuple):
    """A channel that was heard in a slot, and how many times over."""

    channel: str
    times: int


class Carried(NamedTuple):
    """What came of it. `arrived`: slot → the channels heard there. `labels`: slot of a feed, or behind one → the
    origin label in its channel status, with the channel that should have sent it. `problems`: what went wrong on
    the way, in words."""

    arrived: Mapping[Slot, tuple[Arrived, ...]]
    labels: Mapping[Slot, tuple[str, str]]
    problems: tuple[str, ...]


def carry(whole: ChannelMap) -> Carried:
    """Let every channel of a map send from where it enters, and listen in every slot of every port.

    Raises ReadError for a map with more channels, or slots in a port, than MOST.
    """
    sizes = _sizes(whole)
    most = max([len(whole.channels), *sizes.values()], default=0)
    if most > MOST:
        raise ReadError(
            f"this map has {most:,} channels or slots in one port; at most {MOST:,} can be proved at once"
        )
    arrived: dict[Slot, list[Arrived]] = {}
    received: dict[Slot, str] = {}
    problems: dict[str, None] = {}
    ids = [channel.id for channel in whole.channels]
    for first in range(0, max(1, len(ids)), _AT_ONCE):
        run = _Run(whole, sizes, ids[first : first + _AT_ONCE])
        for slot, heard in run.heard():
            arrived.setdefault(slot, []).extend(heard)
        received |= run.received
        problems |= dict.fromkeys(run.problems)
    carried = {slot: tuple(heard) for slot, heard in arrived.items()}
    return Carried(carried, _with_expected(whole, received), tuple(problems))


def _sizes(whole: ChannelMap) -> dict[str, int]:
    """Each port's slots; where the size is not known its mode's, or up to the last one that is used."""
    used: dict[str, int] = {}
    for slot in (
        *(end for patch in whole.patches for end in (Slot(*patch[0]), Slot(*patch[1]))),
        *(Slot(*entry.slot) for entry in whole.entries),
    ):
        used[slot.port] = max(used.get(slot.port, 0), slot.number)
    modes = {port.id: port.mode.slots for port in whole.ports if port.mode}
    return {port.id: port.size or modes.get(port.id) or used.get(port.id, 0) for port in whole.ports}


def _labels(whole: ChannelMap, port: str, slots: int) -> dict[int, str]:
    """The origin labels that a feed's sender puts into channel status: slot → label, of what should stand there."""
    numbers = range(1, slots + 1)
    names = [channel.name if (channel := whole.occupant(Slot(port, number))) else "" for number in numbers]
    return {number: label for number, label in zip(numbers, labels(names), strict=True) if label}


def _with_expected(whole: ChannelMap, received: Mapping[Slot, str]) -> dict[Slot, tuple[str, str]]:
    """Received labels with the id of the channel that should have sent each, through every patch behind the feed."""
    out: dict[Slot, tuple[str, str]] = {}
    for slot, label in received.items():
        sender = whole.occupant(slot)
        for end in (slot, *whole.trace(slot).forward):
            out[end] = (label, sender.id if sender else "")
    return out


class _Run:
    """Some of a map's channels, each sending in a time of its own."""

    def __init__(self, whole: ChannelMap, sizes: Mapping[str, int], ids: Sequence[str]) -> None:
        self.whole, self.sizes = whole, sizes
        self.turn = {name: at for at, name in enumerate(ids)}
        self.tags = {name: (at + 1) * _SPREAD % (1 << _TAG_BITS) for at, name in enumerate(ids)}
        usual = whole.rate_hz or _USUAL_RATE_HZ
        self.rates = {port.id: port.rate_hz or usual for port in whole.ports}
        self.slowest = min(self.rates.values(), default=usual)
        self.received: dict[Slot, str] = {}
        self.problems: list[str] = []
        self.ways: dict[str, dict[str, tuple[list[int], list[int]]]] = {}  # target → source → slots, from 0
        for source, target in whole.patches:
            if source[1] <= sizes[source[0]] and target[1] <= sizes[target[0]]:
                way = self.ways.setdefault(target[0], {}).setdefault(source[0], ([], []))
                way[0].append(source[1] - 1)
                way[1].append(target[1] - 1)
        self.entering: dict[str, list[tuple[str, int]]] = {}
        at: dict[Slot, set[str]] = {}
        for name, slot in whole.entries:
            at.setdefault(Slot(*slot), set()).add(name)
            if slot[1] <= sizes[slot[0]]:
                self.entering.setdefault(slot[0], []).append((name, slot[1] - 1))
        self.here = at
        self.shared: dict[str, set[str]] = {}  # channel → those that have a socket with it
        for names in at.values():
            for name in names if len(names) > 1 else ():
                self.shared.setdefault(name, set()).update(names - {name})
        self.signals = self._settled()

    def _frames(self, rate: int) -> int:
        """Frames of the whole run at a rate: whole blocks of channel status, and an even number of them."""
        needed = -(-(len(self.turn) + 1) * _HOLD * rate // self.slowest)
        return max(1, -(-needed // (2 * BLOCK_FRAMES))) * 2 * BLOCK_FRAMES

    def _settled(self) -> dict[str, Signal]:
        """Every port's samples, carried on until nothing changes any more."""
        signals = {
            name: np.zeros((size, self._frames(self.rates[name])), np.int64)
            for name, size in self.sizes.items()
        }
        behind: dict[str, list[str]] = {}
        for target, sources in self.ways.items():
            for source in sources:
                behind.setdefault(source, []).append(target)
        waiting = dict.fromkeys(signals)
        for _ in range(len(signals) * (_ROUNDS_OF_A_LOOP if self._loop() else len(self.whole.patches) + 2)):
            if not waiting:
                break
            name = next(iter(waiting))
            del waiting[name]
            made = self._port(self.whole.port(name), signals)
            if not np.array_equal(made, signals[name]):
                signals[name] = made
                waiting |= dict.fromkeys(behind.get(name, ()))
        return signals

    def _loop(self) -> bool:
        """Whether patches come back to a slot that they left, which is a problem to be told."""
        sources: dict[Slot, list[Slot]] = {}
        for source, target in self.whole.patches:
            sources.setdefault(Slot(*target), []).append(Slot(*source))
        try:
            TopologicalSorter(sources).prepare()
        except CycleError as error:
            self.problems.append(f"patches go round in a loop: {', '.join(map(str, error.args[1]))}")
            return True
        return False

    def _port(self, port: Port, signals: Mapping[str, Signal]) -> Signal:
        """What stands in a port: what its patches bring and what enters there; a feed has it from its link."""
        out = np.zeros((self.sizes[port.id], self._frames(self.rates[port.id])), np.int64)
        from_link = True
        for source, (taken, given) in self.ways.get(port.id, {}).items():
            held = np.arange(out.shape[1]) * self.rates[source] // self.rates[port.id]
            brought = signals[source][taken][:, np.minimum(held, signals[source].shape[1] - 1)]
            np.add.at(out, given, brought)
            from_link &= self.whole.port(source).mode is not None
        for name, at in self.entering.get(port.id, ()):
            self._enter(name, port, at, out)
        if port.mode and not (from_link and self.ways.get(port.id)):
            return self._over_link(port, port.mode, out)
        return out

    def _enter(self, name: str, port: Port, at: int, out: Signal) -> None:
        """Let a channel send in a slot. Channels that share its socket are one signal with it: from here on it is its own."""
        times = self._times(self.rates[port.id])
        for other in self.shared.get(name, set()) & self.turn.keys() - self.here[Slot(port.id, at + 1)]:
            out[at, times == self.turn[other]] = 0
        if name in self.turn:
            out[at, times == self.turn[name]] = self.tags[name]

    def _times(self, rate: int) -> NDArray[np.int64]:
        """Whose turn it is in each frame at a rate."""
        turns: NDArray[np.int64] = np.arange(self._frames(rate)) * self.slowest // (rate * _HOLD)
        return turns

    def _over_link(self, port: Port, mode: Mode, signal: Signal) -> Signal:
        """A feed's samples with their channel status through its link: encoded, sent, decoded, read."""
        carried = signal[: mode.slots]
        samples = np.clip(carried.T, LOWEST, HIGHEST).astype(np.int32)
        each = 2 if mode.layout == "pairs" else 1  # samples of a channel in a frame of the link
        names = _labels(self.whole, port.id, len(carried))
        rate = mode.rate_hz if mode.rate_hz in RATES or mode.rate_hz in EXTENDED_RATES else None
        sent = [
            Status.of(rate_hz=rate, channel=number, origin=names.get(number, "")).block()
            for number in range(1, len(carried) + 1)
        ]
        status = np.repeat(bits(sent, len(samples) // each), each, axis=0)
        used = np.flatnonzero(carried.any(axis=1))
        last = max([*names, int(used[-1]) + 1 if len(used) else 0, 1])
        active = np.arange(1, mode.slots + 1) <= last  # a spare in between is sent as active silence
        link = encode_line(encode_subframes(samples, mode=mode, status=status, active=active), mode=mode)
        line = decode_line(link, mode=mode)
        got = decode_subframes(line.words, mode=mode)
        out = np.zeros_like(signal)
        if got.samples.shape[0] != len(samples) or got.irregularities or line.report.code_errors:
            self.problems.append(f"the link of {port.id} did not bring back what was sent")
            return out
        out[: len(carried)] = got.samples[:, : len(carried)].T
        for number, found in enumerate(
            blocks(got.status[::each], got.block_start[::each])[: len(carried)], 1
        ):
            status_read = next((block.status for block in found if block.status), None)
            if status_read and status_read.channel == number and number <= last:
                self.received[Slot(port.id, number)] = status_read.origin
        return out

    def heard(self) -> list[tuple[Slot, list[Arrived]]]:
        """For each slot in which anything sounds, the channels of this run, each listened for in its own time."""
        out: list[tuple[Slot, list[Arrived]]] = []
        for name, signal in self.signals.items():
            middle = (np.arange(len(self.turn)) * _HOLD + _HOLD // 2) * self.rates[name] // self.slowest
            levels = signal[:, middle] if signal.size else signal[:, :0]
            tags = np.array([self.tags[channel] for channel in self.turn], np.int64)
            ids = [*self.turn]
            for at, turn in np.argwhere(levels):
                times, rest = divmod(int(levels[at, turn]), int(tags[turn]))
                if rest:
                    self.problems.append(f"{name} {at + 1}: what {ids[turn]!r} sent arrived changed")
                    times = 0
                slot = Slot(name, int(at) + 1)
                if not out or out[-1][0] != slot:
                    out.append((slot, []))
                out[-1][1].append(Arrived(ids[turn], times))
        return out
