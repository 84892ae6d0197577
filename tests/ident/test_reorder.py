"""Recordings put into another order: no sample touched, nothing lost unsaid."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import ExitStack
from functools import partial
from pathlib import Path

import numpy as np
import pytest
import soundfile

from chanbridge.errors import ReadError, WriteError
from chanbridge.files import writing
from chanbridge.ident import labels, reorder
from chanbridge.ident.places import places
from chanbridge.ident.recording import open_take
from chanbridge.ident.reorder import Order, Track, order, track_names, write_one, write_tracks
from chanbridge.ident.wav import Chunk, Format, Wav, head_bytes, read_head, tail_bytes, with_names
from chanbridge.model import Channel, ChannelMap, Entry, Patch, Port, Slot

FORMATS = [Format(5, 48_000, 16), Format(5, 48_000, 24), Format(5, 96_000, 32, True)]


def random_file(path: Path, stored: Format, frames: int, chunks: list[Chunk] | None = None) -> bytes:
    """A file of random bytes (as samples); returns the bytes."""
    data = np.random.default_rng(frames).integers(0, 256, frames * stored.frame, np.uint8).tobytes()
    path.write_bytes(head_bytes(stored, frames, chunks or []) + data + tail_bytes(stored, frames))
    return data


def names_in(heads: Iterable[Wav]) -> list[str]:
    names = []
    for head in heads:
        found = labels.read_names(head.chunk(b"iXML"))
        names += [found.get(at, "") for at in range(1, head.format.channels + 1)]
    return names


def taken(path: Path) -> tuple[list[str], bytes, list[Chunk]]:
    with ExitStack() as stack:
        take = open_take(stack, [str(path)])
        return names_in(take.heads), take.raw(0, take.length).tobytes(), list(take.heads[0].chunks)


def columns(data: bytes, stored: Format) -> list[bytes]:
    width = stored.bits // 8
    return [
        b"".join(data[at : at + width] for at in range(channel * width, len(data), stored.frame))
        for channel in range(stored.channels)
    ]


TRACKS = (Track(3, "Vox"), Track(None, ""), Track(0, "Kick / in"), Track(3, "Vox too"), Track(4, "Bell"))


@pytest.mark.parametrize("stored", FORMATS, ids=str)
def test_one_file_into_one_file(tmp_path: Path, stored: Format, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reorder, "_BLOCK", 999)
    data = random_file(tmp_path / "in.wav", stored, 1001)
    with ExitStack() as stack:
        take = open_take(stack, [str(tmp_path / "in.wav")])
        write_one(take, Order(TRACKS, (), ()), partial(writing, tmp_path), "out.wav", "Show")
    names, out, _ = taken(tmp_path / "out.wav")
    assert names == [track.name for track in TRACKS]
    before, after = columns(data, stored), columns(out, stored)
    assert after == [before[3], bytes(len(before[0])), before[0], before[3], before[4]]
    assert soundfile.info(tmp_path / "out.wav").frames == 1001


def test_one_into_many_and_many_into_one(tmp_path: Path) -> None:
    stored = Format(5, 48_000, 24)
    data = random_file(tmp_path / "in.wav", stored, 777)
    straight = tuple(Track(at, f"Chair {at}") for at in range(5))
    with ExitStack() as stack:
        take = open_take(stack, [str(tmp_path / "in.wav")])
        write_tracks(take, Order(straight, (), ()), partial(writing, tmp_path / "tracks"), "Show")
    files = sorted((tmp_path / "tracks").iterdir())
    assert [path.name for path in files] == [f"0{at + 1} Chair {at}.wav" for at in range(5)]
    with ExitStack() as stack:
        take = open_take(stack, [*map(str, files)])
        assert names_in(take.heads) == [track.name for track in straight]
        write_one(take, Order(straight, (), ()), partial(writing, tmp_path), "back.wav", "Show")
    assert taken(tmp_path / "back.wav")[1] == data


def test_split_recordings_are_joined(tmp_path: Path) -> None:
    stored = Format(5, 48_000, 24)
    parts = [random_file(tmp_path / f"{at}.wav", stored, 100 + at) for at in range(3)]
    with ExitStack() as stack:
        take = open_take(stack, [str(tmp_path / f"{at}.wav") for at in range(3)])
        assert take.length == 303
        assert "follow each other" in " ".join(take.remarks)
        assert take.raw(0, 1000).tobytes() == b"".join(parts)
        assert take.raw(95, 10).tobytes() == b"".join(parts)[95 * 15 : 105 * 15]


def test_split_tracks_are_joined_by_a_plus(tmp_path: Path) -> None:
    mono = Format(1, 48_000, 24)
    data = [random_file(tmp_path / f"{at}.wav", mono, 50 + at) for at in range(4)]
    with ExitStack() as stack:
        take = open_take(stack, [f"{tmp_path}/0.wav+{tmp_path}/1.wav", f"{tmp_path}/2.wav+{tmp_path}/3.wav"])
        assert (take.inputs, take.length) == (2, 105)
        raw = take.raw(0, 105).tobytes()
    one, two = columns(raw, mono._replace(channels=2))
    assert one == data[0] + data[1] + bytes(12)
    assert two == data[2] + data[3]
    assert "silence is taken where one has ended" in " ".join(take.remarks)


def test_parts_whose_own_time_leaves_a_gap(tmp_path: Path) -> None:
    stored = Format(2, 48_000, 24)
    for at, begin in enumerate((1000, 1000 + 480 + 48)):
        chunk = Chunk(b"bext", labels.write_bext(labels.Broadcast(time_reference=begin)))
        random_file(tmp_path / f"{at}.wav", stored, 480, [chunk])
    with ExitStack() as stack:
        take = open_take(stack, [f"{tmp_path}/0.wav", f"{tmp_path}/1.wav"])
    assert "begins 0.001 s after the end of" in " ".join(take.remarks)


def test_files_that_do_not_fit_together_are_refused(tmp_path: Path) -> None:
    random_file(tmp_path / "a.wav", Format(1, 48_000, 24), 10)
    random_file(tmp_path / "b.wav", Format(1, 44_100, 24), 10)
    random_file(tmp_path / "c.wav", Format(2, 48_000, 24), 10)
    for names, words in ((("a", "b"), "save both alike"), (("a", "c"), "different numbers of channels")):
        with ExitStack() as stack, pytest.raises(ReadError, match=words):
            open_take(stack, [f"{tmp_path}/{name}.wav" for name in names])


def test_chunks_are_kept_but_for_those_that_count_channels(tmp_path: Path) -> None:
    stored = Format(5, 48_000, 24)
    chunks = [
        Chunk(b"bext", labels.write_bext(labels.Broadcast("d", "o"))),
        Chunk(b"cue ", b"12345"),
        Chunk(b"chna", bytes(4)),
    ]
    random_file(tmp_path / "in.wav", stored, 10, with_names(chunks, b"<BWFXML><SCENE>9</SCENE></BWFXML>"))
    with ExitStack() as stack:
        take = open_take(stack, [str(tmp_path / "in.wav")])
        remarks = write_one(take, Order(TRACKS, (), ()), partial(writing, tmp_path), "out.wav", "")
    assert "'chna'" in " ".join(remarks)
    after = {chunk.name: chunk.data for chunk in taken(tmp_path / "out.wav")[2]}
    assert after[b"cue "] == b"12345"
    assert after[b"bext"] == chunks[0].data
    assert b"<SCENE>9</SCENE>" in after[b"iXML"]
    assert b"chna" not in after


def test_a_failure_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    random_file(tmp_path / "in.wav", Format(5, 48_000, 24), 10)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    with ExitStack() as stack:
        take = open_take(stack, [str(tmp_path / "in.wav")])
        monkeypatch.setattr("chanbridge.files.os.fsync", full)
        with pytest.raises(WriteError, match="no space left"):
            write_tracks(take, Order(TRACKS, (), ()), partial(writing, tmp_path / "tracks"), "")
    assert [path.name for path in tmp_path.iterdir()] == ["in.wav"]


def test_names_that_no_disk_takes() -> None:
    names = track_names(
        [Track(0, 'a/b\\c:"*?<>|'), Track(1, ""), Track(2, "x" * 300), Track(3, "dots..."), Track(4, "\n")]
    )
    assert names[:2] == ["01 a b c.wav", "02.wav"]
    assert all(len(name) < 110 and "/" not in name for name in names)
    assert len(set(names)) == 5


def plan() -> ChannelMap:
    return ChannelMap(
        channels=tuple(Channel(id=name, name=name) for name in ("one", "two", "three")),
        ports=(
            Port(id="A", device="A", kind="sockets", size=4),
            Port(id="block", size=4),
            Port(id="desk", kind="desk", size=3),
        ),
        entries=(Entry("one", Slot("A", 1)), Entry("two", Slot("A", 2)), Entry("three", Slot("A", 4))),
        patches=(
            *(Patch(Slot("A", n), Slot("block", n)) for n in range(1, 5)),
            Patch(Slot("block", 2), Slot("desk", 1)),
            Patch(Slot("block", 1), Slot("desk", 3)),
            Patch(Slot("block", 3), Slot("desk", 2)),
        ),
    )


def test_the_order_comes_from_the_patches() -> None:
    whole = plan()
    sockets, desk = places(whole, "sockets"), places(whole, "desk")
    found = order(whole, sockets, desk, 4)
    assert found.tracks == (Track(1, "two"), Track(2, ""), Track(0, "one"))  # a spare's wire goes along
    assert (found.left, found.absent) == (("three",), ())
    back = order(whole, desk, sockets, 2)  # the desk's third track is not in the recording
    assert back.tracks == (Track(None, "one"), Track(0, "two"), Track(1, ""), Track(None, "three"))
    assert (back.left, back.absent) == ((), ("one", "three"))


def test_the_read_head_of_what_is_written(tmp_path: Path) -> None:
    random_file(tmp_path / "in.wav", Format(5, 48_000, 24, valid=20), 7)
    with ExitStack() as stack:
        take = open_take(stack, [str(tmp_path / "in.wav")])
        write_one(take, Order(TRACKS[:3], (), ()), partial(writing, tmp_path), "out.wav", "Ü")
    with (tmp_path / "out.wav").open("rb") as stream:
        head = read_head(stream, "out.wav")
    assert (head.format, head.frames, head.problems) == (Format(3, 48_000, 24, valid=20), 7, ())
