"""Steps on the stage: what is asked, what is refused and what would free it, what undoes it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chanbridge.assemble import Planned, assemble
from chanbridge.evening.amend import check, steps_for
from chanbridge.evening.consequences import Word, consequences
from chanbridge.evening.making import look, make
from chanbridge.evening.state import Amendment, State, planned, read_state
from chanbridge.evening.steps import Step, carried_out, from_json, opposite, to_json
from chanbridge.evening.words import AmendError, understand
from chanbridge.journal import Journal
from chanbridge.model import Audience, Channel, ChannelMap, Slot
from chanbridge.show import load

EXAMPLE = Path(__file__).parents[2] / "examples" / "winter-concert"


def example() -> Planned:
    return assemble(load(str(EXAMPLE)))


STAGE: ChannelMap = example().map


def made(said: str, stage: ChannelMap = STAGE) -> tuple[ChannelMap, tuple[Step, ...]]:
    steps = steps_for(understand(said), stage)
    check(steps, stage)
    after, odd = carried_out(stage, steps)
    assert odd == []
    return after, steps


def at(stage: ChannelMap, name: str) -> list[Slot]:
    ids = {channel.id for channel in stage.channels if channel.name == name}
    return [slot for channel, slot in stage.entries if channel in ids]


def test_a_move() -> None:
    after, _ = made("ana to b36")
    assert at(after, "Ana") == [Slot("B", 36)]
    assert len(after.channels) == len(STAGE.channels)


def test_both_sides_of_a_pair_move_together() -> None:
    after, _ = made("Keys to B36")
    assert at(after, "Keys L") == [Slot("B", 36)]
    assert at(after, "Keys R") == [Slot("B", 37)]


def test_a_channel_is_named_by_its_socket_too() -> None:
    after, _ = made("A1 to B36")
    assert at(after, "Kick in") == [Slot("B", 36)]


def test_rename_add_remove_swap_phantom_note() -> None:
    assert at(made("rename Oboe to English horn")[0], "English horn") == at(STAGE, "Oboe")
    assert at(made("add Zither at B36 with DI")[0], "Zither") == [Slot("B", 36)]
    removed = made("remove Keys L")[0]
    assert at(removed, "Keys L") == []
    right = next(channel for channel in removed.channels if channel.name == "Keys R")
    assert right.pair is None
    swapped = made("swap Ana and Jonas")[0]
    assert at(swapped, "Ana") == at(STAGE, "Jonas")
    assert at(swapped, "Jonas") == at(STAGE, "Ana")
    assert next(one for one in made("phantom on for Ana")[0].channels if one.name == "Ana").phantom == "on"
    assert (
        next(one for one in made("note Ana: two cables")[0].channels if one.name == "Ana").notes
        == "two cables"
    )


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ("Ana to B1", ("B1 is taken by 'Choir soprano L'", "swap Ana and Choir soprano L", "B36")),
        ("Ana to B41", ("box B has 40 inputs", "B36")),
        ("Ana to C1", ("no box 'C'", "A, B")),
        ("Ana to 12", ("names no box", "A12")),
        ("Ana to A21", ("A21 already",)),
        ("Anna to B36", ("no channel 'Anna'", "'Ana'")),
        ("soprano l to B36", ("no channel 'soprano l'", "did you mean 'Choir soprano L'?")),
        ("rename Oboe to Ana", ("another channel is called 'Ana'", "A21")),
        ("rename Ana to Ana", ("already",)),
        ("add Ana at B36", ("there is a channel 'Ana' already", "Ana to B36")),
        ("add Zither at A1", ("A1 is taken by 'Kick in'", "remove Kick in")),
        ("add Zither at back", ("no socket",)),
        ("swap Ana and Ana", ("itself",)),
        ("phantom off for Ana", ("off already",)),
        ("remove B40", ("nothing stands at B40",)),
        ("Keys to B40", ("box B has 40 inputs",)),
        ("rename Ana to Click 2", ("not be heard on air", "remove Ana", "add Click 2 at A21")),
    ],
)
def test_what_cannot_be_says_why_and_what_would_free_it(said: str, words: tuple[str, ...]) -> None:
    with pytest.raises(AmendError) as error:
        made(said)
    for word in words:
        assert word in str(error.value)


@pytest.mark.parametrize("at", [Slot("Z", 1), Slot("A", 41)])
@pytest.mark.parametrize("change", ["move", "add"])
def test_a_socket_that_is_not_there_any_more_is_said(at: Slot, change: str) -> None:
    """A box renamed, or one with fewer sockets, after the change was made: the show is still planned."""
    if change == "add":
        step = Step("add", "zither", "", "Zither", None, at, {"id": "zither", "name": "Zither"})
    else:
        step = Step("move", STAGE.channels[0].id, "Zither", "Zither", None, at)
    after, odd = carried_out(STAGE, [step])
    assert after == STAGE
    assert len(odd) == 1
    assert "no such socket any more" in odd[0]


SAYABLE = [channel.name for channel in STAGE.channels]
sentences = st.one_of(
    st.builds("{} to {}{}".format, st.sampled_from(SAYABLE), st.sampled_from("AB"), st.integers(1, 40)),
    st.builds(
        "rename {} to {}".format, st.sampled_from(SAYABLE), st.sampled_from(("Zither", "Lute", *SAYABLE))
    ),
    st.builds(
        "add {} at {}{}".format,
        st.sampled_from(("Zither", "Lute")),
        st.sampled_from("AB"),
        st.integers(1, 40),
    ),
    st.builds("remove {}".format, st.sampled_from(SAYABLE)),
    st.builds("swap {} and {}".format, st.sampled_from(SAYABLE), st.sampled_from(SAYABLE)),
    st.builds("phantom {} for {}".format, st.sampled_from(("on", "off")), st.sampled_from(SAYABLE)),
    st.builds("note {}: {}".format, st.sampled_from(SAYABLE), st.sampled_from(("x", "two cables"))),
)


def plain(stage: ChannelMap) -> dict[str, Any]:
    """A stage without the order of its channels, which nobody keeps."""
    return {
        "channels": {channel.id: channel for channel in stage.channels},
        "entries": sorted(stage.entries),
        "rest": stage.changed(channels=(), entries=()),
    }


@given(st.lists(sentences, max_size=6))
def test_any_evening_can_be_played_again_and_taken_back(said: list[str]) -> None:
    stage, done = STAGE, []
    for sentence in said:
        try:
            after, steps = made(sentence, stage)
        except AmendError:
            continue
        names = [slot for _, slot in after.entries if slot.port in ("A", "B")]
        assert len(after.entries) - len({*names}) <= len(STAGE.entries) - len(
            {slot for _, slot in STAGE.entries}
        )
        stored = tuple(from_json(json.loads(json.dumps(to_json(step)))) for step in steps)
        assert stored == steps
        assert plain(carried_out(after, steps)[0]) == plain(after)  # once more changes nothing
        done.append((stage, steps, after))
        stage = after
    for before, steps, after in reversed(done):
        assert after == stage or plain(after) == plain(stage)
        back = opposite(steps)
        check(back, stage)
        stage, odd = carried_out(stage, back)
        assert odd == []
        renamed = any(step.change == "rename" for step in steps)
        if not renamed:  # a short label of its own is not kept through a new name
            assert plain(stage) == plain(before)
        stage = before


def test_a_change_that_the_sheets_have_overtaken_is_named() -> None:
    after, steps = made("Ana to B36")
    elsewhere, _ = made("Ana to B37")
    again, odd = carried_out(elsewhere, steps)
    assert at(again, "Ana") == [Slot("B", 36)]
    assert "its sheet says B37 now" in odd[0]
    gone, _ = made("remove Ana")
    assert "no sheet has any more" in carried_out(gone, steps)[1][0]
    assert carried_out(after, steps)[1] == []


def test_an_added_channel_is_kept_from_air_and_room_by_its_name_as_on_a_sheet() -> None:
    after, _ = made("add Cue track at B36")
    cue = next(one for one in after.channels if one.name == "Cue track")
    assert (cue.audience.air, cue.audience.room) == ("not allowed", "not allowed")
    assert cue.kind == next(one for one in STAGE.channels if one.name == "Cue voice").kind
    after, _ = made("add Audience Q&A handheld at B36")  # a word that misleads
    assert next(one for one in after.channels if one.name.startswith("Audience")).audience == Audience()


def test_what_was_removed_and_comes_back_is_in_its_mixes_again() -> None:
    ids = {channel.name: channel.id for channel in STAGE.channels}
    held = (ids["Ana"], ids["Click"], ids["Jonas"])
    mix = Channel(id="music", name="Music mix", kind="mix", contents=held)
    stage = STAGE.changed(channels=(*STAGE.channels, mix))
    without, steps = made("remove Click", stage)
    assert without.channel("music") == mix.changed(contents=(ids["Ana"], ids["Jonas"]))
    back, odd = carried_out(stage, [*steps, *opposite(steps)])
    assert odd == []
    assert back.channel("music") == mix
    stored = [from_json(json.loads(json.dumps(to_json(step)))) for step in (*steps, *opposite(steps))]
    folded, _ = carried_out(without, stored)  # the removal has found its way into the sheets
    assert folded.channel("music") == mix


def test_one_whose_taking_back_was_taken_back_counts_again() -> None:
    def amendment(number: int, undoes: int) -> Amendment:
        return Amendment(number, number, "", "", "", (), {}, {}, undoes)

    state = State(amendments=[amendment(1, 0), amendment(2, 1), amendment(3, 0)])
    assert state.undone() == {1}
    state.amendments.append(amendment(4, 2))
    assert state.undone() == {2}
    state.amendments.append(amendment(5, 4))
    assert state.undone() == {1, 4}


def told(said: str) -> dict[str, Word]:
    """What a late change on the example means for each."""
    show, steps = load(str(EXAMPLE)), steps_for(understand(said), STAGE)
    return consequences(example(), assemble(show, lambda stage: carried_out(stage, steps)[0]), steps)


def test_every_desk_is_told_of_phantom_so_that_it_mutes() -> None:
    words = told("phantom on for Ana")
    assert [name for name, word in words.items() if word.must] == [
        "crew", "front-of-house", "monitors", "stream", "truck",
    ]  # fmt: skip
    assert words["monitors"].sentence == "Mute slot 21: phantom on for Ana."
    assert "harm" not in words["crew"].sentence
    assert "Click is a playback source: phantom can harm it" in told("phantom on for Click")["crew"].sentence


def test_a_recipient_hears_that_something_new_is_not_for_air() -> None:
    assert told("add Cue track at B36")["stream"].sentence.endswith("comes on slot 76, NOT FOR AIR.")
    assert told("rename Click to Pulse")["stream"].sentence.endswith("it stays NOT FOR AIR.")


SUNDAY = EXAMPLE.parent / "sunday"


@pytest.mark.parametrize(
    "said",
    [
        "Presenter earpiece to A16", "rename Presenter earpiece to Host ear", "remove Presenter earpiece",
        "phantom on for Presenter earpiece", "note Presenter earpiece: x", "swap Vocal 2 and Presenter earpiece",
    ],
)  # fmt: skip
def test_what_a_desk_makes_is_no_late_change_of_the_stage(said: str) -> None:
    """A step about it would be kept and could never be carried out: it stands on no sheet."""
    with pytest.raises(
        AmendError, match="'Presenter earpiece' stands at no socket of the stage, it is made by truck"
    ):
        made(said, assemble(load(str(SUNDAY))).map)


def test_what_show_toml_names_is_refused_with_the_place(tmp_path: Path) -> None:
    for said in ("remove Lead vocal", "rename Lead vocal to Main vocal"):
        with pytest.raises(AmendError) as error:
            look(load(str(SUNDAY)), Journal(tmp_path), said)
        text = str(error.value)
        assert "cannot be made with this change" in text
        assert "contents: there is no channel 'Lead vocal'" in text
        assert "a-lead-vocal" in text


FULL = """\
title = "A full feed"
rate = 192000
box = [{id = "A", sheet = "a.csv", inputs = 16, block = "one"}]
block = [{id = "one", slots = 16}]
feed = [{id = "feed", mode = "14@192000", blocks = ["one"]}]
recipient = [{id = "truck", takes = ["feed"], tags = ["air"]}]
act = [{id = "two", name = "After the interval", sockets = {"A 2" = ""}}]
"""


def test_who_takes_a_full_feed_hears_what_does_not_reach_it_and_what_acts_change(tmp_path: Path) -> None:
    """Of 15 channels 14 fit; in the act one is unplugged, so that the last has its slot then."""
    (tmp_path / "show.toml").write_text(FULL)
    (tmp_path / "a.csv").write_text(
        "Socket,Name\n" + "".join(f"{number},Chair {number}\n" for number in range(1, 16))
    )
    show = load(str(tmp_path))

    def to_truck(said: str) -> Word:
        return look(show, Journal(tmp_path / "journal"), said).words["truck"]

    added = to_truck("add Harp at A16")
    assert added.must
    assert added.sentence == "New: Harp does NOT reach you: no room: 16 channels for 14 slots."
    removed = to_truck("remove Chair 15")
    assert removed.must
    assert removed.sentence == "In After the interval: Chair 15 is gone; slot 2 is free."


def test_a_socket_that_is_taken_is_no_spare_any_more(tmp_path: Path) -> None:
    """Its sheet says "frei" of it; the crew would read both. Of another it says that its wire is broken."""
    show, journal = load(str(EXAMPLE)), Journal(tmp_path)

    def marked() -> dict[Slot, str]:
        return dict(planned(show, read_state(journal)).map.reserved)

    def enter(said: str, undoes: int = 0) -> str:
        meant = look(show, journal, said, undoes)
        make(show, journal, said, meant.agreed, at="2026-12-12T18:00:00Z", who="", undoes=undoes)
        return meant.words["crew"].sentence

    begun = marked()
    assert begun[Slot("A", 34)] == "frei"
    assert enter("Ana to A34") == "Plug Ana out of A21 into A34. Channel muted everywhere first."
    assert {*begun} - {*marked()} == {Slot("A", 34)}
    enter("", undoes=1)
    assert marked() == begun
    assert "A37 is marked on its sheet: frei (Ader gebrochen)." in enter("Ana to A37")
