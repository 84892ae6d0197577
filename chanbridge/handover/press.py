"""Typst templates of the package and plain data make PDFs. Typst is imported on use."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, cast

from chanbridge.errors import Location, ReadError, WriteError

if TYPE_CHECKING:
    import typst


class UnprintableError(Exception):
    """The data hold a letter that no font has."""


def press(template: str, data: Mapping[str, Any], fonts: Sequence[str] = ()) -> bytes:
    """The PDF/A-2 of a template with data, which it finds as JSON in `sys.inputs.data`.

    No user's text is typst code. `fonts`: folders with more fonts. The same bytes for the same data.
    Raises UnprintableError.
    """
    import typst

    compiler = typst.Compiler(
        _template(template),
        root=os.path.dirname(__file__),
        font_paths=_fonts(tuple(fonts)),
        ignore_system_fonts=True,
        sys_inputs={"data": json.dumps(data, ensure_ascii=False)},
    )
    try:
        made = compiler.compile(format="pdf", pdf_standards="a-2u", timestamp=0)
    except typst.TypstError as error:
        if "could not be displayed" in str(error):
            raise UnprintableError(str(error)) from None
        raise WriteError(f"the page cannot be set: {error}") from error
    return cast(bytes, made)  # one document, for it is a PDF


@cache
def _template(name: str) -> bytes:
    return files("chanbridge.handover").joinpath(name).read_bytes()


@cache
def _fonts(more: tuple[str, ...]) -> typst.Fonts:
    """The sans of the package fontpkg-noto-sans, then those in the folders named, then those inside typst."""
    import fontpkg_noto_sans
    import typst

    for path in more:
        if not os.path.isdir(path):
            raise ReadError("there is no such folder; name the folder that the fonts lie in", Location(path))
    own = os.path.join(fontpkg_noto_sans.ROOT, "files")
    return typst.Fonts(include_system_fonts=False, font_paths=[own, *more])
