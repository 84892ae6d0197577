"""chanbridge lose, on the examples."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Run, failed


def test_one_cable(run: Run, example: Path) -> None:
    result = run("lose", example, "stage-left")
    assert result.status == 1
    text = " ".join(result.text.split())
    assert "front-of-house and stream (34 channels each): Kick in, Kick out" in text
    assert "truck (31 channels): those but Guide piano, Timecode and Talkback band" in text
    assert "Lies ready: cable stage-left-backup" in text
    assert "To do: mute, pull the dead end" in text
    assert "recorder: write a [[device]]" in text
    assert "! Mute loudspeakers and in-ears" in text


def test_nobody_goes_silent(run: Run, example: Path) -> None:
    result = run("lose", example, "cable converter-power")
    assert result.status == 0
    assert "Nobody goes silent." in result.text


def test_every_thing_with_the_channels_lost_at_each_recipient(run: Run, example: Path) -> None:
    result = run("lose", example, "--each", "--json")
    assert result.status == 1
    lost = {item["thing"]: item for item in result.json()["lost"]}
    assert next(iter(lost)) == "circuit stage"
    box = {one["recipient"]: one for one in lost["box B"]["recipients"]}
    assert len(box["truck"]["silent"]) == 33
    assert "Talkback conductor" not in box["truck"]["silent"]
    assert box["stream"]["silent"][:2] == ["Choir soprano L", "Choir soprano R"]
    for item in lost.values():
        assert item["silent"] == sum(len(one["silent"]) for one in item["recipients"])
    counts = [item["silent"] for item in lost.values()]
    assert counts == sorted(counts, reverse=True)


def test_it_can_be_read_at_80_columns(run: Run, example: Path) -> None:
    text = run("lose", example, "--each").text
    assert all(len(line) <= 80 for line in text.splitlines())
    assert "Nobody is known to miss anything without" in text
    assert "licensed electrician" in text  # a supply circuit is among the things


def test_an_act_and_what_comes_back(run: Run) -> None:
    sunday = Path(__file__).parents[2] / "examples" / "sunday"
    lost = run("lose", sunday, "front-of-house", "--act", "harp", "--json").json()["lost"][0]
    silent = {one["recipient"]: one["silent"] for one in lost["recipients"]}
    assert "Harp L" in silent["front-of-house"]
    assert silent["outputs of A"] == ["Band wedges L", "Band wedges R"]
    assert silent["outputs of B"] == []


def test_what_cannot_be_lost(run: Run, example: Path, tmp_path: Path) -> None:
    failed(run("lose", example, "stage-lef"), "did you mean 'stage-left'")
    failed(run("lose", example, "stage-left", "--act", "harp"), "there is no act 'harp'; there are none")
    failed(run("lose", tmp_path, "A"), "no show.toml")
    for arguments in ((example,), (example, "A", "--each")):
        result = run("lose", *arguments)
        assert (result.status, result.out) == (2, b"")
        assert "name one THING, or say --each" in result.err


@pytest.mark.parametrize("thing", ["", " ", "\x00", "x" * 5000])
def test_odd_names(run: Run, example: Path, thing: str) -> None:
    failed(run("lose", example, thing), "in this show")
