"""Any show: every channel is at each recipient in one place or named with a reason; the order of the tables is no matter."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from chanbridge.assemble import Planned, assemble
from chanbridge.model import Slot
from chanbridge.show import load

FEW = settings(max_examples=max(8, settings.default.max_examples // 5) if settings.default else 8)
"""A fifth of the profile's examples, for what takes long."""

NAMES = (
    "Kick",
    "Ana",
    "Keys L",
    "Keys R",
    "Click",
    "Talkback",
    "Choir L",
    "Choir R",
    "Bells",
    "Horn",
    "Harp",
    "NA",
)


class Tables:
    """A show file as its tables, and its sheets."""

    def __init__(self, tables: Sequence[str], acts: Sequence[str], sheets: dict[str, str]) -> None:
        self.tables, self.acts, self.sheets = list(tables), list(acts), sheets

    def __repr__(self) -> str:
        return "\n".join([*self.tables, *self.acts, *map(str, self.sheets.items())])

    def planned(self, tables: Sequence[str]) -> Planned:
        """The show read from disk, its tables in an order."""
        with tempfile.TemporaryDirectory() as folder:
            for name, text in self.sheets.items():
                (Path(folder) / name).write_text(text, "utf-8")
            text = 'title = "T"\nrate = 192000\n' + "\n".join([*tables, *self.acts])
            (Path(folder) / "show.toml").write_text(text, "utf-8")
            return assemble(load(folder))


@st.composite
def shows(draw: st.DrawFn) -> Tables:
    """Two boxes on one block or two, a local box, feeds of 14 or 16 slots, recipients of every kind, an act."""
    sheets, tables = {}, []
    first = draw(st.sampled_from((1, 9)))
    two = draw(st.booleans())
    for box, start, block in (("A", 1, "one"), ("B", 1 if two else 9, "two" if two else "one")):
        size = 8 if not two else draw(st.sampled_from((8, 12)))
        rows = draw(st.lists(st.sampled_from((*NAMES, "", "")), min_size=1, max_size=size))
        group = draw(st.sampled_from(("", "Band")))
        lines = [f"{at},{name and f'{name} {box}'},{group}" for at, name in enumerate(rows, 1)]
        lines = [line.replace("L A", f"{box} L").replace("R A", f"{box} R") for line in lines]
        sheets[f"{box}.csv"] = "Socket,Name,Group\n" + "\n".join(lines) + "\n"
        tables.append(
            f'[[box]]\nid = "{box}"\nsheet = "{box}.csv"\ninputs = {size}\nblock = "{block}"\nfirst = {start}\noutputs = 2\n'
            f"first_output = {1 if two or box == 'A' else 3}\n"
        )
    tables += [f'[[block]]\nid = "{name}"\nslots = 20\n' for name in (("one", "two") if two else ("one",))]
    blocks = '["one", "two"]' if two else '["one"]'
    mode = draw(st.sampled_from(("14@192000", "16@192000")))
    more = draw(st.sampled_from(("", 'layout = "packed"\n', "spare = 1\n", "grain = 4\n")))
    tables.append(f'[[feed]]\nid = "f"\nmode = "{mode}"\nblocks = {blocks}\n{more}')
    takes = ['"f"']
    if draw(st.booleans()):
        tables.append('[[feed]]\nid = "g"\nmode = "14@192000"\ncontinues = "f"\n')
        takes.append('"g"')
    sheets["wants.csv"] = "Slot,Name\n" + "".join(
        f"{at},{name}\n"
        for at, name in enumerate(
            draw(st.lists(st.sampled_from(("Kick A", "Ana B", "Harp A", "Tuba")), max_size=4)), first
        )
    )
    wants = 'wants = "wants.csv"\n' if sheets["wants.csv"].count("\n") > 1 and draw(st.booleans()) else ""
    tables.append(f'[[recipient]]\nid = "truck"\ntakes = [{", ".join(takes)}]\ntags = ["air"]\n{wants}')
    ports = draw(st.sampled_from(("", "ports = 1\n", "inputs = 10\n")))
    tables.append(
        f'[[recipient]]\nid = "desk"\ntakes = {blocks}\n{ports if "inputs" not in ports or two else ""}'
    )
    tables.append(f'[[recipient]]\nid = "mixers"\nkind = "mixers"\ntakes = {blocks}\nlistens = true\n{wants}')
    if draw(st.booleans()):
        sheets["local.csv"] = "Socket,Name\n1,Host\n3,Music\n"
        tables.append('[[box]]\nid = "Local"\nsheet = "local.csv"\ninputs = 4\ndesk = "desk"\n')
    tables.append('[[return]]\nid = "ear"\nfrom = "truck"\nto = ["A 2"]\n')
    acts = []
    if draw(st.booleans()):
        where = draw(st.sampled_from(("A 1", "A 2", "B 3")))
        what = draw(st.sampled_from(("Kick A", "Tuba", "", "Ana B")))
        acts.append(f'[[act]]\nid = "later"\nsockets = {{ "{where}" = "{what}" }}\n')
    return Tables(tables, acts, sheets)


def parts(planned: Planned) -> Iterator[Planned]:
    yield planned
    yield from (act.planned for act in planned.acts)


@FEW
@given(show=shows())
def test_every_channel_is_in_one_place_or_named(show: Tables) -> None:
    whole = show.planned(show.tables)
    for planned in parts(whole):
        inputs = {channel.id for channel in planned.map.channels} - {*planned.returns}
        placed = {name for name, _ in planned.map.entries} & inputs
        for delivery in planned.deliveries:
            named = {item.channel.id for item in delivery.missing}
            assert all(item.reason for item in delivery.missing)
            got = {*delivery.delivered} - {*planned.returns}
            assert not got & named
            assert got | named == placed, delivery.recipient.id
            slots = [slot for places in delivery.delivered.values() for slot in places]
            assert len(slots) == len({*slots})
            assert all(len(places) == 1 for places in delivery.delivered.values())
            for name, places in delivery.delivered.items():
                occupant = planned.map.occupant(Slot(delivery.recipient.id, places[0]))
                assert occupant
                assert occupant.id == name
        for port in planned.map.ports:
            if port.direction == "out":  # each slot on the way back has one writer
                assert all(
                    len(planned.map.occupants(Slot(port.id, number))) <= 1
                    for number in range(1, port.size + 1)
                )
        out = [row.channel.id for row in planned.map.sheet("A out") if row.channel]
        assert out == ["ear"]


@FEW
@given(show=shows(), data=st.data())
def test_a_shuffled_show_file_gives_the_same_plan(show: Tables, data: st.DataObject) -> None:
    one = show.planned(show.tables)
    two = show.planned(data.draw(st.permutations(show.tables)))
    for first, second in zip(parts(one), parts(two), strict=True):
        assert {name: plan.patches for name, plan in first.feeds.items()} == {
            name: plan.patches for name, plan in second.feeds.items()
        }
        slots = [
            {delivery.recipient.id: dict(delivery.delivered) for delivery in planned.deliveries}
            for planned in (first, second)
        ]
        assert slots[0] == slots[1]
