"""Every command of the README prints what the README says."""

from __future__ import annotations

import re
import shutil

import pytest

from tests import readme

pytestmark = pytest.mark.slow


def test_every_command_prints_what_stands_there() -> None:
    text = readme.README.read_text("utf-8")
    folder = readme.workplace()
    wrong = []
    count = 0
    try:
        for block in readme.blocks(text):
            for command, output in block.shown:
                count += 1
                found = readme.cut(block, readme.run(command, folder))
                assert "Traceback" not in found, command
                if plain(found) != plain(output):
                    wrong.append(f"$ {command}\n{found}")
    finally:
        shutil.rmtree(folder)
    assert count > 10
    assert not wrong, "run: python -m tests.readme\n" + "\n".join(wrong)


def plain(output: str) -> str:
    """An output without what differs from run to run: the time of day in UTC."""
    return re.sub(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", "TIME", output)
