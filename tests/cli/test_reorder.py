"""chanbridge reorder: a recording of the boxes, played back into the desk's slots."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from wavinfo import WavInfoReader

from tests.cli.conftest import Run, failed


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "desk.csv"
    path.write_text("Ch,Name,Socket\n1,Vox,A3\n2,Kick,A1\n3,,\n4,Snare,A2\n5,Oboe,B1\n")
    return path


@pytest.fixture
def boxes(tmp_path: Path) -> Path:
    """Sockets A1, A2, A3, B1; every sample says which socket it is."""
    path = tmp_path / "boxes.wav"
    soundfile.write(path, np.tile([0.1, 0.2, 0.3, 0.4], (4800, 1)), 48_000, "PCM_24")
    return path


def test_sockets_into_slots(run: Run, tmp_path: Path, sheet: Path, boxes: Path) -> None:
    out = tmp_path / "desk.wav"
    result = run("reorder", boxes, "--from", "sockets", "--to", "slots", "--by", sheet, "-o", out)
    assert result.status == 0
    assert soundfile.read(out)[0][7].round(3).tolist() == [0.3, 0.1, 0, 0.2, 0.4]
    assert [track.name or "" for track in WavInfoReader(str(out)).ixml.track_list] == [
        "Vox",
        "Kick",
        "",
        "Snare",
        "Oboe",
    ]
    # 10^12 bytes / (5 channels x 3 bytes x 48 000 Hz) = 1 388 889 s = 385.8 h
    assert (
        "5 tracks, 4 from the recording, 0.1 s; 5 × 24 bit at 48000 Hz: 385.8 hours per terabyte"
        in result.text
    )
    again = tmp_path / "again.wav"
    run("reorder", boxes, "--from", "sockets", "--to", "slots", "--by", sheet, "-o", again)
    assert again.read_bytes() == out.read_bytes()


def test_a_folder_of_tracks_and_back(run: Run, tmp_path: Path, sheet: Path, boxes: Path) -> None:
    assert run("reorder", boxes, "--from", "sockets", "--to", "slots", "--by", sheet, "-o", tmp_path / "tracks").status == 0  # fmt: skip
    files = sorted((tmp_path / "tracks").iterdir())
    assert [path.name for path in files] == [
        "01 Vox.wav",
        "02 Kick.wav",
        "03.wav",
        "04 Snare.wav",
        "05 Oboe.wav",
    ]
    back = tmp_path / "back.wav"
    assert run("reorder", *files, "--from", "slots", "--to", "sockets", "--by", sheet, "-o", back).status == 0
    assert np.array_equal(soundfile.read(back)[0], soundfile.read(boxes)[0])


def test_channels_without_a_place_are_named(run: Run, tmp_path: Path, sheet: Path, boxes: Path) -> None:
    result = run("reorder", boxes, "--from", "sockets", "--to", "B", "--by", sheet, "-o", tmp_path / "b.wav")
    assert result.status == 1
    assert [line for line in result.err.splitlines() if line.startswith("NO PLACE")] == [
        f"NO PLACE: {name}: 'B' has no slot for it" for name in ("Kick", "Snare", "Vox")
    ]
    result = run(
        "reorder", tmp_path / "b.wav", "--from", "B", "--to", "slots", "--by", sheet, "-o", tmp_path / "c.wav"
    )
    assert result.status == 0
    assert "not in the recording, so silent: Vox" in result.err


def test_by_a_show(run: Run, tmp_path: Path, example: Path) -> None:
    boxes = tmp_path / "boxes.wav"
    soundfile.write(boxes, np.tile(np.arange(80) / 100, (10, 1)), 48_000, "PCM_24")
    result = run(
        "reorder", boxes, "--from", "sockets", "--to", "truck", "--by", example, "-o", tmp_path / "t.wav"
    )
    assert result.status == 1
    assert "NO PLACE: Timecode" in result.err
    assert "64 × 24 bit at 48000 Hz: 30.1 hours per terabyte" in result.text


def test_what_cannot_be_done_is_said_in_one_line(run: Run, tmp_path: Path, sheet: Path, boxes: Path) -> None:
    def tried(
        *words: str,
        source: Path = boxes,
        ports: tuple[str, str] = ("sockets", "slots"),
        out: Path = tmp_path / "o.wav",
    ) -> None:
        failed(run("reorder", source, "--from", ports[0], "--to", ports[1], "--by", sheet, "-o", out), *words)

    tried("no port 'sokets'", "did you mean 'sockets'", ports=("sokets", "slots"))
    tried("no WAV", source=sheet)
    tried("no such file", source=tmp_path / "no.wav")
    tried("there is no folder", out=tmp_path / "no" / "o.wav")
    tried("the recording itself", out=boxes)
    tried("or its folder", out=tmp_path)
    assert not (tmp_path / "o.wav").exists()
    assert soundfile.info(boxes).frames == 4800


def test_the_slots_of_a_show_are_those_of_a_named_port(
    run: Run, tmp_path: Path, boxes: Path, example: Path
) -> None:
    """A show has the slots of every desk and feed: "slots" alone would be the first of them in silence."""
    out = tmp_path / "out.wav"
    failed(
        run("reorder", boxes, "--from", "sockets", "--to", "slots", "--by", example, "-o", out),
        "whose slots are meant?",
        "truck-feed",
    )
    assert not out.exists()
