"""A loss for people, and as data."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from chanbridge.foresight.loss import Loss, Lost
from chanbridge.foresight.paper import joined, wrapped
from chanbridge.foresight.wiring import spoken
from chanbridge.model import Channel
from chanbridge.names import counted


def loss_lines(loss: Loss) -> Iterator[str]:
    """One loss in lines: who goes silent, what goes on without a clock, what still works, and what to do."""
    yield f"Without {loss.thing.called}"
    if loss.silent:
        yield from _grouped("Silent", [(lost.recipient, lost.silent) for lost in loss.at])
    else:
        yield from wrapped("Nobody goes silent.", "  ")
    if loss.unled:
        yield from _grouped(
            "Carried, but its clock or leader is gone: it may run on, click or fall silent, as the makers have it",
            [(lost.recipient, lost.unled) for lost in loss.at],
        )
    if loss.dark:
        yield from wrapped(f"Without power: {joined(loss.dark)}", "  ", "    ")
    if loss.followers and loss.unled:
        yield from wrapped(f"Without a clock: {joined(loss.followers)}", "  ", "    ")
    still = [f"{lost.recipient} {_share(lost)}" for lost in loss.at]
    yield from wrapped(f"Still works: {', '.join(still)}", "  ", "    ")
    if loss.copper:
        yield from wrapped(f"By copper split, past the box: {joined(loss.copper)}", "  ", "    ")
    for backup in loss.backups:
        back = ", ".join(f"{name} {count}" for name, count in backup.gives_back.items())
        yield from wrapped(f"Lies ready: cable {backup.link}; plugged, it gives back {back}", "  ", "    ")
    for text in loss.declared:
        yield from wrapped(f"To do: {text}", "  ", "    ")
    if loss.silent and not loss.backups and not loss.declared:
        yield from wrapped("The show declares no fallback: write a [[fallback]]", "  ", "    ")


def _share(lost: Lost) -> str:
    """How many of a recipient's channels go on, for sure; of how many nobody can know."""
    whole = lost.still + len(lost.silent) + len(lost.unled)
    if lost.unsure:
        known = f"{lost.still - lost.unsure} of {whole}, " if lost.still > lost.unsure else ""
        return f"{known}{lost.unsure} not known"
    return f"all {whole}" if lost.still == whole else f"{lost.still} of {whole}"


def _grouped(title: str, found: Iterable[tuple[str, tuple[Channel, ...]]]) -> Iterator[str]:
    """Channels by name; recipients that lose the same ones are said together."""
    same: dict[tuple[Channel, ...], list[str]] = {}
    for recipient, channels in found:
        if channels:
            same.setdefault(channels, []).append(recipient)
    yield from wrapped(f"{title}:", "  ", "    ")
    said: list[tuple[Channel, ...]] = []
    for channels, recipients in sorted(same.items(), key=lambda item: -len(item[0])):
        each = " each" if len(recipients) > 1 else ""
        wider = next((one for one in said if {*map(_id, channels)} <= {*map(_id, one)}), ())
        left_out = [channel for channel in wider if channel.id not in {*map(_id, channels)}]
        if 0 < len(left_out) <= MOST_LEFT_OUT:
            names = f"those but {joined(spoken(left_out))}"
        else:
            names = ", ".join(spoken(channels))
        said.append(channels)
        yield from wrapped(
            f"{joined(recipients)} ({counted(len(channels), 'channel')}{each}): {names}", "    ", "      "
        )


MOST_LEFT_OUT = 6
"""How many channels a group may lack of the one above it to be said by them."""


def _id(channel: Channel) -> str:
    return channel.id


def each_lines(losses: Sequence[Loss]) -> Iterator[str]:
    """Every loss that does something, in the order given; then what nobody would notice."""
    for loss in losses:
        if loss.silent or loss.unled:
            yield from (*loss_lines(loss), "")
    quiet = [loss.thing.called for loss in losses if not loss.silent and not loss.unled]
    if quiet:
        unsure = any(lost.unsure for loss in losses for lost in loss.at)
        misses = "is known to miss" if unsure else "misses"
        yield from wrapped(f"Nobody {misses} anything without {joined(quiet)}.", "", "  ")


def asked_lines(title: str, texts: Sequence[str]) -> Iterator[str]:
    """What the show file does not say, under a title; nothing where it says all."""
    if texts:
        yield ""
        yield title
        for text in texts:
            yield from wrapped(text, "  ", "    ")


def care_lines(
    losses: Iterable[Loss], media: Mapping[str, str | None], care: Mapping[Any, str]
) -> Iterator[str]:
    """The usual cautions for what has to be touched. `media`: link → its medium; `care`: subject → caution."""
    wanted = {"sound"}
    for loss in losses:
        if loss.thing.kind == "circuit" or loss.dark:
            wanted.add("mains")
        touched = {loss.thing.id, *(backup.link for backup in loss.backups)}
        if any("fibre" in (media.get(name) or "") for name in touched):
            wanted.add("laser")
    yield ""
    for subject in ("sound", "mains", "laser"):
        if subject in wanted:
            yield from wrapped(care[subject], "! ", "  ")


def loss_data(loss: Loss) -> dict[str, Any]:
    """One loss as data for JSON; channels by name."""
    return {
        "thing": str(loss.thing),
        "silent": loss.silent,
        "recipients": [
            {
                "recipient": lost.recipient,
                "silent": [channel.name or channel.id for channel in lost.silent],
                "without_clock": [channel.name or channel.id for channel in lost.unled],
                "still": lost.still,
                "not_known": lost.unsure,
            }
            for lost in loss.at
        ],
        "without_power": [*loss.dark],
        "lies_ready": [
            {"cable": backup.link, "gives_back": {**backup.gives_back}} for backup in loss.backups
        ],
        "copper": [*loss.copper],
        "to_do": [*loss.declared],
    }
