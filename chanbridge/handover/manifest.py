"""manifest.json: what lies in a hand-over, what it was made from, and whether that is still so."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any, Literal, NamedTuple

from chanbridge import __version__
from chanbridge.errors import Location, ReadError

NAME = "manifest.json"
FORMAT = 1
"""Of the manifest; a reader of an older one refuses a newer."""

Verdict = Literal["agrees", "altered", "missing", "not listed", "outdated", "would go", "would be new"]

SAID: Mapping[Verdict, str] = {
    "agrees": "as it was made",
    "altered": "not as it was made: someone changed it, or it was damaged",
    "missing": "listed, and not there",
    "not listed": "no part of this hand-over",
    "outdated": "the plan says something else by now",
    "would go": "the plan makes no such paper any more",
    "would be new": "not made; the plan makes this paper too by now",
}


class Manifest(NamedTuple):
    """`files` and `inputs`: name → SHA-256 in hexadecimal digits. `asked`: the options, so that it can be made again."""

    files: Mapping[str, str]
    inputs: Mapping[str, str]
    title: str = ""
    revision: str = ""
    hash: str = ""
    word: str = ""
    asked: Mapping[str, Any] = {}
    version: str = __version__


def digest(data: bytes) -> str:
    """The SHA-256 as hexadecimal digits (FIPS 180-4)."""
    return hashlib.sha256(data).hexdigest()


def manifest(
    files: Iterable[tuple[str, bytes]], inputs: Iterable[tuple[str, bytes]], **more: Any
) -> Manifest:
    """The manifest of files, without itself."""
    return Manifest(
        {name: digest(data) for name, data in files if name != NAME},
        {name: digest(data) for name, data in inputs},
        **more,
    )


def joined(old: Manifest, new: Manifest) -> Manifest:
    """The new papers, made alone, among the old ones that lie there: those of an older plan show as such later."""
    asked = dict(new.asked)
    for key in ("only", "formats"):
        both = [old.asked.get(key), asked[key]]
        asked[key] = [*dict.fromkeys([*both[0], *both[1]])] if all(both) else []
    return new._replace(files={**old.files, **new.files}, asked=asked)


def written(made: Manifest) -> bytes:
    """A manifest as its file; names in their order."""
    made = made._replace(files=dict(sorted(made.files.items())), inputs=dict(sorted(made.inputs.items())))
    said = {"chanbridge manifest": FORMAT, **made._asdict()}
    return (json.dumps(said, ensure_ascii=False, indent=2) + "\n").encode("utf-8", "backslashreplace")


def read_manifest(data: bytes, source: str) -> Manifest:
    """The reverse of `manifest`. Raises ReadError."""

    def wrong(what: str) -> ReadError:
        return ReadError(
            f"this is no manifest of a hand-over: {what}; make the hand-over again", Location(source)
        )

    try:
        said = json.loads(data)
    except (ValueError, RecursionError):
        raise wrong("it is not JSON") from None
    if not isinstance(said, dict) or "chanbridge manifest" not in said:
        raise wrong("it lacks “chanbridge manifest”")
    if said.pop("chanbridge manifest") != FORMAT:
        raise ReadError("this manifest is of a newer chanbridge; use that one", Location(source))
    unknown = said.keys() ^ {*Manifest._fields}
    if unknown:
        raise wrong(f"look at {', '.join(sorted(unknown))}")
    for key in ("files", "inputs"):
        table = said[key]
        if not isinstance(table, dict) or not all(isinstance(text, str) for text in table.values()):
            raise wrong(f"{key!r} is not names with their digests")
    if not isinstance(said["asked"], dict):
        raise wrong("'asked' is not a table")
    return Manifest(**said)


def compared(
    made: Manifest, there: Mapping[str, str], now: Mapping[str, str] | None
) -> list[tuple[str, Verdict]]:
    """What is to be said of each file, by name.

    `there`: name → SHA-256 of what lies in the folder; `now`: of what the plan would make, None where nobody asked.
    A file that was altered is called so, whatever the plan says.
    """
    out: list[tuple[str, Verdict]] = []
    for name in sorted({*made.files, *there, *(now or {})} - {NAME}):
        if name not in made.files:
            out.append((name, "not listed" if name in there else "would be new"))
        elif name not in there:
            out.append((name, "missing"))
        elif there[name] != made.files[name]:
            out.append((name, "altered"))
        elif now is not None and name not in now:
            out.append((name, "would go"))
        elif now is not None and now[name] != made.files[name]:
            out.append((name, "outdated"))
        else:
            out.append((name, "agrees"))
    return out
