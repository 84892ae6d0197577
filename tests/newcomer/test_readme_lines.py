"""Every line of the README is executed: what tests/test_readme.py, which runs the console blocks, leaves over.

The two commands at the top make a fresh environment and need the network; `.ci/run` executes them as they stand. Here
the commands in them run in the environment that is there.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from chanbridge.cli import group
from chanbridge.show import parse
from tests import readme
from tests.newcomer.test_help import commands

TEXT = readme.README.read_text("utf-8")
PROSE = re.sub(r"```.*?```", "", TEXT, flags=re.DOTALL)


def blocks(language: str) -> list[tuple[str, str]]:
    """The name in the comment above each block of a language, and what stands in the block."""
    found = re.findall(rf"(?:<!-- (\w+) -->\n)?```{language}\n(.*?)```\n", TEXT, re.DOTALL)
    return [(name, body) for name, body in found]


@pytest.fixture
def place() -> Iterator[Path]:
    """A folder as a clone is after the first command, its environment the one that is here."""
    folder = readme.workplace()
    (folder / ".venv").mkdir()
    (folder / ".venv" / "bin").symlink_to(Path(sys.executable).parent)
    yield folder
    shutil.rmtree(folder)


def test_no_kind_of_block_is_left_out() -> None:
    assert {*re.findall(r"^```(\w+)$", TEXT, re.MULTILINE)} == {"sh", "console", "toml", "python"}
    assert [name for name, _ in blocks("sh")] == ["run", "tests", "completion"]
    assert len(blocks("console")) == len([*readme.blocks(TEXT)])


def test_the_first_command(place: Path) -> None:
    run = dict(blocks("sh"))["run"].strip()
    make, _, rest = run.partition(" && ")
    install, _, hand_over = rest.partition(" && ")
    assert make == "python3 -m venv .venv"
    assert install == ".venv/bin/pip install -q ."
    output = readme.run(f"{hand_over} --formats csv,txt", place)
    assert "Complete: every wanted channel reaches everyone who should have it." in output
    for named in re.findall(r"Look at `(.+?)` first, then at `(.+?)`", TEXT.replace("\n", " "))[0]:
        assert (place / named).is_file()


def test_the_second_command_names_what_is_there(place: Path) -> None:
    run = dict(blocks("sh"))["tests"].strip()
    assert run.startswith("python3 -m venv .venv && .venv/bin/pip install -q '.[test]' && ")
    assert readme.run(f"{run.split(' && ')[-1]} --version", place).startswith("pytest ")


@pytest.mark.parametrize("body", [body for _, body in blocks("toml")])
def test_declarations_are_those_of_the_example(body: str) -> None:
    """Each table stands in the example's show.toml with the same keys and values; of a list there may be less."""
    whole = (readme.ROOT / "examples" / "winter-concert" / "show.toml").read_text("utf-8")
    parse(whole, "show.toml")
    there = tomllib.loads(whole)
    for name, said in tomllib.loads(body).items():
        if isinstance(said, list):
            for table in said:
                same = next(item for item in there[name] if item["id"] == table["id"])
                for key, value in table.items():
                    parts = value if isinstance(value, list) else [value]
                    whole_parts = same[key] if isinstance(value, list) else [same[key]]
                    assert all(part in whole_parts for part in parts), (table["id"], key)
        else:
            assert there[name] == said


def test_python(place: Path) -> None:
    (code,) = (body for _, body in blocks("python"))
    (place / "code.py").write_text(code)
    assert readme.run("python code.py", place) == ""
    assert (place / "out" / "truck.xlsx").is_file()


@pytest.mark.slow
def test_commands_within_the_text(place: Path) -> None:
    """Those that stand in a sentence, in their order, in a show that is handed over."""
    said = list(dict.fromkeys(re.findall(r"`(chanbridge [a-z][^`]*)`", PROSE.replace("\n", " "))))
    assert len(said) > 6
    readme.run("chanbridge handover examples/winter-concert -o out/winter-concert --formats csv", place)
    wrong = []
    for command in said:
        words = command.split()
        if words[1:] in (["reorder"], ["amendments"], ["rehearsal"]):
            words += ["--help"]
        if "serve" in words:  # tests/newcomer/test_help.py starts it
            continue
        line = " ".join(words).replace("SHOW", "examples/winter-concert")
        done = readme.run(f"{line} > out/said.txt; echo $?", place).split()[-1]
        if done != ("1" if "mark" in words else "0"):  # nothing was found yet
            wrong.append((line, done))
    assert not wrong


def test_options_within_the_text() -> None:
    known = {name for _, command in commands(group) for param in command.params for name in param.opts}
    said = {*re.findall(r"`(--[a-z-]+)", PROSE)}
    assert len(said) > 15
    assert said <= known, said - known


def shells() -> list[tuple[str, str]]:
    """The lines about completion: the shell's name and the line."""
    lines = dict(blocks("sh"))["completion"].splitlines()
    return [(line.rpartition("# ")[2], line.rpartition("# ")[0].strip()) for line in lines]


@pytest.mark.slow
@pytest.mark.parametrize(("shell", "line"), shells())
def test_completion(place: Path, shell: str, line: str) -> None:
    """The line as it stands, in its shell where that is installed; then what the shell asks of chanbridge."""
    first = {"zsh": "autoload -Uz compinit; compinit -u; "}.get(shell, "")
    words = {
        "bash": "complete -p chanbridge",
        "zsh": "print $_comps[chanbridge]",
        "fish": 'complete -C "chanbridge conv"',
    }
    if shutil.which(shell):
        told = readme.run(f"{shell} -c '{first}{line}; {words[shell]}'", place)
        assert ("convert" if shell == "fish" else "_chanbridge_completion") in told
    for typed, incomplete, said in (
        ("chanbridge conv", "conv", "convert"),
        ("chanbridge ident ma", "ma", "make"),
        ("chanbridge handover x --langu", "--langu", "--language"),
        ("chanbridge handover x --paper le", "le", "letter"),
        ("chanbridge read ex", "ex", "file"),
    ):
        at = incomplete if shell == "fish" else str(len(typed.split()) - 1)
        answer = readme.run(
            "chanbridge", place, _CHANBRIDGE_COMPLETE=f"{shell}_complete", COMP_WORDS=typed, COMP_CWORD=at
        )
        assert said in answer, (typed, answer)


def test_completion_of_a_command_imports_no_command() -> None:
    code = "import sys; from chanbridge.cli import group; items = group.shell_complete(__import__('click').Context(group), 'co')\nassert [item.value for item in items] == ['convert', 'compare'], items\nsys.exit('pydantic' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, check=False).returncode == 0
