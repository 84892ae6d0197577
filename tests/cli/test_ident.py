"""chanbridge ident: from the file that is played to what is wrong with the cables."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr
from wavinfo import WavInfoReader

from chanbridge.ident.play import CAUTION
from tests.cli.conftest import Run, failed

NAMES = [f"Chair {n}" for n in range(1, 13)]
Samples = np.ndarray[tuple[int, ...], np.dtype[np.float64]]


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "box.csv"
    rows = "".join(f"{n},{name},A{n}\n" for n, name in enumerate(NAMES, 1))
    path.write_text("Ch,Name,Socket\n" + rows + "13,,A13\n")
    return path


@pytest.fixture
def played(run: Run, tmp_path: Path, sheet: Path) -> Samples:
    path = tmp_path / "ident.wav"
    assert run("ident", "make", sheet, "-o", path, "--seconds", "6").status == 0
    return np.asarray(soundfile.read(path, always_2d=True)[0])


def record(path: Path, samples: Samples, rate: int = 48_000) -> Path:
    soundfile.write(path, samples, rate, "PCM_24")
    return path


def test_make(run: Run, tmp_path: Path, sheet: Path) -> None:
    path = tmp_path / "ident.wav"
    result = run("ident", "make", sheet, "-o", path, "--seconds", "5", "--level", "-24")
    assert result.status == 0
    for line in CAUTION:
        assert line in result.err
    samples, rate = soundfile.read(path, always_2d=True)
    assert (samples.shape, rate) == ((5 * 48_000, 13), 48_000)
    middle = samples[2 * rate : 4 * rate, :12]
    assert np.allclose(20 * np.log10(np.std(middle, axis=0)), -24, atol=0.1)
    peak = 20 * np.log10(np.abs(samples).max())
    assert f"RMS -24.0 dBFS, peak {peak:.1f} dBFS" in result.text
    assert not samples[:, 12].any()
    assert np.abs(samples[:10]).max() < 0.01 > np.abs(samples[-10:]).max()  # faded at both ends
    info = WavInfoReader(str(path))
    assert [track.name for track in info.ixml.track_list][:12] == NAMES
    first = path.read_bytes()
    run("ident", "make", sheet, "-o", path, "--seconds", "5", "--level", "-24")
    assert path.read_bytes() == first


def test_every_slot_of_a_port_spares_too(run: Run, tmp_path: Path, sheet: Path) -> None:
    path = tmp_path / "ident.wav"
    assert run("ident", "make", sheet, "-o", path, "--seconds", "4", "--port", "slots").status == 0
    assert soundfile.read(path)[0][:, 12].any()
    result = run("ident", "read", path, "--against", sheet, "--json").json()
    assert result["inputs"][12]["carries"] == "spare A 13"


def test_what_is_played_reads_as_planned(run: Run, tmp_path: Path, sheet: Path, played: Samples) -> None:
    result = run("ident", "read", tmp_path / "ident.wav", "--against", sheet)
    assert result.status == 0
    assert "12 of 12 planned inputs carry their channel; nothing differs from the plan" in result.text


def test_planted_faults_are_found_and_nothing_else(
    run: Run, tmp_path: Path, sheet: Path, played: Samples
) -> None:
    order = [*range(13)]
    order[0], order[1] = order[1], order[0]
    rig = played[70_000:-20_000, order]
    rig[:, 4] = 0
    rig[:, 6] *= -1
    rig[:, 8] += 0.01 * played[70_000 - 20 : -20_000 - 20, 9]
    rig[:, 10] = np.roll(rig[:, 10], 96)
    rig = rig * 10 ** (-30 / 20) + np.random.default_rng(1).normal(size=rig.shape) * 1e-4
    path = record(tmp_path / "capture.wav", soxr.resample(rig, 48_000 * 1.0001, 44_100), 44_100)
    result = run("ident", "read", path, "--against", sheet, "--json")
    assert result.status == 1
    data = result.json()
    assert [(each["kind"], each["channels"], each["inputs"]) for each in data["findings"]] == [
        ("swap", ["Chair 1", "Chair 2"], [1, 2]),
        ("missing", ["Chair 5"], [5]),
        ("polarity", ["Chair 7"], [7]),
        ("crosstalk", ["Chair 10", "Chair 9"], [9]),
    ]
    inputs = data["inputs"]
    assert [each["carries"] for each in inputs[:2]] == ["Chair 2", "Chair 1"]
    assert (inputs[4]["carries"], inputs[4]["heard"]) == (None, "silent")
    assert inputs[6]["polarity"] == "reversed"
    assert inputs[8]["also"] == [{"channel": "Chair 10", "gain_db": pytest.approx(-70, abs=1)}]
    assert inputs[10]["delay_ms"] == pytest.approx(2.0, abs=1000 / 44_100)
    assert inputs[0]["gain_db"] == pytest.approx(-30, abs=0.3)
    assert all(each["confidence"] > 0.99 for each in inputs if each["carries"])
    text = run("ident", "read", path, "--against", sheet).text
    assert "swap           'Chair 1' and 'Chair 2' have changed places (inputs 1 and 2)" in text
    assert "9 of 12 planned inputs carry their channel; 1 swap, 1 missing, 1 polarity, 1 crosstalk" in text


def test_a_recording_of_fewer_inputs_and_of_tracks(
    run: Run, tmp_path: Path, sheet: Path, played: Samples
) -> None:
    tracks = [record(tmp_path / f"track {n}.wav", played[:, n]) for n in range(3)]
    result = run("ident", "read", *tracks, "--against", sheet)
    assert result.status == 0
    assert "Not recorded, so not judged: Chair 4, " in result.text


def test_parts_that_follow_each_other(run: Run, tmp_path: Path, sheet: Path, played: Samples) -> None:
    parts = [record(tmp_path / f"{n}.wav", played[n * 100_000 : (n + 1) * 100_000]) for n in range(3)]
    result = run("ident", "read", *parts, "--against", sheet)
    assert result.status == 0
    assert "taken as parts that follow each other" in result.err


def test_truncated_data_is_reported_and_used(run: Run, tmp_path: Path, sheet: Path, played: Samples) -> None:
    path = tmp_path / "ident.wav"
    path.write_bytes(path.read_bytes()[: path.stat().st_size * 3 // 4])
    result = run("ident", "read", path, "--against", sheet)
    assert result.status == 0
    assert "cut off: 4.5 s of 6.0 s are there and used" in result.err


def test_walk(run: Run, tmp_path: Path, sheet: Path) -> None:
    path = tmp_path / "walk.wav"
    assert run("ident", "make", sheet, "-o", path, "--walk", "--seconds", "40").status == 0
    signal = soundfile.read(path)[0]
    assert signal.ndim == 1
    rig = np.random.default_rng(2).normal(size=(len(signal), 6)) * 1e-4
    for at, (begin, end) in {0: (2, 7), 1: (10, 15), 3: (18, 24), 2: (27, 32), 4: (34, 39)}.items():
        rig[begin * 48_000 : end * 48_000, at] += signal[begin * 48_000 : end * 48_000] * 0.1
    result = run("ident", "read", record(tmp_path / "far.wav", rig), "--against", sheet, "--json")
    data = result.json()
    assert [step["input"] for step in data["walk"]] == [1, 2, 4, 3, 5]
    assert all(
        abs(step["from_s"] - begin) < 2 for step, begin in zip(data["walk"], (2, 10, 18, 27, 34), strict=True)
    )
    assert result.status == 1
    assert {each["kind"] for each in data["findings"]} <= {"moved", "missing", "extra"}
    assert all({*each["inputs"]} <= {3, 4} for each in data["findings"])
    assert "5 visits" in run("ident", "read", tmp_path / "far.wav", "--against", sheet).text


def test_tones_are_counted(run: Run, tmp_path: Path, sheet: Path) -> None:
    path = tmp_path / "tone.wav"
    assert run("ident", "make", sheet, "-o", path, "--tone", "--seconds", "8").status == 0
    samples, rate = soundfile.read(path)
    twelve = np.abs(samples[int(1.2 * rate) : int(2.5 * rate), 11])
    loud = np.convolve(twelve, np.ones(1000) / 1000, "same") > 0.02
    assert np.count_nonzero(np.diff(loud.astype(int)) == 1) == 3  # one low note for the ten, two rising ones
    assert not samples[:, 12].any()


def test_a_show(run: Run, tmp_path: Path, example: Path) -> None:
    path = tmp_path / "show.wav"
    assert run("ident", "make", example, "-o", path, "--seconds", "4").status == 0
    result = run("ident", "read", path, "--against", example)
    assert result.status == 0, result
    assert "68 of 68 planned inputs" in result.text
    assert re.search(r"^41 +B 1 +Choir soprano L", result.text, re.MULTILINE), "where to go and look"


def test_what_cannot_be_done_is_said_in_one_line(
    run: Run, tmp_path: Path, sheet: Path, played: Samples
) -> None:
    out = tmp_path / "out.wav"
    failed(run("ident", "make", sheet, "-o", out, "--level", "-6"), "--loud")
    failed(
        run("ident", "make", sheet, "-o", out, "--level", "-2", "--loud"),
        "above full scale",
        "use -6 or less",
    )
    failed(run("ident", "make", sheet, "-o", out, "--level", "nan"), "must be numbers")
    failed(run("ident", "make", sheet, "-o", tmp_path / "out.csv"), "ends in .wav")
    failed(run("ident", "make", sheet, "-o", tmp_path / "no" / "out.wav"), "there is no folder")
    failed(run("ident", "make", sheet, "-o", out, "--tone", "--walk"), "choose one")
    failed(run("ident", "make", sheet, "-o", out, "--port", "socket"), "did you mean 'sockets'")
    failed(run("ident", "make", tmp_path / "no.csv", "-o", out), "no such file")
    assert not out.exists()
    failed(run("ident", "read", sheet, "--against", sheet), "no WAV file", "box.csv")
    failed(run("ident", "read", tmp_path / "no.wav", "--against", sheet), "no such file")
    failed(run("ident", "read", record(out, played[:20_000]), "--against", sheet), "too short")
    failed(run("ident", "read", out, tmp_path / "ident.wav", record(tmp_path / "m.wav", played[:, 0]), "--against", sheet), "different numbers")  # fmt: skip
    assert run("ident", "make", sheet, "-o", out, "--level", "-6", "--loud", "--seconds", "4").status == 0
    assert run("ident", "make", sheet, "-o", out, "--rate", "47999").status == 2
    assert run("ident", "nonsense").status == 2
