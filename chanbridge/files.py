"""The one module that opens and writes files."""

from __future__ import annotations

import contextlib
import errno
import os
import re
import shutil
import stat
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator, Sequence
from io import BufferedIOBase
from pathlib import Path
from typing import BinaryIO

from chanbridge.errors import Location, ReadError, WriteError, close_to

LARGEST = 256 * 1024 * 1024
"""Bytes; a sheet larger than this is refused before it is read."""

PATIENCE = 30.0
"""Seconds for which a writer waits for another one that writes into the same folder."""


def read_bytes(path: str | os.PathLike[str], largest: int = LARGEST) -> bytes:
    """The content of a regular file.

    Raises ReadError for anything else (a folder, a pipe, a device), for a file larger than `largest`
    bytes, and for one that changes while it is being read. Never waits for a pipe's other end.
    """
    where = Location(os.fspath(path))
    handle, before = _opened(path, largest)
    with open(handle, "rb") as stream:
        try:
            data = stream.read(largest + 1)
        except OSError as error:
            raise ReadError(_reason(error, "read"), where) from None
        after = os.fstat(handle)
    _demand_unchanged(where, before, after, len(data))
    return data


@contextlib.contextmanager
def reading(path: str | os.PathLike[str]) -> Iterator[BufferedIOBase]:
    """A regular file of any size, open for reading piece by piece, from any place.

    Raises ReadError for anything else, and at the end where the file changed meanwhile.
    """
    handle, before = _opened(path, None)
    with open(handle, "rb") as stream:
        yield stream
        after = os.fstat(handle)
    _demand_unchanged(Location(os.fspath(path)), before, after, after.st_size)


def _demand_unchanged(where: Location, before: os.stat_result, after: os.stat_result, read: int) -> None:
    if (before.st_size, before.st_mtime_ns, read) != (after.st_size, after.st_mtime_ns, after.st_size):
        raise ReadError("this file changed while it was being read; close it elsewhere and try again", where)


def _opened(path: str | os.PathLike[str], largest: int | None) -> tuple[int, os.stat_result]:
    """A regular file, open for reading, and what is known of it; `largest`: bytes of a sheet, None for any file."""
    where = Location(os.fspath(path))
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except FileNotFoundError:
        raise ReadError(no_such(path), where) from None
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        raise ReadError(_reason(error, "read"), where) from None
    found = os.fstat(handle)
    wrong = _no_sheet(found, found.st_size if largest is None else largest)
    if wrong:
        os.close(handle)
        raise ReadError(wrong.replace("sheet", "file") if largest is None else wrong, where)
    return handle, found


def no_such(path: str | os.PathLike[str]) -> str:
    """What to say of a file that is not there: the folder that is missing on the way to it, and the nearest name."""
    missing = Path(path)
    try:
        while not missing.parent.is_dir():
            missing = missing.parent
        near = close_to(missing.name, sorted(entry.name for entry in missing.parent.iterdir()))
    except (OSError, ValueError):  # a folder that may not be listed, a name that no file can have
        near = ""
    what = "there is no such file" if missing == Path(path) else f"there is no folder {str(missing)!r}"
    return f"{what}; did you mean {near!r}?" if near else f"{what}; check the name and the folder"


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

    Then the files called `gone` are removed, with folders that are empty without them. `items` are relative paths with
    their content. Folders are made where needed; a new `folder` appears with all that belongs into it. Two who write
    several files into one folder wait for each other. Raises WriteError, with nothing renamed and no new folder left,
    when any of them cannot be laid down, or another writes for longer than `PATIENCE`.
    """
    files = list(items)
    if _new_folder(Path(folder), files):
        return
    laid: list[tuple[str, Path]] = []
    made: list[Path] = []
    where = Location(os.fspath(folder))
    with contextlib.ExitStack() as held:
        try:
            targets = []
            for name, data in files:
                where = Location(os.fspath(Path(folder) / name))
                targets.append((Path(os.path.realpath(Path(folder) / name)), where, data))
                made += _make_folders(targets[-1][0].parent)
            alone = os.path.realpath(folder) if len(files) > 1 else ""
            for parent in sorted({*(str(target.parent) for target, *_ in targets), *filter(None, [alone])}):
                where = Location(parent)
                held.enter_context(holding(parent, alone=parent == alone))
            for target, place, data in targets:
                where = place
                laid.append((_lay_beside(target, data), target))
            for temporary, target in laid:
                where = Location(os.fspath(target))
                os.replace(temporary, target)
            for name in gone:
                where = Location(os.fspath(Path(folder) / name))
                _remove(Path(folder), name)
            for parent in {str(target.parent) for _, target in laid}:
                _sync_folder(parent)
            made = []
        except (OSError, ValueError) as error:
            raise WriteError(_reason(error, "written"), where) from None
        finally:
            _clear(laid, made)


def _clear(laid: Iterable[tuple[str, Path]], made: Sequence[Path]) -> None:
    """Remove what was laid down and has not got its name, and new folders that nothing stands in."""
    for temporary, _ in laid:
        with contextlib.suppress(OSError):  # it has its name; if not, the next run sweeps it away
            os.unlink(temporary)
    for new in reversed(made):
        with contextlib.suppress(OSError):  # not empty: something was renamed into it
            new.rmdir()


def _new_folder(folder: Path, files: Sequence[tuple[str, bytes]]) -> bool:
    """Write files into a folder that is not there yet, which appears when all of them are in it; False if it is there."""
    if os.path.lexists(folder) or len(files) < 2 or any(".." in Path(name).parts for name, _ in files):
        return False
    made: list[Path] = []
    temporary = ""
    where = Location(os.fspath(folder))
    with contextlib.ExitStack() as held:
        try:
            made = _make_folders(folder.parent)
            held.enter_context(holding(str(folder.parent)))
            temporary = tempfile.mkdtemp(prefix=PREFIX, dir=folder.parent)
            for name, data in files:
                where = Location(os.fspath(folder / name))
                target = Path(temporary, name)
                target.parent.mkdir(parents=True, exist_ok=True)
                _fill(target, data)
            for parent in {str(Path(temporary, name).parent) for name, _ in files}:
                _sync_folder(parent)
            where = Location(os.fspath(folder))
            os.chmod(temporary, os.stat(temporary).st_mode & 0o7000 | 0o777 & ~_umask())
            os.rename(temporary, folder)
            _sync_folder(str(folder.parent))
            made = []
            return True
        except (OSError, ValueError) as error:
            if os.path.lexists(folder):
                return False  # someone made it meanwhile
            raise WriteError(_reason(error, "written"), where) from None
        finally:
            if temporary:
                shutil.rmtree(temporary, ignore_errors=True)  # nothing, once it has its name
            _clear([], made)


PREFIX = ".chanbridge-"
_LEFT_BEHIND = re.compile(rf"{re.escape(PREFIX)}[a-z0-9_]{{8}}(-wal|-shm|-journal)?")
"""Files and folders of ours that have not got their names yet."""


@contextlib.contextmanager
def holding(folder: str, *, alone: bool = False) -> Iterator[None]:
    """Hold a folder while files are laid into it, alone or with others who lay down files of theirs.

    What a run that was ended left behind is removed first, where nobody else holds it. Raises WriteError where another
    writes for longer than `PATIENCE`. Without locks, as on some file systems, nothing is held or removed.
    """
    if sys.platform == "win32":
        yield
        return
    import fcntl

    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    end = time.monotonic() + PATIENCE

    def locked(kind: int) -> bool:
        try:
            fcntl.flock(handle, kind | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True

    try:
        try:
            first = locked(fcntl.LOCK_EX)
            if first:
                _sweep(folder)
            while not (first and alone) and not locked(fcntl.LOCK_EX if alone else fcntl.LOCK_SH):
                if time.monotonic() > end:
                    raise WriteError("someone else is writing into this folder; try again", Location(folder))
                time.sleep(0.02)
        except OSError as error:
            if error.errno not in _NO_LOCKS:
                raise
        yield
    finally:
        os.close(handle)


_NO_LOCKS = (errno.ENOLCK, errno.EOPNOTSUPP, errno.ENOSYS, errno.EINVAL, errno.EBADF)
"""What file systems answer that have no locks, or none on folders."""


def _sweep(folder: str) -> None:
    """Remove what a run that was ended left behind. What cannot be removed is in nobody's way."""
    for entry in os.scandir(folder):
        if _LEFT_BEHIND.fullmatch(entry.name):
            with contextlib.suppress(OSError):
                (shutil.rmtree if entry.is_dir(follow_symlinks=False) else os.unlink)(entry.path)


def _remove(folder: Path, name: str) -> None:
    """Remove a file, and folders that are empty without it."""
    target = folder / name
    target.unlink(missing_ok=True)
    for parent in target.parents:
        if parent == folder or not parent.is_dir() or any(parent.iterdir()):
            break
        parent.rmdir()


@contextlib.contextmanager
def writing(folder: str | os.PathLike[str], names: Sequence[str]) -> Iterator[list[BinaryIO]]:
    """Files below `folder`, open for writing piece by piece; all get their names when the block ends well.

    Folders are made where needed. Raises WriteError, and leaves nothing new behind, when any cannot be written;
    so does any other error in the block.
    """
    laid: list[tuple[str, Path, int, BinaryIO]] = []
    made: list[Path] = []
    where = Location(os.fspath(folder))
    with contextlib.ExitStack() as held:
        try:
            try:
                targets = []
                for name in names:
                    where = Location(os.fspath(Path(folder) / name))
                    targets.append(Path(os.path.realpath(Path(folder) / name)))
                    made += _make_folders(targets[-1].parent)
                for parent in sorted({str(target.parent) for target in targets}):
                    held.enter_context(holding(parent))
                for target in targets:
                    where = Location(os.fspath(target))
                    handle, temporary, mode = _beside(target)
                    laid.append((temporary, target, mode, open(handle, "wb")))  # noqa: SIM115
            except ValueError as error:
                raise WriteError(_reason(error, "written"), where) from None
            yield [stream for *_, stream in laid]
            for temporary, target, mode, stream in laid:
                where = Location(os.fspath(target))
                stream.flush()
                os.fsync(stream.fileno())
                stream.close()
                os.chmod(temporary, mode)
            for temporary, target, *_ in laid:
                os.replace(temporary, target)
            for parent in {str(target.parent) for _, target, *_ in laid}:
                _sync_folder(parent)
            made = []
        except OSError as error:
            raise WriteError(_reason(error, "written"), where) from None
        finally:
            for *_, stream in laid:
                with contextlib.suppress(OSError):  # a full disk has been reported above
                    stream.close()
            _clear([(temporary, target) for temporary, target, *_ in laid], made)


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
    handle, temporary = tempfile.mkstemp(prefix=PREFIX, dir=target.parent)
    return handle, temporary, mode


def _fill(new: int | Path, data: bytes) -> None:
    with open(new, "wb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())


def _lay_beside(target: Path, data: bytes) -> str:
    handle, temporary, mode = _beside(target)
    try:
        _fill(handle, data)
        os.chmod(temporary, mode)
    except BaseException:
        os.unlink(temporary)
        raise
    return temporary


def _umask() -> int:
    current = os.umask(0o077)
    os.umask(current)
    return current


def _sync_folder(folder: str) -> None:
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
        case NotADirectoryError() if verb == "read":
            return "a file stands where this name has a folder; check the name"
        case NotADirectoryError() | FileExistsError():
            return "a file stands where a folder is needed; choose another name"
        case OSError():
            advice = _ADVICE.get(error.errno or 0, "")
            return f"cannot be {verb}: {(error.strerror or str(error)).lower()}{advice}"
    return f"cannot be {verb}: {error}"


_ADVICE = {  # how to mend what a system says
    **dict.fromkeys((errno.ENOSPC, errno.EDQUOT), "; make room, or write somewhere else"),
    **dict.fromkeys((errno.EFBIG, errno.EROFS), "; write somewhere else"),
    errno.ENAMETOOLONG: "; choose a shorter one",
    errno.ELOOP: ": links lead in a circle; name the file itself",
    errno.EIO: ": the disk is failing or was taken away; use another one",
}
