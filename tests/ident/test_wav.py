"""WAV files against two other readers, damaged, and past 4 GiB."""

from __future__ import annotations

import io
import itertools
import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st
from wavinfo import WavInfoReader

from chanbridge.errors import ReadError
from chanbridge.ident import labels
from chanbridge.ident.wav import (
    Chunk,
    Format,
    Wav,
    decode,
    encode,
    head_bytes,
    read_frames,
    read_head,
    tail_bytes,
    with_names,
)

NAMES = ["Kick in", 'Snare <top> & "rim"', "Flügel L", ""]
FORMATS = [
    Format(channels, rate, bits, floating)
    for channels, rate, (bits, floating) in itertools.product(
        (1, 2, 3, 4), (44_100, 96_000), ((16, False), (24, False), (32, False), (32, True), (64, True))
    )
]
SUBTYPES = {
    (16, False): "PCM_16",
    (24, False): "PCM_24",
    (32, False): "PCM_32",
    (32, True): "FLOAT",
    (64, True): "DOUBLE",
}


def samples(frames: int, channels: int) -> np.ndarray[tuple[int, ...], np.dtype[np.float32]]:
    found = np.random.default_rng(frames + channels).uniform(-1, 1, (frames, channels))
    found[:1], found[-1:] = -1, 0.5
    return found.astype(np.float32)


def stored(values: np.ndarray[tuple[int, ...], np.dtype[np.float32]], to: Format) -> bytes:
    """Samples as bytes, written slowly and plainly."""
    if to.floating:
        return values.astype(f"<f{to.bits // 8}").tobytes()
    top = 2 ** (to.bits - 1)
    out = b""
    for value in values.reshape(-1).astype(float):
        whole = max(-top, min(top - 1, round(value * top)))
        out += whole.to_bytes(to.bits // 8, "little", signed=True)
    return out


def made(to: Format, frames: int = 37, chunks: list[Chunk] | None = None, largest: int = 0xFFFFFFFF) -> bytes:
    head = head_bytes(to, frames, chunks or [], largest=largest)
    return head + stored(samples(frames, to.channels), to) + tail_bytes(to, frames)


def names_in(head: Wav) -> list[str]:
    found = labels.read_names(head.chunk(b"iXML"))
    return [found.get(at, "") for at in range(1, head.format.channels + 1)]


def everything(data: bytes) -> tuple[Wav, np.ndarray[tuple[int, ...], np.dtype[np.float32]]]:
    stream = io.BytesIO(data)
    head = read_head(stream, "a.wav")
    return head, decode(read_frames(stream, head, 0, head.frames), head.format)


@pytest.mark.parametrize("to", FORMATS, ids=str)
@pytest.mark.parametrize("largest", [0xFFFFFFFF, 0], ids=["plain", "64-bit sizes"])
def test_soundfile_reads_what_is_written_and_we_read_what_it_writes(
    tmp_path: Path, to: Format, largest: int
) -> None:
    path = tmp_path / "a.wav"
    names = NAMES[: to.channels]
    path.write_bytes(made(to, chunks=with_names([], labels.write_names(names)), largest=largest))
    wanted, rate = soundfile.read(path, dtype="float64", always_2d=True)
    info = soundfile.info(path)
    assert (rate, info.subtype) == (to.rate_hz, SUBTYPES[to.bits, to.floating])
    assert info.format in (("RF64",) if largest == 0 else ("WAV", "WAVEX"))
    head, found = everything(path.read_bytes())
    assert head.problems == ()
    assert head.frames == 37
    assert names_in(head) == names
    assert np.allclose(found, wanted, atol=2e-7)
    soundfile.write(
        path, wanted, rate, SUBTYPES[to.bits, to.floating], format="RF64" if largest == 0 else "WAVEX"
    )
    again, read = everything(path.read_bytes())
    assert again.format._replace(valid=0) == to._replace(valid=0)
    assert np.array_equal(read, found)


def test_wavinfo_reads_names_and_broadcast_extension(tmp_path: Path) -> None:
    said = labels.Broadcast(
        "Ident signals: Winter",
        "chanbridge",
        "ref",
        "2026-12-12",
        "20:15:00",
        123_456_789_012,
        history="A=PCM\r\n",
    )
    chunks = with_names(
        [Chunk(b"bext", labels.write_bext(said))], labels.write_names(NAMES, project="Konzert Ü")
    )
    path = tmp_path / "a.wav"
    path.write_bytes(made(Format(4, 48_000, 24), chunks=chunks))
    info = WavInfoReader(str(path))
    assert info.fmt.channel_count == 4
    assert info.data.frame_count == 37
    assert info.bext.description == said.description
    assert info.bext.originator == "chanbridge"
    assert info.bext.originator_date == "2026-12-12"
    assert info.bext.time_reference == 123_456_789_012
    assert info.bext.coding_history == "A=PCM\r\n"
    assert info.ixml.project == "Konzert Ü"
    tracks = list(info.ixml.track_list)
    assert [(int(track.interleave_index), track.name or "") for track in tracks] == list(enumerate(NAMES, 1))
    assert labels.read_bext(everything(path.read_bytes())[0].chunk(b"bext")) == said


@given(
    st.lists(st.text(st.characters(exclude_categories=["Cs"]), max_size=20), min_size=1, max_size=5),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=12),
)
def test_names_go_both_ways(names: list[str], project: str) -> None:
    found = labels.read_names(labels.write_names(names, project=project))

    def kept(name: str) -> str:
        return " ".join(
            "".join(
                " " if sign < " " or "\x7f" <= sign < "\xa0" or sign in "\ufffe\uffff" else sign
                for sign in name
            ).split()
        )

    assert [found.get(at, "") for at in range(1, len(names) + 1)] == [kept(name) for name in names]


@given(st.binary(min_size=64, max_size=64), st.binary(min_size=190, max_size=190), st.integers(0, 2**64 - 1))
def test_what_later_versions_put_into_bext_stays(umid: bytes, reserve: bytes, reference: int) -> None:
    said = labels.Broadcast(
        "d", "o", time_reference=reference, version=2, umid=umid, reserve=reserve, history="h"
    )
    assert labels.read_bext(labels.write_bext(said)) == said


def test_other_content_of_ixml_stays() -> None:
    before = b"<?xml version='1.0'?><BWFXML><SCENE>7</SCENE><TRACK_LIST><TRACK><NAME>old</NAME></TRACK></TRACK_LIST></BWFXML>"
    after = labels.write_names(["new"], before)
    assert b"<SCENE>7</SCENE>" in after
    assert labels.read_names(after) == {1: "new"}


@pytest.mark.parametrize(
    "bomb",
    [
        b"not xml",
        b"<other/>",
        b'<!DOCTYPE BWFXML [<!ENTITY a "b">]><BWFXML><TRACK_LIST/></BWFXML>',
        b'<!DOCTYPE r [<!ENTITY a SYSTEM "file:///etc/passwd">]><BWFXML><P>&a;</P></BWFXML>',
    ],
)
def test_bad_ixml_is_reported_and_the_samples_are_read(bomb: bytes) -> None:
    head, found = everything(made(Format(2, 48_000, 24), chunks=[Chunk(b"iXML", bomb)]))
    assert "iXML" in str(head.problems[0])
    assert len(found) == 37


def test_data_cut_off_is_reported_and_what_is_there_is_used() -> None:
    to = Format(3, 48_000, 24)
    whole = head_bytes(to, 48_000, []) + encode(samples(48_000, 3))
    head, found = everything(whole[: len(whole) // 2])
    assert [problem.code for problem in head.problems] == [
        "cut-off",
        "cut-off",
    ]  # at a time, and inside a frame
    assert "0.5 s of 1.0 s are there and used" in str(head.problems[0])
    assert np.array_equal(found, everything(whole)[1][: len(found)])
    assert 23_900 < len(found) < 24_001


@pytest.mark.parametrize("size", [0, 0xFFFFFFFF])
def test_a_length_that_was_never_written(size: int) -> None:
    whole = bytearray(made(Format(2, 48_000, 16)))
    at = whole.index(b"data") + 4
    whole[at : at + 4] = struct.pack("<I", size)
    head, found = everything(bytes(whole))
    assert [problem.code for problem in head.problems] == ["size"]
    assert len(found) == 37


def test_an_empty_recording_is_no_unfinished_one() -> None:
    head, found = everything(made(Format(2, 48_000, 16), 0) + b"LIST" + struct.pack("<I", 4) + b"INFO")
    assert (head.frames, len(found), head.problems) == (0, 0, ())
    assert head.chunk(b"LIST") == b"INFO"


def test_very_many_chunks_end_the_reading() -> None:
    head, _ = everything(made(Format(1, 48_000, 16)) + b"abcd\0\0\0\0" * 20_000)
    assert "more than 10,000 chunks" in str(head.problems[0])


def test_chunks_of_odd_length_with_and_without_their_padding() -> None:
    to = Format(1, 48_000, 24)
    whole = made(to, chunks=[Chunk(b"odd ", b"abc"), Chunk(b"LIST", b"INFO")])
    head, found = everything(whole)
    assert [(chunk.name, chunk.data) for chunk in head.chunks] == [(b"odd ", b"abc"), (b"LIST", b"INFO")]
    sloppy = whole.replace(b"abc\0", b"abc")
    head, again = everything(sloppy)
    assert [chunk.name for chunk in head.chunks] == [b"odd ", b"LIST"]
    assert np.array_equal(found, again)
    assert 37 * 3 % 2 == 1
    after = whole + b"cue " + struct.pack("<I", 4) + bytes(4)  # behind samples of odd length
    assert everything(after)[0].chunk(b"cue ") == bytes(4)


def test_rubbish_after_the_last_chunk_is_reported() -> None:
    head, found = everything(made(Format(1, 48_000, 16)) + b"\x01\x02\x03\x04\x05\x06\x07\x08\x09")
    assert "are no chunk" in str(head.problems[0])
    assert len(found) == 37


def test_valid_bits_below_the_container() -> None:
    head, _ = everything(made(Format(2, 48_000, 24, valid=20)))
    assert head.format == Format(2, 48_000, 24, valid=20)


def test_the_neighbour_of_a_loud_sample_is_silent() -> None:
    values = np.zeros((50, 2), np.float32)
    values[:, 0] = -0.9
    _, found = everything(head_bytes(Format(2, 48_000, 24), 50, []) + encode(values))
    assert np.all(found[:, 1] == 0)


@given(st.lists(st.floats(-1.5, 1.5, width=32), min_size=1, max_size=50))
def test_encode_and_decode(values: list[float]) -> None:
    line = np.array(values, np.float32).reshape(-1, 1)
    found = decode(bytearray(b"\0" + encode(line)), Format(1, 48_000, 24))
    assert np.allclose(found, np.clip(line, -1, 1), atol=2**-23)


def test_not_a_number_becomes_silence() -> None:
    to = Format(1, 48_000, 32, True)
    data = head_bytes(to, 4, []) + struct.pack("<4f", float("nan"), float("inf"), 1e30, 0.5)
    assert everything(data)[1].ravel().tolist() == [0, 0, 0, 0.5]


def plain(coding: int, channels: int, rate: int, bits: int) -> bytes:
    said = struct.pack("<HHIIHH", coding, channels, rate, 0, channels * bits // 8, bits)
    body = b"fmt " + struct.pack("<I", 16) + said + b"data" + struct.pack("<I", 8) + bytes(8)
    return b"RIFF" + struct.pack("<I", 4 + len(body)) + b"WAVE" + body


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "only 0 bytes"),
        (b"RIFF", "only 4 bytes"),
        (b"fLaC" + bytes(60), "no WAV"),
        (b"RIFX" + bytes(4) + b"WAVE" + bytes(60), "other way round"),
        (b"RIFF" + bytes(4) + b"AVI " + bytes(60), "no WAV"),
        (b"RIFF" + bytes(4) + b"WAVE", "no format"),
        (plain(0x55, 2, 48_000, 16), "coded"),
        (plain(1, 2, 48_000, 8), "8 bits"),
        (plain(3, 2, 48_000, 16), "16 bits (float)"),
        (plain(1, 0, 48_000, 16), "0 channels"),
        (plain(1, 2, 0, 16), "0 Hz"),
        (b"RIFF" + bytes(4) + b"WAVE" + b"fmt " + struct.pack("<I", 4) + bytes(4), "too short"),
        (made(Format(2, 48_000, 16)).replace(b"data", b"tada"), "no samples"),
    ],
)
def test_what_is_no_wav_is_refused_in_a_sentence(data: bytes, words: str) -> None:
    with pytest.raises(ReadError) as caught:
        read_head(io.BytesIO(data), "a.wav")
    assert words in str(caught.value)
    assert str(caught.value).startswith("a.wav: ")


@given(st.data())
def test_a_damaged_file_is_read_or_refused(data: st.DataObject) -> None:
    to = data.draw(st.sampled_from(FORMATS))
    chunks = with_names([Chunk(b"bext", labels.write_bext(labels.Broadcast()))], labels.write_names(NAMES))
    whole = bytearray(made(to, 5, chunks, largest=data.draw(st.sampled_from([0, 0xFFFFFFFF]))))
    for _ in range(data.draw(st.integers(1, 6))):
        match data.draw(st.integers(0, 2)):
            case 0:
                whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
            case 1:
                del whole[data.draw(st.integers(0, len(whole) - 1)) :]
            case _:
                at = data.draw(st.integers(0, len(whole)))
                whole[at:at] = data.draw(st.binary(max_size=9))
        if not whole:
            break
    try:
        head, found = everything(bytes(whole))
    except ReadError as error:
        assert "\n" not in str(error)
    else:
        assert found.shape == (head.frames, head.format.channels)
        labels.read_bext(head.chunk(b"bext"))


def test_past_4_gib(tmp_path: Path) -> None:
    """EBU Tech 3306: `ds64` first, 32-bit sizes 0xFFFFFFFF. The file is sparse and takes no room."""
    to = Format(64, 48_000, 24)
    frames = 5 * 1024**3 // to.frame
    path = tmp_path / "long.wav"
    names = [f"Chair {n}" for n in range(64)]
    end = np.zeros((100, 64), np.float32)
    end[-1] = np.linspace(-1, 1, 64)
    with path.open("wb") as stream:
        stream.write(head_bytes(to, frames, with_names([], labels.write_names(names))))
        begin = stream.tell()
        stream.seek((frames - 100) * to.frame, 1)
        stream.write(encode(end))
    data = path.open("rb").read(32)
    assert (data[:4], data[4:8], data[8:12], data[12:16]) == (b"RF64", b"\xff" * 4, b"WAVE", b"ds64")
    with path.open("rb") as stream:
        head = read_head(stream, "long.wav")
        assert (head.frames, head.begin, head.problems) == (frames, begin, ())
        assert names_in(head) == names
        found = decode(read_frames(stream, head, frames - 1, 10), head.format)
    with soundfile.SoundFile(path) as other:
        assert other.frames == frames
        other.seek(frames - 1)
        assert np.allclose(other.read(1, dtype="float64"), found, atol=2e-7)


def test_bw64_is_read() -> None:
    """Rec. ITU-R BS.2088: as RF64 under another name."""
    whole = made(Format(2, 48_000, 24), largest=0)
    head, found = everything(b"BW64" + whole[4:])
    assert head.problems == ()
    assert np.array_equal(found, everything(whole)[1])
