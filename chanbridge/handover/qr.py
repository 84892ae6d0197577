"""A fingerprint as a QR code."""

from __future__ import annotations

import io
from functools import cache


@cache
def qr_svg(text: str) -> str:
    """An SVG of the text in capitals, with a quiet border of four modules (ISO/IEC 18004 asks for it)."""
    import segno

    out = io.BytesIO()
    segno.make_qr(text.upper(), error="m").save(
        out, kind="svg", border=4, xmldecl=False, svgns=True, omitsize=True, nl=False, light="white"
    )
    return out.getvalue().decode("utf-8")
