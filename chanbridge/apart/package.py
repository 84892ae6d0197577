"""A workbook's outer shell: which kind it is, and whether it is safe to open."""

from __future__ import annotations

import io
import re
import struct
import zipfile
import zlib
from collections.abc import Iterable
from typing import Literal

from chanbridge.errors import ReadError

Kind = Literal["xlsx", "ods", "xls"]

LARGEST = 512 * 1024 * 1024
"""Bytes that a workbook may have once it is unpacked."""
SUSPECT = 64 * 1024 * 1024
"""Bytes up to which nobody asks how much smaller the packed file is."""
RATIO = 200
"""Times its packed size that a larger workbook may have; spreadsheets of repeated rows reach about 50."""
MEMBERS = 10_000
"""Files that a workbook may hold; one with a hundred sheets has about 300."""

_COMPOUND = bytes.fromhex("D0CF11E0A1B11AE1")  # the container of XLS, and of every encrypted XLSX
# An XLS: the record that begins its workbook (BOF), and the one of a password (FILEPASS) after it; from memory.
_LOCKED = re.compile(rb"\x09\x08\x10\0\0\x06\x05\0.{12}\x2f\0", re.DOTALL)
_ODS = b"application/vnd.oasis.opendocument.spreadsheet"
_SAVE = "open it in a spreadsheet and save it again as XLSX"


class Package:
    """A workbook's bytes and, for XLSX and ODS, the files inside them.

    Raises ReadError, without a place, for anything that is no workbook, is encrypted, or unpacks to more
    than `LARGEST` bytes or to more than `RATIO` times its size.
    """

    def __init__(self, data: bytes) -> None:
        self.data = data
        self.kind: Kind
        if data.startswith(_COMPOUND):
            if "EncryptedPackage".encode("utf-16-le") in data or _LOCKED.search(data):
                raise encrypted()
            self.kind = "xls"
            return
        if not data.startswith(b"PK"):
            raise ReadError(_not_a_workbook(data))
        if data.count(b"PK\x01\x02") > MEMBERS:
            raise ReadError(f"this file holds more than {MEMBERS:,} files; no workbook does")
        try:
            self._zip = zipfile.ZipFile(io.BytesIO(data))
            members = self._zip.infolist()
        except (zipfile.BadZipFile, RuntimeError, ValueError, struct.error, OSError) as error:
            raise damaged(f"its list of contents cannot be read ({error})") from None
        self._names = {member.filename.casefold(): member for member in members}
        _check_sizes(members, len(data))
        if "xl/workbook.xml" in self._names:
            self.kind = "xlsx"
        elif "content.xml" in self._names and self.read("mimetype", b"").startswith(_ODS):
            self.kind = "ods"
            if b"encryption-data" in self.read("META-INF/manifest.xml", b""):
                raise encrypted()
        elif "xl/workbook.bin" in self._names:
            raise ReadError(f"this is a binary workbook (XLSB), which is not read; {_SAVE}")
        else:
            inside = ", ".join(member.filename for member in members[:3]) or "nothing"
            raise ReadError(
                f"this is a ZIP file but no workbook (it holds {inside[:120]}); "
                "unpack it and name the workbook or list inside"
            )

    def read(self, name: str, missing: bytes | None = None) -> bytes:
        """The content of a file inside, its name in any case; `missing` where there is none.

        Raises ReadError when it is damaged, or larger than the size that the workbook states for it.
        """
        member = self._names.get(name.casefold())
        if member is None:
            if missing is None:
                raise damaged(f"the part {name} is missing")
            return missing
        try:
            return self._zip.read(member)  # never more than the stated size, and then its checksum is wrong
        except (
            zipfile.BadZipFile, zlib.error, EOFError, RuntimeError, ValueError, struct.error, OSError
        ) as error:  # fmt: skip
            raise damaged(f"the part {name} cannot be unpacked ({error})") from None


def _check_sizes(members: Iterable[zipfile.ZipInfo], packed: int) -> None:
    total = 0
    for member in members:
        if member.flag_bits & 1:
            raise encrypted()
        if member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise damaged(f"the part {member.filename} is packed in a way that workbooks do not use")
        total += member.file_size
    if total > LARGEST or (total > SUSPECT and total > RATIO * packed):
        raise ReadError(
            f"this workbook has {packed:,} bytes and would unpack to {total:,}, which no channel list does; "
            "it is not opened"
        )


def encrypted() -> ReadError:
    """The error for a workbook with a password."""
    return ReadError("this workbook is encrypted; open it with its password and save it without one")


def damaged(what: str) -> ReadError:
    """The error for a workbook that cannot be read: what is wrong, and what to do."""
    return ReadError(f"this workbook is damaged or cut off: {what}; fetch it again, or {_SAVE}")


def _not_a_workbook(data: bytes) -> str:
    start = data[:4096].lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    if start[:1] == b"<":
        return "this is XML or HTML, not a workbook; give it the ending .xml, or save it as XLSX"
    if b"\0" not in data[:4096] or data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "this is text, not a workbook; give it the ending .csv or .txt, or name the format"
    return f"this is neither XLSX, XLS nor ODS (it begins with {data[:4].hex(' ').upper()}); {_SAVE}"
