"""What someone types wrong in the first hour: one line that offers the right word, one with help at the most."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from chanbridge.errors import ShowError, close_to, nearest, unknown
from chanbridge.foresight.needs import Needs, Store
from chanbridge.show import declared, parse
from tests.cli.conftest import Result, Run

SHOW = "examples/winter-concert"
BOX = f"{SHOW}/box-a.csv"
SUNDAY = "examples/sunday"


def refused(result: Result, *words: str) -> None:
    """Exit status 2, nothing on standard output, one line of what is wrong and at most one of help."""
    assert result.status == 2, result
    assert result.out == b""
    lines = result.err.strip().splitlines()
    assert lines[0].startswith("chanbridge: ")
    assert len(lines) == 1 or (len(lines) == 2 and "help: chanbridge" in lines[1]), lines
    for word in words:
        assert word in lines[0], lines


TYPED = [
    # commands and options
    ("convrt", "did you mean 'convert'?"),
    ("Read", "did you mean 'read'?"),
    ("hand-over", "did you mean 'handover'?"),
    ("help", "did you mean '--help'?"),
    ("version", "did you mean '--version'?"),
    ("xyz", "there are new, read, convert"),
    ("ident mak", "did you mean 'make'?"),
    ("drill mrk exercise", "did you mean 'mark'?"),
    (f"convert {BOX} a.xml --fromat csv", "did you mean '--from'?"),
    (f"read {BOX} --jason", "did you mean '--json'?"),
    (f"drill {SHOW} --fault 3 -o x", "did you mean '--faults'?"),
    ("read", "FILE is missing"),
    ("new ", "DIR is missing"),
    (f"handover {SHOW} -o ", "-o DIR is missing"),
    (f"convert {BOX}", "DST is missing"),
    (f"handover {SHOW}", "-o DIR is missing"),
    (f"merge {BOX}", "--onto MODE is missing", "64@48000"),
    (f"read {BOX} again", "extra argument"),
    # what options take
    (f"merge {BOX} --onto 64@48000 -o a.csv --layout packd", "did you mean 'packed'?"),
    (f"merge {BOX} --onto 64@48000 -o a.csv --slots x", "--slots 'x' is no number from 1 to 1024"),
    (f"merge {BOX} --onto 64@48000 -o a.csv --slots 0", "--slots 0 is no number from 1 to 1024"),
    (f"merge {BOX} --onto 65@48000 -o a.csv", "use 64@48000"),
    (f"compare {BOX} {BOX} --by sockt", "did you mean 'socket'?"),
    (f"handover {SHOW} -o x --language gr", "'gr' is none of en, de, fr, es, it, nl"),
    (f"handover {SHOW} -o x --paper leter", "did you mean 'letter'?"),
    (f"handover {SHOW} -o x --formats pfd", "did you mean 'pdf'?"),
    (f"handover {SHOW} -o x --date 24.12.2026", "write it as YYYY-MM-DD"),
    (f"lists {SHOW} kitt", "did you mean 'kit'?"),
    (f"check {BOX} --only par-half", "did you mean 'pair-half'?"),
    (f"read {BOX} --from cvs", "did you mean 'csv'?"),
    (f"convert {BOX} a.csv --to jsn", "did you mean 'json'?"),
    (f"read {BOX} --columns Bemerkng=name", "no heading 'Bemerkng'; did you mean 'Bemerkung'?"),
    (f"read {BOX} --columns #30=name", "no heading '#30'; there are Kanal, Buchse"),
    (f"read {BOX} --columns Bemerkung=nots", "did you mean 'notes'?"),
    (f"read {BOX} --columns Bemerkung", "write HEADING=FIELD"),
    # files and folders
    (f"read {SHOW}/box-aa.csv", "there is no such file; did you mean 'box-a.csv'?"),
    ("read examples/winter-concrt/box-a.csv", "no folder 'examples/winter-concrt'; did you mean 'winter-concert'?"),
    ("handover examples/wintr-concert -o x", "did you mean 'winter-concert'?"),
    ("size examples/need.toml", "did you mean 'needs.toml'?"),
    (f"compare {BOX} {BOX} --show {SHOW}/show.tml", "did you mean 'show.toml'?"),
    (f"read {SHOW}", "this is a folder", "box-a.csv, box-b.xml", "check, prove, handover"),
    (f"compare {BOX} {SHOW}", "this is a folder", "box-a.csv"),
    (f"read {SHOW}/show.toml", "this declares a show"),
    (f"handover {BOX} -o x", "this is a sheet, no show"),
    ("check examples", "no show.toml in this folder", "sunday, winter-concert"),
    (f"read {BOX}/box-a.csv", "a file stands where this name has a folder"),
    (f"convert {BOX} examples", "this is a folder; name a file in it"),
    (f"convert {BOX} nowhere/a.csv", "there is no folder 'nowhere'; make it first"),
    (f"convert {BOX} a.xslx", "did you mean '.xlsx'?"),
    (f"convert {BOX} a.pdf", "no known format; known are .csv"),
    (f"convert {BOX} a.ods", "write .xlsx"),
    (f"convert {BOX} a", "this name has no ending"),
    (f"merge {BOX} --onto 64@48000 -o a.cvs", "did you mean '.csv'?"),
    (f"verify {SHOW}", "no hand-over lies here"),
    (f"drill mark {SHOW}", "no exercise lies here"),
    ("drill mark exercse", "no folder 'exercse'"),
    (f"prove {SHOW} --paper papr", "this is no folder"),
    # names in a show
    (f"told {SHOW} trukc", "did you mean 'truck'?"),
    (f"told {SHOW} crw", "did you mean 'crew'?"),
    (f"received {SHOW} Brodcast_truck", "did you mean 'Broadcast truck'?"),
    (f"told {SHOW} truck Q", "no revision or late change 'Q'"),
    (f"handover {SHOW} -o x --only trck", "did you mean 'truck'?"),
    (f"lose {SHOW} stag-left", "did you mean 'stage-left'?"),
    (f"lose {SHOW} circut_stage", "did you mean 'circuit stage'?"),
    (f"lose {SUNDAY} truck --act Hrap", "did you mean 'harp'?"),
    (f"rehearsal {SHOW} --recorder recoder", "did you mean 'recorder'?"),
    (f"rehearsal {SHOW} --desk mnitors", "did you mean 'monitors'?"),
    (f"rehearsal {SHOW} --live Anna", "did you mean 'Ana'"),
    (f"merge {BOX} --onto 64@48000 -o a.csv --fix Kik_in=3", "did you mean 'Kick in'?"),
    (f"amend {SHOW} Obeo_to_B36", "did you mean 'Oboe'?"),
    (f"amend {SHOW} renam_Oboe_to_Horn", "did you mean 'rename'?"),
    (f"amend {SHOW} swap_Oboe", 'say swap NAME and NAME, for example "swap Ana and Jonas"'),
    (f"amend {SHOW} Oboe_to_C3", "no box 'C'; there are A, B"),
    (f"amendments {SHOW} --undo 3", "no late change 3; there are none yet"),
]  # fmt: skip
"""A line as it is typed ("_" for a blank within a word), and words of the answer."""


@pytest.mark.parametrize("typed", TYPED, ids=lambda typed: typed[0])
def test_the_answer_offers_the_right_word(run: Run, clone: Path, typed: tuple[str, ...]) -> None:
    line, *said = typed
    before = sorted(clone.rglob("*"))
    refused(run(*(word.replace("_", " ") for word in line.split(" "))), *said)
    assert sorted(clone.rglob("*")) == before


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.xslx", b"Ch,Name\n1,Kick\n", "did you mean '.xlsx'?"),
        ("a.doc", b"\xd0\xcf\x11\xe0", "'.doc' is no known format; known are .csv"),
        ("a.pdf", b"%PDF-1.7\n", "'.pdf' is no known format; known are .csv"),
        ("a.numbers", b"PK\x03\x04", "save it as one of them"),
        ("a.jpg", b"\xff\xd8\xff\xe0", "save it as one of them"),
        ("patch", b"Ch,Name\n1,Kick\n", "this name has no ending"),
        ("empty.csv", b"", "this file is empty; is it the right one, and was it saved?"),
        ("blank.csv", b"\xef\xbb\xbf\r\n", "this file is empty"),
        ("empty.xlsx", b"", "this file is empty"),
        ("text.xlsx", b"Ch,Name\n1,Kick\n", "this is text, not a workbook; give it the ending .csv"),
        ("book.csv", b"PK\x03\x04" + bytes(range(256)), "this is a binary file"),
        ("nameless.csv", b"Ch,Mic\n1,\n2,\n", "give it a first row such as Slot,Name,Box,Socket"),
    ],
)  # fmt: skip
def test_files_that_are_no_sheet(run: Run, tmp_path: Path, name: str, content: bytes, said: str) -> None:
    (tmp_path / name).write_bytes(content)
    refused(run("read", tmp_path / name), said, name)


def test_a_file_that_may_not_be_opened(tmp_path: Path) -> None:
    """As another user where this one may open everything."""
    sheet = tmp_path / "box-a.csv"
    sheet.write_text("Ch,Name\n1,Kick\n")
    sheet.chmod(0)
    code = (
        "import os, sys\n"
        "from chanbridge.cli import main\n"
        "import chanbridge.cli.read, chanbridge.formats.delimited\n"
        "os.geteuid() or os.setuid(65534)\n"
        f"sys.argv = ['chanbridge', 'read', {str(sheet)!r}]\n"
        "main()\n"
    )
    for folder in (tmp_path, *tmp_path.parents[:2]):
        folder.chmod(0o755)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    sheet.chmod(0o600)
    assert done.returncode == 2
    assert done.stderr == f"chanbridge: {sheet}: this may not be opened; check its permissions\n"


@pytest.mark.parametrize("heading", ["columns = { Bemerkng = 'name' }", "columns = { Bemerkung = 'nme' }"])
def test_columns_in_show_toml(run: Run, clone: Path, heading: str) -> None:
    show = clone / SHOW / "show.toml"
    show.write_text(
        show.read_text("utf-8").replace('sheet = "box-a.csv"', f'sheet = "box-a.csv"\n{heading}'), "utf-8"
    )
    refused(
        run("check", SHOW), "columns: ", "did you mean 'Bemerkung'?" if "Bemerkng" in heading else "'name'?"
    )


DECLARED: list[tuple[str, Callable[[str, str], object]]] = [
    ("winter-concert/show.toml", parse),
    ("sunday/show.toml", parse),
    ("needs.toml", lambda text, source: declared(text, source, Needs)),
    ("kit.toml", lambda text, source: declared(text, source, Store)),
]
KEY = re.compile(r"(?m)(?:^|(?<=[{,]))[ \t]*([a-z_]+)(?=\s*=)|^\[\[?([a-z]+)\]\]?|(#.*)")


@pytest.mark.parametrize(("name", "read"), DECLARED, ids=[name for name, _ in DECLARED])
def test_every_key_misspelt(name: str, read: Callable[[str, str], object]) -> None:
    """Two letters of each key change places: the line and the right key are named, in nested tables too."""
    text = (Path(__file__).parents[2] / "examples" / name).read_text("utf-8")
    read(text, name)
    tried, wrong = 0, []
    for found in KEY.finditer(text):
        key = found[1] or found[2]
        if not key or len(key) < 4 or key[1] == key[2] or key == "click":  # clikc: clock is as near
            continue
        start = found.start(1 if found[1] else 2)
        line = text.count("\n", 0, start) + 1
        typo = f"{text[:start]}{key[0]}{key[2]}{key[1]}{key[3:]}{text[start + len(key) :]}"
        tried += 1
        with pytest.raises(ShowError) as raised:
            read(typo, name)
        said = str(raised.value)
        if f"{name}:{line}:" not in said or f"did you mean {key!r}?" not in said:
            wrong.append((line, key, said))
    assert tried > 10
    assert not wrong


def test_nearest() -> None:
    assert nearest("TRUKC", ["stream", "truck"]) == "did you mean 'truck'?"
    assert nearest("harp", ["truck"]) == "there is only truck"
    assert nearest("harp", []) == "there are none"
    assert nearest("Lory", ["truck"], ["Lorry"]) == "did you mean 'Lorry'?"
    assert unknown("act", "x", ["harp", "choir"]) == "there is no act 'x'; there are harp, choir"
    assert close_to("gr", ["en", "de", "fr"]) == ""


def test_a_full_name_of_a_command_is_no_typo(run: Run, clone: Path) -> None:
    """A show may be called as a command nearly is."""
    shutil.copytree(SHOW, "mark2")
    assert run("drill", "mark2", "-o", "exercise").status == 0
    assert os.path.exists("exercise/task.txt")
