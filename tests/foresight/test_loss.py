"""What falls silent, against a plain graph search in networkx and against the example by hand."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import Any

import networkx as nx
import pytest
from hypothesis import given

from chanbridge.assemble import assemble
from chanbridge.errors import ShowError
from chanbridge.foresight.loss import Foresight, Loss
from chanbridge.foresight.telling import each_lines, loss_lines
from chanbridge.foresight.things import Thing, thing_named, things
from chanbridge.foresight.wiring import spoken
from chanbridge.model import Channel, ChannelMap, Entry, Pair, Patch, Port, Slot
from chanbridge.show import load, parse
from chanbridge.system import Link, ShowFile
from tests.foresight.systems import BOXES, TAKES, System, systems


def plugged(link: Link) -> bool:
    return link.plugged if link.plugged is not None else not link.backup


def port(file: ShowFile, end: str) -> Any:
    name, _, wanted = end.partition(".")
    ports = {one.id: one for device in file.device if device.id == name for one in device.ports}
    return ports.get(wanted)


def sound(file: ShowFile, links: Collection[Link]) -> nx.DiGraph:
    """(device, block or feed) → (device, block or feed): every step that a signal can take with these links plugged.

    A device that has to do with a feed, by any of its ports or cables, puts blocks onto it.
    """
    graph = nx.DiGraph()
    on = {device.id: {name for one in device.ports for name in one.carries} for device in file.device}
    everything = {item.id for table in (file.block, file.feed) for item in table}
    for link in file.link:
        ports = [port(file, end) for end in link.ends]
        carries = {*link.carries} or {name for one in ports if one for name in one.carries}
        if not carries:
            if any(one and (one.gives or one.takes) for one in ports):
                continue
            carries = everything
        one, two = (end.partition(".")[0] for end in link.ends)
        ways = [(one, two, ports[0]), (two, one, ports[1])][: 2 if link.direction == "both" else 1]
        for here, there, sender in ways:
            if sender and sender.role == "listens":
                continue
            on[here] |= carries
            on[there] |= carries
            if link in links:
                graph.add_edges_from(((here, name), (there, name)) for name in carries)
    for device, names in on.items():
        for feed in file.feed:
            if feed.id in names:
                graph.add_edges_from(((device, block), (device, feed.id)) for block in feed.blocks)
    return graph


def powered(file: ShowFile, without: set[str], links: Collection[Link], circuit: str) -> set[str]:
    """The devices that a supply reaches: the mains as the root, one that names no supply on it."""
    graph = nx.DiGraph()
    graph.add_node("mains")
    supplied = set()
    for device in file.device:
        if device.circuit:
            supplied.add(device.id)
            if device.circuit != circuit:
                graph.add_edge("mains", device.id)
    for link in file.link:
        ends = [end.partition(".")[0] for end in link.ends]
        for giver, taker, gives, takes in ((*ends, *link.ends), (*ends[::-1], *link.ends[::-1])):
            one, two = port(file, gives), port(file, takes)
            if plugged(link) and one and one.gives and two and two.takes:
                supplied.add(taker)
                if link in links:
                    graph.add_edge(giver, taker)
    graph.add_edges_from(("mains", device.id) for device in file.device if device.id not in supplied)
    graph.remove_nodes_from(without)
    return {*nx.descendants(graph, "mains")}


def expected(system: System, thing: Thing) -> dict[str, set[str]]:
    """Recipient → the channels that cannot be reached any more in the graph, and could before."""
    file = system.file
    before = [link for link in file.link if plugged(link)]
    after = [link for link in before if link.id != thing.id or thing.kind != "link"]
    gone = {thing.id} if thing.kind in ("box", "recipient", "device") else set()
    circuit = thing.id if thing.kind == "circuit" else ""
    gone |= powered(file, set(), before, "") - powered(file, gone, after, circuit)
    whole, left = sound(file, before), sound(file, after)
    left.remove_nodes_from([node for node in left if node[0] in gone])
    if thing.kind in ("block", "feed"):
        left.remove_nodes_from([node for node in left if node[1] == thing.id])
    found: dict[str, set[str]] = {}
    for recipient, takes in TAKES.items():
        found[recipient] = set()
        for box, block in BOXES.items():
            ends = [(recipient, name) for name in takes if name in (block, "feed")]
            lost = {box, recipient} & gone or (
                thing.kind in ("block", "feed") and thing.id in {block, *takes} & {block, "feed"}
            )
            if ends and (
                lost or (joined(whole, (box, block), ends) and not joined(left, (box, block), ends))
            ):
                found[recipient] |= {f"{box}-1", f"{box}-2"}
    return found


def joined(graph: nx.DiGraph, start: tuple[str, str], ends: list[tuple[str, str]]) -> bool:
    return any(start in graph and end in graph and nx.has_path(graph, start, end) for end in ends)


def silent(loss: Loss) -> dict[str, set[str]]:
    return {lost.recipient: {channel.id for channel in lost.silent} for lost in loss.at}


@given(system=systems())
def test_silence_is_what_a_graph_search_says(system: System) -> None:
    ahead = Foresight(system.file, system.map, system.delivered)
    for thing in things(system.file):
        assert silent(ahead.lose(thing)) == expected(system, thing), thing


@given(system=systems())
def test_every_channel_is_silent_or_unled_or_still_there_and_the_worst_comes_first(system: System) -> None:
    losses = Foresight(system.file, system.map, system.delivered).each()
    for loss in losses:
        for lost in loss.at:
            gone = [channel.id for channel in (*lost.silent, *lost.unled)]
            assert len({*gone}) == len(gone)
            assert len(gone) + lost.still == len(system.delivered[lost.recipient])
    counts = [(loss.silent, loss.unled) for loss in losses]
    assert counts == sorted(counts, reverse=True)


@given(system=systems())
def test_a_backup_gives_back_what_the_search_says(system: System) -> None:
    ahead = Foresight(system.file, system.map, system.delivered)
    for thing in things(system.file):
        loss = ahead.lose(thing)
        for backup in loss.backups:
            links = tuple(
                link.model_copy(update={"plugged": True}) if link.id == backup.link else link
                for link in system.file.link
            )
            mended = system._replace(file=system.file.model_copy(update={"link": links}))
            again = silent(Foresight(mended.file, mended.map, mended.delivered).lose(thing))
            for recipient, count in backup.gives_back.items():
                assert count == len(silent(loss)[recipient] - again[recipient])


@pytest.fixture(scope="module")
def winter() -> Foresight:
    show = load(str(Path(__file__).parents[2] / "examples" / "winter-concert"))
    planned = assemble(show)
    return Foresight(
        show.file, planned.map, {one.recipient.id: [*one.delivered] for one in planned.deliveries}
    )


def counts(loss: Loss) -> dict[str, tuple[int, int, int]]:
    return {lost.recipient: (len(lost.silent), len(lost.unled), lost.still) for lost in loss.at}


def test_the_cable_of_box_a(winter: Foresight) -> None:
    """34 channels on box A, 3 of which the truck does not get; monitors hear it on a cable of their own.

    Front-of-house leads block-1 and the clock, and box A is cut off from it: monitors and recorder are unsteady.
    """
    loss = winter.lose(thing_named(winter.file, "stage-left"))
    assert counts(loss) == {
        "front-of-house": (34, 0, 34), "monitors": (0, 34, 34), "stream": (34, 0, 34), "truck": (31, 0, 33),
        "recorder": (0, 34, 34),
    }  # fmt: skip
    assert [backup.link for backup in loss.backups] == ["stage-left-backup"]
    assert dict(loss.backups[0].gives_back) == {"front-of-house": 34, "stream": 34, "truck": 31}
    assert loss.declared
    assert "plug stage-left-backup" in loss.declared[0]


def test_what_no_declared_cable_explains_is_not_said_to_work(winter: Foresight) -> None:
    """The recorder is no [[device]]: whether its 68 channels pass the converter, nobody has said."""
    loss = winter.lose(thing_named(winter.file, "converter"))
    assert {lost.recipient: lost.unsure for lost in loss.at if lost.unsure} == {"recorder": 68}
    lines = " ".join(" ".join(loss_lines(loss)).split())
    assert "front-of-house all 68" in lines
    assert "truck 0 of 64" in lines
    assert "recorder 68 not known" in lines
    one_box = winter.lose(thing_named(winter.file, "box A"))
    assert {lost.recipient: lost.unsure for lost in one_box.at if lost.unsure} == {"recorder": 34}
    quiet = [*each_lines([winter.lose(thing_named(winter.file, "desk-switch"))])]
    assert quiet == ["Nobody is known to miss anything without desk-switch."]


def test_nothing_is_unsure_where_all_cables_are_declared_or_none_is() -> None:
    text = (
        'title = "T"\nrate = 48000\n[[box]]\nid = "A"\nsheet = "a.csv"\ninputs = 8\nblock = "one"\n[[block]]\nid = "one"\n'
        '[[recipient]]\nid = "desk"\ntakes = ["one"]\n'
    )
    cabled = '[[device]]\nid = "A"\n[[device]]\nid = "desk"\n[[link]]\nid = "run"\nends = ["A", "desk"]\n'
    alone = '[[device]]\nid = "A"\n'
    whole = ChannelMap(
        channels=(Channel(id="kick", name="Kick"),),
        entries=(Entry("kick", Slot("A", 1)),),
        ports=(
            Port(id="A", device="A", kind="sockets", size=8),
            Port(id="one"),
            Port(id="desk", device="desk"),
        ),
        patches=(Patch(Slot("A", 1), Slot("one", 1)), Patch(Slot("one", 1), Slot("desk", 1))),
    )
    for more, unsure in (("", 0), (cabled, 0), (alone, 1)):
        file = parse(text + more, "show.toml")
        losses = Foresight(file, whole, {"desk": ["kick"]}).lose(thing_named(file, "A"))
        assert [(len(lost.silent), lost.unsure) for lost in losses.at] == [(1, 0)]
        other = Foresight(file, whole, {"desk": ["kick"]}).lose(Thing("circuit", "none"))
        assert [(len(lost.silent), lost.unsure) for lost in other.at] == [(0, unsure)]


def test_a_supply_takes_with_it_what_hangs_on_it(winter: Foresight) -> None:
    loss = winter.lose(thing_named(winter.file, "circuit stage"))
    assert loss.dark == ("A", "B", "monitors")
    assert counts(loss)["truck"] == (64, 0, 0)


def test_the_leader(winter: Foresight) -> None:
    """Without front-of-house box A still reaches monitors, on a clock that nobody leads."""
    loss = winter.lose(thing_named(winter.file, "front-of-house"))
    assert counts(loss)["monitors"] == (34, 34, 0)
    assert counts(loss)["truck"] == (64, 0, 0)
    assert {"A", "B", "monitors", "converter"} <= {*loss.followers}


def test_a_switch_that_powers_what_has_a_supply_of_its_own(winter: Foresight) -> None:
    assert winter.lose(thing_named(winter.file, "desk-switch")).silent == 0


def test_each_names_every_thing_once(winter: Foresight) -> None:
    file = winter.file
    losses = winter.each()
    assert {loss.thing for loss in losses} == {
        thing for thing in things(file) if thing.kind not in ("block", "feed")
    }
    assert len(losses) == len({loss.thing for loss in losses})
    assert str(losses[0].thing) == "circuit stage"


def test_what_is_not_declared_is_named(winter: Foresight) -> None:
    assert [text.partition(":")[0] for text in winter.unjudged()] == ["recorder"]


SMALL = """
title = "Small"
rate = 48000
[[box]]
id = "A"
sheet = "a.csv"
inputs = 2
block = "stage"
[[block]]
id = "stage"
slots = 2
[[recipient]]
id = "desk"
takes = ["stage"]
"""


def small(more: str) -> Foresight:
    file = parse(SMALL + more, "show.toml")
    whole = ChannelMap(
        channels=(Channel(id="kick", name="Kick"),),
        entries=(Entry("kick", Slot("A", 1)),),
        ports=(
            Port(id="A", device="A", kind="sockets", size=2),
            Port(id="stage", size=2),
            Port(id="desk", kind="desk", size=2),
        ),
        patches=(Patch(Slot("A", 1), Slot("stage", 1)), Patch(Slot("stage", 1), Slot("desk", 1))),
    )
    return Foresight(file, whole, {"desk": ["kick"]})


def test_a_show_without_devices_knows_boxes_blocks_and_recipients() -> None:
    ahead = small("")
    assert [str(loss.thing) for loss in ahead.each() if loss.silent] == [
        "box A",
        "recipient desk",
        "block stage",
    ]
    assert ahead.unjudged() == ["no [[device]] is declared: cables, supplies and clocks cannot be judged"]


def test_a_copper_split_goes_on_past_its_box() -> None:
    ahead = small(
        '[[device]]\nid = "A"\n[[device]]\nid = "splitter"\nsplit = {box = "A", direct = ["desk"]}\n'
    )
    assert ahead.lose(Thing("box", "A")).copper == ("desk",)
    assert silent(ahead.lose(Thing("device", "splitter"))) == {"desk": {"kick"}}


def test_power_that_goes_in_a_circle_dies_with_its_circuit() -> None:
    """One hub on a circuit and one that it powers, each powering the other: without the circuit both are dark."""
    ports = 'ports = [{id = "out", gives = {class = 3}}, {id = "in", takes = {class = 3}}]'
    ahead = small(
        f'[[device]]\nid = "one"\ncircuit = "red"\n{ports}\n[[device]]\nid = "two"\n{ports}\n'
        '[[link]]\nid = "there"\nends = ["one.out", "two.in"]\n[[link]]\nid = "back"\nends = ["two.out", "one.in"]\n'
    )
    assert ahead.lose(Thing("circuit", "red")).dark == ("one", "two")


def test_names_of_things() -> None:
    file = parse(SMALL + '[[device]]\nid = "hub"\ncircuit = "stage"\n', "show.toml")
    assert thing_named(file, "a") == Thing("box", "A")
    assert thing_named(file, "Circuit stage") == Thing("circuit", "stage")
    with pytest.raises(ShowError, match="several things; write 'circuit stage' or 'block stage'"):
        thing_named(file, "stage")
    with pytest.raises(ShowError, match="did you mean 'hub'"):
        thing_named(file, "hubb")


def test_pairs_are_said_in_one_word() -> None:
    left = Channel(id="l", name="Keys L", pair=Pair(partner="r", side="left"))
    right = Channel(id="r", name="Keys R", pair=Pair(partner="l", side="right"))
    other = Channel(id="k", name="Kick")
    assert spoken([right, other, left]) == ["Keys L/R", "Kick"]
    assert spoken([right]) == ["Keys R"]
    assert spoken([left, Channel(id="r", name="Organ", pair=Pair(partner="l", side="right"))]) == [
        "Keys L",
        "Organ",
    ]
