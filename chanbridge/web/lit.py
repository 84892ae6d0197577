"""The flow picture with one channel's way lit."""

from __future__ import annotations

import re
from collections.abc import Collection
from itertools import count

from chanbridge.handover.flow import WIDE, Flow

_WAY = re.compile(r'<path (?=[^>]*marker-end="url\(#tip\)")')
_CARD = re.compile(rf'<rect (?=[^>]*width="{WIDE:g}" height="[^"]*" rx=)')


def lit(flow: Flow, svg: str, steps: Collection[tuple[str, str]]) -> str:
    """The picture with what `steps` (from port to port) touch marked as class "lit", everything else as class "dim".

    Ways and cards stand in the picture in the order in which the flow has them.
    """
    ports = {port for step in steps for port in step}
    ways, cards = count(), count()

    def way(found: re.Match[str]) -> str:
        at = next(ways)
        if at >= len(flow.ways):
            return found[0]  # a cable, below the picture of the ways
        one = flow.ways[at]
        return f'<path class="{_class((one.start, one.end) in steps, steps)}" '

    def card(found: re.Match[str]) -> str:
        at = next(cards)
        return (
            f'<rect class="card {_class(flow.cards[at].id in ports, steps)}" '
            if at < len(flow.cards)
            else found[0]
        )

    return _CARD.sub(card, _WAY.sub(way, svg))


def _class(touched: bool, steps: Collection[tuple[str, str]]) -> str:
    return "" if not steps else "lit" if touched else "dim"
