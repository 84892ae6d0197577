"""How places and channels are said to people."""

from __future__ import annotations

from collections.abc import Sequence

from chanbridge.model import Line
from chanbridge.names import counted


def place(line: Line) -> str:
    """Where a line's channel stands, for people: `slot 12, socket A3`."""
    parts = [slot_text(line)] if line.number else []
    parts += [f"socket {socket_text(line)}"] if line.socket else []
    return ", ".join(parts) or "no slot"


def slot_text(line: Line) -> str:
    """`slot 12`, or `no slot`."""
    return f"slot {line.number}" if line.number else "no slot"


def socket_text(line: Line) -> str:
    """Box and socket in one word: `A3`, or `Local 3` where the box's name is longer than two letters."""
    short = len(line.box) < 3 and not line.box[-1:].isdigit()
    return f"{shown(line.box)}{'' if short else ' '}{line.socket}".strip()


def shown(text: str) -> str:
    """A text of a sheet as one printable line: what a terminal would obey is shown by its code."""
    return "".join(letter if letter.isprintable() else repr(letter)[1:-1] for letter in text)


def socket_or_none(line: Line) -> str:
    """`socket A3`, or `no socket`."""
    return f"socket {socket_text(line)}" if line.socket else "no socket"


def name_of(line: Line) -> str:
    """The name of the channel on a line."""
    return line.channel.name if line.channel else ""


def called(line: Line) -> str:
    """The name in quotes."""
    return repr(name_of(line))


def through(names: Sequence[str]) -> str:
    """`8 channels, 'Kick' to 'Bells'`; up to three are named one by one."""
    if len(names) <= 3:
        return " and ".join(map(repr, names))
    return f"{counted(len(names), 'channel')}, {names[0]!r} to {names[-1]!r}"


def listed(names: Sequence[str]) -> str:
    """Every name in quotes."""
    return ", ".join(map(repr, names))


def steps(offset: int) -> str:
    """`2 higher`, `1 lower`."""
    return f"{abs(offset)} {'higher' if offset > 0 else 'lower'}"
