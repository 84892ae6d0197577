"""From what a show takes to a show.toml with comments and a sheet for each box."""

from __future__ import annotations

import math
from collections.abc import Iterator

from chanbridge.foresight.paper import csv_bytes, plain
from chanbridge.foresight.sized import Box, Run, Size, each, hears


def proposed(made: Size) -> Iterator[tuple[str, bytes]]:
    """The files of a show of this size by name; show.toml comes last."""
    for box in made.boxes:
        yield (
            f"{box.id}.csv",
            csv_bytes(["Socket", "Name", "Mic", "Stand", "Phantom", "Notes"], _rows(made, box)),
        )
    yield "show.toml", ("\n".join(_lines(made)) + "\n").encode("utf-8")


def _rows(made: Size, box: Box) -> Iterator[list[str]]:
    """A line for every socket: channels numbered through their place, then what stays free."""
    before = 0
    for other in made.boxes:
        if other is box:
            break
        before += other.used if other.place == box.place else 0
    for socket in range(1, box.inputs + 1):
        name = f"{box.place} {before + socket}" if socket <= box.used else "spare"
        yield [str(socket), name, "", "", "", ""]


def _text(text: str) -> str:
    """A text as TOML writes it."""
    escaped = "".join(
        {"\\": "\\\\", '"': '\\"'}.get(letter, letter if letter.isprintable() else f"\\U{ord(letter):08x}")
        for letter in text
    )
    return f'"{escaped}"'


def _texts(texts: tuple[str, ...]) -> str:
    return f"[{', '.join(map(_text, texts))}]"


def _lines(made: Size) -> Iterator[str]:
    needs = made.needs
    yield f"# {plain(needs.title)}: as chanbridge size works it out. Names, dates and tags are yours to fill in."
    for text in made.wrong:
        yield f"# DOES NOT FIT: {text}"
    for text in made.unsaid:
        yield f"# ASK: {text}"
    yield from (
        "", f"title = {_text(plain(needs.title))}", "# date = 2026-01-31", 'revision = "A"',
        f"rate = {needs.rate}  # Hz",
        f"gain_owner = {_text(needs.listener[0].id)}  # who moves the preamps: agree on it",
        '# gain_frozen = "18:30"', "",
    )  # fmt: skip
    for box in made.boxes:
        kind = f"; {plain(box.piece)}" if box.piece else "; to be found"
        yield from (
            "[[box]]", f"id = {_text(box.id)}  # {box.place}{kind}", f"sheet = {_text(box.id + '.csv')}",
            f"inputs = {box.inputs}", f"outputs = {box.outputs}", f"block = {_text(box.block)}",
            f"first = {box.first}  # its socket 1 on the block",
            f"first_output = {box.first_output}", "",
        )  # fmt: skip
    for block in made.blocks:
        yield from ("[[block]]", f"id = {_text(block)}", f"slots = {needs.block_slots}", "")
    yield from _feeds(made)
    yield from _recipients(made)
    yield from _mixes(made)
    yield from _devices(made)
    yield "# Cables, with the slack that was asked for."
    yield ""
    for run in made.runs:
        yield from _link(made, run)
    yield from _leads(made)


def _feeds(made: Size) -> Iterator[str]:
    truck = made.needs.truck
    if not truck:
        return
    for number in range(1, made.feeds + 1):
        yield from ("[[feed]]", f'id = "feed-{number}"', f"mode = {_text(str(truck.mode))}")
        yield f"blocks = {_texts(made.blocks)}" if number == 1 else 'continues = "feed-1"'
        if truck.mode.rate_hz != made.needs.rate:
            asked = truck.conversion or "to be named"
            yield f"conversion = {_text(asked)}  # {made.needs.rate} Hz to {truck.mode.rate_hz} Hz"
        yield ""


def _recipients(made: Size) -> Iterator[str]:
    for one in made.needs.listener:
        for name in each(one):
            yield from (
                "[[recipient]]", f"id = {_text(name)}", f"name = {_text(plain(one.name) or name)}", f'kind = "{one.kind}"',
                f"takes = {_texts(made.blocks)}",
            )  # fmt: skip
            if one.ports is not None:
                yield f"ports = {one.ports}  # blocks that it hears at once"
            if one.inputs is not None:
                yield f'# it has {one.inputs} inputs; what it patches to them is its own list: sheet = "…"'
            if one.kind != "desk":
                yield "listens = true"
            yield (
                f"tags = {_texts(one.tags)}"
                if one.tags
                else '# tags = ["room"]  # where what it makes is heard'
            )
            yield ""
    if made.needs.truck:
        feeds = tuple(f"feed-{number}" for number in range(1, made.feeds + 1))
        yield from (
            "[[recipient]]",
            'id = "truck"',
            'name = "Truck"',
            f"takes = {_texts(feeds)}",
            'tags = ["air"]',
            "",
        )


def _mixes(made: Size) -> Iterator[str]:
    """Returns on the first free outputs of their place; two of a stereo mix side by side on one box."""
    taken = {box.id: 0 for box in made.boxes}
    names: dict[str, int] = {}
    for mix in made.needs.mix:
        maker = next(one for one in made.needs.listener if one.id == mix.maker)
        wide = 2 if mix.stereo else 1
        for _ in range(mix.count):
            names[mix.maker] = names.get(mix.maker, 0) + 1
            reached = [
                box for box in made.boxes if box.place == mix.to and box.block in hears(maker, made.blocks)
            ]
            box = next((box for box in reached if taken[box.id] + wide <= box.outputs), None)
            name = f"{mix.maker} mix {names[mix.maker]}"
            if not box:
                yield from (
                    f"# ASK: no box at {mix.to} that {mix.maker} reaches has an output left for {name}",
                    "",
                )
                continue
            number = taken[box.id] + 1
            taken[box.id] += wide
            yield from (
                "[[return]]", f"id = {_text(name.replace(' ', '-'))}", f"name = {_text(name)}", f"from = {_text(mix.maker)}",
                f"to = [{_text(f'{box.id} {number}')}]",
            )  # fmt: skip
            if mix.stereo:
                yield "stereo = true"
            yield from ('tags = ["monitors"]', "")


def _devices(made: Size) -> Iterator[str]:
    needs = made.needs
    leader = needs.listener[0]
    yield "# Devices: the first listener leads the clock and the blocks, the rest follow. Supplies are named after places."
    yield ""
    for box in made.boxes:
        yield from (
            "[[device]]",
            f"id = {_text(box.id)}",
            f"clock = {_text(leader.id)}",
            f"rate = {needs.rate}",
            f"circuit = {_text(box.place)}",
        )
        yield from (f'ports = [{{id = "main", carries = [{_text(box.block)}], role = "follows"}}]', "")
    for one in needs.listener:
        role = "leads" if one is leader else "listens"
        ports = [
            f'{{id = "{number}", carries = [{_text(block)}], role = "{_role(made, one.id, role)}"}}'
            for number, block in enumerate(hears(one, made.blocks), 1)
        ]
        for name in each(one):
            yield from (
                "[[device]]", f"id = {_text(name)}", f"clock = {_text('own' if one is leader else leader.id)}",
                f"rate = {needs.rate}", f"circuit = {_text(one.id)}", f"ports = [{', '.join(ports)}]", "",
            )  # fmt: skip
    for switch in made.switches:
        yield from (
            "[[device]]", f"id = {_text(f'switch-{switch.block}')}", "switch = true", f"clock = {_text(leader.id)}", f"circuit = {_text(leader.id)}",
        )  # fmt: skip
        if switch.watts:
            yield f"budget_w = {math.ceil(switch.watts)}  # at least; see its maker"
        yield f'ports = [{{id = "hub", carries = [{_text(switch.block)}]}}]'
        yield ""
    if needs.truck:
        yield from (
            "[[device]]", 'id = "converter"', f"clock = {_text(leader.id)}", f"rate = {needs.truck.mode.rate_hz}",
            f"circuit = {_text(leader.id)}",
        )  # fmt: skip
        if needs.truck.mode.rate_hz != needs.rate:
            yield f"conversion = {_text(needs.truck.conversion or 'to be named')}"
        ports = [
            f'{{id = "{number}", carries = [{_text(block)}], role = "listens"}}'
            for number, block in enumerate(made.blocks, 1)
        ]
        ports += [
            f'{{id = "feed-{number}", carries = ["feed-{number}"], role = "leads", mode = "{needs.truck.mode}"}}'
            for number in range(1, made.feeds + 1)
        ]
        if needs.truck.back:
            ports.append(f'{{id = "back", carries = ["feed-1"], mode = "{needs.truck.mode}"}}')
        yield from (f"ports = [{', '.join(ports)}]", "")
        yield from (
            "[[device]]", 'id = "truck"', 'clock = "own"  # ask: its own, or ours?', 'domain = "truck"',
            'conversion = "to be named"  # ask: what converts at its inputs?', "leaves = true", 'circuit = "truck"', "",
        )  # fmt: skip


def _role(made: Size, name: str, role: str) -> str:
    """A desk that makes mixes sends them back, so it follows and does not only listen."""
    makes = any(mix.maker == name for mix in made.needs.mix)
    return "follows" if role == "listens" and makes else role


def _end(made: Size, name: str, carries: str, start: str = "") -> str:
    """An end of a run from `start`, as the show file writes it: the device, and the port for this block or feed."""
    if name in {box.id for box in made.boxes}:
        return f"{name}.main"
    if name == "converter" and start == "truck":
        return f"{name}.back"
    if name == "converter":
        port = carries if carries.startswith("feed-") else str(made.blocks.index(carries) + 1)
        return f"{name}.{port}"
    for one in made.needs.listener:
        if name in each(one):
            return f"{name}.{hears(one, made.blocks).index(carries) + 1}"
    return name


def _link(made: Size, run: Run) -> Iterator[str]:
    """A run, by way of the switch of its block where there is one."""
    leader = made.needs.listener[0].id
    hub = f"switch-{run.carries}" if run.carries in {switch.block for switch in made.switches} else ""
    ends = tuple(
        hub if hub and end == leader else _end(made, end, run.carries, run.start)
        for end in (run.start, run.end)
    )
    yield from (
        "[[link]]",
        f"id = {_text(run.id)}",
        f"ends = {_texts(ends)}",
        f"medium = {_text(run.medium)}",
    )
    yield f"carries = [{_text(run.carries)}]"
    if run.pieces:
        pieces = ", ".join(
            f"{{length_m = {piece.length_m:g}{f', stranded_awg = {piece.stranded_awg}' if piece.stranded_awg else ''}}}"
            for piece in run.pieces
        )
        yield f"segments = [{pieces}]  # {' + '.join(plain(piece.id) for piece in run.pieces)}"
    elif run.length_m:
        yield f"segments = [{{length_m = {run.length_m:g}}}]"
    else:
        yield "# segments = [{length_m = …}]"
    if run.backup:
        yield from ("backup = true", "plugged = false  # label it, and leave it unplugged")
    if run.carries.startswith("feed-"):
        yield 'direction = "one way"'
    yield ""


def _leads(made: Size) -> Iterator[str]:
    """Short leads from each switch to the first listener and to the converter beside it."""
    for switch in made.switches:
        for name in (made.needs.listener[0].id, *(["converter"] if made.needs.truck else [])):
            ends = (f"switch-{switch.block}", _end(made, name, switch.block))
            yield from (
                "[[link]]", f"id = {_text(f'{switch.block}-lead-{name}')}", f"ends = {_texts(ends)}", 'medium = "twisted pair"',
                f"carries = [{_text(switch.block)}]", "# segments = [{length_m = …}]  # a short lead", "",
            )  # fmt: skip
