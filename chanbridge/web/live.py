"""The running show: one picture of it for everybody, told on as it changes, and one pen for the journal."""

from __future__ import annotations

import asyncio
import datetime
import hashlib
import json
import os
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple, TypeVar

from chanbridge.assemble import Planned
from chanbridge.errors import ChanbridgeError
from chanbridge.evening.steps import socket_text
from chanbridge.journal import Entry, Journal
from chanbridge.show import Show
from chanbridge.web import snapshot, views
from chanbridge.web.linecheck import KIND, Kept, Tick, Ticks
from chanbridge.web.walk import where_to_walk

LOOK_S = 0.25
"""Seconds from one look at the files to the next."""

GATHER_S = 0.02
"""Seconds for which ticks are gathered before they are written together."""

WAITING = 400
"""Messages that may wait for a page; one that is slower is let go, and asks for everything when it is back."""

_T = TypeVar("_T")


class Message(NamedTuple):
    """What pages are told: `event` says what `data` (JSON) is."""

    event: str
    data: str


def now() -> str:
    """The time in UTC, to the second."""
    return datetime.datetime.now(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


class Live:
    """A show that is served. Everything here runs on the event loop; work goes to threads."""

    def __init__(self, show: Show, journal: Journal) -> None:
        self.path = show.source
        self.id = hashlib.sha256(os.path.abspath(show.source).encode("utf-8", "surrogateescape")).hexdigest()[
            :16
        ]
        """Tells this show from others that were served from the same address, wherever its name changes."""
        self.journal = journal
        self.now = snapshot.first(show, journal)
        self.ticks = Ticks.of(journal.entries(KIND))
        self.reading = ""
        """The channel that is read out at the line check."""
        self._watch = snapshot.Watch(show, journal)
        self._last = self.now.state.last
        self._pages: set[asyncio.Queue[Message | None]] = set()
        self._writing = asyncio.Lock()
        self._making = asyncio.Lock()
        self._waiting: list[tuple[list[Tick], asyncio.Future[None]]] = []
        self._called = asyncio.Event()
        self._tasks: list[asyncio.Task[None]] = []
        self._press: tuple[snapshot.Snapshot, asyncio.Task[Mapping[str, bytes]]] | None = None

    def start(self) -> None:
        """Begin to watch the files and to write ticks."""
        self._tasks = [asyncio.create_task(self._look()), asyncio.create_task(self._write())]

    async def stop(self) -> None:
        """Let every page go."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        for page in self._pages:
            page.put_nowait(None)

    # Pages

    def listen(self) -> asyncio.Queue[Message | None]:
        """A queue with everything that is told from now on; None is its end."""
        page: asyncio.Queue[Message | None] = asyncio.Queue(WAITING + 1)
        self._pages.add(page)
        return page

    def leave(self, page: asyncio.Queue[Message | None]) -> None:
        """Tell a page nothing more."""
        self._pages.discard(page)

    def tell(self, event: str, data: Any) -> None:
        """Tell every page."""
        message = Message(event, json.dumps(data, ensure_ascii=False))
        for page in [*self._pages]:
            if page.qsize() >= WAITING:
                self._pages.discard(page)
                page.get_nowait()
                page.put_nowait(None)
            else:
                page.put_nowait(message)

    # The journal

    async def tick(self, ticks: Sequence[Tick]) -> None:
        """Write ticks into the journal, with whatever others tick in the same moment, and tell every page.

        Comes back once they are on the disk. What is known already is passed over. Raises JournalError.
        """
        done: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self._waiting.append(([*ticks], done))
        self._called.set()
        await done

    async def _write(self) -> None:
        while True:
            await self._called.wait()
            await asyncio.sleep(GATHER_S)
            self._called.clear()
            batch, self._waiting = self._waiting, []
            try:
                await self._keep([tick for ticks, _ in batch for tick in ticks])
            except Exception as error:  # whoever waits for it is told
                for _, done in batch:
                    if not done.done():
                        done.set_exception(error)
                continue
            for _, done in batch:
                if not done.done():
                    done.set_result(None)

    async def _keep(self, ticks: Sequence[Tick]) -> None:
        async with self._writing:
            new = {tick.id: tick for tick in ticks if tick.id not in self.ticks.kept}
            if not new:
                return
            body = {"ticks": [tick.data() for tick in new.values()]}
            entry = await asyncio.to_thread(self.journal.append, KIND, body, at=now())
            await self._take(entry)

    async def _take(self, entry: Entry) -> None:
        """Take in an entry that was written here, and what others wrote before it."""
        if entry.number != self._last + 1:
            await self._read_journal()
            return
        self._last = entry.number
        self._watch.seen_journal()
        if entry.kind == KIND:
            self._told(self.ticks.read(entry))
        else:
            await self._show(lambda: snapshot.amended(self.journal, self.now))

    async def write(self, kind: str, body: dict[str, Any], who: str) -> None:
        """Write an entry of another kind and tell every page. Raises JournalError."""
        async with self._writing:
            await self._take(await asyncio.to_thread(self.journal.append, kind, body, at=now(), who=who))

    async def alone(self, work: Callable[[], tuple[_T, Entry | None]]) -> _T:
        """Do work that reads the journal and writes into it while nobody else here writes."""
        async with self._writing:
            done, entry = await asyncio.to_thread(work)
            if entry:
                await self._take(entry)
            return done

    async def _read_journal(self) -> None:
        """Take in what was written elsewhere."""
        self._watch.seen_journal()
        entries = await asyncio.to_thread(self.journal.entries)
        new = [entry for entry in entries if entry.number > self._last]
        if self.journal.repaired or (entries and entries[-1].number < self._last):
            self.ticks, new = Ticks(), [*entries]
        self._last = entries[-1].number if entries else 0
        self._told([kept for entry in new for kept in self.ticks.read(entry)])
        if any(entry.kind != KIND for entry in new):
            await self._show(lambda: snapshot.amended(self.journal, self.now))

    # What is told

    async def _show(self, make: Callable[[], snapshot.Snapshot]) -> None:
        async with self._making:  # each is made of the one before
            self.now = await asyncio.to_thread(make)
        self.tell("show", {"number": self.now.number})

    async def _look(self) -> None:
        while True:
            await asyncio.sleep(LOOK_S)
            try:
                if await asyncio.to_thread(self._watch.saved):
                    await self._show(lambda: snapshot.again(self.path, self.journal, self.now))
                    self._watch.follow(self.now.show)
                if self._watch.written():
                    async with self._writing:
                        if self._watch.written():
                            await self._read_journal()
            except Exception as error:  # whatever it is, the next look may go well
                said = str(error) if isinstance(error, ChanbridgeError) else repr(error)
                self.tell("trouble", {"text": f"What was saved cannot be shown: {said}"})

    def _told(self, kept: Sequence[Kept]) -> None:
        if kept:
            channels = [*dict.fromkeys(one.tick.channel for one in kept)]
            walks = {act: {name: self.walk(name, act) for name in channels} for act in self.now.acts}
            self.tell("ticks", {"ticks": [one.data() for one in kept], "walk": walks})

    def read_out(self, channel: str) -> None:
        """Say to everybody which channel is read out now; "" for none."""
        self.reading = channel
        self.tell("reading", self._read_out())

    def _read_out(self) -> dict[str, str]:
        return {"channel": self.reading, "name": self.now.names.get(self.reading, "")}

    def walk(self, channel: str, act: str = "") -> str:
        """Where to walk for a channel in an act, "" where nothing is wrong with it."""
        planned = self.now.acts[act]
        ways = views.ways(planned, channel)
        said = {at: self.ticks.result(channel, at) for at in ways}
        if not any(result not in ("", "arrived") for result in said.values()):
            return ""
        swapped = [
            kept.tick.other for at in ways for kept in self.ticks.standing(channel, at) if kept.tick.other
        ]
        names = {one.recipient.id: one.recipient.name or one.recipient.id for one in planned.deliveries}
        return where_to_walk(ways, said, names, self._placed(planned, swapped[0]) if swapped else "")

    def line_check(self) -> tuple[str, ...]:
        """The line check of all acts in a few lines, as the cover of a hand-over has it."""
        return views.line_check(self.ticks, self.now.planned)

    async def papers(self, patience_s: float | None = None) -> Mapping[str, bytes] | None:
        """The papers as they would be printed now, None where that takes longer than someone has patience.

        They are made once for each state of the show; pages are told when they are done.
        """
        if self._press is None or self._press[0] is not self.now:
            self._press = (self.now, asyncio.create_task(self._print(self.now)))
        await asyncio.wait({self._press[1]}, timeout=patience_s)
        return self._press[1].result() if self._press[1].done() else None

    async def _print(self, now_: snapshot.Snapshot) -> Mapping[str, bytes]:
        made = await asyncio.to_thread(lambda: now_.papers)
        self.tell("papers", {})
        return made

    def _placed(self, planned: Planned, channel: str) -> str:
        entry = views.entry_of(planned, channel)
        name = self.now.names.get(channel, channel)
        return f"{name} ({socket_text(entry)})" if entry else name

    def standing(self) -> dict[str, Any]:
        """The whole line check, for a page that was away."""
        channels = dict.fromkeys(channel for channel, _ in self.ticks.cells())
        return {
            "ticks": [kept.data() for kept in self.ticks.all()],
            "walk": {
                act: {channel: text for channel in channels if (text := self.walk(channel, act))}
                for act in self.now.acts
            },
            "reading": self._read_out(),
        }
