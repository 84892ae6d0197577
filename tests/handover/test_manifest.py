"""manifest.json: digests, and what is to be said of each file."""

from __future__ import annotations

import hashlib
import json

import pytest

from chanbridge.errors import ReadError
from chanbridge.handover.manifest import Manifest, compared, digest, joined, manifest, read_manifest, written

FILES = [("truck/sheet.csv", b"abc"), ("summary.txt", b"x")]


def test_digests_are_sha_256() -> None:
    """FIPS 180-4: the digest of abc."""
    assert digest(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert digest(b"x") == hashlib.sha256(b"x").hexdigest()


def test_it_is_read_back() -> None:
    made = manifest(
        FILES, [("show.toml", b"")], title="T", revision="A", hash="00", word="dafe", asked={"only": []}
    )
    data = written(made)
    read = read_manifest(data, "m")
    assert read.files == {"truck/sheet.csv": digest(b"abc"), "summary.txt": digest(b"x")}
    assert read.inputs == {"show.toml": digest(b"")}
    assert (read.title, read.revision, read.word, read.asked) == ("T", "A", "dafe", {"only": []})
    assert data == written(made._replace(files=dict(reversed([*made.files.items()]))))


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "not JSON"),
        (b"[" * 100_000, "not JSON"),
        (b"[]", "lacks"),
        (b'{"chanbridge manifest": 2}', "newer"),
        (b'{"chanbridge manifest": 1}', "files"),
        (
            json.dumps({"chanbridge manifest": 1, **Manifest({}, {})._asdict(), "files": {"a": 1}}).encode(),
            "files",
        ),
        (json.dumps({"chanbridge manifest": 1, **Manifest({}, {})._asdict(), "asked": 3}).encode(), "asked"),
    ],
)
def test_what_is_no_manifest(data: bytes, words: str) -> None:
    with pytest.raises(ReadError, match=words):
        read_manifest(data, "m")


def test_each_file_has_one_verdict() -> None:
    made = Manifest({"same": "1", "altered": "1", "missing": "1", "old": "1", "gone": "1"}, {})
    there = {"same": "1", "altered": "2", "old": "1", "gone": "1", "extra": ""}
    now = {"same": "1", "altered": "1", "missing": "1", "old": "3", "new": "1"}
    assert dict(compared(made, there, now)) == {
        "same": "agrees", "altered": "altered", "missing": "missing", "old": "outdated", "gone": "would go",
        "extra": "not listed", "new": "would be new",
    }  # fmt: skip
    assert dict(compared(made, there, None))["old"] == "agrees"


def test_papers_made_alone_join_those_that_lie_there() -> None:
    old = Manifest(
        {"truck/sheet.csv": "1", "monitors/sheet.csv": "2"}, {}, hash="00", asked={"only": [], "formats": []}
    )
    new = Manifest({"truck/sheet.csv": "3"}, {}, hash="01", asked={"only": ["truck"], "formats": ["csv"]})
    both = joined(old, new)
    assert both.files == {"truck/sheet.csv": "3", "monitors/sheet.csv": "2"}
    assert (both.hash, both.asked) == ("01", {"only": [], "formats": []})
    third = joined(new, new._replace(asked={"only": ["stream"], "formats": ["csv"]}))
    assert third.asked == {"only": ["truck", "stream"], "formats": ["csv"]}
