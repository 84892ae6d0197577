"""Everything that reads something from outside, each with valid files to begin with."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np

from chanbridge import formats
from chanbridge.aes10.linecode import encode_line
from chanbridge.aes10.receive import decode_line
from chanbridge.aes10.subframe import decode_subframes, encode_subframes
from chanbridge.assemble import assemble
from chanbridge.check import check as ask
from chanbridge.check.rule import CARE
from chanbridge.drill.exercise import exercise, mark, unsealed
from chanbridge.errors import ChanbridgeError
from chanbridge.foresight.needs import Needs, Store, needs_mistakes, store_mistakes
from chanbridge.foresight.propose import proposed
from chanbridge.foresight.sizetext import size_data, size_lines
from chanbridge.foresight.sizing import size
from chanbridge.formats.characters import decode
from chanbridge.handover.again import _asked
from chanbridge.handover.facts import sheet_facts, show_facts
from chanbridge.handover.manifest import compared, manifest, read_manifest, written
from chanbridge.ident import labels
from chanbridge.ident.recording import open_take
from chanbridge.ident.wav import Chunk, Format, head_bytes
from chanbridge.mode import Mode
from chanbridge.sheets.grid import Options
from chanbridge.sheets.ledger import Reading
from chanbridge.show import declarations, declared, load
from tests.faults.evening import (
    ROOT,
    SHOW,
    entry_read,
    entry_seeds,
    example,
    journal_read,
    journal_seeds,
    said_read,
    said_seeds,
    sent_read,
    sent_seeds,
    tick_read,
    tick_seeds,
)
from tests.faults.mutate import OF_BYTES, OF_TAGS, OF_TEXT, OF_TREES, OF_ZIPS, Mutation
from tests.formats import books

CORPUS = ROOT / "tests" / "corpus"


class Target(NamedTuple):
    """`read` takes a file's bytes, and a folder of its own that it may write into; `seeds` makes valid files."""

    seeds: Callable[[], Sequence[bytes]]
    ways: Sequence[Mutation]
    read: Callable[[bytes, Path], None]


def _files(suffix: str) -> list[bytes]:
    found = [path for folder in (SHOW, CORPUS) for path in sorted(folder.glob(f"*{suffix}"))]
    return [path.read_bytes() for path in found if ".expect" not in path.name]


def _written(suffix: str) -> bytes:
    whole = formats.read(str(SHOW / "box-a.csv")).map
    return formats.write(whole, formats.of_suffix(f"x{suffix}"), None, suffix)


def _sheets(suffix: str, more: Sequence[bytes] = ()) -> Callable[[], Sequence[bytes]]:
    @cache
    def seeds() -> Sequence[bytes]:
        written = [] if suffix in formats.READ_ONLY else [_written(suffix)]
        return [*_files(suffix), *written, *more]

    return seeds


def _read_as(suffix: str) -> Callable[[bytes, Path], None]:
    """A sheet, as read, check and convert take it: to its end, and out again as CSV and XML."""

    def read(data: bytes, folder: Path) -> None:
        name = f"sheet{suffix}"
        reading = formats.read_data(data, name, formats.of_suffix(name) if suffix else None)
        list(sheet_checked(reading))
        for kind in ("csv", "xml", "text"):
            formats.dropped(reading.map, formats.named(kind))
            formats.write(reading.map, formats.named(kind), None, f".{kind}")

    return read


def sheet_checked(reading: Reading) -> Sequence[object]:
    """What the rules find in a sheet."""
    return ask(sheet_facts(reading)).findings


def _line(data: bytes, folder: Path) -> None:
    for mode in (Mode(56, 48000), Mode(32, 96000)):
        for nrzi in (False, True):
            words = decode_line(data, mode=mode, nrzi=nrzi).words
            assert words.nbytes <= 4 * len(data) + 64 * 1024
            if len(words):
                found = decode_subframes(words, mode=mode)
                assert found.irregularities is not None
                assert len(found.samples) <= len(words) + 1


@cache
def _line_seeds() -> Sequence[bytes]:
    mode = Mode(56, 48000)
    samples = np.arange(4 * 56).reshape(4, 56)
    words = encode_subframes(samples, mode=mode)
    return [encode_line(words, mode=mode), encode_line(words, mode=mode, nrzi=True)]


def _wav(data: bytes, folder: Path) -> None:
    path = folder / "take.wav"
    path.write_bytes(data)
    with ExitStack() as stack:
        take = open_take(stack, [str(path)])
        assert take.inputs <= 65535
        take.read(0, 64)
        if take.tapes:
            take.raw(max(0, take.length - 64), 64)


@cache
def _wav_seeds() -> Sequence[bytes]:
    chunk = Chunk(b"iXML", labels.write_names(["Kick", "Ana"], project="Evening"))
    made = []
    for stored in (
        Format(2, 48000, 24, False, 24),
        Format(1, 44100, 16, False, 16),
        Format(3, 96000, 32, True, 32),
    ):
        head = head_bytes(stored, 20, [chunk])
        made.append(head + bytes(range(256))[: 20 * stored.frame] + b"\0" * max(0, 20 * stored.frame - 256))
    made.append(head_bytes(Format(2, 48000, 24, False, 24), 20, [chunk], largest=0) + bytes(120))
    return made


def _show(data: bytes, folder: Path) -> None:
    """A show file beside the example's sheets: planned, and asked every rule."""
    for sheet in SHOW.iterdir():
        if sheet.suffix != ".toml" and sheet.is_file() and not (folder / sheet.name).exists():
            (folder / sheet.name).symlink_to(sheet)
    (folder / "show.toml").write_bytes(data)
    show = load(str(folder), accept_rejected=True)
    ask(show_facts(show, assemble(show)))


def _needs(data: bytes, folder: Path) -> None:
    _size(data, (ROOT / "examples" / "kit.toml").read_bytes(), folder)


def _kit(data: bytes, folder: Path) -> None:
    _size((ROOT / "examples" / "needs.toml").read_bytes(), data, folder)


def _size(needs: bytes, kit: bytes, folder: Path) -> None:
    (folder / "needs.toml").write_bytes(needs)
    (folder / "kit.toml").write_bytes(kit)
    wanted = declared(declarations(str(folder / "needs.toml")), "needs.toml", Needs)
    if next(needs_mistakes(wanted), None):
        return
    store = declared(declarations(str(folder / "kit.toml")), "kit.toml", Store)
    if next(store_mistakes(store, wanted.block_slots), None):
        return
    made = size(wanted, store)
    list(proposed(made))
    json.dumps(size_data(made))
    list(size_lines(made, CARE))


def _words(data: bytes, folder: Path) -> None:
    path = folder / "words.toml"
    path.write_bytes(data)
    formats.read_data(
        (SHOW / "box-a.csv").read_bytes(),
        "box-a.csv",
        None,
        Options(vocabulary=formats.read_vocabulary(str(path))),
    )


def _words_seeds() -> Sequence[bytes]:
    return [
        (ROOT / "chanbridge" / "vocabulary.toml").read_bytes(),
        b'[fields]\nname = ["who", "qui"]\nnumber = ["nr"]\n\n[short]\n"ambience" = "Amb"\n',
    ]


def _manifest(data: bytes, folder: Path) -> None:
    made = read_manifest(data, "manifest.json")
    _asked(made, ())
    compared(made, {"a": "1"}, {"b": "2"})


def _manifest_seeds() -> Sequence[bytes]:
    asked = {
        "language": "en", "formats": [], "only": [], "from_zero": False, "paper": "a4", "label_mm": 25.0, "label_row": 8,
        "line_check": None, "issued": True, "date": "2026-12-12",
    }  # fmt: skip
    made = manifest(
        [("a", b"1")], [("show.toml", b"2")], title="Evening", revision="A", hash="00", word="x", asked=asked
    )
    return [written(made)]


def _sealed(data: bytes, folder: Path) -> None:
    mark(unsealed(data, "answers.sealed"), [["truck", "3", "wrong name"]], "findings.csv")


def _sealed_seeds() -> Sequence[bytes]:
    return [dict(exercise(example(), 4, 1)[0])["answers.sealed"]]


def _findings(data: bytes, folder: Path) -> None:
    text = decode(data, "findings.csv").text
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error:
        return
    mark([], rows, "findings.csv")


_TABLE: list[list[str | int]] = [
    ["Ch", "Name", "Box", "Socket"],
    [1, "Kick", "A", 1],
    [2, "Snare", "A", 2],
    [3, "Keys", "B", 1],
]

TARGETS = {
    "csv": Target(_sheets(".csv"), OF_TEXT, _read_as(".csv")),
    "tsv": Target(_sheets(".tsv"), OF_TEXT, _read_as(".tsv")),
    "xlsx": Target(_sheets(".xlsx"), OF_ZIPS, _read_as(".xlsx")),
    "ods": Target(_sheets(".ods"), OF_ZIPS, _read_as(".ods")),
    "xls": Target(_sheets(".xls", [books.xls([[str(cell) for cell in row] for row in _TABLE])]), OF_BYTES, _read_as(".xls")),
    "xml": Target(_sheets(".xml"), OF_TAGS, _read_as(".xml")),
    "markdown": Target(_sheets(".md"), OF_TEXT, _read_as(".md")),
    "text": Target(_sheets(".txt"), OF_TEXT, _read_as(".txt")),
    "json": Target(_sheets(".json"), OF_TREES, _read_as(".json")),
    "piped": Target(lambda: [*_sheets(".csv")(), *_sheets(".xml")(), *_sheets(".txt")()], OF_TEXT, _read_as("")),
    "line": Target(_line_seeds, OF_BYTES, _line),
    "wav": Target(_wav_seeds, OF_BYTES, _wav),
    "show": Target(lambda: [(SHOW / "show.toml").read_bytes(), (ROOT / "examples/sunday/show.toml").read_bytes()], OF_TAGS, _show),
    "needs": Target(lambda: [(ROOT / "examples" / "needs.toml").read_bytes()], OF_TAGS, _needs),
    "kit": Target(lambda: [(ROOT / "examples" / "kit.toml").read_bytes()], OF_TAGS, _kit),
    "words": Target(_words_seeds, OF_TAGS, _words),
    "said": Target(said_seeds, OF_TEXT, said_read),
    "journal": Target(journal_seeds, OF_BYTES, journal_read),
    "entry": Target(entry_seeds, OF_TREES, entry_read),
    "manifest": Target(_manifest_seeds, OF_TREES, _manifest),
    "sealed": Target(_sealed_seeds, OF_TEXT, _sealed),
    "findings": Target(lambda: [b"Recipient,Slot,What is wrong\r\ntruck,3,wrong name\r\n"], OF_TEXT, _findings),
    "tick": Target(tick_seeds, OF_TREES, tick_read),
    "sent": Target(sent_seeds, OF_TREES, sent_read),
}  # fmt: skip


def met(name: str, data: bytes, folder: Path) -> str:
    """What a target says to a file: "" where it took it, else the message of our own error, which must be one line.

    Whatever else comes out is a fault, and goes on up.
    """
    try:
        TARGETS[name].read(data, folder)
    except ChanbridgeError as error:
        said = " ".join(str(error).split())
        assert said, "an error without a word"
        assert len(said) < 2000, f"a message of {len(said)} characters"
        said.encode("utf-8", "backslashreplace")
        return said
    return ""
