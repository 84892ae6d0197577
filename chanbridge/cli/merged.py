"""What chanbridge merge says and writes."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from pathlib import PurePath
from typing import Any

import click

from chanbridge import formats
from chanbridge.assemble.fed import fed
from chanbridge.cli.sources import json_text
from chanbridge.files import write_all, write_bytes
from chanbridge.formats.text import draw
from chanbridge.mode import Mode
from chanbridge.model import ChannelMap
from chanbridge.names import counted
from chanbridge.plan.straight import Asked, Feeds, Plan
from chanbridge.plan.whatif import Trial, trials


def _name(whole: ChannelMap, channel_id: str) -> str:
    channel = whole.channel(channel_id)
    return (channel.name if channel else "") or channel_id


def say(whole: ChannelMap, made: Plan, asked: Asked, feeds: Feeds) -> int:
    """The plan on standard error; how many wanted channels it does not carry."""
    click.echo(made.why, err=True)
    special = asked._replace(seconds=0.0, layout=None) != Asked(seconds=0.0) or len(feeds.ports) > 1
    if made.proof and (special or not made.proved):
        click.echo(made.proof, err=True)
    if asked.issued:
        stay = len({*asked.issued} - {moved.channel for moved in made.moved})
        click.echo(f"{counted(stay, 'channel')} where issued, {len(made.moved)} moved", err=True)
    for moved in made.moved:
        to = f"{moved.to} now" if moved.to else "not carried now"
        click.echo(f"MOVED: {_name(whole, moved.channel)}: issued on {moved.was}, {to}", err=True)
    at = {patch.source: patch.target for patch in made.patches}
    where = {channel.id: target for source, target in at.items() for channel in whole.occupants(source)[:1]}
    for name, number in asked.wants.items():
        if name in where and feeds.number(where[name]) != number:
            click.echo(
                f"not as wanted: {_name(whole, name)}: on {where[name]}, wanted on {feeds.slot(number)}",
                err=True,
            )
    for number, text in sorted(asked.ungiven.items()):
        click.echo(f"cannot give: {feeds.slot(number)}: {text}: no sheet has it", err=True)
    for out in made.left_out:
        what = "left out" if out.gives_way else "NOT CARRIED"
        channel = whole.channel(out.channel)
        click.echo(f"{what}: {channel.name if channel else ''}: {out.reason}", err=True)
    return sum(not out.gives_way for out in made.left_out)


def write_feeds(
    whole: ChannelMap,
    made: Plan,
    modes: Mapping[str, Mode],
    output: str,
    to: str | None,
    partial: bool,
    lost: int,
    slots: int,
) -> None:
    """Write a sheet for each feed, all or none; nothing where wanted channels are lost, unless `partial`."""
    if lost and not partial:
        past = any("past the end of" in out.reason and "straight" not in out.reason for out in made.left_out)
        more = f"; --slots says how large the blocks are, {slots} now" if past else ""
        click.echo(
            f"nothing written: {counted(lost, 'channel')} would not be carried; --partial writes the rest{more}",
            err=True,
        )
        return
    known = formats.named(to) if to else formats.of_suffix(output)
    suffix = f".{to}" if to else PurePath(output).suffix.lower()
    sheets = [
        (port, formats.write(fed(whole, made, mode, port), known, port, suffix))
        for port, mode in modes.items()
    ]
    if output == "-":
        sys.stdout.buffer.write(sheets[0][1])
    elif len(sheets) == 1:
        write_bytes(output, sheets[0][1])
    else:
        path = PurePath(output)
        names = [f"{path.stem}-{at}{path.suffix}" for at in range(1, len(sheets) + 1)]
        write_all(path.parent, [(name, data) for name, (_, data) in zip(names, sheets, strict=True)])
        click.echo(f"written: {', '.join(str(path.parent / name) for name in names)}", err=True)


def report(whole: ChannelMap, made: Plan, modes: Mapping[str, Mode], asked: Asked) -> dict[str, Any]:
    """The plan as data: every slot of every feed, what is left out, and what moved."""
    slots = []
    for at, (port, mode) in enumerate(modes.items(), 1):
        for line in fed(whole, made, mode, port).lines(port):
            if line.number is not None:
                channel = line.channel
                slots.append(
                    {
                        "slot": line.number,
                        "id": channel.id if channel else None,
                        "name": channel.name if channel else "",
                        "box": line.box,
                        "socket": line.socket,
                        "feed": at,
                    }
                )
    left_out = [
        {"name": channel.name, "id": channel.id, "reason": out.reason, "gives_way": out.gives_way}
        for out in made.left_out
        if (channel := whole.channel(out.channel))
    ]
    feeds = {port: at for at, port in enumerate(modes, 1)}
    moved = [
        {
            "id": item.channel,
            "name": _name(whole, item.channel),
            "from": {"feed": feeds[item.was.port], "slot": item.was.number},
            "to": {"feed": feeds[item.to.port], "slot": item.to.number} if item.to else None,
        }
        for item in made.moved
    ]
    return {
        "layout": made.layout, "why": made.why, "slots": slots, "left_out": left_out, "moved": moved,
        "proved": made.proved, "proof": made.proof,
        "cannot_give": [text for _, text in sorted(asked.ungiven.items())],
        "feeds": [str(mode) for mode in modes.values()],
    }  # fmt: skip


def what_if(whole: ChannelMap, blocks: Sequence[str], as_json: bool) -> None:
    """The casualties for every mode, rate and number of feeds, side by side, each channel named."""
    tried = trials(whole, blocks)
    if as_json:
        found = [
            {
                "mode": str(one.mode), "varispeed": one.varispeed, "feeds": one.feeds, "layout": one.layout,
                "carried": one.carried,
                "left_out": [
                    {"id": name, "name": _name(whole, name), "gives_way": way} for name, way in one.left_out
                ],
            }
            for one in tried
        ]  # fmt: skip
        click.echo(json_text({"channels": len(whole.channels), "trials": found}))
        return
    for rate in dict.fromkeys(one.mode.rate_hz for one in tried):
        click.echo("\n".join(_side_by_side(whole, [one for one in tried if one.mode.rate_hz == rate])))
        click.echo("")
    click.echo("LOST: may go on air and would not be carried.  gives way: not for air, makes room.")
    click.echo("+v: the mode allows 12.5 % varispeed.")


def _side_by_side(whole: ChannelMap, tried: Sequence[Trial]) -> list[str]:
    rate = tried[0].mode.rate_hz
    heading = [
        f"at {rate} Hz",
        *(f"{one.feeds} x {one.mode.slots}{'+v' if one.varispeed else ''}" for one in tried),
    ]
    rows = [
        ["layout", *(one.layout.removesuffix(" feeds") for one in tried)],
        ["carried", *(f"{one.carried} of {len(whole.channels)}" for one in tried)],
    ]
    gone = [dict(one.left_out) for one in tried]
    for channel in whole.channels:
        if any(channel.id in out for out in gone):
            said = [
                "" if channel.id not in out else "gives way" if out[channel.id] else "LOST" for out in gone
            ]
            rows.append([channel.name or channel.id, *said])
    return draw(heading, rows)
