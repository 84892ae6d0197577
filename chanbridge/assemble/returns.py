"""The way back: what desks and the truck send, over feeds and blocks, to boxes' outputs and to recipients."""

from __future__ import annotations

from collections.abc import Iterable

from chanbridge.assemble.lists import named
from chanbridge.model import Audience, Channel, ChannelMap, Entry, Pair, Patch, Port, Slot
from chanbridge.names import counted, fold
from chanbridge.plan.declared import first_feed, place_of, return_slots, returns_called
from chanbridge.show import Show
from chanbridge.system import Box, Recipient, Return


def outputs_of(name: str) -> str:
    """The port of a box's outputs, or of what a desk sends."""
    return f"{name} out"


def back_of(name: str) -> str:
    """The port of a block or feed on the way back."""
    return f"{name} back"


def add_returns(show: Show, whole: ChannelMap) -> tuple[ChannelMap, tuple[str, ...]]:
    """The map with everything that comes back, and the ids of those channels. Raises ShowError with the line."""
    if not show.file.returns:
        return whole, ()
    adding = _Adding(show, whole)
    for at, sent in sorted(enumerate(show.file.returns), key=lambda item: item[1].id):
        adding.add(at, sent)  # by id, so that the order in the show file does not number the outputs
    return adding.map(), tuple(channel.id for channel in adding.channels)


class _Adding:
    def __init__(self, show: Show, whole: ChannelMap) -> None:
        self.show, self.whole = show, whole
        self.ports: dict[str, Port] = {}
        self.channels: list[Channel] = []
        self.entries: list[Entry] = []
        self.patches: dict[Patch, None] = {}
        self.grown: dict[str, int] = {}  # recipient → slots with what is sent to it
        self.used: dict[str, set[int]] = {}  # maker → outputs taken
        self.writers: dict[Slot, str] = {}  # slot of a feed on the way back → maker
        for sent in show.file.returns:
            if sent.output:
                self.used.setdefault(sent.maker, set()).update(sent.numbers(sent.output))

    def add(self, at: int, sent: Return) -> None:
        """One return: its channels, where they enter, and every patch on their way."""
        channels = self._channels(at, sent)
        numbers = self._outputs(sent)
        out = outputs_of(sent.maker)
        self._port(
            Port(id=out, device=sent.maker, name=f"{sent.maker} sends", direction="out", kind="desk"),
            max(numbers),
        )
        sources = [Slot(out, number) for number in numbers]
        self.entries += [Entry(channel.id, slot) for channel, slot in zip(channels, sources, strict=True)]
        self.channels += channels
        for text in sent.to:
            self._to(at, sent, text, sources)

    def _to(self, at: int, sent: Return, text: str, sources: list[Slot]) -> None:
        file = self.show.file
        boxes = {box.id: box for box in file.box}
        feeds = [feed.id for feed in file.feed]
        place = place_of(text, [*boxes, *feeds, *(recipient.id for recipient in file.recipient)])
        if place.name in feeds:
            for step, source in enumerate(sources):
                self._patch(source, Slot(place.name, (place.number or 1) + step))
            return
        box = boxes.get(place.name)
        sources = self._by_feed(at, sent, box, sources)
        if not box:
            limit = next(item.inputs for item in file.recipient if item.id == place.name)
            first = self._last_slot(place.name, limit) + 1
            last = first + len(sources) - 1
            if limit is not None and last > limit:
                raise self.show.mistake(
                    f"{place.name!r} has {limit} inputs and no room for it after slot {first - 1}, "
                    f"the last that is taken; it needs {counted(len(sources), 'slot')}",
                    "return",
                    at,
                    "to",
                )
            self.grown[place.name] = last
            for step, source in enumerate(sources):
                self._patch(source, Slot(place.name, first + step))
            return
        outputs = Port(
            id=outputs_of(box.id), device=box.id, direction="out", kind="outputs", first=box.first_output,
            size=box.outputs, rate_hz=file.rate,
        )  # fmt: skip
        self._port(outputs, box.outputs)
        block = next((one for one in file.block if one.id == box.block), None)
        for step, source in enumerate(sources):
            number = (place.number or 1) + step
            if block:
                back = Port(
                    id=back_of(block.id),
                    direction="out",
                    size=return_slots(block),
                    rate_hz=block.rate or file.rate,
                )
                self._port(back, back.size)
                source = self._patch(source, Slot(back.id, box.first_output + number - 1))
            self._patch(source, Slot(outputs.id, number))

    def _by_feed(self, at: int, sent: Return, box: Box | None, sources: list[Slot]) -> list[Slot]:
        """The slots on the way back of the feed that joins a maker to a box, or to all else; its outputs where none does."""
        file, taken = self.show.file, self._maker(sent).takes
        joining = [
            feed
            for feed in file.feed
            if feed.id in taken and (not box or box.block in first_feed(file, feed).blocks)
        ]
        if not joining:
            return sources
        feed = joining[0]
        mode, key = feed.back or feed.mode, "output" if sent.output else "from"
        if sources[-1].number > mode.slots:
            raise self.show.mistake(
                f"{sent.maker!r} sends {sources[-1].number} channels, and {feed.id!r} has {mode.slots} slots on the way back",
                "return", at, key,
            )  # fmt: skip
        back = Port(
            id=back_of(feed.id),
            direction="out",
            kind="feed",
            mode=mode,
            size=mode.slots,
            rate_hz=mode.rate_hz,
        )
        self._port(back, mode.slots)
        for source in sources:
            other = self.writers.setdefault(Slot(back.id, source.number), sent.maker)
            if other != sent.maker:
                raise self.show.mistake(
                    f"{other!r} sends on slot {source.number} of {feed.id!r} on the way back already; "
                    f"give {sent.maker!r} another output",
                    "return", at, key,
                )  # fmt: skip
        return [self._patch(source, Slot(back.id, source.number)) for source in sources]

    def _last_slot(self, recipient: str, inputs: int | None) -> int:
        """The last slot of a recipient that is taken: by what it takes, its own sockets, and what it was sent so far."""
        if recipient in self.grown:
            return self.grown[recipient]
        patched = [target.number for _, target in self.whole.patches if target.port == recipient]
        return max([0 if inputs else self.whole.port(recipient).size, *patched])

    def _maker(self, sent: Return) -> Recipient:
        return next(recipient for recipient in self.show.file.recipient if recipient.id == sent.maker)

    def _outputs(self, sent: Return) -> range:
        """The outputs of its maker that a return takes: those said, else the next free; two begin on an odd one."""
        if sent.output:
            return sent.numbers(sent.output)
        used = self.used.setdefault(sent.maker, set())
        first = 1
        while used & {*sent.numbers(first)}:
            first += 2 if sent.stereo else 1
        used.update(sent.numbers(first))
        return sent.numbers(first)

    def _port(self, port: Port, size: int) -> None:
        known = self.ports.get(port.id)
        if port.id in {item.id for item in self.whole.ports}:
            raise self.show.mistake(
                f"the id {port.id!r} is needed for what comes back; rename what has it", "return"
            )
        if known is None or known.size < size:
            self.ports[port.id] = port.changed(size=size)

    def _patch(self, source: Slot, target: Slot) -> Slot:
        self.patches[Patch(source, target)] = None
        return target

    def _channels(self, at: int, sent: Return) -> list[Channel]:
        name = sent.name or sent.id
        sides = (("l", " L", "left"), ("r", " R", "right")) if sent.stereo else (("", "", None),)
        ids = [f"{sent.id}-{letter}" if letter else sent.id for letter, _, _ in sides]
        for one in ids:
            if self.whole.channel(one):
                raise self.show.mistake(
                    f"the id {one!r} is a channel's; call the return something else", "return", at, "id"
                )
        contents = self._contents(at, sent)
        audience = Audience(**dict.fromkeys(sent.tags, "allowed"))
        return [
            Channel(
                id=one, name=name + ending, kind=sent.kind, audience=audience, contents=contents, tap=sent.tap,
                notes=sent.notes,
                pair=Pair(partner=ids[1 - index], side="left" if side == "left" else "right") if side else None,
            )
            for index, (one, (_, ending, side)) in enumerate(zip(ids, sides, strict=True))
        ]  # fmt: skip

    def _contents(self, at: int, sent: Return) -> tuple[str, ...]:
        """The ids in a mix; of a mix-minus all that may go on air but those named and their partners."""
        if sent.minus:
            gone = {name for text in sent.minus for name in self._named(at, text, "minus")}
            return tuple(
                channel.id
                for channel in self.whole.channels
                if channel.id not in gone and channel.audience.air != "not allowed"
            )
        return tuple(
            dict.fromkeys(name for text in sent.contents for name in self._named(at, text, "contents"))
        )

    def _named(self, at: int, text: str, key: str) -> Iterable[str]:
        other = returns_called(self.show.file).get(fold(text))
        if key == "contents" and other:
            return [f"{other.id}-l", f"{other.id}-r"] if other.stereo else [other.id]
        try:
            channel = named(self.whole, text)
        except ValueError as error:
            both = [_or_none(self.whole, f"{text} {side}") for side in ("L", "R")]
            if all(both):
                return [one.id for one in both if one]
            raise self.show.mistake(str(error), "return", at, key) from None
        partner = channel.pair.partner if channel.pair and key == "minus" else None
        return [channel.id, *([partner] if partner else [])]

    def map(self) -> ChannelMap:
        """The whole map with all of it."""
        ports = [port.changed(size=max(port.size, self.grown.get(port.id, 0))) for port in self.whole.ports]
        return self.whole.changed(
            channels=(*self.whole.channels, *self.channels),
            entries=(*self.whole.entries, *self.entries),
            ports=(*ports, *self.ports.values()),
            patches=(*self.whole.patches, *self.patches),
        )


def _or_none(whole: ChannelMap, text: str) -> Channel | None:
    same = [one for one in whole.channels if fold(one.name) == fold(text)]
    return same[0] if len(same) == 1 else None
