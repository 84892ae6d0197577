"""Imports point one way; see DEVELOPERS.md."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "chanbridge"

# From the bottom up. A module may import from lower lines; the parts of one line do not import each other,
# except where a pair of names is listed in WITHIN.
LAYERS = (
    {"errors"},
    {"apart"},
    {"mode", "model", "names", "said", "files", "gear"},
    {"system"},
    {"sheets", "plan", "compare", "check", "ident", "foresight", "aes3"},
    {"aes10"},
    {"formats"},
    {"show", "journal"},
    {"assemble"},
    {"evening", "drill"},
    {"proof"},
    {"handover"},
    {"web", "api"},
    {"cli"},
)
WITHIN = {("model", "mode"), ("check", "compare")}
FREE = {"__init__", "__main__"}


def part(module: str) -> str:
    """The layer name of a dotted module: chanbridge.sheets.grid is "sheets"."""
    return module.split(".")[1] if "." in module else "__init__"


def imports() -> list[tuple[str, str]]:
    found = []
    for path in PACKAGE.rglob("*.py"):
        name = ".".join(("chanbridge", *path.relative_to(PACKAGE).with_suffix("").parts))
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "chanbridge":
                names = (
                    [f"{node.module}.{alias.name}" for alias in node.names]
                    if node.module == "chanbridge"
                    else [node.module]
                )
                found += [(part(name), part(target)) for target in names]
            elif isinstance(node, ast.Import):
                found += [
                    (part(name), part(alias.name))
                    for alias in node.names
                    if alias.name.startswith("chanbridge")
                ]
    return found


def test_imports_point_one_way() -> None:
    level = {name: at for at, layer in enumerate(LAYERS) for name in layer}
    found = imports()
    assert len(found) > 50
    for source, target in found:
        if source in FREE or target in FREE or target == "__version__" or source == target:
            continue
        assert source in level, f"{source} has no layer"
        assert level[target] < level[source] or (source, target) in WITHIN, (
            f"{source} must not import {target}"
        )


def test_only_files_opens_files() -> None:
    for path in PACKAGE.rglob("*.py"):
        if path.name == "files.py":
            continue
        calls = [
            node.func for node in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(node, ast.Call)
        ]
        assert not [call for call in calls if isinstance(call, ast.Name) and call.id == "open"], path
        named = {call.attr for call in calls if isinstance(call, ast.Attribute)}
        assert not named & {"write_text", "write_bytes_to", "read_bytes_from", "touch", "unlink"}, path


@pytest.mark.parametrize("heavy", ["pydantic", "lxml", "pandas", "numpy", "xlsxwriter"])
def test_help_imports_nothing_heavy(heavy: str) -> None:
    code = f"import sys; sys.argv = ['chanbridge', '--help']\nfrom chanbridge.__main__ import main\ntry:\n    main()\nexcept SystemExit:\n    pass\nsys.exit({heavy!r} in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, check=False).returncode == 0
