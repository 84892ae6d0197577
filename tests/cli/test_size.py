"""chanbridge size: the example, from needs to a hand-over, and files that are wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Run, failed

EXAMPLES = Path(__file__).parents[2] / "examples"
NEEDS, KIT = EXAMPLES / "needs.toml", EXAMPLES / "kit.toml"


def test_the_example_by_hand(run: Run) -> None:
    """Stage left 24 in and 20 % = 29: box 32. Jetty 12 + 3 = 15: box 16. Lectern 4 + 1 = 5: the other box 16.
    130 m and 15 % are 149.5 m: fibre, twice, of which one is there. 52 m and 15 % are 59.8 m: reels of 75 m."""
    result = run("size", NEEDS, "--kit", KIT, "--json")
    assert result.status == 0
    data = result.json()
    assert [(box["place"], box["piece"]) for box in data["boxes"]] == [
        ("stage left", "box 32"), ("jetty", "box 16"), ("lectern", "box 16"),
    ]  # fmt: skip
    kit = {item["id"]: (item["need"], item["hire"]) for item in data["kit"]}
    assert kit["fibre 150"] == (2, 1)
    assert kit["reel 75"] == (8, 2)
    assert kit["lead 30"] == (4, 0)
    assert data["ports"] == {"front-of-house": 3, "monitors": 3, "mixers": 4}
    assert data["watts_over_cables"] == pytest.approx(4 * 15.4)  # class 3 at the source, IEEE 802.3
    assert data["feeds"] == 1
    assert data["full_first"] == "inputs at stage left"
    assert data["does_not_fit"] == data["not_said"] == []


def test_it_can_be_read_at_80_columns(run: Run) -> None:
    for arguments in ((NEEDS,), (NEEDS, "--kit", KIT)):
        result = run("size", *arguments)
        assert result.status == 0
        assert all(len(line) <= 80 for line in result.text.splitlines())
        assert "When everything grows alike, full first: inputs at stage left" in result.text
        assert "licensed electrician" in result.text


@pytest.mark.parametrize("kit", [(), ("--kit", KIT)])
def test_from_needs_to_a_hand_over(run: Run, tmp_path: Path, kit: tuple[str | Path, ...]) -> None:
    show = tmp_path / "show"
    assert run("size", NEEDS, *kit, "--write", show).status == 0
    assert "# " in (show / "show.toml").read_text("utf-8")
    result = run("handover", show, "-o", tmp_path / "out")
    assert result.status == 0, result
    assert "Complete: every wanted channel reaches everyone" in result.text
    errors = [item for item in run("check", show, "--json").json()["findings"] if item["severity"] == "error"]
    assert errors == []
    lost = run("lose", show, "block-2-run", "--json").json()
    assert lost["not_judged"] == []
    silent = {one["recipient"]: len(one["silent"]) for one in lost["lost"][0]["recipients"]}
    assert silent["truck"] == silent["monitors"] == 12
    assert silent["mixers-1"] == 0
    assert lost["lost"][0]["lies_ready"][0]["cable"] == "block-2-backup"
    assert run("lists", show).status == 0


VARIANTS = {
    "bare": 'title = "Bare"\nrate = 48000\n[[place]]\nid = "stage"\ninputs = 4\n[[listener]]\nid = "desk"\n',
    "two feeds": 'title = "Two"\nrate = 48000\n[[place]]\nid = "stage"\ninputs = 70\noutputs = 60\n[[listener]]\nid = "desk"\n'
    '[truck]\nmode = "56@48000"\nback = 2\n',
    "another rate": 'title = "Fast"\nrate = 96000\nblock_slots = 20\n[[place]]\nid = "a"\ninputs = 30\n[[place]]\nid = "b"\n'
    '[[listener]]\nid = "desk"\n[[listener]]\nid = "ears"\nkind = "mixers"\ncount = 2\nports = 1\nclass = 4\n[truck]\nmode = "64@48000"\n',
    "odd words": 'title = "A \\"quoted\\" \\\\ Ünïcode\\t\\u0007"\nrate = 48000\n[[place]]\nid = "Bühne 1"\ninputs = 3\noutputs = 1\n'
    '[[listener]]\nid = "Saal"\nname = "Ton \\"Saal\\""\n[[mix]]\nfrom = "Saal"\nto = "Bühne 1"\ncount = 3\nstereo = true\n',
    "more mixes than reach": 'title = "M"\nrate = 48000\n[[place]]\nid = "a"\ninputs = 3\n[[place]]\nid = "b"\ninputs = 3\n'
    '[[listener]]\nid = "foh"\n[[listener]]\nid = "mon"\nports = 1\n[[mix]]\nfrom = "mon"\nto = "b"\n',
}


@pytest.mark.parametrize("needs", VARIANTS.values(), ids=[*VARIANTS])
def test_any_needs_become_a_show(run: Run, tmp_path: Path, needs: str) -> None:
    (tmp_path / "needs.toml").write_text(needs, "utf-8")
    result = run("size", tmp_path / "needs.toml", "--write", tmp_path / "show")
    assert result.status == 0, result
    handed = run("handover", tmp_path / "show", "-o", tmp_path / "out")
    assert handed.status == 0, handed
    assert run("lose", tmp_path / "show", "--each").status == 1


def test_a_mix_that_reaches_nothing_is_asked_for(run: Run, tmp_path: Path) -> None:
    (tmp_path / "needs.toml").write_text(VARIANTS["more mixes than reach"], "utf-8")
    run("size", tmp_path / "needs.toml", "--write", tmp_path / "show")
    assert "# ASK: no box at b that mon reaches has an output left" in (
        tmp_path / "show" / "show.toml"
    ).read_text("utf-8")


def test_an_existing_show_is_never_written_over(run: Run, tmp_path: Path) -> None:
    (tmp_path / "show.toml").write_text("mine")
    failed(run("size", NEEDS, "--write", tmp_path), "show.toml", "not written over")
    assert [path.name for path in tmp_path.iterdir()] == ["show.toml"]
    assert (tmp_path / "show.toml").read_text() == "mine"
    (tmp_path / "show.toml").rename(tmp_path / "box-3.csv")
    failed(run("size", NEEDS, "--write", tmp_path), "box-3.csv", "not written over")
    assert [path.name for path in tmp_path.iterdir()] == ["box-3.csv"]


def test_what_does_not_fit_is_exit_1_and_said(run: Run, tmp_path: Path) -> None:
    (tmp_path / "needs.toml").write_text(VARIANTS["bare"] + "inputs = 3\n")
    result = run("size", tmp_path / "needs.toml")
    assert result.status == 1
    assert "desk has 3 inputs, and 4 channels come" in result.text


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("rate = 48000", "rate = 48000.5"), ("needs.toml:2:rate", "whole number")),
        (("rate = 48000", ""), ("needs.toml", "lacks the key 'rate'")),
        (('title = "Bare"', "title = Bare"), ("needs.toml:1", "not TOML")),
        (("inputs = 4", "input = 4"), ("needs.toml:5:input", "did you mean 'inputs'")),
        (("inputs = 4", "inputs = -4"), ("needs.toml:5:inputs", "at least 0")),
        (("inputs = 4", "inputs = 4\ndistance_m = 0"), ("distance_m", "more than 0")),
        (('[[listener]]\nid = "desk"', ""), ("needs.toml", "listener")),
        (("[[place]]", "[place]"), ("needs.toml:3:place", "two brackets")),
        (('id = "desk"', 'id = "stage"'), ("needs.toml:7:id", "is taken")),
        (('id = "desk"', 'id = "a/b"'), ("needs.toml:7:id", "letters, digits")),
        (('id = "desk"', 'id = "desk"\n[truck]\nmode = "63@48000"'), ("needs.toml", "no mode of 63 slots")),
        (('id = "desk"', 'id = "desk"\n[supply]\nvolts = 230'), ("needs.toml", "lacks the key 'amps'")),
    ],
)  # fmt: skip
def test_needs_that_are_wrong(
    run: Run, tmp_path: Path, change: tuple[str, str], words: tuple[str, ...]
) -> None:
    assert change[0] in VARIANTS["bare"]
    (tmp_path / "needs.toml").write_text(VARIANTS["bare"].replace(*change))
    failed(run("size", tmp_path / "needs.toml", "--write", tmp_path / "show"), *words)
    assert not (tmp_path / "show").exists()


def test_kits_that_are_wrong(run: Run, tmp_path: Path) -> None:
    kit = tmp_path / "kit.toml"
    kit.write_text('[[box]]\nid = "large"\ninputs = 48\n')
    failed(run("size", NEEDS, "--kit", kit), "kit.toml:3:inputs", "a block has 40 slots")
    kit.write_text('[[reel]]\nid = "x"\n')
    failed(run("size", NEEDS, "--kit", kit), "kit.toml", "there is no key 'reel'")
    kit.write_text('[[cable]]\nid = "x"\nmedium = "copper"\nlength_m = 10\n')
    failed(run("size", NEEDS, "--kit", kit), "kit.toml:3:medium", "'twisted pair'")
    kit.write_bytes(b"\xff\xfe")
    failed(run("size", NEEDS, "--kit", kit), "kit.toml", "not UTF-8")
    failed(run("size", NEEDS, "--kit", tmp_path / "none.toml"), "none.toml", "no such file")
    failed(run("size", tmp_path), "folder")
