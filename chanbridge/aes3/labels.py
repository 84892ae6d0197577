"""Channel names as labels of four characters, for the origin and destination in channel status."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator
from itertools import combinations, product
from string import ascii_lowercase

from chanbridge.aes3.status import LABEL_WIDTH
from chanbridge.names import SPELLED, fold, shorten

_LETTERS = str.maketrans(SPELLED)
_SIDES = {
    "l": "L", "left": "L", "links": "L", "gauche": "L", "r": "R", "right": "R", "rechts": "R", "droite": "R",
    "m": "M", "mid": "M", "s": "S", "side": "S",
}  # fmt: skip


def labels(names: Iterable[str]) -> list[str]:
    """A label for each name: at most 4 characters of ISO 646, no two alike whatever their case; "" stays "".

    The same names in the same order give the same labels. Sides and numbers at the end of a name are kept whole
    and the words before them shortened; where that is taken already, letters are changed until it is free.
    """
    taken: set[str] = set()
    out = []
    for name in names:
        label = (
            next(item for item in _candidates(name) if item.casefold() not in taken) if name.strip() else ""
        )
        if label:
            taken.add(label.casefold())
        out.append(label)
    return out


def _candidates(name: str) -> Iterator[str]:
    """Labels for a name, the best first; there is always one more."""
    words, ending = _parted(name)
    room = LABEL_WIDTH - len(ending)
    body = re.sub(r"[^A-Za-z0-9&+]", "", shorten(" ".join(words), room)) if room and words else ""
    yield (body + ending) or "?"
    letters = "".join(words)
    if room > 1 and len(letters) > room:  # the first letter with others of the name, in their order
        for others in combinations(letters[1:], room - 1):
            yield letters[0] + "".join(others) + ending
    for kept in (letters[:1] if room > 1 else "", ""):
        for made in product(ascii_lowercase, repeat=max(1, room - len(kept))):
            yield (kept + "".join(made) + ending)[-LABEL_WIDTH:] if room else made[0] + ending[1:]
    for made in product(ascii_lowercase, repeat=LABEL_WIDTH):
        yield "".join(made)


def _parted(name: str) -> tuple[list[str], str]:
    """A name's words in plain letters, and the sides and numbers at its end in one piece, at most 4 long."""
    plain = unicodedata.normalize("NFKD", name.translate(_LETTERS)).encode("ascii", "ignore").decode("ascii")
    parts = re.findall(r"[A-Za-z&+]+|\d+", plain)
    ending = ""
    while parts and (parts[-1].isdigit() or (fold(parts[-1]) in _SIDES and len(parts) > 1)):
        mark = parts[-1] if parts[-1].isdigit() else _SIDES[fold(parts[-1])]
        if len(mark) + len(ending) > LABEL_WIDTH:
            if ending:
                break
            mark = mark[-LABEL_WIDTH:]
        ending = mark + ending
        parts.pop()
    return parts, ending
