"""Late changes as people say them, and what they ask for."""

from __future__ import annotations

import re
from typing import NamedTuple

from chanbridge.errors import ChanbridgeError, close_to


class AmendError(ChanbridgeError):
    """A late change that is not understood, or cannot be made."""


class Asked(NamedTuple):
    """What was said: `what` is one of move, rename, add, remove, swap, phantom, note.

    `who` is how the channel was named, `other` the rest: a socket, a new name, another channel, "on" or "off", a text.
    `transducer` is what an added channel is miked with.
    """

    what: str
    who: str
    other: str = ""
    transducer: str = ""


class Form(NamedTuple):
    """One way to say something: how it looks, an example, and the pattern that knows it."""

    what: str
    looks: str
    example: str
    pattern: re.Pattern[str]


def _form(what: str, looks: str, example: str, pattern: str) -> Form:
    return Form(what, looks, example, re.compile(rf"\s*{pattern}\s*", re.IGNORECASE | re.DOTALL))


_WHO = r"(?P<who>\S.*?)"
_OTHER = r"(?P<other>\S.*?)"
_SOCKET = r"(?P<other>\S{1,20}(?:\s+\d{1,4})?)"

FORMS = (
    _form("rename", "rename NAME to NEW", "rename Oboe to Flute", rf"rename\s+{_WHO}\s+(?:to|as)\s+{_OTHER}"),
    _form(
        "add",
        "add NAME at SOCKET [with MIC]",
        "add Harp at A12 with small condenser",
        rf"add\s+{_WHO}\s+(?:at|on|to)\s+{_SOCKET}(?:\s*,?\s+with\s+(?P<transducer>\S.*?))?",
    ),
    _form("remove", "remove NAME", "remove Oboe", rf"(?:remove|drop|cut)\s+{_WHO}"),
    _form("swap", "swap NAME and NAME", "swap Ana and Jonas", rf"swap\s+{_WHO}\s+(?:and|with)\s+{_OTHER}"),
    _form(
        "phantom",
        "phantom on|off for NAME",
        "phantom off for Ana",
        rf"(?:phantom|48\s?v)\s+(?P<other>on|off)\s+(?:for|at|on)\s+{_WHO}",
    ),
    _form("note", "note NAME: TEXT", "note Ana: second cable at the riser", rf"note\s+{_WHO}\s*:\s*{_OTHER}"),
    _form("move", "NAME to SOCKET", "Ana to B12", rf"(?:move\s+)?{_WHO}\s+(?:to|->|→)\s+{_SOCKET}"),
)
"""Every way to say a late change, the first that fits counts; NAME may stand in quotes."""

_STARTS = {
    "rename": "rename",
    "add": "add",
    "remove": "remove",
    "drop": "remove",
    "cut": "remove",
    "swap": "swap",
    "phantom": "phantom",
    "note": "note",
    "move": "move",
}


LONGEST = 300
"""Characters of a late change: far more than anybody says in one breath."""


def understand(said: str) -> Asked:
    """What a line asks for. Raises AmendError with the nearest form where no form fits."""
    text = " ".join(said.split())
    if len(text) > LONGEST:
        raise AmendError(f"this has {len(text):,} characters; say one change in at most {LONGEST}")
    for form in FORMS:
        found = form.pattern.fullmatch(text)
        if found:
            parts = {name: _plain(part) for name, part in found.groupdict().items() if part}
            return Asked(form.what, **parts)
    raise AmendError(f"{said!r} is not understood; {_advice(text)}")


def help_text() -> str:
    """The grammar, a line each."""
    wide = max(len(form.looks) for form in FORMS)
    return "\n".join(f"{form.looks:<{wide}}   {form.example}" for form in FORMS)


def _plain(text: str) -> str:
    """A part without the quotes that someone put around it."""
    if len(text) > 1 and text[0] + text[-1] in ('""', "''", "“”", "„“", "«»"):
        return text[1:-1].strip()
    return text


def misspelt(said: str) -> str:
    """The word that a line may have been meant to begin with, where it begins with none but nearly; else ""."""
    first, _, rest = " ".join(said.lower().split()).partition(" ")
    named = first in _STARTS or not rest or rest.startswith(("to ", "-> ", "→ "))
    return "" if named else close_to(first, _STARTS)


def _advice(text: str) -> str:
    first = text.split(" ")[0].lower() if text else ""
    near = close_to(first, _STARTS) if len(first) > 2 else ""
    form = next((form for form in FORMS if near and form.what == _STARTS[near]), None)
    if form is None:
        form = FORMS[-1] if re.search(r"\b(to|at|in|on|into)\b|->", text) else None
    if form is None:
        return "say it as one of: " + "; ".join(each.looks for each in FORMS)
    return f'say {form.looks}, for example "{form.example}"'
