"""A show in acts: every view shows the act that is chosen, and ticks count for the channel wherever it stands."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from chanbridge.evening.revisions import body_of
from chanbridge.journal import Journal
from tests.web.conftest import Serve, Served, eventually, show_with_acts, tick


@pytest.fixture(scope="module")
def acts(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    one = Served(show_with_acts(tmp_path_factory.mktemp("acts") / "show"))
    yield one
    one.end()


@pytest.mark.parametrize(
    ("path", "there", "not_there"),
    [
        ("/?view=sheet&port=desk", ["At the start", "The duo", "Kick"], ["Harp"]),
        ("/?view=sheet&port=desk&act=duo", ["House desk · The duo", "Harp", "What differs"], []),
        ("/?view=sheet&port=A&act=duo", ["Harp", "Kick"], []),
        ("/?view=sheet&port=stage&act=duo", ["Harp", "Kick"], []),
        ("/?view=channel&id=a-kick", ["comes in at <b>A1", "In the other acts", "<b>A7"], []),
        ("/?view=channel&id=a-kick&act=duo", ["comes in at <b>A7", "stage <b>7</b>", "<b>A1"], []),
        ("/?view=channel&id=a-harp", ["not on stage in this act", "The duo</a>: <b>A1"], []),
        ("/?view=channel&id=a-harp&act=duo", ["comes in at <b>A1", "At the start</a>: <b>not on stage"], []),
        ("/?view=find&q=harp", ["<h2>The duo</h2>", "act=duo"], ["Nothing."]),
        ("/?view=find&q=A7&act=duo", ["Kick"], []),
        ("/?view=line&act=duo", ["Harp", "A7 &gt; 7"], []),
        ("/?view=line", ["A1 &gt; 1"], ["Harp"]),
        (
            "/?view=changed&act=duo",
            ["At the start → The duo", "unplug Kick, plug in Harp", "move Kick here from A1", "House desk"],
            ["No revision"],
        ),
        ("/?view=flow&id=a-harp&act=duo", ["<svg", 'class="lit"', "Harp"], []),
        ("/?view=compare&act=duo", ["Compare a sheet · The duo"], []),
    ],
)
def test_every_view_has_its_act(acts: Served, path: str, there: list[str], not_there: list[str]) -> None:
    answer = acts.ask(path)
    assert answer.status == 200
    main = answer.text.partition("<main")[2]
    for word in there:
        assert word in answer.text, word
    for word in not_there:
        assert word not in main, word


@pytest.mark.parametrize("path", ["/?act=x", "/?view=line&act=..%2Fx", "/?view=channel&id=x&act=duo"])
def test_an_act_that_is_not_there(acts: Served, path: str) -> None:
    assert acts.ask(path).status == 404
    assert acts.ask("/compare?act=x", b"Ch,Name\n1,Kick\n").status == 422


def test_changes_of_an_act_since_a_revision(serve: Serve, tmp_path_factory: pytest.TempPathFactory) -> None:
    served = serve(show_with_acts(tmp_path_factory.mktemp("acts") / "show"))
    body = body_of("A", "2026-12-12", served.live.now.planned, {"desk/sheet.csv": b""})
    Journal(served.folder).append("revision", body, at="2026-12-12T17:00:00Z")
    file = served.folder / "show.toml"
    file.write_text(file.read_text().replace('"Harp"', '"Lute"'), "utf-8")
    eventually(lambda: "Lute" in served.live.now.names.values() and served.live.now.letter == "A")
    text = served.ask("/?view=changed&act=duo&since=A").text
    assert "Changed since revision A · The duo" in text
    assert "Lute" in text
    assert "unplug" not in text
    assert "Lute" not in served.ask("/?view=changed&since=A").text.partition("<main")[2]
    assert served.ask("/?view=changed&act=duo&since=Q").status == 404


def test_links_stay_in_the_act(acts: Served) -> None:
    text = acts.ask("/?view=sheet&port=desk&act=duo").text
    views = text.partition('id="views"')[2].partition("</nav>")[0]
    assert views.count("act=duo") == views.count("<a ") > 5
    picked = text.partition('id="acts"')[2].partition("</nav>")[0]
    assert 'href="/?view=sheet&amp;port=desk"' in picked
    assert 'name="act" value="duo"' in text


def test_a_show_without_acts_says_nothing_of_them(free: Served) -> None:
    assert "At the start" not in free.ask("/").text


def test_a_sheet_is_compared_with_its_act(acts: Served) -> None:
    sheet = b"Ch,Name,Socket\n1,Harp,A1\n2,Snare,A2\n3,Bass,A3\n4,Ana,A4\n5,Jonas,A5\n7,Kick,A7\n"
    assert "no difference" in acts.ask("/compare?port=desk&act=duo", sheet).text
    assert "no difference" not in acts.ask("/compare?port=desk", sheet).text


def test_a_red_line_says_where_to_walk_in_each_act(
    serve: Serve, tmp_path_factory: pytest.TempPathFactory
) -> None:
    served = serve(show_with_acts(tmp_path_factory.mktemp("acts") / "show"))
    served.ask("/ticks", {"ticks": [tick(1, result="dead"), tick(2, "a-harp", result="dead")]})
    walks = served.ask("/ticks").json()["walk"]
    assert "go to A1," in walks[""]["a-kick"]
    assert "go to A7," in walks["duo"]["a-kick"]
    assert "a-harp" not in walks[""]
    assert "go to A1," in walks["duo"]["a-harp"]
    text = served.ask("/line-check.csv").text
    assert ",a-harp,Harp,desk,dead," in text


def test_the_cover_counts_every_act_and_what_has_moved(
    serve: Serve, tmp_path_factory: pytest.TempPathFactory
) -> None:
    served = serve(show_with_acts(tmp_path_factory.mktemp("acts") / "show"))
    served.ask(
        "/ticks",
        {
            "ticks": [
                tick(1, place="A1 > 1"),
                tick(2, "a-harp", place="A1 > 1"),
                tick(3, "a-ana", place="A8 > 8"),
            ]
        },
    )
    (desk, *_) = served.live.line_check()
    assert desk == "House desk: 2 of 6 arrived, 3 not ticked; Ana moved since it was ticked"


def test_a_saved_file_that_changes_an_act_only_is_news(
    serve: Serve, tmp_path_factory: pytest.TempPathFactory
) -> None:
    served = serve(show_with_acts(tmp_path_factory.mktemp("acts") / "show"))
    file = served.folder / "show.toml"
    file.write_text(file.read_text().replace('"Harp"', '"Lute"'), "utf-8")
    eventually(lambda: served.live.now.number == 2)
    assert "House desk, The duo, slot 1: " in served.ask("/").text
    assert "Lute" in served.ask("/?act=duo").text
    assert 'class="changed"' in served.ask("/?act=duo").text
    assert 'class="changed"' not in served.ask("/").text


def test_being_told_is_not_having_received(serve: Serve) -> None:
    served = serve()
    shown = served.ask("/late/look", {"said": "Ana to A7"}).text
    served.ask(
        "/late", {"said": "Ana to A7", "agreed": shown.partition('data-agreed="')[2].partition('"')[0]}
    )
    assert served.ask("/told", {"recipient": "desk", "what": [1], "who": "Ana"}).status == 200
    (entry,) = Journal(served.folder).entries("told")
    assert (entry.who, entry.body) == ("Ana", {"recipient": "desk", "what": [1]})
    text = served.ask("/?view=late").text
    assert "House desk (1 told)" in text
    assert "Ears desk (1 not told)" in text
    assert "was told, has not said to have it" in text
    assert served.ask("/told", {"recipient": "nobody", "what": [1]}).status == 422
    served.ask("/received", {"recipient": "desk", "what": [1]})
    assert "House desk (1" not in served.ask("/").text
