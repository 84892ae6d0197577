"""What can go wrong, said so that the reader can mend it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple


class Location(NamedTuple):
    """A place in a file. Rows count from 1; a column is its heading, or "" for the whole row."""

    file: str = ""
    sheet: str = ""
    row: int | None = None
    column: str = ""

    def __str__(self) -> str:
        parts = (self.file, self.sheet, "" if self.row is None else str(self.row), self.column)
        return ":".join(part for part in parts if part)


class Problem(NamedTuple):
    """Something read that a person should know about; reading went on.

    `code` is one stable word or two joined by a hyphen; `message` quotes what stood there and says
    what was made of it.
    """

    where: Location
    code: str
    message: str

    def __str__(self) -> str:
        return f"{self.where}: {self.message}" if str(self.where) else self.message


LONGEST_LINE = 1000
"""Characters of one line of a message: what it quotes can be of any length."""


class ChanbridgeError(Exception):
    """Something could not be done. The text is a complete message for a person.

    `where` says in which file, row and column; it is the start of the text.
    """

    def __init__(self, message: str, where: Location | None = None) -> None:
        super().__init__(message, where)
        self.message = "\n".join(map(readable, message.split("\n")))
        self.where = where or Location()

    def __str__(self) -> str:
        return str(Problem(self.where, "", self.message))


def readable(line: str) -> str:
    """A line of a message; of a very long one the beginning and the end, which say what it is and how to mend it."""
    half = LONGEST_LINE // 2
    return line if len(line) <= LONGEST_LINE else f"{line[:half]} … {line[-half:]}"


class ReadError(ChanbridgeError):
    """A file could not be read or understood at all."""


class WriteError(ChanbridgeError):
    """Something could not be written; whatever was there before is still there."""


class ShowError(ChanbridgeError):
    """A show file says something that cannot be so."""


class ModeError(ChanbridgeError, ValueError):
    """A mode that AES10 does not have; a ValueError, so that a model's validation collects it."""


def close_to(said: str, there: Iterable[str]) -> str:
    """The nearest to a word of those there are, in any case of letters; "" where none is near."""
    from difflib import get_close_matches  # as slow as all else that --help needs

    folded = {name.casefold(): name for name in there}
    near = get_close_matches(said.casefold(), folded, 1, 0.55)
    return folded[near[0]] if near else ""


def meant(said: str, there: Iterable[str]) -> str:
    """The nearest of those there are, as the end of a message; "" where none is near."""
    near = close_to(said, there)
    return f"; did you mean {near!r}?" if near else ""


def nearest(said: str, there: Iterable[str], also: Iterable[str] = ()) -> str:
    """What could have been meant by a word that is not known: the nearest of those there are, else all of them.

    `also`: other words for them, which are not listed.

    >>> nearest("trukc", ["stream", "truck"]), nearest("harp", ["stream", "truck"])
    ("did you mean 'truck'?", 'there are stream, truck')
    """
    names = [*dict.fromkeys(there)]
    near = close_to(said, [*names, *also])
    if near:
        return f"did you mean {near!r}?"
    return f"there {'is only' if len(names) == 1 else 'are'} {', '.join(names) or 'none'}"


def unknown(thing: str, said: str, there: Iterable[str], also: Iterable[str] = ()) -> str:
    """That there is no such thing, and what could have been meant; `thing` is "" where nothing better fits.

    >>> unknown("recipient", "trukc", ["stream", "truck"])
    "there is no recipient 'trukc'; did you mean 'truck'?"
    """
    return f"there is no {f'{thing} ' if thing else ''}{said!r}; {nearest(said, there, also)}"
