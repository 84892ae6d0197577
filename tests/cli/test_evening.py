"""An evening: revisions, late changes, who was told and who has said to have it."""

from __future__ import annotations

import csv
import multiprocessing
import os
import random
import shutil
import signal
import time
from multiprocessing.connection import Connection
from pathlib import Path

import pytest

from chanbridge.cli.amend import make
from chanbridge.errors import ChanbridgeError
from chanbridge.evening.state import read_state
from chanbridge.journal import FILE, Journal
from chanbridge.show import load
from tests.cli.conftest import Run, failed
from tests.strategies import EXAMPLES


@pytest.fixture
def show(tmp_path: Path, example: Path) -> Path:
    return Path(shutil.copytree(example, tmp_path / "show"))


def slots(folder: Path, recipient: str) -> dict[str, str]:
    """Id → slot on a recipient's sheet."""
    with open(folder / recipient / "sheet.csv", encoding="utf-8", newline="") as stream:
        return {row["Id"]: row["Slot"] for row in csv.DictReader(stream) if row["Id"]}


def test_an_evening(run: Run, show: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    own = {path.name: path.read_bytes() for path in show.iterdir()}
    first = run("handover", show, "-o", out, "--revision", "A", "--date", "2026-12-10")
    assert first.status == 0
    assert "revision A, word " in first.err
    truck = slots(out, "truck")
    for number, said in enumerate(("rename Oboe to English horn", "Ana to B36"), 1):
        result = run("amend", show, said, "--yes")
        assert result.status == 0
        assert f"late change {number} is in the journal" in result.err
    assert "Need not be told:\n  Broadcast truck" in result.text
    second = run("handover", show, "-o", out, "--revision", "B", "--date", "2026-12-11")
    assert "truck: 2 changed" in second.err
    assert slots(out, "truck") == truck
    told = (out / "truck" / "changes.txt").read_text("utf-8")
    assert "rename to English horn" in told
    assert "the socket is B36 now" in told
    assert (out / "earlier" / "A" / "truck" / "sheet.csv").exists()
    word = second.err.split("revision B, word ")[1].split()[0]
    for page in ("truck/sheet.txt", "truck/changes.txt", "summary.txt"):
        page_text = (out / page).read_text("utf-8").lower()
        assert "revision b" in page_text
        assert f"word {word}" in page_text
    for recipient in ("front-of-house", "monitors", "stream", "truck", "recorder", "crew"):
        assert run("told", show, recipient).status == 0
        assert run("received", show, recipient, "B").status == 0
    assert run("status", show).status == 0

    for said in ("remove Bells", "add Zither at B37 with DI", "phantom on for Ana"):
        assert run("amend", show, said, "--yes").status == 0
    assert run("told", show, "truck").text == "truck was told 3, 4, 5\n"
    assert run("told", show, "crew").text == "crew was told 3, 4, 5\n"
    assert run("received", show, "crew").text == "crew has 3, 4, 5\n"
    for recipient in ("monitors", "stream", "recorder"):
        run("told", show, recipient)
        run("received", show, recipient)
    run("told", show, "front-of-house")
    run("received", show, "front-of-house", "3", "4")
    status = run("status", show)
    assert status.status == 1
    assert "DUE: Front of house has not said to have late change 5, though told" in status.text
    assert "DUE: Broadcast truck has not said to have late changes 3-5, though told" in status.text
    assert "Stage crew has not" not in status.text

    third = run("handover", show, "-o", out, "--revision", "C", "--date", "2026-12-12")
    assert third.status == 0
    after = slots(out, "truck")
    gone = [name for name in truck if name not in after]
    assert len(gone) == 1
    assert "bells" in gone[0]
    assert {name: slot for name, slot in after.items() if name in truck} == {
        name: slot for name, slot in truck.items() if name not in gone
    }
    assert len(after) == len(truck)  # the zither stands where the bells stood
    assert sorted(path.name for path in (out / "earlier").iterdir()) == ["A", "B"]
    assert "Revision B" in (out / "earlier" / "B" / "truck" / "sheet.txt").read_text("utf-8")
    assert run("handover", show, "-o", out, "--revision", "D").status == 0
    assert (out / "truck" / "changes.txt").read_text("utf-8").endswith("D: nothing changed for you\n")
    rows = list(csv.reader((run("amendments", show, "--csv").text).splitlines()))
    assert [row[3] for row in rows].count("amendment") == 5
    assert [row[3] for row in rows].count("revision") == 4
    assert {name: (show / name).read_bytes() for name in own} == own  # nobody's own files were touched


def test_a_late_change_is_shown_and_asked_for_before_it_counts(run: Run, show: Path) -> None:
    result = run("amend", show, "Ana to B36", stdin=b"n\n")
    assert result.status == 1
    assert "Plug Ana out of A21 into B36." in result.text
    assert "Mute the channel" in result.text
    assert not (show / FILE).exists()
    assert run("amend", show, "Ana", "to", "B36", stdin=b"y\n").status == 0
    assert "  1  Ana to B36" in run("amendments", show).text


@pytest.mark.slow
def test_taken_back(run: Run, show: Path, tmp_path: Path) -> None:
    run("amend", show, "Ana to B36", "--yes")
    run("amend", show, "Jonas to A21", "--yes")
    failed(run("amendments", show, "--undo", "1", "--yes"), "A21 is taken by 'Jonas'")
    failed(run("amendments", show, "--undo", "7", "--yes"), "no late change 7")
    assert run("amendments", show, "--undo", "2", "--yes").status == 0
    assert run("amendments", show, "--undo", "1", "--yes").status == 0
    failed(run("amendments", show, "--undo", "1", "--yes"), "taken back already")
    listed = run("amendments", show).text
    assert "Ana to B36  (taken back)" in listed
    assert "undo 1: Ana to B36" in listed
    run("handover", show, "-o", tmp_path / "amended")
    (show / FILE).unlink()
    run("handover", show, "-o", tmp_path / "plain")
    for recipient in ("truck", "front-of-house"):
        assert slots(tmp_path / "amended", recipient) == slots(tmp_path / "plain", recipient)


def test_a_late_change_onto_a_socket_that_is_gone_is_due_until_it_is_taken_back(
    run: Run, tmp_path: Path
) -> None:
    """The box is another one on the day: the show is planned all the same, and what does not fit stands in sight."""
    show = tmp_path / "show"
    assert run("new", show).status == 0
    text = (show / "show.toml").read_text("utf-8")
    assert run("amend", show, "Bass to A40", "--yes").status == 0
    (show / "show.toml").write_text(text.replace("inputs = 40", "inputs = 16"), "utf-8")
    said = "'Bass' at A40, and there is no such socket any more"
    assert said in " ".join(run("handover", show, "-o", tmp_path / "out").text.split())
    result = run("status", show)
    assert result.status == 1
    assert said in " ".join(result.text.split())
    assert run("amendments", show, "--undo", "1", "--yes").status == 0
    assert said not in " ".join(run("status", show).text.split())


def test_folded_into_another_kind_of_file_says_so(run: Run, show: Path, tmp_path: Path) -> None:
    """A text list is read and not written as a list of sockets: show.toml has to name the CSV."""
    text = (show / "show.toml").read_text("utf-8")
    assert run("convert", show / "box-a.csv", show / "box-a.txt").status == 0
    (show / "show.toml").write_text(text.replace('"box-a.csv"', '"box-a.txt"'), "utf-8")
    assert run("amend", show, "rename Jonas to Jon", "--yes").status == 0
    result = run("amendments", show, "--fold", tmp_path / "new")
    assert "write sheet = 'box-a.csv' instead of 'box-a.txt'" in result.err


@pytest.mark.slow
def test_folded_into_new_sheets(run: Run, show: Path, tmp_path: Path) -> None:
    run("amend", show, "Ana to B36", "--yes")
    run("amend", show, "rename Jonas to Jon", "--yes")
    run("handover", show, "-o", tmp_path / "before")
    new = tmp_path / "new"
    assert run("amendments", show, "--fold", new).status == 0
    assert sorted(path.name for path in new.iterdir()) == ["box-a.csv", "box-b.xml"]
    failed(run("amendments", show, "--fold", new), "is not written over")
    for path in new.iterdir():
        shutil.copy(path, show)
    assert run("handover", show, "-o", tmp_path / "both").status == 0  # they may stay in the journal
    (show / FILE).unlink()
    assert run("handover", show, "-o", tmp_path / "after").status == 0
    for recipient in ("truck", "front-of-house", "recorder"):
        before = slots(tmp_path / "before", recipient)
        assert slots(tmp_path / "both", recipient) == before
        if recipient != "truck":  # a packed feed is planned afresh without its journal
            assert slots(tmp_path / "after", recipient) == before


@pytest.mark.slow
def test_every_command_about_a_show_knows_its_late_changes(run: Run, show: Path, tmp_path: Path) -> None:
    run("amend", show, "rename Oboe to English horn", "--yes")
    run("amend", show, "remove Keys R", "--yes")
    assert "English horn" in run("lose", show, "B").text
    assert "English horn" in run("lists", show, "labels").text
    findings = run("check", show, "--json").json()["findings"]
    kept = [one for one in findings if one["channels"] == ["Keys R"]]
    assert {one["rule"] for one in kept} == {"label-mismatch"}  # their own lists still have it
    run("drill", show, "-o", tmp_path / "drill")
    assert "English horn" in (tmp_path / "drill" / "stage" / "box-B.csv").read_text("utf-8")
    run("ident", "make", show, "-o", tmp_path / "ident.wav", "--seconds", "4")
    heard = run("ident", "read", tmp_path / "ident.wav", "--against", show, "--json").json()
    assert "English horn" in {one["carries"] for one in heard["inputs"]}
    assert "English horn" in {one["expected"] for one in run("prove", show, "--json").json()["slots"]}


def test_what_is_refused(run: Run, show: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    failed(run("told", show, "lorry"), "no recipient 'lorry'", "truck")
    failed(run("received", show, "truck", "B"), "no revision or late change 'B'")
    failed(run("amend", show, "Ana to B1", "--yes"), "B1 is taken")
    failed(run("amend", show, "make it so"), "not understood")
    run("handover", show, "-o", out, "--revision", "A")
    failed(run("handover", show, "-o", out, "--revision", "A"), "issued already", "next is B")
    failed(run("handover", show, "-o", out, "--revision", "b/c"), "write a letter")
    failed(run("rehearsal", show, "--off"), "no rehearsal is on")


def test_frozen_refuses_a_revision_that_moves_something(run: Run, show: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    run("handover", show, "-o", out, "--revision", "A")
    run("amend", show, "rename Oboe to English horn", "--yes")
    assert run("handover", show, "-o", out, "--revision", "B", "--frozen").status == 0
    text = (show / "show.toml").read_text("utf-8")
    assert 'mode = "64@48000"' in text
    (show / "show.toml").write_text(text.replace('mode = "64@48000"', 'mode = "56@48000"'), "utf-8")
    failed(run("handover", show, "-o", out, "--revision", "C", "--frozen"), "--frozen", "would move")


def test_frozen_sees_what_moves_in_an_act_alone(run: Run, tmp_path: Path) -> None:
    """Of 15 channels 14 fit; the last has slot 2 in the act, where another is unplugged."""
    show = tmp_path / "show"
    show.mkdir()
    (show / "show.toml").write_text(
        'title = "Full"\nrate = 192000\nbox = [{id = "A", sheet = "a.csv", inputs = 16, block = "one"}]\n'
        'block = [{id = "one", slots = 16}]\nfeed = [{id = "feed", mode = "14@192000", blocks = ["one"]}]\n'
        'recipient = [{id = "truck", takes = ["feed"], tags = ["air"]}]\n'
        'act = [{id = "two", name = "Act 2", sockets = {"A 2" = ""}}]\n'
    )
    (show / "a.csv").write_text("Socket,Name\n" + "".join(f"{at},Chair {at}\n" for at in range(1, 16)))
    out = tmp_path / "out"
    assert run("handover", show, "-o", out, "--formats", "txt", "--revision", "A").status == 1
    text = (show / "show.toml").read_text("utf-8")
    (show / "show.toml").write_text(text.replace('{"A 2" = ""}', '{"A 3" = ""}'), "utf-8")
    refused = run("handover", show, "-o", out, "--revision", "B", "--frozen")
    failed(refused, "1 channel would move: in Act 2 Chair 15 from feed 2 to 3")


def test_a_rehearsal_is_seen_until_it_is_switched_back(run: Run, show: Path, tmp_path: Path) -> None:
    result = run("rehearsal", show, "--live", "Ana", "--on", "-o", tmp_path / "sheet.txt")
    assert result.status == 0
    sheet = (tmp_path / "sheet.txt").read_text("utf-8")
    assert "1     Kick in             track 1   [ ]   A1" in sheet
    assert "you said so" in sheet
    assert "hearing can be damaged" in sheet
    status = run("status", show)
    assert status.status == 1
    assert "the rehearsal is still on" in status.text
    failed(run("rehearsal", show, "--on"), "is on since")
    assert run("rehearsal", show, "--off").status == 0
    assert "rehearsal" not in run("status", show).text


NAMES = ("Ana", "Jonas", "Oboe", "Lectern", "Bass", "Zither", "Lute", "Viola")


def _amend_for_ever(show: str, seed: int, pipe: Connection) -> None:
    """Random late changes, each reported once it counts."""
    choose = random.Random(seed)
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    os.dup2(1, 2)
    loaded = load(show)
    while True:
        name, box, number = choose.choice(NAMES), choose.choice("AB"), choose.randint(1, 40)
        said = choose.choice(
            (f"{name} to {box}{number}", f"add {name} at {box}{number}", f"remove {name}", f"note {name}: {number}",
             f"phantom {choose.choice(('on', 'off'))} for {name}", f"swap {name} and {choose.choice(NAMES)}")
        )  # fmt: skip

        try:
            make(loaded, said, yes=True, who="")
        except ChanbridgeError:
            continue
        pipe.send(said)


@pytest.mark.slow
def test_no_late_change_is_lost_or_half_made_when_it_is_killed(show: Path) -> None:
    many = 1000 if EXAMPLES > 500 else 12
    server = multiprocessing.get_context("forkserver")  # copies of a process in which no library has threads
    server.set_forkserver_preload(["tests.faults.loaded"])
    said: list[str] = []
    turn = 0
    while len(said) < many:
        ours, theirs = server.Pipe(False)
        process = server.Process(target=_amend_for_ever, args=(str(show), turn, theirs))
        process.start()
        theirs.close()
        said.append(ours.recv())
        time.sleep(random.Random(turn).random() * 0.4)
        os.kill(process.pid or 0, signal.SIGKILL)
        process.join(30)
        while ours.poll():
            try:
                said.append(ours.recv())
            except EOFError:
                break
        journal = Journal(show)
        found = [one.said for one in read_state(journal).amendments]
        assert not journal.repaired
        assert found[: len(said)] == said
        assert len(found) <= len(said) + 1  # one may have counted and not been reported
        said = found
        turn += 1
