"""Sheets for the stage: what a box carries in both directions, what comes back, and what a changeover repatches."""

from __future__ import annotations

from collections.abc import Iterator

from chanbridge import formats
from chanbridge.assemble import Planned, Played, local_boxes
from chanbridge.assemble.acts import changeover
from chanbridge.assemble.fed import labelled
from chanbridge.assemble.returns import outputs_of
from chanbridge.formats import text
from chanbridge.formats.characters import encode
from chanbridge.handover.recipients import about
from chanbridge.model import Channel, ChannelMap, Patch, Slot
from chanbridge.names import counted
from chanbridge.plan.declared import reaches
from chanbridge.said import Listed, Said
from chanbridge.system import Box, ShowFile

MUTE = "* Before anything here is patched: mute and turn down what it feeds. It comes out of loudspeakers or into ears."
PHANTOM = (
    "* Phantom: mute, switch it off, wait for it to run down, repatch, then ask whoever supplies it to switch it on. "
    "Never hot-plug a ribbon; the maker's instructions count."
)


def box_documents(file: ShowFile, planned: Planned) -> Iterator[tuple[str, bytes]]:
    """Each box's sheet with its inputs and outputs, and what each desk or truck sends; where anything comes back."""
    if not planned.returns:
        return
    for box in file.box:
        whole = _box_map(planned.map, box)
        yield f"{box.id}/inputs.csv", formats.write(whole, formats.named("csv"), box.id)
        if outputs_of(box.id) in {port.id for port in whole.ports}:
            yield f"{box.id}/outputs.csv", formats.write(whole, formats.named("csv"), outputs_of(box.id))
        yield f"{box.id}/sheet.xml", formats.write(whole, formats.named("xml"), box.id)
        yield f"{box.id}/sheet.txt", encode(_box_text(whole, box, planned))
    for recipient in file.recipient:
        port = outputs_of(recipient.id)
        if port in {item.id for item in planned.map.ports} and recipient.id not in {
            box.id for box in file.box
        }:
            yield (
                f"{recipient.id}/sends.txt",
                encode("\n".join(_sends(planned.map, recipient.id, planned.word)) + "\n"),
            )


def _box_map(whole: ChannelMap, box: Box) -> ChannelMap:
    """What a box carries: its sockets, and its outputs straight from who sends them."""
    out = outputs_of(box.id)
    ports = [port for port in whole.ports if port.id in (box.id, out)]
    inputs = {entry.channel for entry in whole.entries if entry.slot.port == box.id}
    patches, senders, returns = [], set(), set()
    for row in whole.sheet(out) if len(ports) > 1 else ():
        if row.channel and row.entry:
            patches.append(Patch(row.entry, Slot(out, row.number)))
            senders.add(row.entry.port)
            returns.add(row.channel.id)
    here = inputs | returns
    return whole.changed(
        channels=labelled([channel for channel in whole.channels if channel.id in here]),
        entries=tuple(
            entry
            for entry in whole.entries
            if entry.channel in here and entry.slot.port in {box.id, *senders}
        ),
        ports=(*ports, *(port for port in whole.ports if port.id in senders)),
        patches=tuple(patches),
        reserved=tuple(item for item in whole.reserved if item.slot.port in (box.id, out)),
    )


def _box_text(whole: ChannelMap, box: Box, planned: Planned) -> str:
    carrier = f"on {box.block}" if box.block else f"local to {box.desk}"
    lines = [*about(whole, f"Box {box.id}, {carrier}", planned.word), "", "In:", ""]
    rows = [
        [str(row.number), row.channel.name if row.channel else row.text, row.channel.transducer if row.channel else "",
         row.channel.stand if row.channel else "", _phantom(row.channel), row.channel.notes if row.channel else ""]
        for row in whole.sheet(box.id)
    ]  # fmt: skip
    lines += text.draw(["Socket", "Name", "Transducer", "Stand", "Phantom", "Notes"], rows)
    if outputs_of(box.id) in {port.id for port in whole.ports}:
        lines += ["", "Out:", ""]
        outs = []
        for row in whole.sheet(outputs_of(box.id)):
            maker = planned.map.port(row.entry.port).device if row.entry else ""
            name = row.channel.name if row.channel else ""
            outs.append([str(row.number), name, f"{maker} {row.entry.number}" if row.entry else "",
                         contents(planned.map, row.channel), row.channel.notes if row.channel else ""])  # fmt: skip
        lines += [*text.draw(["Output", "Name", "From", "What is in it", "Notes"], outs), "", MUTE]
    if any(channel.phantom in ("on", "optional") for channel in whole.channels):
        lines.append("* Phantom: ask whoever supplies it before it is switched, and mute first.")
    return "\n".join(lines).rstrip() + "\n"


def _phantom(channel: Channel | None) -> str:
    return channel.phantom if channel and channel.phantom != "unknown" else ""


def contents(whole: ChannelMap, channel: Channel | None) -> str:
    """What is in a mix, for people: `all but Presenter headset`, or the names, and where they are taken."""
    if channel is None or not channel.contents:
        return ""
    inside = {*channel.contents}
    inputs = [
        one
        for one in whole.channels
        if one.kind not in ("mix", "return") and one.audience.air != "not allowed"
    ]
    lacking = [one.name or one.id for one in inputs if one.id not in inside]
    names = [one.name or one.id for one in whole.channels if one.id in inside]
    said = (
        Said("all but {names}", names=", ".join(lacking))
        if len(lacking) < len(names) and inside <= {one.id for one in inputs} and lacking
        else ", ".join(names)
    )
    return Listed(", ", (said, _TAPS[channel.tap])) if channel.tap else said


_TAPS = {"before fader": Said("before fader"), "after fader": Said("after fader")}


def _sends(whole: ChannelMap, maker: str, word: str) -> list[str]:
    """What a desk or the truck sends, output by output, and where each comes out."""
    lines = [*about(whole, f"{maker} sends", word), ""]
    rows = []
    for row in whole.sheet(outputs_of(maker)):
        if row.channel:
            ends = whole.trace(Slot(outputs_of(maker), row.number)).forward
            via = [slot for slot in ends if not _is_end(whole, slot)]
            last = [slot for slot in ends if _is_end(whole, slot)]
            rows.append([str(row.number), row.channel.name, contents(whole, row.channel),
                         ", ".join(map(str, via)), ", ".join(map(str, last))])  # fmt: skip
    return [*lines, *text.draw(["Output", "Name", "What is in it", "By way of", "Comes out"], rows), "", MUTE]


def _is_end(whole: ChannelMap, slot: Slot) -> bool:
    port = whole.port(slot.port)
    return port.kind == "outputs" or not port.id.endswith(" back")


def changeover_documents(planned: Planned) -> Iterator[tuple[str, bytes]]:
    """A sheet for every changeover: from the boxes' sheets to the first act, and from act to act."""
    before, name = planned.map, "the boxes' sheets"
    for at, played in enumerate(planned.acts, 1):
        yield f"changeovers/{at}-to-{played.act.id}.txt", encode(_changeover(before, name, played))
        before, name = played.planned.map, played.act.name or played.act.id


def _changeover(before: ChannelMap, name: str, played: Played) -> str:
    after = played.planned.map
    changes, stays = changeover(before, after)
    lines = [
        *about(after, f"Changeover from {name} to {played.act.name or played.act.id}", played.planned.word),
        f"{counted(len(changes), 'socket')} to repatch, {counted(stays, 'channel')} as they are",
        "",
    ]
    rows = []
    for at, change in enumerate(changes, 1):
        if change.after is None:
            do = "unplug"
        elif change.came_from:
            do = f"move here from {change.came_from}"
        else:
            do = "replace" if change.before else "plug in"
        phantom = _phantom(change.after)
        was = _phantom(change.before)
        rows.append(
            [f"[ ] {at}", str(change.socket), change.before.name if change.before else "", do,
             change.after.name if change.after else "", f"{was or '?'} > {phantom or '?'}" if was != phantom else phantom,
             change.after.stand if change.after else ""]
        )  # fmt: skip
    if rows:
        lines += text.draw(["", "Socket", "Now there", "Do", "Then there", "Phantom", "Stand"], rows)
        lines += ["", PHANTOM]
    lines += [f"* {problem}" for problem in played.problems]
    lines += ["", *_slot_changes(before, after)]
    return "\n".join(lines).rstrip() + "\n"


def _slot_changes(before: ChannelMap, after: ChannelMap) -> list[str]:
    """Slot by slot what is heard on the feeds after a changeover that was not before, so that the far end relabels."""
    rows = []
    for port in after.ports:
        if port.kind != "feed" or port.direction == "out":
            continue
        is_feed = any(patch.source.port == port.id for patch in after.patches) or port.mode is not None
        if not is_feed or any(
            patch.target.port == port.id and after.port(patch.source.port).kind == "feed"
            for patch in after.patches
        ):
            continue
        for number in range(1, port.size + 1):
            one, two = (whole.occupant(Slot(port.id, number)) for whole in (before, after))
            if (one and one.id) != (two and two.id):
                rows.append([f"{port.id} {number}", one.name if one else "", two.name if two else ""])
    if not rows:
        return ["On the feeds every slot keeps its channel."]
    return [
        "On the feeds these slots change; all others stay:",
        "",
        *text.draw(["Slot", "Until now", "From now on"], rows),
    ]


def hearing(file: ShowFile) -> list[str]:
    """Who can hear what, block by block; [] where everyone hears every block."""
    columns = [block.id for block in file.block] + [box.id for box in file.box if box.desk]
    rows, all_hear = [], True
    feeds = {feed.id for feed in file.feed}
    for recipient in file.recipient:
        listening = recipient.model_copy(update={"takes": recipient.heard})
        here = {*reaches(file, listening), *(box.id for box in local_boxes(file, recipient))}
        could = {*reaches(file, recipient)}
        cells = []
        for name in columns:
            if name in here:
                cells.append("on its feed" if feeds & {*recipient.takes} else "yes")
            else:
                cells.append("if it switches" if name in could else "no")
        all_hear = all_hear and here >= {*columns}
        rows.append([recipient.id, *cells])
    if all_hear:
        return []
    return ["Who can hear what:", *(f"    {line}" for line in text.draw(["", *columns], rows)), ""]
