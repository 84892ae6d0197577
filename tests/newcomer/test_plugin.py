"""Formats of other packages: found by their entry point, and only where nothing of our own fits."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from chanbridge import formats
from tests.cli.conftest import Run, failed

PLUGIN = Path(__file__).parent / "plugin"


def installed(target: Path, module: str = "") -> None:
    """What `pip install --target` lays down of the plug-in; `module`: other code in the place of its own.

    The package is built by what its pyproject.toml says, without a build tool, which not every machine has.
    """
    about = tomllib.loads((PLUGIN / "pyproject.toml").read_text("utf-8"))
    (name,) = about["tool"]["setuptools"]["py-modules"]
    shutil.copy(PLUGIN / f"{name}.py", target)
    if module:
        (target / f"{name}.py").write_text(module, "utf-8")
    project = about["project"]
    info = target / f"{project['name'].replace('-', '_')}-{project['version']}.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(
        f"Metadata-Version: 2.1\nName: {project['name']}\nVersion: {project['version']}\n"
    )
    points = "".join(
        f"[{group}]\n" + "".join(f"{key} = {value}\n" for key, value in names.items())
        for group, names in project["entry-points"].items()
    )
    (info / "entry_points.txt").write_text(points, "utf-8")


@pytest.fixture
def plugged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder on the path of modules."""
    folder = tmp_path / "site"
    folder.mkdir()
    monkeypatch.syspath_prepend(str(folder))
    monkeypatch.delitem(sys.modules, "chanbridge_plugboard", raising=False)
    return folder


def test_a_plug_in_reads_and_writes(run: Run, plugged: Path, tmp_path: Path, example: Path) -> None:
    target = tmp_path / "box-a.plug"
    failed(run("convert", example / "box-a.csv", target), "'.plug' is no known format")
    installed(plugged)
    result = run("convert", example / "box-a.csv", target)
    assert result.status == 0
    assert "plugboard cannot carry everything but sockets and names" in result.err
    assert target.read_text("utf-8").startswith("A 1: Kick in\nA 2: Kick out\n")
    again = run("convert", target, "-", "--to", "csv")
    assert again.status == 0
    assert "Kick in" in again.text
    assert len(formats.read(str(target)).map.channels) == 34
    assert run("convert", target, "-", "--to", "plugboard").out == target.read_bytes()
    assert "plugboard .plug" in run("formats").text
    failed(run("convert", target, tmp_path / "a.plgu"), "did you mean '.plug'?")
    failed(run("read", target, "--from", "plugbord"), "did you mean 'plugboard'?")


def test_it_is_40_lines() -> None:
    lines = [path.read_text("utf-8").splitlines() for path in PLUGIN.glob("*.*")]
    assert sum(map(len, lines)) <= 40


@pytest.mark.parametrize(
    ("module", "said"),
    [
        ("import nothing_of_that_name", "cannot be loaded: ModuleNotFoundError: No module named 'nothing_of_that_name'"),
        ("FORMAT = 3", "cannot be loaded: TypeError: it is of type int, not a Format"),
        ("FORM = 3", "cannot be loaded: AttributeError"),
        ("def", "cannot be loaded: SyntaxError"),
        ("raise SystemExit(5)", "cannot be loaded: SystemExit: 5"),
        (
            "from chanbridge.formats import Format\nFORMAT = Format('plugboard', ('.plug',), 'chanbridge_plugboard', '')",
            "plug-in 'plugboard' (chanbridge_plugboard) failed: AttributeError",
        ),
        (
            "from chanbridge.formats import Format\nFORMAT = Format('plugboard', ('.plug',), 'chanbridge_plugboard', '')\n"
            "def read(data, source, options):\n    return 1 / 0",
            "failed: ZeroDivisionError: division by zero; tell its maker",
        ),
        (
            "from chanbridge.formats import Format\nFORMAT = Format('plugboard', ('.plug',), 'chanbridge_plugboard', '')\n"
            "def read(data, source, options):\n    return 'Kick'",
            "failed: ",
        ),
    ],
)  # fmt: skip
def test_a_broken_plug_in_is_one_line(
    run: Run, plugged: Path, tmp_path: Path, example: Path, module: str, said: str
) -> None:
    installed(plugged, module)
    (tmp_path / "a.plug").write_text("A 1: Kick\n")
    failed(run("read", tmp_path / "a.plug"), said)
    assert run("read", example / "box-a.csv").status == 0
    listing = run("formats")
    assert listing.status == 0
    assert ("cannot be loaded" in listing.err) == ("cannot be loaded" in said)


def test_ours_come_first(run: Run, plugged: Path, example: Path) -> None:
    """A plug-in cannot put itself in the place of a format of ours."""
    installed(
        plugged, "from chanbridge.formats import Format\nFORMAT = Format('csv', ('.csv',), 'nothing', '')"
    )
    assert run("read", example / "box-a.csv").status == 0


def test_nobody_looks_for_plug_ins_where_ours_fit(
    run: Run, example: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So that nothing is slower where none is used."""

    def looked() -> None:
        raise AssertionError("looked for plug-ins")

    monkeypatch.setattr(formats, "plugged_in", looked)
    assert run("read", example / "box-a.csv").status == 0
    assert run("convert", example / "box-a.csv", "-", "--to", "xlsx").status == 0
    assert run("check", example).status == 1
    code = "import sys; sys.argv = ['chanbridge', '--help']\nfrom chanbridge.cli import main\ntry:\n    main()\nexcept SystemExit:\n    sys.exit('importlib.metadata' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, check=False).returncode == 0
