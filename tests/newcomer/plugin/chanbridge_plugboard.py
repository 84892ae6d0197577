"""A plugboard list: a line for each socket, such as `A 12: Kick in`."""

from chanbridge.formats import Format
from chanbridge.formats.characters import decode, encode
from chanbridge.formats.text import plain
from chanbridge.model import ChannelMap
from chanbridge.sheets.grid import Grid, Options

FORMAT = Format("plugboard", (".plug",), "chanbridge_plugboard", "sockets and names")


def read(data: bytes, source: str, options: Options) -> list[Grid]:
    lines = decode(data, source, options.encoding).text.splitlines()
    rows = [[part.strip() for part in line.partition(":")[::2]] for line in lines]
    return [Grid(source, rows, list(range(1, len(rows) + 1)), heading=["Socket", "Name"])]


def write(whole: ChannelMap, port: str | None, suffix: str) -> bytes:
    rows = [row for row in whole.lines(port) if row.channel]
    said = (f"{row.box} {row.socket or ''}: {plain(row.channel.name)}\n" for row in rows if row.channel)
    return encode("".join(said))


def dropped(whole: ChannelMap, port: str | None) -> list[str]:
    return ["everything but sockets and names"]
