"""Valid files made wrong: bytes turned, parts cut, doubled and swapped, and the structure inside changed."""

from __future__ import annotations

import io
import json
import random
import re
import zipfile
import zlib
from collections.abc import Callable, Sequence
from typing import Any

TOKENS = (
    b"", b"\0", b"\xff", b"\xfe\xff", b"\xef\xbb\xbf", b'"', b'""', b"'", b",", b";", b"\t", b"|", b"\r", b"\n", b"\r\n", b"\\",
    b"0", b"-1", b"1e999", b"nan", b"-inf", b"9" * 19, b"9" * 400, b"9" * 5000, b"2147483648", b"4294967295", b"1.5", b"1/2", b"1-40",
    "²".encode(), "٣".encode(), "１２".encode(), "Ⅷ".encode(), "é".encode(), "e\u0301".encode(), "ß".encode(), "İ".encode(), "ﬁ".encode(),
    "\u202e".encode(), "\u200b".encode(), "\u2028".encode(), "\ufeff".encode(), "\U0001f3a4".encode(), b"\xed\xa0\x80", b"\xc3",
    b"=1+1", b"@x", b"A1", b"A12-A15", b"L/R", b"spare", b"n/c", b"stereo", b"x" * 300, b"," * 300, b"<", b"</", b"<a>", b"&amp;", b"&x;",
    b"<!DOCTYPE x>", b"<![CDATA[", b"{", b"}", b"[", b"]", b"[[", b"null", b"true", b"{}", b"[]", b'"a"', b"[" * 200, b"#", b"|---|",
    b"----", b"%", b"$", b"../..", b"/", b"~", b"1970-01-01", b"2026-02-30", b"9999-12-31", b"0000-00-00", b"24:61",
)  # fmt: skip
"""What is put into a file: signs with a meaning somewhere, numbers at the edges, letters that are odd."""

LEAVES: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 2**31, 2**63, 10**30, 1.5, 1e308, float("inf"), float("nan"), "", "0", "x", "A", "é", "\ud800",
    "\0", "x" * 300, [], {}, [[]], {"": ""}, [None], [0], ["x"], {"x": 1},
)  # fmt: skip

LARGEST = 150_000
"""Bytes; what grows larger is cut, so that an example takes milliseconds."""

Mutation = Callable[[random.Random, bytes], bytes]


def turned(pick: random.Random, data: bytes) -> bytes:
    """A few bytes set to something else."""
    out = bytearray(data)
    for _ in range(pick.randint(1, 4) if out else 0):
        at = pick.randrange(len(out))
        out[at] = pick.choice((0, 255, 34, 44, 10, pick.randrange(256), out[at] ^ 1 << pick.randrange(8)))
    return bytes(out)


def _part(pick: random.Random, data: bytes) -> tuple[int, int]:
    begin = pick.randint(0, len(data))
    return begin, min(len(data), begin + pick.choice((1, 2, 4, 8, 30, 200, len(data))))


def cut(pick: random.Random, data: bytes) -> bytes:
    """A part taken out."""
    begin, end = _part(pick, data)
    return data[:begin] + data[end:]


def doubled(pick: random.Random, data: bytes) -> bytes:
    """A part again, somewhere, once or often."""
    begin, end = _part(pick, data)
    at = pick.randint(0, len(data))
    return data[:at] + data[begin:end] * pick.choice((1, 1, 2, 40)) + data[at:]


def put(pick: random.Random, data: bytes) -> bytes:
    """A token put in, or in the place of a word."""
    token = pick.choice(TOKENS)
    words = [found.span() for found in re.finditer(rb"[\w.+-]+", data[:LARGEST])]
    if words and pick.random() < 0.6:
        begin, end = pick.choice(words)
        return data[:begin] + token + data[end:]
    at = pick.randint(0, len(data))
    return data[:at] + token + data[at:]


def lines(pick: random.Random, data: bytes) -> bytes:
    """Lines in another order, left out, or again."""
    rows = data.splitlines(keepends=True)
    if not rows:
        return data
    match pick.randrange(4):
        case 0:
            rows.insert(pick.randint(0, len(rows)), pick.choice(rows))
        case 1:
            del rows[pick.randrange(len(rows))]
        case 2:
            one, two = pick.randrange(len(rows)), pick.randrange(len(rows))
            rows[one], rows[two] = rows[two], rows[one]
        case _:
            pick.shuffle(rows)
    return b"".join(rows)


def cells(pick: random.Random, data: bytes) -> bytes:
    """Cells of a line swapped, or taken from another line."""
    rows = data.split(b"\n")
    mark = max((b",", b";", b"\t", b"|", b" = "), key=data.count)
    one, two = (pick.randrange(len(rows)) for _ in range(2))
    left, right = rows[one].split(mark), rows[two].split(mark)
    at, other = pick.randrange(len(left)), pick.randrange(len(right))
    left[at], right[other] = right[other], left[at]
    rows[two] = mark.join(right)
    rows[one] = mark.join(left)
    return b"\n".join(rows)


def between(pick: random.Random, data: bytes) -> bytes:
    """What stands between quotes or tags made something else that may stand there, or what another says."""
    forms = (rb'"([^"\n<>]{0,200})"', rb">([^<>]{1,200})<", rb"= ([^\n#]{1,80})\n")
    parts = [found.span(1) for form in forms for found in re.finditer(form, data)]
    if not parts:
        return put(pick, data)
    begin, end = pick.choice(parts)
    other = data[slice(*pick.choice(parts))] if pick.random() < 0.4 else pick.choice(_QUIET)
    return data[:begin] + other + data[end:]


def nudged(pick: random.Random, data: bytes) -> bytes:
    """A number a little or much larger or smaller, or a yes made a no."""
    found = [part.span() for part in re.finditer(rb"\b(?:\d{1,9}|true|false)\b", data[:LARGEST])]
    if not found:
        return data
    begin, end = pick.choice(found)
    said = data[begin:end]
    if said.isdigit():
        value = int(said)
        new = str(
            pick.choice((0, 1, value + 1, max(0, value - 1), 2 * value, 40, 64, 65, 999, 10**6))
        ).encode()
    else:
        new = b"false" if said == b"true" else b"true"
    return data[:begin] + new + data[end:]


_QUIET = tuple(
    token
    for token in TOKENS
    if not {*token} & {*b'"<>&\\\n\r\0\x14'} and b"\xed" not in token and token[:1] < b"\xf8"
)


def tree(pick: random.Random, data: bytes) -> bytes:
    """JSON with one value, key or element made something else; other files get a token."""
    try:
        whole = json.loads(data)
    except (ValueError, RecursionError):
        return put(pick, data)
    holders: list[Any] = []

    def walk(node: Any) -> None:
        if isinstance(node, dict | list) and node:
            holders.append(node)
            for child in node.values() if isinstance(node, dict) else node:
                walk(child)

    walk(whole)
    if not holders:
        return json.dumps(pick.choice(LEAVES)).encode()
    holder = pick.choice(holders)
    key = pick.choice(list(holder)) if isinstance(holder, dict) else pick.randrange(len(holder))
    match pick.randrange(4):
        case 0:
            del holder[key]
        case 1 if isinstance(holder, dict):
            holder[pick.choice(("", "x", "id", "é"))] = holder.pop(key)
        case 2 if isinstance(holder, list):
            holder.append(holder[key])
        case _:
            holder[key] = pick.choice(LEAVES)
    return json.dumps(whole).encode()


def inside(pick: random.Random, data: bytes) -> bytes:
    """A ZIP with one of its files made wrong, left out or again; other files get a token."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            parts = [(name, package.read(name)) for name in package.namelist()]
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError, RuntimeError, EOFError, zlib.error):
        return put(pick, data)
    if not parts:
        return data
    likely = [
        at for at, (name, _) in enumerate(parts) if "sheet" in name or "content" in name or "shared" in name
    ]
    at = pick.choice(likely) if likely and pick.random() < 0.7 else pick.randrange(len(parts))
    name, content = parts[at]
    match pick.randrange(8):
        case 0:
            del parts[at]
        case 1:
            parts[at] = (pick.choice((name.upper(), f"x/{name}", "../x", name + "\u00e9")), content)
        case _:
            parts[at] = (name, mutated(pick, content, OF_TAGS))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", pick.choice((zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED))) as package:
        for name, content in parts:
            package.writestr(zipfile.ZipInfo(name or "x"), content)
    return out.getvalue()


def number(pick: random.Random, data: bytes) -> bytes:
    """Two, four or eight bytes as a number at the edge of what fits."""
    size = pick.choice((2, 4, 8))
    if len(data) < size:
        return data
    at = pick.randint(0, min(len(data), 400) - size) if len(data) > size else 0
    most = 2 ** (8 * size) - 1
    value = pick.choice((0, 1, 2, 255, 2 ** (8 * size - 1), most, most - 1, min(len(data), most)))
    return data[:at] + value.to_bytes(size, "little") + data[at + size :]


OF_BYTES: tuple[Mutation, ...] = (turned, cut, doubled, number)
OF_TEXT: tuple[Mutation, ...] = (turned, cut, doubled, put, put, lines, cells, between)
OF_TAGS: tuple[Mutation, ...] = (between, between, between, nudged, nudged, nudged, *OF_TEXT)
"""For what is strict about its signs: XML, TOML."""
OF_TREES: tuple[Mutation, ...] = (tree, tree, tree, put, turned, cut)
OF_ZIPS: tuple[Mutation, ...] = (inside, inside, inside, turned, cut)


def mutated(pick: random.Random, data: bytes, ways: Sequence[Mutation]) -> bytes:
    """A file with one to five mutations."""
    for _ in range(pick.choice((1, 1, 1, 2, 3, 5))):
        data = pick.choice(ways)(pick, data)[:LARGEST]
    return data
