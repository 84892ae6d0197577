"""Letters that the fonts of the paper have not: spelled out and reported, never printed as an empty box.

Typst is asked itself: exporting to PDF/A refuses a letter that no font has (ISO 19005 forbids the glyph that
stands for a missing one).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import cache

from chanbridge.handover.press import UnprintableError, press

_JOINERS = "\u200c\u200d"  # zero-width joiners shape letters of some scripts
_KNOWN = frozenset(
    chr(code) for code in (*range(0x20, 0x250), *range(0x370, 0x530)) if chr(code).isprintable()
)
"""Latin, Greek and Cyrillic letters and signs, all in the sans that comes with the package; a test asks typst."""


class Letters:
    """Which letters can be printed, with the package's fonts and those in the folders named."""

    def __init__(self, fonts: Sequence[str] = ()) -> None:
        self.fonts = tuple(fonts)
        self.lacking: set[str] = set()

    def learn(self, texts: Iterable[str]) -> None:
        """Find out about every letter in these texts."""
        letters = {letter for text in texts if not text.isascii() for letter in text}
        unsure = sorted(letter for letter in letters - _KNOWN - self.lacking if letter.isprintable())
        self.lacking |= _lacking(tuple(unsure), self.fonts)

    def printed(self, texts: Sequence[str], make: Callable[[], bytes]) -> bytes:
        """What `make` makes of these texts. Where letters cannot be printed together that can be printed alone,
        all that is out of the ordinary is spelled out.
        """
        self.learn(texts)
        try:
            return make()
        except UnprintableError:
            self.lacking |= {letter for text in texts for letter in text} - _KNOWN
            return make()

    def spelled(self, text: str) -> str:
        """The text as it can be printed: `漢字` becomes `[U+6F22 U+5B57]`, line breaks and tabs become blanks."""
        if text.isascii() and text.isprintable():
            return text
        out: list[str] = []
        run: list[str] = []
        for letter in " ".join(text.split("\n")):
            if self._prints(letter):
                if run:
                    out.append(f"[{' '.join(run)}]")
                    run = []
                out.append(" " if letter.isspace() else letter)
            else:
                run.append(f"U+{ord(letter):04X}")
        if run:
            out.append(f"[{' '.join(run)}]")
        return "".join(out)

    def _prints(self, letter: str) -> bool:
        plain = letter.isprintable() or letter in _JOINERS or letter in "\t\r\u00a0\u2009\u202f"
        return plain and letter not in self.lacking


@cache
def _lacking(letters: tuple[str, ...], fonts: tuple[str, ...]) -> frozenset[str]:
    """Those of the letters that no font has, found by halving."""
    if not letters:
        return frozenset()
    try:
        press("letters.typ", {"text": " ".join(letters)}, fonts)
    except UnprintableError:
        if len(letters) == 1:
            return frozenset(letters)
        half = len(letters) // 2
        return _lacking(letters[:half], fonts) | _lacking(letters[half:], fonts)
    return frozenset()
