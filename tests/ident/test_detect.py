"""What is found in made-up rigs whose truth is known."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from chanbridge.ident.codes import numbers
from chanbridge.ident.detect import detect
from chanbridge.ident.fold import Recording
from chanbridge.ident.play import Signals
from tests.ident.rig import OTHERS, SENT_DBFS, Cable, Memory, Rig, Score, random_rig

RIGS = 200 if os.environ.get("HYPOTHESIS_PROFILE") == "thorough" else 3
"""Rigs that the day's tests go through; `python -m tests.bench` prints the rates over many more."""


def score(rig: Rig) -> Score:
    out = Score()
    out.add(rig, detect(rig.record(), numbers()[: rig.sources], SENT_DBFS), numbers())
    return out


def test_sixty_four_inputs_at_60_db_down_over_noise_from_four_seconds() -> None:
    random = np.random.default_rng(64)
    order = random.permutation(64)
    cables = tuple(
        Cable(((int(source), -60.0),), bool(at % 3 == 0), float(random.uniform(0, 0.05)))
        for at, source in enumerate(order)
    )
    found = score(Rig(cables, 64, 4.0, 48_000, 120.0))
    assert (found.named, found.unsure, found.wrong, found.polarity) == (64, 0, 0, 0), found
    assert found.delay < 1
    assert found.gain < 0.6


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("ppm", [-200.0, 200.0])
def test_rates_and_clocks(rate: int, ppm: float) -> None:
    cables = tuple(Cable(((at, -10.0 * at),), at % 2 == 1, 0.002 * at, 100.0, 10_000.0) for at in range(6))
    via = tuple(each for each in (44_100, 96_000) if each != rate)
    rig = Rig(cables, 6, 4.0, rate, ppm, via)
    found = detect(rig.record(), numbers()[:6], SENT_DBFS)
    total = Score()
    total.add(rig, found, numbers())
    assert (total.named, total.wrong, total.polarity, total.false_second) == (6, 0, 0, 0), total
    assert total.delay < 1
    assert all(abs((each.ppm or 0) - ppm) < 3 for each in found.inputs)


def test_random_rigs(record_property: Callable[[str, object], None]) -> None:
    total = Score()
    for seed in range(RIGS):
        rig = random_rig(seed, 8, 2.5)
        total.add(rig, detect(rig.record(), numbers()[:8], SENT_DBFS), numbers())
    record_property("figure", f"ident: {RIGS} random rigs: {total.summary()}")
    assert (total.wrong, total.confident_nothing, total.polarity, total.false_second) == (0, 0, 0, 0), total
    assert total.unsure <= total.named * 0.02
    assert total.delay < 1


def test_crosstalk_under_the_familys_own_floor() -> None:
    """Any two codes correlate to 65 of 2047, -30 dB; crosstalk at -40 and -50 dB lies below that."""
    cables = tuple(
        Cable(((at, -20.0), ((at + 1) % 8, -20.0 - apart), ((at + 2) % 8, -20.0 - apart - 3)), False, 0.001 * at, 100.0)
        for at, apart in enumerate((40, 50, 40, 50, 40, 50, 40, 50))
    )  # fmt: skip
    rig = Rig(cables, 8, 4.0, 44_100, -150.0, (96_000,))
    found = detect(rig.record(), numbers()[:8], SENT_DBFS)
    for at, (cable, heard) in enumerate(zip(cables, found.inputs, strict=True)):
        wanted = {numbers()[source]: gain for source, gain in cable.sources[1:]}
        got = {also.code: also.gain_db for also in heard.also}
        assert got.keys() == wanted.keys(), at
        assert all(abs(got[code] - wanted[code]) < 2 for code in wanted), (got, wanted)


def test_two_summed_and_several() -> None:
    cables = (
        Cable(((0, 0.0), (1, -1.0))),
        Cable(((2, -10.0), (3, -10.5), (4, -14.0), (5, -20.0))),
    )
    heard = detect(Rig(cables, 6).record(), numbers()[:6], SENT_DBFS).inputs
    assert [each.code for each in heard] == [numbers()[0], numbers()[2]]
    assert [[also.code for also in each.also] for each in heard] == [
        [numbers()[1]],
        [numbers()[n] for n in (3, 4, 5)],
    ]


def test_dead_lines_are_silent() -> None:
    rig = Rig((Cable(), Cable(noise_dbfs=-300.0), Cable(((0, 0.0),))), 1)
    heard = detect(rig.record(), numbers()[:1], SENT_DBFS).inputs
    assert [each.state for each in heard] == ["silent", "silent", "ident"]
    assert heard[0].level_dbfs == pytest.approx(-80, abs=0.5)


@pytest.mark.parametrize("seed", range(max(1, RIGS // 10)))
@pytest.mark.parametrize("other", OTHERS)
def test_what_is_no_ident_gets_no_name(other: str, seed: int) -> None:
    cables = (Cable(other=other), Cable(((0, -40.0),)), Cable(other=other, noise_dbfs=-30.0))
    heard = detect(Rig(cables, 8, seed=seed).record(), numbers()[:8], SENT_DBFS).inputs
    assert [each.state for each in heard] == ["other", "ident", "other"], heard


def test_an_ident_under_hum_clipping_and_dropouts() -> None:
    cables = (
        Cable(((0, -40.0),), hum_dbfs=-20.0),
        Cable(((1, 0.0),), clip_dbfs=-19.0),
        Cable(((2, -10.0),), dropouts=6),
        Cable(((3, -30.0),), True, hum_dbfs=-65.0, clip_dbfs=-48.0, dropouts=2),
    )
    found = detect(Rig(cables, 4, ppm=180.0).record(), numbers()[:4], SENT_DBFS).inputs
    assert [each.code for each in found] == [*numbers()[:4]]
    assert [each.reversed for each in found] == [False, False, False, True]
    assert [each.clipped for each in found] == [False, True, False, True]
    assert not any(each.also for each in found)


def test_an_ident_under_music_is_named_or_left_open() -> None:
    cables = tuple(replace(Cable(((0, gain),)), other="notes") for gain in (-10.0, -20.0, -70.0))
    found = detect(Rig(cables, 4).record(), numbers()[:4], SENT_DBFS).inputs
    assert [each.state for each in found[:2]] == ["ident", "ident"]
    assert all(each.code in (None, numbers()[0]) for each in found)
    assert found[2].state in ("other", "unsure")


def test_an_ident_of_another_plan_is_called_that() -> None:
    rig = Rig((Cable(((0, -10.0),)), Cable(((1, -50.0),)), Cable(((2, 0.0),))), 3, codes=numbers()[500:503])
    found = detect(rig.record(), [numbers()[501]], SENT_DBFS).inputs
    assert [each.state for each in found] == ["stranger", "ident", "stranger"]
    assert [each.code for each in found] == [*numbers()[500:503]]


def test_bleed_on_a_dead_line_is_not_sure_and_not_its_own() -> None:
    cables = (Cable(((0, 0.0),)), Cable(((0, -45.0),)), Cable(((1, -60.0), (0, -40.0))))
    found = detect(Rig(cables, 2).record(), numbers()[:2], SENT_DBFS).inputs
    assert [each.state for each in found] == ["ident", "unsure", "ident"]
    assert [each.code for each in found] == [numbers()[n] for n in (0, 0, 1)]


def test_a_player_that_jumps_back_to_the_start() -> None:
    player = Signals("ident", numbers()[:2], 48_000, 5.3, SENT_DBFS)
    once = np.concatenate(list(player.blocks()))
    found = detect(Memory(np.concatenate([once, once, once]), 48_000), numbers()[:2], SENT_DBFS).inputs
    assert [(each.state, each.code) for each in found] == [("ident", number) for number in numbers()[:2]]
    assert all(abs(each.gain_db or 9) < 0.5 for each in found)


def test_inputs_with_clocks_of_their_own() -> None:
    """Two desks, each with its own clock, recorded side by side."""
    one, two = (
        Rig(tuple(Cable(((at, -20.0),)) for at in range(start, start + 3)), 6, 4.0, 48_000, ppm).record()
        for start, ppm in ((0, 150.0), (3, -90.0))
    )
    both = Memory(np.concatenate([one.samples, two.samples], axis=1), 48_000)
    found = detect(both, numbers()[:6], SENT_DBFS).inputs
    assert [each.code for each in found] == [*numbers()[:6]]
    assert [round((each.ppm or 0) / 10) for each in found] == [15, 15, 15, -9, -9, -9]


class Counting:
    """A recording that remembers how much of it was asked for at once."""

    def __init__(self, inner: Recording) -> None:
        self.inner = inner
        self.rate_hz, self.inputs, self.length = inner.rate_hz, inner.inputs, inner.length
        self.most = 0

    def read(self, start: int, count: int) -> np.ndarray[tuple[int, ...], np.dtype[np.float32]]:
        self.most = max(self.most, count * self.inputs)
        return self.inner.read(start, count)


def test_a_long_recording_is_read_piece_by_piece() -> None:
    """The ident is a few seconds of a minute; what is held at once does not grow."""
    heard = Rig((Cable(((0, -30.0),)), Cable(((1, -50.0),))), 2, 6.0).record().samples
    noise = np.random.default_rng(5).normal(size=(48_000 * 60, 2)).astype(np.float32) * 1e-4
    noise[48_000 * 31 : 48_000 * 37] = heard
    counting = Counting(Memory(noise, 48_000))
    found = detect(counting, numbers()[:2], SENT_DBFS).inputs
    assert [each.code for each in found] == [*numbers()[:2]]
    assert [round(each.gain_db or 0) for each in found] == [-30, -50]
    assert counting.most < 20_000 * 2


def test_the_same_recording_gives_the_same_answer() -> None:
    recorded = random_rig(3, 4, 2.0).record()
    assert detect(recorded, numbers()[:4], -20.0) == detect(recorded, numbers()[:4], -20.0)


def test_nothing_at_all() -> None:
    for value in (0.0, 0.5):
        found = detect(Memory(np.full((100_000, 2), value, np.float32), 48_000), numbers()[:2], -20.0).inputs
        assert [each.state for each in found] == ["silent" if value == 0 else "other"] * 2


def test_the_played_file_itself() -> None:
    """The lead-in and the fades are in it; its clock is exact."""
    played = np.concatenate(list(Signals("ident", numbers()[:1], 48_000, 4.0, SENT_DBFS).blocks()))
    (found,) = detect(Memory(played, 48_000), numbers()[:1], SENT_DBFS).inputs
    assert found.ppm is not None
    assert abs(found.ppm) < 1
    assert found.gain_db is not None
    assert abs(found.gain_db) < 0.05
