"""From bytes to text and back."""

from __future__ import annotations

import codecs
import re
from typing import NamedTuple

from chanbridge.errors import Location, Problem, ReadError, WriteError

NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""A character that XML cannot hold (XML 1.0, 2.2)."""


class Decoded(NamedTuple):
    """A file's text. `encoding` is for people; `problems` tell of a guess."""

    text: str
    encoding: str
    problems: list[Problem]


_MARKS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))


def decode(data: bytes, source: str, encoding: str = "") -> Decoded:
    """Bytes as text: as told, by byte order mark, as UTF-8, as UTF-16 without a mark, else by the look of them.

    Raises ReadError for a binary file, for an encoding that nobody knows and for bytes that it does not have.
    """
    if encoding:
        return Decoded(_as_told(data, source, encoding), encoding, [])
    for mark, name in _MARKS:
        if data.startswith(mark):
            return Decoded(
                _checked(_as_told(data, source, name), source), name.removesuffix("-sig").upper(), []
            )
    wide = _looks_like_utf16(data)
    if wide:
        return _guessed(_checked(_as_told(data, source, wide), source), source, wide.upper())
    try:
        return Decoded(_checked(data.decode("utf-8"), source), "UTF-8", [])
    except UnicodeDecodeError:
        pass
    if b"\0" in data[:4096] or sum(byte < 9 or 13 < byte < 32 for byte in data[:4096]) > 8:
        raise ReadError("this is a binary file, not a list; save it as CSV, XML or text", Location(source))
    name = codecs.lookup(_by_look(data)).name
    return _guessed(_as_told(data, source, name), source, name)


def _guessed(text: str, source: str, encoding: str) -> Decoded:
    strange = next((line for line in text.splitlines() if not line.isascii()), "")
    message = f"the encoding is taken for {encoding}, so that a line reads {strange.strip()[:60]!r}; --encoding overrides that"
    return Decoded(text, encoding, [Problem(Location(source), "encoding", message)])


def _as_told(data: bytes, source: str, encoding: str) -> str:
    try:
        return data.decode(encoding)
    except UnicodeError as error:
        line = data.count(b"\n", 0, getattr(error, "start", 0)) + 1
        raise ReadError(
            f"this is not {encoding.upper().removesuffix('-SIG')}: {getattr(error, 'reason', error)}; save the sheet as 'CSV UTF-8', or say --encoding",
            Location(source, "", line),
        ) from None
    except (LookupError, ValueError):  # ValueError: a NUL in the name
        raise ReadError(
            f"there is no encoding {encoding[:40]!r}; use for example utf-8, cp1252 or mac_roman",
            Location(source),
        ) from None


def _looks_like_utf16(data: bytes) -> str:
    """UTF-16 without a mark: in most places one byte of two is zero, always the same one."""
    head = data[:4096]
    even, odd = head[0::2].count(0), head[1::2].count(0)
    if len(data) % 2 or even + odd < len(head) // 4:
        return ""
    return "utf-16-le" if odd > 20 * even else "utf-16-be" if even > 20 * odd else ""


def _by_look(data: bytes) -> str:
    """Western Windows or Mac: whichever makes letters and not signs of the bytes above 127; else as chardet says."""
    import chardet  # half a megabyte of tables: only for files that are no UTF-8

    def letters(encoding: str) -> int:
        text = data.decode(encoding, "replace")
        inside = [found[0] for found in re.finditer(r"(?<=[A-Za-z])[^\x00-\x7f]|[^\x00-\x7f](?=[a-z])", text)]
        return sum(letter.lower() in _WESTERN for letter in inside) - text.count("\ufffd")

    windows, mac = letters("cp1252"), letters("mac_roman")
    if windows != mac:
        return "cp1252" if windows > mac else "mac_roman"
    found = chardet.detect(data)["encoding"]
    # What a few odd bytes are taken for.
    unlikely = ("ascii", "utf", "mac", "cp4", "cp7", "cp8", "windows-1252")
    return found if found and not found.lower().startswith(unlikely) and max(windows, mac) <= 0 else "cp1252"


_WESTERN = frozenset("äöüßàâæçéèêëîïôœùûÿáíóúñìòåøãõ")
"""Letters of the languages that the vocabulary knows, and of their neighbours."""


def _checked(text: str, source: str) -> str:
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise ReadError(
            "there is a NUL character here: a binary or damaged file; save the sheet again as CSV UTF-8",
            Location(source, "", line),
        )
    return text


def encode(text: str) -> bytes:
    """Text as UTF-8. Raises WriteError naming a character that cannot be written and what it stands in."""
    wrong = re.search("[\0\ud800-\udfff]", text)
    if wrong:
        near = text[max(0, wrong.start() - 20) : wrong.end() + 20]
        raise WriteError(
            f"the character U+{ord(wrong[0]):04X} cannot be written; it stands in {near!r}: take it out of the name"
        )
    return text.encode("utf-8")
