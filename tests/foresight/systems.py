"""Small systems of devices and cables for property tests, with a map of what goes where."""

from __future__ import annotations

from typing import Any, NamedTuple

from hypothesis import strategies as st

from chanbridge.model import Channel, ChannelMap, Entry, Patch, Port, Slot
from chanbridge.system import ShowFile

BOXES = {"box0": "block0", "box1": "block1"}
TAKES = {"desk0": ("block0", "block1"), "desk1": ("block1",), "truck": ("feed",)}
OTHERS = ("converter", "hub")
DEVICES = (*BOXES, *TAKES, *OTHERS)
CARRIED = ("block0", "block1", "feed")


class System(NamedTuple):
    """A show file with its map, and who gets which channels."""

    file: ShowFile
    map: ChannelMap
    delivered: dict[str, list[str]]


def _map() -> tuple[ChannelMap, dict[str, list[str]]]:
    """Two sockets on each box; a block's two slots, and four on the feed."""
    channels, entries, patches = [], [], []
    ports = [Port(id=box, device=box, kind="sockets", size=2) for box in BOXES]
    ports += [Port(id=block, size=2) for block in BOXES.values()]
    ports += [Port(id="feed", kind="feed", size=4), *(Port(id=name, kind="desk", size=4) for name in TAKES)]
    stand: dict[str, list[tuple[str, Slot]]] = {"feed": []}
    for box, block in BOXES.items():
        for number in (1, 2):
            name = f"{box}-{number}"
            channels.append(Channel(id=name, name=name))
            entries.append(Entry(name, Slot(box, number)))
            patches.append(Patch(Slot(box, number), Slot(block, number)))
            stand.setdefault(block, []).append((name, Slot(block, number)))
            slot = Slot("feed", len(stand["feed"]) + 1)
            patches.append(Patch(Slot(block, number), slot))
            stand["feed"].append((name, slot))
    delivered: dict[str, list[str]] = {}
    for recipient, takes in TAKES.items():
        here = [item for name in takes for item in stand[name]]
        delivered[recipient] = [name for name, _ in here]
        patches += [Patch(slot, Slot(recipient, at)) for at, (_, slot) in enumerate(here, 1)]
    whole = ChannelMap(
        channels=tuple(channels), entries=tuple(entries), ports=tuple(ports), patches=tuple(patches)
    )
    return whole, delivered


@st.composite
def systems(draw: st.DrawFn) -> System:
    """Any wiring of a few devices: loops, one-way cables, listeners, backups, power over cables, clocks."""
    some = st.lists(st.sampled_from(CARRIED), unique=True, max_size=3)
    devices: list[dict[str, Any]] = []
    for name in DEVICES:
        role = draw(st.sampled_from(("leads", "follows", "listens")))
        devices.append({
            "id": name,
            "circuit": draw(st.sampled_from(("", "red", "blue"))),
            "clock": draw(st.sampled_from([other for other in ("own", "", *DEVICES) if other != name])),
            "ports": [
                {"id": "a", "carries": draw(some), "role": role},
                {"id": "b", "carries": draw(some)},
                {"id": "takes", "takes": {"class": 3}},
                {"id": "gives", "gives": {"class": 3}},
            ],
        })  # fmt: skip
    pairs = st.lists(st.sampled_from(DEVICES), min_size=2, max_size=2, unique=True)
    links: list[dict[str, Any]] = []
    for number in range(draw(st.integers(0, 9))):
        one, two = draw(pairs)
        ends = [
            f"{one}{draw(st.sampled_from(('', '.a', '.b')))}",
            f"{two}{draw(st.sampled_from(('', '.a', '.b')))}",
        ]
        if draw(st.integers(0, 3)) == 0:
            ends = [f"{one}.gives", f"{two}.takes"]
        link: dict[str, Any] = {"id": f"cable{number}", "ends": ends, "carries": draw(some)}
        link["direction"] = draw(st.sampled_from(("both", "one way")))
        link["backup"] = draw(st.booleans())
        if draw(st.booleans()):
            link["plugged"] = draw(st.booleans())
        links.append(link)
    file = ShowFile.model_validate({
        "title": "Any", "rate": 48000,
        "box": [{"id": box, "sheet": "x.csv", "inputs": 2, "block": block} for box, block in BOXES.items()],
        "block": [{"id": block, "slots": 2} for block in BOXES.values()],
        "feed": [{"id": "feed", "mode": "64@48000", "blocks": [*BOXES.values()]}],
        "recipient": [{"id": name, "takes": takes} for name, takes in TAKES.items()],
        "device": devices, "link": links,
    })  # fmt: skip
    whole, delivered = _map()
    return System(file, whole, delivered)
