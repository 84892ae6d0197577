"""What a single cell says: numbers, sockets, sides, yes and no."""

from __future__ import annotations

import math
import re
from typing import Literal, NamedTuple

from chanbridge.model import MOST_SLOTS, Permission, Side
from chanbridge.names import Vocabulary, any_of, fold

_ONE = r"0*(\d{1,6})(?:[.,]0+)?"
_CALLED = (
    r"(?:(?:ch|chan|channel|chnl|in|inp|input|slot|track|trk|line|no|nr|nº|n°|kanal|kan|spur|canal|voie|tranche|piste|"
    r"entrada|pista|canale|ingresso|traccia|kanaal|spoor|ingang)\.?\s*)?(?:#\s*)?"
)
_NUMBER = re.compile(rf"{_CALLED}{_ONE}\.?", re.IGNORECASE)
_LIST = re.compile(
    _CALLED + r"\d{1,4}(?:(?:\s*[-–—+/&,;]\s*|\s+(?:to|bis|and|und|et|y|e|en|a|à)\s+)\d{1,4})+",
    re.IGNORECASE,
)
_SOCKET = re.compile(r"(?P<box>.*[^\W\d_]|.*\d(?=[-–_.:/ ]))?\s*[-–_.:/ #]?\s*(?P<number>\d{1,4})", re.DOTALL)
_FLOAT = re.compile(r"\s*([+\-−–]?\s*\d+(?:[.,]\d+)?(?:e[+-]?\d+)?)\s*(?:db)?\s*", re.IGNORECASE)


LONGEST = 200
"""A cell of more characters is no number and no name with a side: patterns are not tried on it."""


class Numbers(NamedTuple):
    """The whole numbers that a cell stands for. `repaired`: it was not written as plain digits."""

    values: tuple[int, ...]
    repaired: bool


def numbers(text: str) -> Numbers | None:
    """Read `7`, `07`, `7.0`, `Ch 7`, `19-20`, `9 + 10`, `1/2`, `1-2-3-4`; None where it is no number.

    `1-4` is a range; three or more numbers, or numbers joined by another sign, are just those numbers.
    """
    text = text.strip()
    if text.isascii() and text.isdigit() and len(text) <= 6:
        value = int(text)
        return Numbers((value,), False) if 0 < value <= MOST_SLOTS else None
    if len(text) > LONGEST:
        return None
    found = _NUMBER.fullmatch(text)
    if found:
        value = int(found[1])
        return Numbers((value,), bool(re.search(r"[.,]0", text))) if 0 < value <= MOST_SLOTS else None
    if _LIST.fullmatch(text):
        each = [int(part) for part in re.findall(r"\d+", text)]
        if len(each) == 2 and not re.search(r"[+&,;/]|and|und|et|\by\b|\be\b|\ben\b", text, re.IGNORECASE):
            first, last = each
            if not 0 < first < last <= first + 255:
                return None
            each = list(range(first, last + 1))
        if each == sorted(set(each)) and each[0] > 0:
            return Numbers(tuple(each), False)
    return None


def plain_number(text: str) -> Numbers | None:
    """Read digits and nothing else, however many."""
    digits = text.strip()
    value = int(digits) if digits.isascii() and digits.isdigit() and len(digits) < 9 else 0
    return Numbers((value,), False) if 0 < value <= MOST_SLOTS else None


class Socket(NamedTuple):
    """A numbered socket; `box` is "" where the cell does not name one."""

    box: str
    number: int


def sockets(text: str, two: bool = False) -> tuple[Socket, ...] | None:
    """Read `A16`, `A-16`, `BX2-01`, `SL 16`, `2.07`, `16`, `A1/A2`; None where it is no socket.

    `two`: the row stands for two channels, so that `A13-14` are two sockets and not one of box A13.
    """
    text = text.strip()
    one = _socket(text)
    bare = re.fullmatch(r"0*(\d{1,3})\s*[-–]\s*0*(\d{1,4})", text)
    if bare and not two and int(bare[2]):
        # Box 1, socket 2: two sockets only where the row is two channels.
        return (Socket(bare[1], int(bare[2])),)
    if one and not two:
        return (one,)
    parts = re.split(r"\s*[/+&,;–-]\s*", text)
    if len(parts) == 2:
        first, second = _socket(parts[0]), _socket(parts[1])
        if first and second and second.box in ("", first.box) and second.number == first.number + 1:
            return (first, Socket(first.box, second.number))
    return (one,) if one else None


def _socket(text: str) -> Socket | None:
    if len(text) > 40:
        return None
    whole = re.fullmatch(r"0*(\d{1,4})(?:\.0+)?", text)
    if whole:
        return Socket("", int(whole[1])) if int(whole[1]) else None
    if re.fullmatch(r"\d+\s*[-–/+&,]\s*\d+", text) and not re.fullmatch(r"\d+[-–]0\d+", text):
        return None  # two numbers, not a box and its socket
    found = _SOCKET.fullmatch(text)
    if not found or not found["box"] or not int(found["number"]):
        return None
    box = re.sub(r"[\s\-–_.:/#]+$", "", found["box"])
    if not box or len(box.split()) > 3 or re.search(r"[;,+&()]|/", box):
        return None
    return Socket(box, int(found["number"]))


def decibels(text: str) -> float | None:
    """Read `17.5`, `-20 dB`, `+4`, `12,5`; None where it is no number, or beyond all that a number can be."""
    found = _FLOAT.fullmatch(text) if len(text) <= LONGEST else None
    if not found:
        return None
    value = float(re.sub(r"[\s]", "", found[1]).replace(",", ".").replace("−", "-").replace("–", "-"))
    return value if math.isfinite(value) else None


def is_nothing(text: str, vocabulary: Vocabulary) -> bool:
    """Whether a name says that there is none: blank, `-`, `n/c`, `spare`, `--- spare ---`, `Empty (wire used for …)`."""
    folded = fold(text)
    if not folded or folded in vocabulary.values["nothing"]:
        return True
    if folded.strip("-–—*_=~<>[] ") in vocabulary.values["nothing"]:
        return True  # dressed up to be seen
    head = re.match(r"([^(:,–—]+?)\s*(?:([(])|[:,–—]|\s-\s)", folded)
    topic = "nothing" if head and head[2] else "nothing_because"
    return bool(head and head[1] in vocabulary.values[topic])


def phantom(text: str, vocabulary: Vocabulary) -> Literal["on", "off", "optional"] | None:
    """Whether phantom is on, off or optional; None where the words are not understood."""
    word, values = fold(text), vocabulary.values
    if word in values["phantom_optional"]:
        return "optional"
    if word in values["phantom_on"] or word in values["yes"]:
        return "on"
    return "off" if word in values["no"] else None


def polarity(text: str, vocabulary: Vocabulary) -> Literal["normal", "reversed"] | None:
    """Whether polarity is normal or reversed; None where the words are not understood."""
    word, values = fold(text), vocabulary.values
    if word in values["polarity_normal"]:
        return "normal"
    return "reversed" if word in values["polarity_reversed"] else None


def yes_or_no(text: str, vocabulary: Vocabulary) -> bool | None:
    """True, False, or None where the words are not understood."""
    word = fold(text)
    return True if word in vocabulary.values["yes"] else False if word in vocabulary.values["no"] else None


def permission(text: str, vocabulary: Vocabulary) -> Permission | None:
    """Read `NOT FOR AIR`, `FOR AIR`, `yes`, `no`; None where the words are not understood."""
    word = fold(text)
    if re.match(
        r"(not|never|nicht|pas|no|non|niet) (for|allowed|on|fur|pour|para|per|voor)\b|not allowed", word
    ):
        return "not allowed"
    if re.match(r"for |allowed", word):
        return "allowed"
    found = yes_or_no(text, vocabulary)
    return None if found is None else "allowed" if found else "not allowed"


class Sided(NamedTuple):
    """A name without its side. `sure`: L and R mean sides everywhere; other letters need their partner."""

    stem: str
    side: Side
    sure: bool


_SIDE_AT_END = re.compile(
    r"(?P<stem>.*?\S)(?P<gap>[\s\-–_./,]+|\s*[(\[])(?P<word>[^\W\d_]+)\s*[)\]]?\s*", re.DOTALL
)
_SIDE_AT_START = re.compile(r"(?P<word>[^\W\d_]+)[\s\-–_./]+(?P<stem>\S.*)", re.DOTALL)
_SURE = frozenset(
    (
        "l",
        "r",
        "left",
        "right",
        "links",
        "rechts",
        "gauche",
        "droite",
        "izq",
        "sinistra",
        "destra",
        "izquierda",
        "derecha",
    )
)


def side_word(text: str, vocabulary: Vocabulary) -> Side | None:
    """The side that a word stands for, or None."""
    word = fold(text)
    sides: tuple[Side, ...] = ("left", "right", "mid", "side")
    return next((side for side in sides if word in vocabulary.values[side]), None)


def sided(name: str, vocabulary: Vocabulary) -> Sided | None:
    """Take the side off a name: `Keys L`, `KEYS (R)`, `Overhead left`, `Links Chor`; None where it has none."""
    if both_sides(name):
        return None
    if len(name) > LONGEST:
        return None
    for pattern in (_SIDE_AT_END, _SIDE_AT_START):
        found = pattern.fullmatch(name)
        side = side_word(found["word"], vocabulary) if found else None
        if found and side:
            sure = fold(found["word"]) in _SURE and pattern is _SIDE_AT_END
            return Sided(fold(found["stem"]), side, sure)
    return None


_BOTH = re.compile(
    r"(?P<stem>.*?)[\s\-–_.,(\[]*(?<![^\W\d_])(?:l\s*[/+&|-]\s*r|left\s*[/+&]\s*right|stereo|st\.?|links\s*[/+&]\s*rechts|g\s*/\s*d)(?![^\W\d_])\s*[)\]]?",
    re.IGNORECASE | re.DOTALL,
)


def both_sides(name: str) -> str | None:
    """The stem of a name for a whole pair (`Keys L/R`, `Keys (stereo)`), or None."""
    found = _BOTH.fullmatch(name.strip()) if len(name) <= LONGEST else None
    return found["stem"] if found else None


def is_stereo(name: str) -> bool:
    """Whether a name says that it is both sides (`Stereo mix`)."""
    return bool(re.match(r"stereo\b", fold(name)))


def roles(name: str, vocabulary: Vocabulary) -> tuple[str, str] | None:
    """What a name's words say about who may hear it: ("not for air" or "ambience", the word), or None."""
    for role, topic in (("not for air", "not_for_air"), ("ambience", "ambience")):
        found = any_of(vocabulary.roles[topic]).search(fold(name))
        if found:
            return role, found[0]
    return None


def meant_for(role: str, word: str, vocabulary: Vocabulary) -> tuple[tuple[str, ...], str | None]:
    """Who may not hear a channel with such a word in its name, as `roles` finds it, and the kind of channel it names."""
    closed = ("air", "room") if role == "not for air" else ("room",)
    topics = ("talkback", "playback") if role == "not for air" else ("ambience",)
    return closed, next((topic for topic in topics if word in vocabulary.roles[topic]), None)


def is_misleading(name: str, vocabulary: Vocabulary) -> bool:
    """Whether a name holds a word that makes a role word beside it doubtful (`Audience Q&A handheld`)."""
    return bool(any_of(vocabulary.roles["misleading"]).search(fold(name)))


def kind_of(text: str, vocabulary: Vocabulary) -> str | None:
    """The kind of channel that a cell such as `DI`, `Funk` or `Line` names, or None."""
    return vocabulary.kinds.get(fold(text))
