"""The recipes of DEVELOPERS.md work as they stand there."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests import readme
from tests.newcomer import recipes

pytestmark = pytest.mark.slow

RECIPES = dict(recipes.recipes(recipes.DEVELOPERS.read_text("utf-8")))


@pytest.fixture
def place() -> Iterator[Path]:
    folder = recipes.workplace()
    yield folder
    shutil.rmtree(folder)


def test_there_are_three() -> None:
    assert [*RECIPES] == ["To add a format", "To add a rule", "To add a kind of recipient"]


@pytest.mark.parametrize("name", RECIPES)
def test_a_recipe_prints_what_stands_there(place: Path, name: str) -> None:
    steps = RECIPES[name]
    output = recipes.followed(steps, place)
    assert output == next(step.body for step in steps if step.file == "try"), (
        "run: python -m tests.newcomer.recipes"
    )
    assert "chanbridge: " not in output
    used = readme.run(
        'python -c "import chanbridge; print(chanbridge.__file__)"', place, PYTHONPATH=str(place)
    )
    assert used.strip() == str(place / "chanbridge" / "__init__.py")


def test_the_new_format_is_read_again(place: Path) -> None:
    recipes.followed(RECIPES["To add a format"], place)
    output = readme.run("chanbridge read out/box-a.dash && chanbridge formats", place, PYTHONPATH=str(place))
    assert "34 channels" in output
    assert "dashes    .dash" in output


def test_the_new_rule_has_examples_that_fail_and_pass(place: Path) -> None:
    """As tests/check/test_rule.py does for every rule."""
    recipes.followed(RECIPES["To add a rule"], place)
    code = """
        import pathlib
        from chanbridge import api
        from chanbridge.check import RULES
        new = next(each for each in RULES if each.name == "name-in-capitals")
        for sheet in new.examples():
            pathlib.Path("sheet.csv").write_text(sheet)
            print(["name-in-capitals" == finding.rule for finding in api.check("sheet.csv").findings].count(True))
    """
    (place / "try.py").write_text(textwrap.dedent(code))
    assert readme.run("python try.py", place, PYTHONPATH=str(place)) == "1\n0\n"


def test_a_misspelt_kind_is_met_with_the_new_one(place: Path) -> None:
    recipes.followed(RECIPES["To add a kind of recipient"], place)
    command = "sed -i s/lights/lihgts/g hall/show.toml && chanbridge check hall"
    assert "did you mean 'lights'?" in readme.run(command, place, PYTHONPATH=str(place))
