"""Random shows, and faults of every kind planted in them."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from chanbridge.compare.changes import Comparison, compare
from chanbridge.formats import named, read_data
from chanbridge.model import AUDIENCES
from chanbridge.sheets.ledger import Reading

Expected = frozenset[tuple[str, frozenset[str]]]

SHORT = {
    "Kick in": "KIK IN", "Kick out": "KIK OUT", "Snare top": "SnTop", "Snare bottom": "SnBot", "Hi-hat": "Hats",
    "Tom high": "Tom Hi", "Tom low": "Tom Lo", "Overhead L": "OH L", "Overhead R": "OH R", "Percussion": "Perc",
    "Bass": "Bs", "Electric guitar": "EGtr", "Acoustic guitar": "AcGtr", "Mandolin": "Mando", "Keys L": "Kys L",
    "Keys R": "Kys R", "Piano L": "Pno L", "Piano R": "Pno R", "Backing vocal 1": "BV 1", "Backing vocal 2": "BV 2",
    "Backing vocal 3": "BV 3", "Lead vocal": "LdVox", "Playback L": "PB L", "Playback R": "PB R", "Timecode": "LTC",
    "Choir soprano L": "ChrSop L", "Choir soprano R": "ChrSop R", "Choir alto L": "ChrAlt L", "Choir alto R": "ChrAlt R",
    "Violin 1": "Vln 1", "Violin 2": "Vln 2", "Viola": "Vla", "Cello": "Vc", "Double bass": "Kontrabass",
    "Clarinet": "Clar", "Bassoon": "Bsn", "Trumpet 1": "Tpt 1", "Trumpet 2": "Tpt 2", "Trombone": "Tbn", "Harp": "Hrp",
    "Organ L": "Org L", "Organ R": "Org R", "Lectern": "Lect", "Presenter headset": "Pres HS", "Guest handheld": "Gst HH",
    "Ambience L": "Atmo L", "Ambience R": "Atmo R", "Bells": "Bell", "Ana": "ANA.", "Jonas": "JONAS.",
    "Vocal 4": "Vox 4", "Vocal 5": "Vox 5", "Vocal 6": "Vox 6", "Vocal 7": "Vox 7",
}  # fmt: skip
"""Names of the invented shows, and how tape would have them."""

NEW = (
    "Sitar",
    "Theremin",
    "Zither",
    "Duduk",
    "Launeddas",
    "Nyckelharpa",
    "Berimbau",
    "Gamelan",
    "Waterphone",
)
"""Sources that are on no show."""


@dataclass
class Row:
    """One row of a list. `name` is what the reference calls it."""

    name: str
    number: int
    box: str
    socket: int
    label: str
    short: str = ""
    phantom: str = "yes"
    polarity: str = "normal"
    owner: str = "front-of-house"
    air: str = "yes"
    elsewhere: bool = False  # a fault has moved it, so that no shift counts it


@dataclass
class Show:
    """A list and its damaged copy. `kind`: which columns there are: both, slots, sockets. `taken`: rows not to be touched."""

    rng: random.Random
    kind: str
    rows: list[Row]
    other: list[Row]
    taken: set[int] = field(default_factory=set)
    expected: set[tuple[str, frozenset[str]]] = field(default_factory=set)
    shifted: tuple[int, int] | None = None

    def there(self, at: int) -> Row:
        """The row of the copy that was made from a row of the list."""
        return next(row for row in self.other if row.name == self.rows[at].name)

    def victim(self, fits: Callable[[int], bool] = lambda at: True) -> int | None:
        """A row that no other fault is near to."""
        free = [
            at
            for at, row in enumerate(self.rows)
            if row.label and fits(at) and not self.taken & {at - 1, at, at + 1}
        ]
        return self.rng.choice(free) if free else None

    def found(self, *kind_and_names: str) -> None:
        """What a comparison must find."""
        self.expected.add((kind_and_names[0], frozenset(kind_and_names[1:])))


def show(rng: random.Random) -> Show:
    """A show of 24 to 54 channels on two or three boxes, some slots spare."""
    names = rng.sample(sorted(SHORT), rng.randint(24, len(SHORT)))
    for name in list(names):  # both sides of a pair, one after the other
        if name.endswith((" L", " R")) and name in names:
            stem = name[:-2]
            names = [other for other in names if other != f"{stem} R"]
            if f"{stem} L" not in names:
                names.append(f"{stem} L")
            names.insert(names.index(f"{stem} L") + 1, f"{stem} R")
    for _ in range(3):
        at = rng.randrange(len(names) + 1)
        if at == len(names) or not (names[at].endswith(" R") or names[at] == ""):
            names.insert(at, "")
    size = rng.choice((16, 24))
    rows = [
        Row(name or f"spare {at}", at + 1, "ABCD"[at // size], at % size + 1, name, name[:3] + str(at))
        for at, name in enumerate(names)
    ]
    return Show(rng, rng.choice(("both", "slots", "sockets")), rows, [replace(row) for row in rows])


def sheet(rows: list[Row], kind: str, name: str) -> Reading:
    """Rows as a sheet, read."""
    places: dict[str, Callable[[Row], tuple[int | str, ...]]] = {
        "both": lambda row: (row.number, row.box, row.socket),
        "slots": lambda row: (row.number,),
        "sockets": lambda row: (row.box, row.socket),
    }
    place = places[kind]
    head = {"both": "Ch,Box,Socket", "slots": "Ch", "sockets": "Box,Socket"}[kind]
    lines = [f"{head},Name,Short,48V,Polarity,Gain owner,Air"]
    for row in rows:
        more = (row.short, row.phantom, row.polarity, row.owner, row.air) if row.label else ("",) * 5
        lines.append(",".join(map(str, (*place(row), row.label, *more))))
    return read_data("\n".join(lines).encode(), name, named("csv"))


def compared(made: Show) -> Comparison:
    """The list and its copy, in another order of rows, compared as the command does."""
    shuffled = list(made.other)
    made.rng.shuffle(shuffled)
    one, two = sheet(made.rows, made.kind, "one.csv"), sheet(shuffled, made.kind, "two.csv")
    both = one.layout.keys() & two.layout.keys()
    heard = [name for name in AUDIENCES if name in both]
    return compare(one.map, two.map, heard=heard, columns=both, spares="spare" in one.verdicts())


Fault = Callable[[Show], bool]
"""Plants itself; False where the show has no place for it."""


def missing(made: Show) -> bool:
    at = made.victim(lambda at: 3 < at < len(made.rows) - 4)
    if at is None:
        return False
    made.taken.add(at)
    made.other.remove(made.there(at))
    made.found("missing", made.rows[at].name)
    return True


def _new(made: Show) -> str:
    return next(name for name in NEW if all(row.label != name for row in made.other))


def extra(made: Show) -> bool:
    name = _new(made)
    made.other.append(Row(name, 300 + len(made.other), "Local", len(made.other), name))
    made.found("extra", name)
    return True


def doubled(made: Show) -> bool:
    at = made.victim()
    if at is None:
        return False
    made.taken.add(at)
    made.other.append(replace(made.there(at), number=200 + at, box="Local", socket=100 + at, elsewhere=True))
    made.found("doubled", made.rows[at].name)
    return True


def spare_used(made: Show) -> bool:
    free = [at for at, row in enumerate(made.rows) if not row.label and not made.taken & {at - 1, at, at + 1}]
    if not free or made.shifted:
        return False
    at = made.rng.choice(free)
    made.taken.add(at)
    made.there(at).label = _new(made)
    made.found("spare-used", made.there(at).label)
    return True


def _single(made: Show, at: int) -> bool:
    return not made.rows[at].name.endswith((" L", " R"))


def moved(made: Show) -> bool:
    at = made.victim(lambda at: _single(made, at))
    if at is None or made.kind == "sockets":
        return False
    made.taken.add(at)
    row = made.there(at)
    row.number, row.elsewhere = 150 + at, True
    made.found("moved", row.name)
    return True


def resourced(made: Show) -> bool:
    at = made.victim(lambda at: _single(made, at))
    if at is None or made.kind == "slots":
        return False
    made.taken.add(at)
    row = made.there(at)
    row.socket, row.elsewhere = 60 + at, made.kind == "sockets"
    made.found("resourced", row.name)
    return True


def other_source(made: Show) -> bool:
    """One place, another name."""
    at = made.victim()
    if at is None:
        return False
    made.taken.add(at)
    row = made.there(at)
    row.label, row.elsewhere = _new(made), True
    made.found("resourced", row.name, row.label)
    return True


def renamed(made: Show) -> bool:
    at = made.victim()
    if at is None:
        return False
    made.taken.add(at)
    row = made.there(at)
    row.label = SHORT[row.name]
    if row.label.rstrip(".").casefold() != row.name.casefold():
        made.found("renamed", row.name, row.label)
    return True


def swap(made: Show) -> bool:
    at = made.victim(
        lambda at: (
            at + 2 < len(made.rows)
            and bool(made.rows[at + 1].label)
            and at + 1 not in made.taken
            and at + 2 not in made.taken
            and not (made.rows[at].name.endswith(" L") and made.rows[at + 1].name.endswith(" R"))
            and not any(made.rows[near].name.endswith((" L", " R")) for near in (at, at + 1))
        )
    )
    if at is None:
        return False
    made.taken |= {at, at + 1}
    _exchange(made.there(at), made.there(at + 1))
    made.found("swap", made.rows[at].name, made.rows[at + 1].name)
    return True


def _exchange(one: Row, other: Row) -> None:
    one.number, other.number = other.number, one.number
    one.box, other.box = other.box, one.box
    one.socket, other.socket = other.socket, one.socket
    one.elsewhere = other.elsewhere = True


def _left(made: Show) -> int | None:
    return made.victim(lambda at: made.rows[at].name.endswith(" L") and at + 2 not in made.taken)


def pair_reversed(made: Show) -> bool:
    at = _left(made)
    if at is None:
        return False
    made.taken |= {at, at + 1}
    _exchange(made.there(at), made.there(at + 1))
    made.found("pair", made.rows[at].name, made.rows[at + 1].name)
    return True


def pair_split(made: Show) -> bool:
    at = _left(made)
    if at is None or made.kind == "sockets":
        return False
    made.taken |= {at, at + 1}
    row = made.there(at)
    row.number, row.elsewhere = 170 + at, True
    made.found("pair", row.name)
    return True


def _flip(kind: str, column: str, said: str) -> Fault:
    def plant(made: Show) -> bool:
        at = made.victim()
        if at is None:
            return False
        made.taken.add(at)
        setattr(made.there(at), column, said)
        made.found(kind, made.rows[at].name)
        return True

    return plant


def block_missing(made: Show) -> bool:
    """A box in the middle is not there."""
    rows = [at for at, row in enumerate(made.rows) if row.box == "B" and row.label]
    if made.kind == "slots" or made.rows[-1].box == "B" or len(rows) < 3 or made.taken & {*rows}:
        return False
    if not any(row.label for row in made.rows if row.box > "B") or made.rows[-1].box < "C":
        return False
    last = [at for at, row in enumerate(made.rows) if row.label][-1]
    if last in rows or made.taken & set(range(rows[-1], len(made.rows))):
        return False
    made.taken |= {*rows, rows[0] - 1, rows[-1] + 1, last}
    names = [made.rows[at].name for at in rows]
    made.other[:] = [row for row in made.other if row.box != "B"]
    made.found("block-missing", *names)
    return True


def cut_off(made: Show) -> bool:
    named = [at for at, row in enumerate(made.rows) if row.label]
    first = named[-made.rng.randint(3, 9)]
    boundary = made.rows[first].box != made.rows[first - 1].box
    if made.taken & {*range(first - 2, len(made.rows))} or boundary:
        return False
    before = max(at for at in named if at < first)
    if made.rows[before].box != made.rows[first].box:
        return False
    made.taken |= {*range(before, len(made.rows))}
    names = [made.rows[at].name for at in named if at >= first]
    gone = {row.name for row in made.rows[first:]}
    made.other[:] = [row for row in made.other if row.name not in gone]
    made.found("cut-off", *names)
    return True


def shift(made: Show) -> bool:
    """Everything from one row on is two out, in slots, or in sockets where there are no slots."""
    first = made.rng.randint(8, len(made.rows) - 12)
    if made.taken & {first - 1, first, first + 1} or made.shifted:
        return False
    made.taken |= {first - 1, first}
    gone = {row.name for row in made.rows} - {row.name for row in made.other}
    begin, end = first, len(made.rows)
    if made.kind == "sockets":  # to the end of the box
        box = made.rows[first].box
        end = max(at for at, row in enumerate(made.rows) if row.box == box) + 1
        if sum(bool(row.label) for row in made.rows[first:end]) < 6:
            return False
    for at in range(begin, end):
        if made.rows[at].name not in gone:
            row = made.there(at)
            row.number += 2
            row.socket += 2 if made.kind == "sockets" else 0
    made.shifted = begin, end
    return True


FAULTS: dict[str, Fault] = {
    "shift": shift,
    "block-missing": block_missing,
    "cut-off": cut_off,
    "missing": missing,
    "extra": extra,
    "doubled": doubled,
    "spare-used": spare_used,
    "moved": moved,
    "resourced": resourced,
    "other source": other_source,
    "renamed": renamed,
    "swap": swap,
    "pair reversed": pair_reversed,
    "pair split": pair_split,
    "phantom": _flip("phantom", "phantom", "no"),
    "polarity": _flip("polarity", "polarity", "reversed"),
    "gain-owner": _flip("gain-owner", "owner", "monitors"),
    "audience": _flip("audience", "air", "no"),
    "label": _flip("label", "short", "Other"),
}
"""Every kind of fault; those that change the most come first."""


def plant(made: Show, names: list[str]) -> bool:
    """Plant faults, the largest first; False where the show has no place for one of them."""
    order = [name for name in FAULTS if name in names]
    if not all(FAULTS[name](made) for name in order):
        return False
    if made.shifted:
        begin, end = made.shifted
        present = {row.name for row in made.other if not row.elsewhere}
        chosen = [row.name for row in made.rows[begin:end] if row.label and row.name in present]
        if len(chosen) < 3:
            return False
        made.found("shift", *chosen)
    return True
