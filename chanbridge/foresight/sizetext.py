"""What a show takes, for people and as data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

from chanbridge.foresight.paper import joined, table, wrapped
from chanbridge.foresight.sized import Room, Run, Size, hears, mix_outputs, with_spares
from chanbridge.names import counted


def size_lines(made: Size, care: Mapping[Any, str]) -> Iterator[str]:
    """The answer for a screen of 80 columns: what it takes, what the store has, what is left, what fails first."""
    needs = made.needs
    yield from wrapped(needs.title)
    yield from wrapped(
        f"{counted(made.channels, 'channel')} at {counted(len(needs.place), 'place')}, {needs.rate} Hz, "
        f"{needs.spare_percent or 0:g} % of sockets free, cables {needs.slack_percent or 0:g} % longer than their way"
    )
    yield ""
    rows = []
    for place in needs.place:
        here = [box for box in made.boxes if box.place == place.id]
        kinds = Counter(box.piece or f"box of {box.inputs} in, {box.outputs} out" for box in here)
        outputs = place.outputs + mix_outputs(needs, place)
        rows.append(
            [place.id, _with(place.inputs, needs.spare_percent), _with(outputs, needs.spare_percent),
             ", ".join(dict.fromkeys(box.block for box in here)), ", ".join(f"{number} x {kind}" for kind, number in kinds.items())]
        )  # fmt: skip
    yield from table(["Place", "In", "Out", "Blocks", "Boxes"], rows)
    yield ""
    yield from wrapped(f"Blocks: {len(made.blocks)} of {needs.block_slots} slots each way", "", "  ")
    yield from wrapped(
        f"Block ports: {', '.join(f'{name} {number}' for name, number in made.ports)}", "", "  "
    )
    for one in needs.listener:
        ears = hears(one, made.blocks)
        deaf = sum(box.used for box in made.boxes if box.block not in ears)
        if deaf:
            away = f"{deaf} of {counted(made.channels, 'channel')} reach it only if it switches"
            yield from wrapped(
                f"{one.id}: {counted(len(ears), 'port')}, hears {joined(ears)}; {away}", "", "  "
            )
    if needs.truck:
        back = f", {needs.truck.back} channels back" if needs.truck.back else ""
        yield from wrapped(
            f"Truck: {counted(made.feeds, 'feed')} {needs.truck.mode} for {counted(made.channels, 'channel')}{back}, "
            f"{counted(made.converters, 'converter')}", "", "  ",
        )  # fmt: skip
    if made.switches:
        each = ", ".join(f"{one.block} {one.ends}" for one in made.switches)
        ports = sum(one.ends for one in made.switches)
        yield from wrapped(
            f"Switch ports: {ports} ({each}); keep the blocks apart, each on its own switch", "", "  "
        )
    if made.watts:
        yield from wrapped(f"Power over cables: {made.watts:g} W at the source", "", "  ")
    for circuit in made.circuits:
        least = "at least " if circuit.unsaid else ""
        count = "" if circuit.circuits is None else f", {least}{counted(circuit.circuits, 'circuit')}"
        more = f" and that of {joined(circuit.unsaid)}, not said" if circuit.unsaid else ""
        yield from wrapped(f"Supply at {circuit.place}: {circuit.watts:g} W{more}{count}", "", "  ")
    yield ""
    yield from table(["Cable", "m", "Counts", "Limit", "Of"], [_run(run) for run in made.runs])
    if made.bring:
        yield ""
        yield from _store(made)
    yield ""
    yield from table(
        ["Capacity", "Used", "Of", "Left", "More that fit"],
        [_room(room) for room in made.rooms if not room.what.startswith("metres")],
    )
    yield ""
    first = made.first_full()
    if first:
        yield from wrapped(
            f"When everything grows alike, full first: {first.what}; {_growth(first)}.", "", "  "
        )
    for title, texts in (("Does not fit:", made.wrong), ("Not said:", made.unsaid)):
        if texts:
            yield ""
            yield title
            for text in texts:
                yield from wrapped(text, "  ", "    ")
    yield ""
    yield from wrapped(f"Not counted: short leads between what stands at {needs.listener[0].id}.")
    yield from _care(made, care)


def _growth(room: Room) -> str:
    if not room.more:
        return "not one more fits"
    return f"{room.more} more fit ({100 * room.more / room.need:.0f} %), one more does not"


def _care(made: Size, care: Mapping[Any, str]) -> Iterator[str]:
    subjects = [
        *(["power"] if made.watts else []),
        "mains",
        *(["laser"] if any("fibre" in run.medium for run in made.runs) else []),
    ]
    for subject in subjects:
        yield from wrapped(care[subject], "! ", "  ")
    if made.needs.truck and made.needs.truck.medium == "coax":
        yield from wrapped(
            "Coax to a truck on its own supply joins two earths: fibre or isolation.", "! ", "  "
        )
    if any(one.piece.weight_kg for one in made.bring):
        yield from wrapped("Weights are for the van; what hangs is a qualified rigger's work.", "! ", "  ")


def _with(need: int, percent: float | None) -> str:
    """`28+6`: what is needed and what stays free."""
    free = with_spares(need, percent) - need
    return f"{need}+{free}" if free else str(need)


def _run(run: Run) -> list[str]:
    pieces = Counter(piece.id for piece in run.pieces)
    said = " + ".join(f"{number} x {name}" if number > 1 else name for name, number in pieces.items())
    backup = "; BACKUP, leave unplugged" if run.backup else ""
    length = f"{run.length_m:g}" if run.length_m else "?"
    limit = f"{run.limit_m:g}" if run.limit_m is not None else ""
    return [
        run.id,
        length,
        f"{run.counted_m:g}" if run.length_m else "",
        limit,
        f"{said or run.medium}{backup}",
    ]


def _room(room: Room) -> list[str]:
    return [
        room.what,
        f"{room.used:g}",
        f"{room.of:g}",
        f"{room.left:g}",
        "" if room.more is None else str(room.more),
    ]


def _store(made: Size) -> Iterator[str]:
    rows = []
    for one in made.bring:
        kilos, price = one.piece.weight_kg, one.piece.price
        rows.append(
            [one.piece.id, str(one.number), str(min(one.number, one.piece.have)), str(one.hire) if one.hire else "",
             "" if kilos is None else f"{kilos * one.number:g}", "" if price is None or not one.hire else f"{price * one.hire:g}"]
        )  # fmt: skip
    yield from table(["From the kit", "Need", "Store", "Hire", "kg", "Price"], rows)
    kilos = sum((one.piece.weight_kg or 0) * one.number for one in made.bring)
    price = sum((one.piece.price or 0) * one.hire for one in made.bring)
    bare = [one.piece.id for one in made.bring if one.piece.weight_kg is None]
    unpriced = [one.piece.id for one in made.bring if one.hire and one.piece.price is None]
    said = f"Together {kilos:g} kg" + (f" without {joined(bare)}, whose weight is not said" if bare else "")
    said += f"; to hire {price:g}" + (
        f" without {joined(unpriced)}, whose price is not said" if unpriced else ""
    )
    yield from wrapped(said, "", "  ")


def size_data(made: Size) -> dict[str, Any]:
    """The answer as data for JSON."""
    first = made.first_full()
    return {
        "title": made.needs.title,
        "channels": made.channels,
        "boxes": [box._asdict() for box in made.boxes],
        "blocks": [*made.blocks],
        "feeds": made.feeds,
        "converters": made.converters,
        "ports": dict(made.ports),
        "switches": [switch._asdict() for switch in made.switches],
        "watts_over_cables": made.watts,
        "runs": [run._asdict() | {"pieces": [piece.id for piece in run.pieces]} for run in made.runs],
        "supply": [circuit._asdict() for circuit in made.circuits],
        "kit": [
            {
                "id": one.piece.id, "need": one.number, "have": one.piece.have, "hire": one.hire,
                "weight_kg": one.piece.weight_kg, "price": one.piece.price,
            }
            for one in made.bring
        ],
        "capacity": [room._asdict() | {"left": room.left} for room in made.rooms],
        "full_first": first.what if first else None,
        "does_not_fit": [*made.wrong],
        "not_said": [*made.unsaid],
    }  # fmt: skip
