"""chanbridge check, on sheets and on shows."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

from chanbridge.check import RULES
from tests.cli.conftest import Run, failed

SPOILT = """Ch,Name,Socket,Phantom
1,Keys R,A1,yes
2,Keys L,A2,yes
3,Piano L,A3,no
4,Kick,A4,no
4,Snare,A5,no
5,Ana,A6,no
6,Jonas,A6,no
7,Strings L,A7,yes
8,Strings R,A8,no
"""
CLEAN = """Ch,Name,Socket,Phantom
1,Keys L,A1,yes
2,Keys R,A2,yes
3,Kick,A3,no
4,spare,A4,
5,Ana,A5,no
"""


@pytest.fixture
def spoilt(tmp_path: Path) -> Path:
    path = tmp_path / "spoilt.csv"
    path.write_text(SPOILT)
    return path


def findings(data: Any) -> set[tuple[str, str, frozenset[str]]]:
    return {(item["rule"], item["severity"], frozenset(item["channels"])) for item in data["findings"]}


def test_a_spoilt_sheet(run: Run, spoilt: Path) -> None:
    result = run("check", spoilt, "--json")
    assert result.status == 1
    assert findings(result.json()) == {
        ("pair-reversed", "error", frozenset(("Keys L", "Keys R"))),
        ("pair-half", "warning", frozenset(("Piano L",))),
        ("socket-twice", "error", frozenset(("Ana", "Jonas"))),
        ("slot-twice", "error", frozenset(("Kick", "Snare"))),
        ("pair-unlike", "warning", frozenset(("Strings L", "Strings R"))),
    }
    for item in result.json()["findings"]:
        assert [*item] == ["rule", "severity", "where", "channels", "message"]
        assert item["where"].startswith(f"{spoilt}:")
    rows = {item["rule"]: item["where"].rpartition(":")[2] for item in result.json()["findings"]}
    assert rows == {
        "pair-reversed": "2",
        "pair-half": "4",
        "slot-twice": "6",
        "socket-twice": "8",
        "pair-unlike": "10",
    }


def test_a_clean_sheet(run: Run, tmp_path: Path) -> None:
    (tmp_path / "clean.csv").write_text(CLEAN)
    result = run("check", tmp_path / "clean.csv")
    assert result.status == 0
    assert "nothing found" in result.text
    assert run("check", tmp_path / "clean.csv", "--json").json()["findings"] == []


@pytest.mark.parametrize("suffix", ["csv", "xml", "json", "xlsx", "md"])
def test_every_kind_of_file_gives_the_same(run: Run, tmp_path: Path, spoilt: Path, suffix: str) -> None:
    target = tmp_path / f"other.{suffix}"
    assert run("convert", spoilt, target).status == 0
    result = run("check", target, "--json")
    assert result.status == 1
    assert {item["rule"] for item in result.json()["findings"]} == {
        "pair-reversed", "pair-half", "socket-twice", "slot-twice", "pair-unlike"
    }  # fmt: skip


def test_notes_alone_are_exit_0(run: Run, tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("Ch,Name,Socket\n1,Ana,A1\n2,Ana FX,A1\n4,Keys L,A4\n5,Keys R,A5\n")
    result = run("check", tmp_path / "a.csv")
    assert result.status == 0
    assert "2 notes" in result.text
    assert "their names say that this is meant" in " ".join(result.text.split())


def test_the_example_has_exactly_what_is_planted(run: Run, example: Path) -> None:
    result = run("check", example, "--json")
    assert result.status == 1
    found = [
        (item["severity"], item["rule"], item["where"].removeprefix(f"{example}/"))
        for item in result.json()["findings"]
    ]
    assert found == [
        ("error", "transport-leaders", "block-2"),
        ("error", "cable-power-class", "link converter-power"),
        ("error", "run-too-long", "link risers"),
        ("error", "backup-loop", "link stage-left-backup"),
        ("warning", "label-mismatch", "stream, slot 66"),
        ("warning", "coax-two-supplies", "link truck-main"),
        ("warning", "latency-over", "monitors"),
        ("note", "pair-on-even-slot", "box-a.csv:11"),
        ("note", "pair-on-even-slot", "box-b.xml:15"),
        ("note", "pair-on-even-slot", "box-b.xml:27"),
        ("note", "pair-on-even-slot", "box-b.xml:33"),
        ("note", "pair-on-even-slot", "box-b.xml:37"),
        ("note", "over-capacity", "truck-feed"),
        ("note", "gain-not-frozen", "show"),
        ("note", "label-too-long", "monitors"),
    ]
    assert result.json()["not_judged"] == [
        {"rule": "list-older", "reason": "no date or revision stands on front-of-house.csv, stream.csv"}
    ]


def test_it_can_be_read_at_80_columns_worst_first(
    run: Run, example: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(example.parent)  # how long the path to a checkout is, is not ours to say
    text = run("check", example.name).text
    assert all(len(line) <= 80 for line in text.splitlines())
    assert text.index("ERRORS") < text.index("WARNINGS") < text.index("NOTES") < text.index("Not judged")
    assert "leave the backup unplugged and labelled" in " ".join(text.split())
    assert "never lift a safety earth" in " ".join(text.split())
    assert text.count("Mute loudspeakers and in-ears before you repatch") == 1


def test_every_finding_on_gear_or_people_carries_its_caution_in_json(run: Run, example: Path) -> None:
    said = {item["rule"]: item["message"] for item in run("check", example, "--json").json()["findings"]}
    assert "never lift a safety earth" in said["coax-two-supplies"]
    assert "makers' instructions decide" in said["cable-power-class"]
    assert "Mute loudspeakers" in said["transport-leaders"]


def test_a_show_without_devices_says_what_it_cannot_judge(run: Run, tmp_path: Path, example: Path) -> None:
    show = Path(shutil.copytree(example, tmp_path / "show"))
    text = (show / "show.toml").read_text("utf-8")
    (show / "show.toml").write_text(text[: text.index("[[device]]")], "utf-8")
    result = run("check", show, "--json").json()
    reasons = {item["rule"]: item["reason"] for item in result["not_judged"]}
    assert reasons["clock-leaders"] == "no [[device]] is declared"
    assert reasons["run-too-long"] == "no [[link]] is declared"
    assert "label-mismatch" in {item["rule"] for item in result["findings"]}


def test_only_and_without(run: Run, spoilt: Path) -> None:
    only = run("check", spoilt, "--json", "--only", "pair-half", "--only", "slot-twice")
    assert run("check", spoilt, "--json", "--only", "pair-half,slot-twice").text == only.text
    assert {item["rule"] for item in only.json()["findings"]} == {"pair-half", "slot-twice"}
    without = [option for rule in RULES if rule.name != "pair-half" for option in ("--without", rule.name)]
    rest = run("check", spoilt, "--json", *without)
    assert {item["rule"] for item in rest.json()["findings"]} == {"pair-half"}
    assert run("check", spoilt, "--only", "name-twice").status == 0
    nothing = run("check", spoilt, "--only", "name-twice", "--without", "name-twice")
    assert nothing.status == 2
    assert "no rule is left" in nothing.err


def test_explain(run: Run) -> None:
    for rule in RULES:
        result = run("check", "--explain", rule.name)
        assert result.status == 0
        assert result.text.startswith(f"{rule.name} ({rule.severity})\n")
        assert rule.examples()[0].splitlines()[0] in result.text
        assert all(len(line) <= 120 for line in result.text.splitlines())
    assert [line.split()[0] for line in run("check", "--explain", "all").text.splitlines()] == [
        rule.name for rule in RULES
    ]


def test_a_wrong_rule_is_met_with_the_nearest(run: Run, spoilt: Path) -> None:
    for option in ("--only", "--without", "--explain"):
        result = run("check", spoilt, option, "pair-halv")
        assert result.status == 2
        assert "did you mean 'pair-half'?" in result.err
        assert result.out == b""


def test_what_cannot_be_checked(run: Run, tmp_path: Path, example: Path) -> None:
    failed(run("check", tmp_path / "none.csv"), "no such file")
    failed(run("check", tmp_path), "show.toml")
    assert run("check").status == 2
    (tmp_path / "bad.csv").write_text("Ch,Name\nx7,Kick\n1,Ana\n")
    failed(run("check", tmp_path / "bad.csv"), "bad.csv:2", "--accept-rejected")
    assert run("check", tmp_path / "bad.csv", "--accept-rejected").status == 0


def test_standard_input(run: Run) -> None:
    result = run("check", "-", "--json", stdin=SPOILT.encode())
    assert result.status == 1
    assert len(result.json()["findings"]) == 5


def test_a_name_of_many_lines_keeps_the_page_in_order(run: Run, tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text('Ch,Name,Socket\n1,"Kick\n\x1b[31min",A1\n2,Snare,A1\n')
    result = run("check", tmp_path / "a.csv")
    assert result.status == 1
    assert "\x1b" not in result.text
