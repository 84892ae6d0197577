"""Which channels of a sheet are two of a kind: by their Pair cells, by their notes, by their names."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from chanbridge.model import OTHER_SIDE, Side
from chanbridge.names import Vocabulary, fold
from chanbridge.sheets import values
from chanbridge.sheets.columns import PAIR_TEXT, side_of


@dataclass
class Pairing:
    """The channels of a sheet while their partners are looked for.

    `fields`: id → fields, changed in place. `numbers`: id → its slots. `boxes`: id → the port where it
    enters. `guess`: ids whose row does not settle the question, so that names may. `report` takes a channel's
    id, a code and a message.
    """

    words: Vocabulary
    fields: Callable[[str], dict[str, Any]]
    numbers: Mapping[str, Sequence[int]]
    boxes: Mapping[str, str]
    guess: list[str]
    report: Callable[[str, str, str], None]

    def __post_init__(self) -> None:
        self.holders: dict[int, list[str]] = {}
        for name, slots in self.numbers.items():
            for slot in slots:
                self.holders.setdefault(slot, []).append(name)

    def name(self, channel_id: str) -> str:
        """What a channel is called."""
        return str(self.fields(channel_id)["name"])

    def at(self, slot: int, other_than: str) -> str | None:
        """The channel that stands on a slot."""
        return next((name for name in self.holders.get(slot, ()) if name != other_than), None)

    def from_cell(self, channel_id: str, said: str, side_said: str, settled: bool) -> bool:
        """Take what the Pair and Side cells of a row say; False where the words are not understood.

        `settled`: the row is one of ours, so that a side without a partner has none.
        """
        channel = self.fields(channel_id)
        exact = PAIR_TEXT.fullmatch(said)
        if exact:
            partner = exact["id"]
            if exact["number"]:
                partner = self.at(int(exact["number"]), channel_id)
                if partner is None:
                    self.report(
                        channel_id,
                        "pair-half",
                        f"{channel['name']!r} is paired with slot {exact['number']}, where nothing else stands",
                    )
            channel["pair"] = {"with": partner, "side": side_of(exact["side"])}
            if partner is None and not exact["number"] and not settled:
                self.guess.append(channel_id)
            return True
        side = values.side_word(side_said or said, self.words)
        number = re.search(r"\d{1,4}", said)
        partner = self.at(int(number[0]), channel_id) if number else None
        if partner and number:
            side = side or ("left" if self._slot(channel_id) < int(number[0]) else "right")
            channel["pair"] = {"with": partner, "side": side}
            self.fields(partner).setdefault("pair", {"with": channel_id, "side": OTHER_SIDE[side]})
            return True
        if side:
            channel["pair"] = {"with": None, "side": side}
        self.guess.append(channel_id)
        known = (
            self.words.values["yes"] | self.words.values["no"] | self.words.values["stereo"] | {"mono", ""}
        )
        return side is not None or fold(said) in known

    def _slot(self, channel_id: str) -> int:
        return min(self.numbers.get(channel_id, (0,)))

    def from_notes(self) -> None:
        """Pair channels whose notes say so ("pair with 20"), and report each."""
        for channel_id in self.guess:
            channel = self.fields(channel_id)
            found = _NOTE.search(channel.get("notes", ""))
            partner = self.at(int(found[1]), channel_id) if found else None
            if not found or not partner or "pair" in channel:
                continue
            sided = values.sided(channel["name"], self.words)
            left = sided.side == "left" if sided else self._slot(channel_id) < int(found[1])
            for one, other, is_left in ((channel_id, partner, left), (partner, channel_id, not left)):
                self.fields(one)["pair"] = {"with": other, "side": "left" if is_left else "right"}
            self.report(
                channel_id,
                "pair-by-note",
                f"{channel['name']!r} is paired with {self.name(partner)!r} because of its note",
            )

    def from_names(self) -> None:
        """Pair left and right of one stem, first within a box, then across boxes; report halves and doubles."""
        within: dict[tuple[str, str, bool], dict[Side, list[str]]] = {}
        sure: dict[str, Side] = {}
        for channel_id in dict.fromkeys(self.guess):
            pair = self.fields(channel_id).get("pair")
            sided = values.sided(self.name(channel_id), self.words)
            if (not sided and not pair) or (pair and pair["with"] is not None):
                continue
            side: Side = pair["side"] if pair else sided.side if sided else "left"
            stem = sided.stem if sided else fold(self.name(channel_id))
            key = (self.boxes.get(channel_id, ""), stem, side in ("left", "right"))
            within.setdefault(key, {}).setdefault(side, []).append(channel_id)
            if pair or (sided and sided.sure):
                sure[channel_id] = side
        across: dict[tuple[str, bool], dict[Side, list[str]]] = {}
        for (_, stem, flat), sides in within.items():
            if not self._join(sides):
                for side, ids in sides.items():
                    across.setdefault((stem, flat), {}).setdefault(side, []).extend(ids)
        for (stem, _), sides in across.items():
            if self._join(sides):
                continue
            several = max(len(ids) for ids in sides.values()) > 1
            counted = ", ".join(f"{len(ids)} {side}" for side, ids in sorted(sides.items()))
            for channel_id in (name for ids in sides.values() for name in ids if name in sure):
                self.fields(channel_id).setdefault("pair", {"with": None, "side": sure[channel_id]})
                if several:
                    self.report(
                        channel_id,
                        "pair-doubled",
                        f"{stem!r} is there as {counted}; which two belong together?",
                    )
                else:
                    self.report(
                        channel_id, "pair-half", f"{self.name(channel_id)!r} has no partner on this sheet"
                    )

    def _join(self, sides: Mapping[Side, list[str]]) -> bool:
        families: tuple[tuple[Side, Side], ...] = (("left", "right"), ("mid", "side"))
        for one, other in families:
            first, second = sides.get(one, []), sides.get(other, [])
            if len(first) == 1 == len(second):
                self.fields(first[0])["pair"] = {"with": second[0], "side": one}
                self.fields(second[0])["pair"] = {"with": first[0], "side": other}
                return True
        return False


_NOTE = re.compile(
    r"\b(?:pair(?:ed)?|stereo|link(?:ed)?|paar|paire|par|coppia|koppel)\s*(?:with|to|mit|avec|con|met|w/)\s*"
    r"(?:ch\.?|kanal|canal|slot|#)?\s*(\d{1,4})\b",
    re.IGNORECASE,
)
