"""The one module that opens and writes files."""

from __future__ import annotations

import contextlib
import os
import stat
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from io import BufferedIOBase
from pathlib import Path
from typing import BinaryIO

from chanbridge.errors import Location, ReadError, WriteError

LARGEST = 256 * 1024 * 1024
"""Bytes; a sheet larger than this is refused before it is read."""


def read_bytes(path: str | os.PathLike[str], largest: int = LARGEST) -> bytes:
    """The content of a regular file.

    Raises ReadError for anything else (a folder, a pipe, a device), for a file larger than `largest`
    bytes, and for one that changes while it is being read. Never waits for a pipe's other end.
    """
    where = Location(os.fspath(path))
    handle = _opened(path)
    before = os.fstat(handle)
    wrong = _no_sheet(before, largest)
    if wrong:
        os.close(handle)
        raise ReadError(wrong, where)
    with open(handle, "rb") as stream:
        try:
            data = stream.read(largest + 1)
        except OSError as error:
            raise ReadError(_reason(error, "read"), where) from None
        after = os.fstat(handle)
    if (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns) or len(
        data
    ) != after.st_size:
        raise ReadError("this file changed while it was being read; close it elsewhere and try again", where)
    return data


@contextlib.contextmanager
def reading(path: str | os.PathLike[str]) -> Iterator[BufferedIOBase]:
    """A regular file of any size, open for reading piece by piece, from any place.

    Raises ReadError for anything else, and at the end where the file changed meanwhile.
    """
    where = Location(os.fspath(path))
    handle = _opened(path)
    before = os.fstat(handle)
    wrong = _no_sheet(before, before.st_size)
    if wrong:
        os.close(handle)
        raise ReadError(wrong.replace("sheet", "file"), where)
    with open(handle, "rb") as stream:
        yield stream
        after = os.fstat(handle)
    if (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns):
        raise ReadError("this file changed while it was being read; close it elsewhere and try again", where)


def _opened(path: str | os.PathLike[str]) -> int:
    try:
        return os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        raise ReadError(_reason(error, "read"), Location(os.fspath(path))) from None


def _no_sheet(found: os.stat_result, largest: int) -> str:
    """Why something that can be opened is no sheet; "" for a file of a reasonable size."""
    if stat.S_ISDIR(found.st_mode):
        return "this is a folder; name the sheet inside it"
    if not stat.S_ISREG(found.st_mode):
        return "this is not a regular file; save what it holds to a file, or pipe it to '-'"
    if found.st_size > largest:
        return (
            f"this file has {found.st_size:,} bytes, and a sheet may have {largest:,}; "
            "no channel list is that large: is it the right file?"
        )
    return ""


def write_bytes(path: str | os.PathLike[str], data: bytes) -> None:
    """Put `data` into a file, whole or not at all; what was there before stays until the new is safe.

    Raises WriteError; also where the folder does not exist.
    """
    folder = Path(path).parent
    if not folder.is_dir():
        raise WriteError(f"there is no folder {str(folder)!r}; make it first", Location(os.fspath(path)))
    write_all(folder, [(Path(path).name, data)])


def write_all(
    folder: str | os.PathLike[str], items: Iterable[tuple[str, bytes]], gone: Iterable[str] = ()
) -> None:
    """Write several files below `folder`: all are laid down beside their places first, then renamed.

    Then the files called `gone` are removed, with folders that are empty without them. `items` are relative paths with their content. Folders are made where needed. Raises WriteError, with
    nothing renamed and no new folder left, when any of them cannot be laid down.
    """
    laid: list[tuple[str, Path]] = []
    made: list[Path] = []
    done = False
    try:
        for name, data in items:
            target = Path(os.path.realpath(Path(folder) / name))
            where = Location(os.fspath(Path(folder) / name))
            try:
                made += _make_folders(target.parent)
                laid.append((_lay_beside(target, data), target))
            except (OSError, ValueError) as error:
                raise WriteError(_reason(error, "written"), where) from None
        for temporary, target in laid:
            try:
                os.replace(temporary, target)
            except OSError as error:
                raise WriteError(_reason(error, "written"), Location(os.fspath(target))) from None
        for name in gone:
            _remove(Path(folder), name)
        for parent in {target.parent for _, target in laid}:
            _sync_folder(parent)
        done = True
    finally:
        for temporary, _ in laid:
            with contextlib.suppress(FileNotFoundError):
                os.unlink(temporary)
        for new in reversed(made if not done else []):
            with contextlib.suppress(OSError):  # not empty: something was renamed into it
                new.rmdir()


def _remove(folder: Path, name: str) -> None:
    target = folder / name
    try:
        target.unlink(missing_ok=True)
        for parent in target.parents:
            if parent == folder or not parent.is_dir() or any(parent.iterdir()):
                break
            parent.rmdir()
    except OSError as error:
        raise WriteError(_reason(error, "removed"), Location(os.fspath(target))) from None


@contextlib.contextmanager
def writing(folder: str | os.PathLike[str], names: Sequence[str]) -> Iterator[list[BinaryIO]]:
    """Files below `folder`, open for writing piece by piece; all get their names when the block ends well.

    Folders are made where needed. Raises WriteError, and leaves nothing new behind, when any cannot be written;
    so does any other error in the block.
    """
    laid: list[tuple[str, Path, int, BinaryIO]] = []
    made: list[Path] = []
    where = Location(os.fspath(folder))
    try:
        for name in names:
            where = Location(os.fspath(Path(folder) / name))
            try:
                target = Path(os.path.realpath(Path(folder) / name))
                made += _make_folders(target.parent)
                handle, temporary, mode = _beside(target)
            except (OSError, ValueError) as error:
                raise WriteError(_reason(error, "written"), where) from None
            laid.append((temporary, target, mode, open(handle, "wb")))  # noqa: SIM115
        try:
            yield [stream for *_, stream in laid]
            for temporary, _, mode, stream in laid:
                stream.flush()
                os.fsync(stream.fileno())
                stream.close()
                os.chmod(temporary, mode)
            for temporary, target, *_ in laid:
                os.replace(temporary, target)
        except OSError as error:
            raise WriteError(_reason(error, "written"), where) from None
        for parent in {target.parent for _, target, *_ in laid}:
            _sync_folder(parent)
        made = []
    finally:
        for temporary, _, _, stream in laid:
            with contextlib.suppress(OSError):  # a full disk has been reported above
                stream.close()
            with contextlib.suppress(FileNotFoundError):
                os.unlink(temporary)
        for new in reversed(made):
            with contextlib.suppress(OSError):  # not empty: something was renamed into it
                new.rmdir()


def _make_folders(folder: Path) -> list[Path]:
    """Make a folder and those above it; returns the new ones, the highest first."""
    missing = [path for path in (folder, *folder.parents) if not path.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    return missing[::-1]


def _beside(target: Path) -> tuple[int, str, int]:
    """A new file beside a target: its handle and name, and the permissions that the target shall have."""
    if target.is_dir():
        raise IsADirectoryError(21, "a folder")
    if target.exists() and not target.is_file():
        raise ValueError("this is a device or pipe; write to a file, or to '-' for standard output")
    mode = stat.S_IMODE(target.stat().st_mode) if target.exists() else 0o666 & ~_umask()
    handle, temporary = tempfile.mkstemp(prefix=".chanbridge-", dir=target.parent)
    return handle, temporary, mode


def _lay_beside(target: Path, data: bytes) -> str:
    handle, temporary, mode = _beside(target)
    try:
        with open(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(handle)
        os.chmod(temporary, mode)
    except BaseException:
        os.unlink(temporary)
        raise
    return temporary


def _umask() -> int:
    current = os.umask(0o077)
    os.umask(current)
    return current


def _sync_folder(folder: Path) -> None:
    if hasattr(os, "O_DIRECTORY"):  # a rename is safe on disk once its folder is
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _reason(error: Exception, verb: str) -> str:
    match error:
        case FileNotFoundError():
            return "there is no such file; check the name and the folder"
        case PermissionError():
            return f"this may not be {verb if verb != 'read' else 'opened'}; check its permissions"
        case IsADirectoryError():
            return "there is a folder of this name; choose another name"
        case NotADirectoryError() | FileExistsError():
            return "a file stands where a folder is needed; choose another name"
        case OSError():
            return f"cannot be {verb}: {(error.strerror or str(error)).lower()}"
    return f"cannot be {verb}: {error}"
