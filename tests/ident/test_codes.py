"""The ident signals against theory and against another library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import max_len_seq

from chanbridge.ident.codes import (
    CHIPS_HZ,
    GRID,
    LENGTH,
    LINES,
    MOST_CODES,
    PERIOD_S,
    WALK,
    gold,
    greatest_length,
    numbers,
    spectra,
    waves,
)


@pytest.mark.parametrize("taps", [(2,), (8, 5, 2)])
def test_the_two_sequences_are_those_of_scipy(taps: tuple[int, ...]) -> None:
    assert greatest_length(taps).tolist() == max_len_seq(11, taps=[*taps])[0].tolist()
    ones = (1.0 - 2.0 * greatest_length(taps)).astype(np.float64)
    correlated = np.rint(np.fft.ifft(np.abs(np.fft.fft(ones)) ** 2).real).astype(int)
    assert correlated[0] == LENGTH
    assert set(correlated[1:]) == {-1}  # a sequence of greatest length against itself: theory


def test_any_two_codes_correlate_to_three_values() -> None:
    """Gold, 1967, for n = 11: -t, -1 and t - 2 with t = 2^((n + 1) / 2) + 1 (standards: COMPUTED with scipy)."""
    t = 2 ** ((11 + 1) // 2) + 1
    random = np.random.default_rng(1)
    chosen = [*random.choice(MOST_CODES, 30, replace=False), WALK, *numbers()[:10]]
    found = np.fft.fft(np.array([gold(int(number)) for number in chosen], float), axis=1)
    values = set()
    for one in range(len(chosen)):
        for two in range(one):
            if chosen[one] != chosen[two]:
                product = np.fft.ifft(found[one] * np.conj(found[two])).real
                values |= set(np.rint(product).astype(int).tolist())
    assert values == {-t, -1, t - 2} == {-65, -1, 63}


def test_the_family_has_no_two_alike() -> None:
    everything = {gold(number).tobytes() for number in range(MOST_CODES + 1)}
    assert len(everything) == MOST_CODES + 1
    assert sorted(numbers()) == list(range(MOST_CODES))
    with pytest.raises(ValueError, match="no code 2048"):
        gold(2048)


def test_the_first_codes_are_no_products_of_each_other() -> None:
    """What an input that distorts makes of a code (x² and x³ of neighbouring chips) is none of the first 200 codes."""
    first = numbers()[:200]
    spectrum = {number: np.fft.fft(gold(number).astype(float)) for number in first}
    for number in first[::60]:
        code = gold(number).astype(int)
        for offsets in ((1,), (2,), (1, 2), (1, 3), (2, 5)):
            product = code.copy()
            for offset in offsets:
                product = product * np.roll(code, -offset)
            mixed = np.fft.fft(product)
            tops = [
                np.abs(np.fft.ifft(mixed * np.conj(each))).max()
                for other, each in spectrum.items()
                if other != number
            ]
            assert max(tops) < 66


def test_lines_and_waves_are_one_signal() -> None:
    lines = spectra(numbers()[:3])
    assert np.allclose(2 * np.sum(np.abs(lines) ** 2, axis=1), 1)
    hz = np.arange(1, LINES + 1) / PERIOD_S
    assert hz[-1] < 9000
    assert 2 * LINES < GRID
    assert np.all(lines[:, hz < 60] == 0)
    for rate, length in ((48_000, 8188), (96_000, 16_376), (44_100, 300_909), (32_000, 16_376)):
        wave = waves(numbers()[:3], rate)
        assert wave.shape == (3, length)
        assert length * CHIPS_HZ % (LENGTH * rate) == 0  # whole periods
        assert np.allclose(np.sqrt(np.mean(wave.astype(float) ** 2, axis=1)), 1, atol=1e-4)
        peak_db = 20 * np.log10(np.abs(wave).max())
        assert 3 < peak_db < 6.5


def test_a_wave_sampled_at_two_rates_is_the_same_at_common_times() -> None:
    low, high = waves([5], 48_000)[0], waves([5], 96_000)[0]
    assert np.allclose(low, high[::2], atol=1e-4)
    odd = waves([5], 44_100)[0]
    assert np.allclose(odd[::147][:50], low[::160][:50], atol=1e-4)  # 147 / 44 100 s = 160 / 48 000 s


def test_the_band_passes_a_line_input() -> None:
    """No more than 1 % of the energy lies below 100 Hz or above 8.7 kHz."""
    wave = waves([7], 48_000)[0].astype(float)
    power = np.abs(np.fft.rfft(wave)) ** 2
    hz = np.fft.rfftfreq(len(wave), 1 / 48_000)
    assert power[(hz < 100) | (hz > 8700)].sum() < 0.01 * power.sum()
