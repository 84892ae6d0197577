"""Files are read whole or refused, and written whole or not at all."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from chanbridge.errors import ReadError, WriteError
from chanbridge.files import LARGEST, read_bytes, reading, write_all, write_bytes, writing


def test_read_and_write(tmp_path: Path) -> None:
    write_bytes(tmp_path / "a.csv", b"one")
    write_bytes(tmp_path / "a.csv", b"two")
    assert read_bytes(tmp_path / "a.csv") == b"two"
    assert os.listdir(tmp_path) == ["a.csv"]


@pytest.mark.parametrize("kind", ["missing", "folder", "pipe", "huge", "device", "nul"])
def test_what_is_no_file_is_refused_at_once(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "thing"
    if kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind == "huge":
        with path.open("wb") as stream:
            stream.truncate(3 * 1024**3)  # sparse: takes no room on the disk
    elif kind == "device":
        path = Path("/dev/zero")
    elif kind == "nul":
        path = Path(str(path) + "\0")
    with pytest.raises(ReadError) as caught:
        read_bytes(path)
    assert "\n" not in str(caught.value)


def test_a_file_that_changes_while_read_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(b"x" * 100)
    real = os.fstat
    calls: list[int] = []

    def grow(handle: int) -> os.stat_result:
        found = real(handle)
        if calls == [1]:
            with path.open("ab") as stream:
                stream.write(b"more")
        calls.append(1)
        return found if len(calls) == 1 else real(handle)

    monkeypatch.setattr("chanbridge.files.os.fstat", grow)
    with pytest.raises(ReadError, match="changed while"):
        read_bytes(path)


def test_nothing_is_written_when_one_of_several_cannot_be(tmp_path: Path) -> None:
    write_bytes(tmp_path / "a.csv", b"old")
    (tmp_path / "b.csv").mkdir()
    with pytest.raises(WriteError, match="folder of this name"):
        write_all(tmp_path, [("a.csv", b"new"), ("b.csv", b"new")])
    assert read_bytes(tmp_path / "a.csv") == b"old"
    assert sorted(os.listdir(tmp_path)) == ["a.csv", "b.csv"]


def test_a_failed_write_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_bytes(tmp_path / "a.csv", b"old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("chanbridge.files.os.fsync", full)
    with pytest.raises(WriteError, match="no space left"):
        write_bytes(tmp_path / "a.csv", b"new")
    monkeypatch.undo()
    assert read_bytes(tmp_path / "a.csv") == b"old"
    assert os.listdir(tmp_path) == ["a.csv"]


def test_permissions_of_a_file_stay(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(b"old")
    path.chmod(0o640)
    write_bytes(path, b"new")
    assert stat.S_IMODE(path.stat().st_mode) == 0o640


def test_a_link_is_written_through(tmp_path: Path) -> None:
    (tmp_path / "real.csv").write_bytes(b"old")
    (tmp_path / "link.csv").symlink_to(tmp_path / "real.csv")
    write_bytes(tmp_path / "link.csv", b"new")
    assert (tmp_path / "link.csv").is_symlink()
    assert read_bytes(tmp_path / "real.csv") == b"new"


def test_no_device_is_overwritten() -> None:
    with pytest.raises(WriteError, match="device or pipe"):
        write_bytes("/dev/null", b"x")


def test_the_limit_is_far_above_any_list() -> None:
    assert LARGEST >= 100_000 * 14 * 20


@pytest.mark.parametrize("kind", ["missing", "folder", "pipe", "device"])
def test_what_is_no_file_is_not_opened_for_reading(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "thing"
    if kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind == "device":
        path = Path("/dev/zero")
    with pytest.raises(ReadError), reading(path):
        pass


def test_a_large_file_is_read_from_any_place_and_must_not_change(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    with path.open("wb") as new:
        new.truncate(3 * LARGEST)  # sparse: takes no room on the disk
    with reading(path) as stream:
        stream.seek(-1, os.SEEK_END)
        assert stream.read() == b"\0"
    with pytest.raises(ReadError, match="changed while"), reading(path), path.open("ab") as other:
        other.write(b"more")


def test_files_written_piece_by_piece_appear_together(tmp_path: Path) -> None:
    with writing(tmp_path / "new", ["a.wav", "b.wav"]) as (one, two):
        one.write(b"one")
        two.write(b"two")
        one.write(b" more")
        assert not (tmp_path / "new" / "a.wav").exists()
    assert read_bytes(tmp_path / "new" / "a.wav") == b"one more"
    assert sorted(os.listdir(tmp_path / "new")) == ["a.wav", "b.wav"]


def test_a_failure_in_between_leaves_what_was_there(tmp_path: Path) -> None:
    write_bytes(tmp_path / "a.wav", b"old")

    def broken(folder: Path, names: list[str]) -> None:
        with writing(folder, names) as streams:
            streams[0].write(b"new")
            raise RuntimeError("stop")

    with pytest.raises(RuntimeError, match="stop"):
        broken(tmp_path, ["a.wav", "b.wav"])
    with pytest.raises(RuntimeError, match="stop"):
        broken(tmp_path / "new", ["c.wav"])
    (tmp_path / "d.wav").mkdir()
    with pytest.raises(WriteError, match="folder of this name"):
        broken(tmp_path, ["a.wav", "d.wav"])
    assert read_bytes(tmp_path / "a.wav") == b"old"
    assert sorted(os.listdir(tmp_path)) == ["a.wav", "d.wav"]


def test_a_full_disk_is_said_and_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(WriteError, match="no space left"), writing(tmp_path, ["a.wav"]):
        raise OSError(28, "No space left on device")
    assert os.listdir(tmp_path) == []
