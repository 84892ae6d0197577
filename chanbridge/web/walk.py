"""Where to walk when a channel does not arrive: what the destinations together say about the place of the fault."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from chanbridge.evening.steps import socket_text
from chanbridge.model import Slot
from chanbridge.web.linecheck import RED


def where_to_walk(
    ways: Mapping[str, Sequence[Slot]],
    said: Mapping[str, str],
    names: Mapping[str, str],
    other: str = "",
) -> str:
    """One sentence for whoever has good shoes, "" where nothing is wrong.

    `ways`: destination → the channel's slots from the first to the last. `said`: destination → result. `names`: id →
    name of destinations. `other`: the name and place of the channel that it is swapped with.
    """
    red = [at for at in ways if said.get(at) in (*RED, "conflict")]
    if not red:
        return ""
    fine = [at for at in ways if said.get(at) == "arrived"]
    conflict = [at for at in red if said[at] == "conflict"]
    if conflict:
        return (
            f"{_list(conflict, names)}: two people say two things; listen again there before anybody walks."
        )
    first = ways[red[0]][0]
    stage = f"{socket_text(first)}"
    results = {said[at] for at in red}
    if not fine:
        advice = _at_the_stage(results, stage, other)
        if len(red) == 1 and len(ways) > 1:
            only = names.get(red[0], red[0])
            return f"Only {only} has listened: ask another desk first. Where nobody has it right, {advice}"
        return advice[0].upper() + advice[1:]
    common = _last_shared(ways, red, fine)
    target = _list(red, names)
    good = _list(fine, names)
    if "swapped" in results and other:
        return f"Go to {target}: swapped with {other} only there, {good} has both right; look at the patch of that desk."
    after = next((slot for slot in ways[red[0]][common:]), ways[red[0]][-1])
    came = ways[red[0]][common - 1] if common else first
    way = f"between {_text(came)} and {_text(after)}" if came != after else f"at {_text(after)}"
    return f"Go to {target}: {good} has it, so {stage} and its cable are good; look {way}."


def _at_the_stage(results: set[str], stage: str, other: str) -> str:
    if results == {"swapped"}:
        return f"go to {stage}: its plug and that of {other or 'the other one'} may be crossed."
    if results == {"noisy"}:
        return f"go to {stage}, mute it, and look at the plug, the cable and the transducer."
    if results == {"wrong"}:
        return f"go to {stage}: something else is plugged there, or the box stands on another slot."
    return f"go to {stage}, mute it, and look at the transducer, the cable, the plug and phantom."


def _last_shared(ways: Mapping[str, Sequence[Slot]], red: Sequence[str], fine: Sequence[str]) -> int:
    """How many steps of the first red way are also on a way that is fine: the fault comes after them."""
    way = ways[red[0]]
    good = {slot for at in fine for slot in ways[at][:-1]}
    steps = 0
    while steps < len(way) and way[steps] in good:
        steps += 1
    return steps


def _text(slot: Slot) -> str:
    return f"{slot.port} {slot.number}"


def _list(ids: Sequence[str], names: Mapping[str, str]) -> str:
    said = [names.get(at, at) for at in ids]
    return said[0] if len(said) == 1 else f"{', '.join(said[:-1])} and {said[-1]}"
