"""Which line is which: evidence, doubt, forced keys, nothing lost."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge.compare.changes import Comparison, compare
from chanbridge.compare.labels import Dictionary
from chanbridge.compare.match import KEYS, Key
from chanbridge.errors import ReadError
from chanbridge.model import ChannelMap, Line
from chanbridge.names import vocabulary
from tests.compare.lists import LIST, kinds, numbered, sheet


def test_siblings_on_one_place_are_two_sources() -> None:
    for one, two in (("Vox 1", "Vox 2"), ("Keys L", "Keys R"), ("Kick in", "Kick out")):
        found = compare(numbered(["Bass", one]), numbered(["Bass", two]))
        assert kinds(found) == ["resourced"]
        assert [pair.reference.channel.name for pair in found.matches] == ["Bass"]
    found = compare(sheet("Name\nBass\nVox 1\n"), sheet("Name\nBass\nVox 2\n"))
    assert sorted(kinds(found)) == ["extra", "missing"]


def test_a_doubtful_match_is_asked_and_neither_missing_nor_extra() -> None:
    one, two = sheet("Name\nBass\nHarp\n"), sheet("Name\nBass\nCeltic harp\n")
    found = compare(one, two)
    assert found.changes == ()
    assert [(question.kind, question.channels) for question in found.questions] == [
        ("match", ("Harp", "Celtic harp"))
    ]
    assert found.questions[0].score == 0.67


def test_two_that_could_be_it_are_asked() -> None:
    found = compare(sheet("Name\nHi-hat\nHandheld\n"), sheet("Name\nHH\n"))
    assert kinds(found) == ["missing"]
    assert [question.kind for question in found.questions] == ["match"]


def test_every_match_has_evidence_and_a_score() -> None:
    one = sheet("Ch,Name,Box,Socket\n1,Kick,A,1\n2,Overhead L,A,2\n3,Harp,A,3\n4,Lead vocal,A,4\n")
    two = sheet("Ch,Name,Box,Socket\n1,Kick,A,1\n2,OH L,A,2\n3,Celtic harp,A,3\n9,LdVox,A,9\n")
    found = compare(one, two)
    assert [(pair.by, round(pair.score, 2)) for pair in found.matches] == [
        ("box and name", 1), ("socket", 1), ("socket", 0.67), ("likeness", 1)
    ]  # fmt: skip


def test_one_name_twice_goes_by_its_socket() -> None:
    one = sheet("Ch,Name,Box,Socket\n1,Vox,A,1\n2,Vox,A,2\n")
    two = sheet("Ch,Name,Box,Socket\n2,Vox,A,2\n1,Vox,A,1\n")
    assert compare(one, two)[:3] == (2, (), ())


def test_ids_find_a_rename_even_when_it_moved() -> None:
    one = sheet("Slot,Name,Short,Box,Socket,Id\n1,Oboe,,A,1,oboe\n")
    two = sheet("Slot,Name,Short,Box,Socket,Id\n4,Flute,,A,2,oboe\n")
    assert [change.kind for change in compare(one, two, by_id=True).changes] == ["resourced", "renamed"]


@pytest.mark.parametrize("by", KEYS)
def test_a_forced_key(by: Key) -> None:
    one = sheet("Ch,Name,Box,Socket\n1,Kick,A,1\n2,Bass,A,2\n3,Harp,A,3\n")
    two = sheet("Ch,Name,Box,Socket\n1,Bass,A,1\n3,Kick,A,2\n2,Harfe,A,3\n")
    expected = {
        "socket": {("Kick", "Bass"), ("Bass", "Kick"), ("Harp", "Harfe")},
        "slot": {("Kick", "Bass"), ("Bass", "Harfe"), ("Harp", "Kick")},
        "name": {("Kick", "Kick"), ("Bass", "Bass")},
    }[by]
    found = compare(one, two, by=by)
    lines = {(pair.reference.line, pair.other.line) for pair in found.matches}
    lines |= {
        (a, b) for change in found.changes if change.kind == "resourced" for a, b in change.lines() if a and b
    }
    assert {(a.channel.name, b.channel.name) for a, b in lines if a.channel and b.channel} == expected


_names = st.one_of(
    st.sampled_from(
        (
            "Vox",
            "Vox 1",
            "Vox 2",
            "Keys L",
            "Keys R",
            "OH L",
            "Overhead left",
            "Fl",
            "HH",
            "007",
            "-",
            "Harp",
            "合唱",
        )
    ),
    st.text("abkxLR 12-/", max_size=9),
)
_rows = st.lists(
    st.tuples(st.one_of(st.just(""), st.integers(1, 30).map(str)), _names, st.sampled_from(("", "A", "B")),
              st.one_of(st.just(""), st.integers(1, 12).map(str)), st.sampled_from(("", "L with 2", "R", "stereo"))),
    max_size=14,
)  # fmt: skip
_columns = st.sampled_from(((0, 1, 2, 3, 4), (0, 1), (1, 2, 3), (1,), (0, 1, 4), (0, 1, 3)))


def drawn(rows: list[tuple[str, ...]], columns: tuple[int, ...]) -> ChannelMap:
    """A list of any rows, with some of the columns."""
    head = ("Ch", "Name", "Box", "Socket", "Pair")
    table = [
        [head[at] for at in columns],
        *([row[at] for at in columns] for row in [("1", "Kick", "A", "1", ""), *rows]),
    ]
    return sheet("".join(",".join(row) + "\n" for row in table))


def told_of(found: Comparison) -> tuple[set[str], set[str]]:
    """The channels of either list that are in a match, a change or a question."""
    sides: tuple[set[str], set[str]] = (set(), set())
    pairs: list[tuple[Line | None, Line | None]] = [
        (pair.reference.line, pair.other.line) for pair in found.matches
    ]
    pairs += [pair for change in found.changes for pair in change.lines()]
    pairs += [(question.reference, question.other) for question in found.questions]
    for pair in pairs:
        for side, line in zip(sides, pair, strict=True):
            if line and line.channel:
                side.add(line.channel.id)
    return sides


@given(_rows, _rows, _columns, _columns, st.sampled_from((None, None, *KEYS)), st.booleans())
def test_nothing_is_lost_and_siblings_stay_apart(
    mine: list[tuple[str, ...]], theirs: list[tuple[str, ...]], columns: tuple[int, ...], others: tuple[int, ...],
    by: Key | None, wired: bool,
) -> None:  # fmt: skip
    """Every channel of both lists is in a match, a change or a question, and in only one of missing and asked."""
    one, two = drawn(mine, columns), drawn(theirs, others)
    wiring = {("a", socket): socket for socket in range(1, 13)} if wired else {}
    try:
        found = compare(one, two, by=by, wiring=wiring, columns=("pair", "short"))
    except ReadError as error:
        assert by in ("socket", "slot"), error
        assert "both lists must give" in str(error)
        return
    assert told_of(found) == tuple({channel.id for channel in whole.channels} for whole in (one, two))
    gone = {line for change in found.changes if change.kind == "missing" for line, _ in change.lines()}
    assert gone.isdisjoint(question.reference for question in found.questions)
    words = Dictionary(vocabulary())
    for match in found.matches:
        names = (match.reference.channel.name, match.other.channel.name)
        assert 0.6 <= match.score <= 1
        assert match.reference.channel.name == match.other.channel.name or not words.siblings(*names)
    same = compare(one, one, by=by, wiring=wiring, columns=("pair", "short"))
    assert same.changes == ()
    assert same.same == len(one.lines(one.listed_port())) - sum(
        not line.channel for line in one.lines(one.listed_port())
    )


def test_nothing_is_lost() -> None:
    """Every channel of both lists is in a match, a change or a question."""
    one = numbered(LIST)
    two = numbered([*(f"Seat {n}" for n in range(9)), "KIK IN", "OHL", "Harp", *LIST[30:50]])
    found = compare(one, two)
    assert told_of(found) == tuple({channel.id for channel in whole.channels} for whole in (one, two))


def test_in_the_middle_of_a_shift_a_place_is_where_its_neighbours_went() -> None:
    other = {49: "Celtic chair 38", 55: "Sitar"}  # by index in the list
    rows = [f"{at + 1 + 2 * (at > 39)},{other.get(at, name)}\n" for at, name in enumerate(LIST)]
    found = compare(numbered(LIST), sheet("Ch,Name\n" + "".join(rows)))
    assert LIST[49] == "Chair 38"
    assert kinds(found) == ["shift", "renamed", "resourced"]
    assert found.changes[1].channels == ("Chair 38", "Celtic chair 38")
    assert found.changes[2].channels == (LIST[55], "Sitar")
    assert found.questions == ()


def boxed(rows: list[tuple[str, str, int]]) -> ChannelMap:
    """A list of names with their boxes and sockets, its slots counted from 1."""
    return sheet(
        "Ch,Name,Box,Socket\n"
        + "".join(f"{at},{name},{box},{socket}\n" for at, (name, box, socket) in enumerate(rows, 1))
    )


def test_a_box_with_another_name_and_count_is_found_by_labels_that_are_alike() -> None:
    """None of its names stands on the other list: likeness shows the box, and the box then shows the choir."""
    drums = [("Kick", "A", 1), ("Snare", "A", 2)]
    strings = ["Violin 1", "Violin 2", "Cello", "Choir soprano"]
    german = ["Vl 1", "Vl 2", "Vc", "Sopran"]
    one = boxed([*drums, *((name, "B", at) for at, name in enumerate(strings, 1))])
    two = boxed([*drums, *((name, "R", at) for at, name in enumerate(german, 9))])
    found = compare(one, two)
    assert kinds(found) == ["renamed"] * 4
    assert [(question.kind, "socket n+8" in question.message) for question in found.questions] == [
        ("box", True)
    ]


def test_a_swap_beside_other_names_does_not_shift_what_is_expected() -> None:
    names = [*LIST[:8], "Ana", "Jonas", "Lead vocal", "Spoken vocal"]
    other = [*LIST[:8], "Jonas", "Ana", "Lead vox", "Spoken vox"]
    found = compare(numbered(names), numbered(other))
    assert kinds(found) == ["swap", "renamed", "renamed"]
    renamed = [change.channels for change in found.changes[1:]]
    assert renamed == [("Lead vocal", "Lead vox"), ("Spoken vocal", "Spoken vox")]


def test_of_two_alike_each_stays_in_its_place_after_a_swap() -> None:
    found = compare(
        numbered([*LIST[:8], "Ana", "Jonas", "Vox", "Vox"]),
        numbered([*LIST[:8], "Jonas", "Ana", "Voix", "Voix 2"]),
    )
    assert kinds(found) == ["swap", "renamed", "renamed"]


def test_what_is_shifted_is_not_said_to_stand_in_the_same_slot() -> None:
    names = [*LIST[:4], "Overhead L", *LIST[9:13]]
    other = [*LIST[:4], "Timp", "OHL", *LIST[9:13]]
    found = compare(numbered(names), numbered(other))
    message = next(change.message for change in found.changes if change.kind == "renamed")
    assert "slot 6; 100% alike" in message


def test_french_letters_are_sides_where_the_list_pairs_them() -> None:
    one = "Ch,Name,Socket\n1,Overhead L,A1\n2,Overhead R,A2\n3,Keys L,A3\n4,Keys R,A4\n"
    two = "Voie,Source,Prise\n1,OH G,A1\n2,OH D,A2\n3,Clavier D,A3\n4,Clavier G,A4\n"
    found = compare(sheet(one), sheet(two))
    assert [change.channels for change in found.changes if change.kind == "renamed"] == [
        ("Overhead L", "OH G"), ("Overhead R", "OH D"), ("Keys L", "Clavier G"), ("Keys R", "Clavier D"),
    ]  # fmt: skip
    assert [change.kind for change in found.changes if change.kind != "renamed"] == ["pair"]
    lettered = compare(numbered(["Choir D", "Bass"]), numbered(["Choir R", "Bass"]))  # no pair, no side
    assert kinds(lettered) == ["resourced"]


def test_one_word_for_another_all_along_is_another_name() -> None:
    """`RF 01 Ana` and `Kanal 01 Ana`: three of them tell that the words mean one thing; two, or known words, do not."""
    people = ["Ana", "Ben", "Cem", "Dora"]
    here = numbered(["Bass", *(f"RF {at:02} {name}" for at, name in enumerate(people, 1))])
    there = numbered(["Bass", *(f"Kanal {at:02} {name}" for at, name in enumerate(people, 1))])
    assert kinds(compare(here, there)) == ["renamed"] * 4
    few = [numbered(["Bass", *(f"{word} Ana", f"{word} Ben")]) for word in ("RF", "Kanal")]
    assert kinds(compare(*few)) == ["resourced"] * 2
    known = [numbered(["Bass", *(f"{word} {name}" for name in people)]) for word in ("Guitar", "Banjo")]
    assert kinds(compare(*known)) == ["resourced"] * 4
    numbers = [numbered(["Bass", *(f"{word} {at} Ana" for at in order)]) for word, order in (("RF", (1, 2, 3)), ("Kanal", (2, 3, 1)))]  # fmt: skip
    assert "renamed" not in kinds(compare(*numbers))
