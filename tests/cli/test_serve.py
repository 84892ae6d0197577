"""chanbridge serve: where it listens, what it prints, how it begins and ends."""

from __future__ import annotations

import http.client
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.cli.conftest import Run, failed
from tests.web.conftest import small_show


@contextmanager
def served(*arguments: str | Path) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(
        [sys.executable, "-m", "chanbridge", "serve", *map(str, arguments), "--port", "0"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


def port_of(process: subprocess.Popen[str]) -> int:
    assert process.stdout
    found = re.search(r"http://127\.0\.0\.1:(\d+)/", process.stdout.readline())
    assert found
    return int(found[1])


def get(port: int, path: str = "/", **headers: str) -> http.client.HTTPResponse:
    link = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    link.request("GET", path, headers=headers)
    return link.getresponse()


def test_the_example_is_there_at_once(example: Path, record_property: Callable[[str, str], None]) -> None:
    begun = time.monotonic()
    with served(example) as process:
        answer = get(port_of(process))
        text = answer.read().decode()
        taken = time.monotonic() - begun
        assert answer.status == 200
        assert all(word in text for word in ("Winter Concert", "Kick in", "Monitor desk"))
    record_property("figure", f"chanbridge serve: a usable page after {taken:.2f} s")


def test_it_listens_on_this_machine_alone(tmp_path: Path) -> None:
    with served(small_show(tmp_path / "show")) as process:
        port = port_of(process)
        table = Path("/proc/net/tcp")
        if not table.exists():
            pytest.skip("this system does not list its sockets there")
        open_ = [line.split() for line in table.read_text().splitlines()[1:]]
        mine = {
            line[1].partition(":")[0]
            for line in open_
            if line[3] == "0A" and int(line[1].partition(":")[2], 16) == port
        }
        assert mine == {"0100007F"}


def test_the_links_are_printed_with_a_code(tmp_path: Path) -> None:
    folder = small_show(tmp_path / "show")
    with served(folder, "--share", "127.0.0.1") as process:
        assert process.stdout
        lines: list[str] = []
        while not (lines and "to make late changes" in lines[-1]):
            lines.append(process.stdout.readline())
        links = dict(re.findall(r"(look|received|too) +(http://\S+)", "".join(lines)))
        assert len(links) == 3
        assert "▄" in "".join(lines)
        port = int(re.findall(r":(\d+)/", links["look"])[0])
        assert get(port).status == 403
        assert get(port, links["look"].partition(f"{port}")[2]).status == 200
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=20)
        assert process.returncode in (0, 130)
        assert "Never on the audio network" in said
        assert "Traceback" not in said
    with served(folder, "--share", "127.0.0.1", "--new-links") as process:
        assert process.stdout
        text = ""
        while "to make late changes" not in text:
            text += process.stdout.readline()
        assert not any(link.partition("key=")[2] in text for link in links.values())


def test_pages_that_listen_do_not_keep_it_from_ending(tmp_path: Path) -> None:
    with served(small_show(tmp_path / "show")) as process:
        port = port_of(process)
        stream = get(port, "/events")
        assert stream.fp.readline()
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=20)
        assert process.returncode in (0, 130)


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("0.0.0.0", "audio network"),
        ("::", "audio network"),
        ("localhost", "such as 192.168.1.20"),
        ("192.0.2.1", "no interface"),  # RFC 5737: for documents, on no machine
    ],
)
def test_only_one_interface(run: Run, tmp_path: Path, address: str, words: str) -> None:
    folder = small_show(tmp_path / "show")
    failed(run("serve", folder, "--share", address), words, address)
    assert sorted(path.name for path in folder.iterdir()) == ["band.csv", "show.toml"]


def test_a_port_that_is_taken(run: Run, tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        failed(
            run("serve", small_show(tmp_path / "show"), "--port", str(other.getsockname()[1])),
            "taken",
            "--port",
        )


def test_what_is_no_show(run: Run, tmp_path: Path) -> None:
    failed(run("serve", tmp_path / "nothing"), "no such file")
    (tmp_path / "show.toml").write_text("title = 7\n")
    failed(run("serve", tmp_path), "show.toml:1:title")
    assert run("serve", tmp_path, "--new-links").status == 2
