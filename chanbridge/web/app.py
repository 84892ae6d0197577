"""The server of the crew's page: what can be asked, and by whom."""

from __future__ import annotations

import asyncio
import io
import json
import math
import zipfile
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from typing import Any, Literal

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from chanbridge.assemble import Planned
from chanbridge.errors import ChanbridgeError
from chanbridge.evening import making
from chanbridge.evening.revisions import map_text
from chanbridge.web import render, uploads, views
from chanbridge.web.guard import ROLES, Role
from chanbridge.web.linecheck import LONGEST, MOST_AT_ONCE, TickError, as_csv, understood
from chanbridge.web.live import Live, now
from chanbridge.web.uploads import MOST_SHEET, READ_S, SHEET_S, RefusedError

ALIVE_S = 15.0
"""Seconds after which a page hears that the server is still there."""

QUIETEST_DBFS = -60
"""Level (RMS) below which no ident signal is made."""

PATIENCE_S = 1.0
"""Seconds for which someone who wants to see the papers waits for them before the page says that they are being made."""

_Endpoint = Callable[[Live, Request], Awaitable[Response]]


class _Json(JSONResponse):
    """JSON in ASCII, so that half a letter that a phone sent can be named in the answer."""

    def render(self, content: Any) -> bytes:
        """The bytes of an answer."""
        return json.dumps(content, allow_nan=False, separators=(",", ":")).encode("ascii")


def make(live: Live) -> Starlette:
    """The application; `guard.Guard` goes around it."""
    reader = uploads.Reader()

    def route(path: str, work: _Endpoint, needs: Role = "look", method: str = "GET") -> Route:
        async def endpoint(request: Request) -> Response:
            if ROLES.index(request.state.role) < ROLES.index(needs):
                return _refused(
                    403, f"your link lets you {request.state.role}; for this ask for the link to {needs}"
                )
            try:
                return await work(live, request)
            except render.LostError as error:
                return PlainTextResponse(f"{error}\n", 404)
            except RefusedError as error:
                return _refused(error.status, error.message)
            except making.ChangedError as error:
                return HTMLResponse(render.part("meant", meant=error.meant, again=True, undoes=0), 409)
            except ChanbridgeError as error:
                return PlainTextResponse(f"{error}\n", 422) if method == "GET" else _refused(422, str(error))

        return Route(path, endpoint, methods=[method])

    @asynccontextmanager
    async def running(_: Starlette) -> AsyncIterator[None]:
        live.start()
        yield
        await live.stop()

    async def compare(live: Live, request: Request) -> Response:
        return await _compare(live, request, reader)

    async def ident(live: Live, request: Request) -> Response:
        return await _ident(live, request, reader)

    return Starlette(
        routes=[
            route("/", _page),
            route("/static/{name}", _static),
            route("/worker.js", _worker),
            route("/events", _events),
            route("/ticks", _ticks),
            route("/ticks", _tick, "tick", "POST"),
            route("/reading", _reading, "tick", "POST"),
            route("/line-check.csv", _csv),
            route("/received", _received, "tick", "POST"),
            route("/told", _told, "steer", "POST"),
            route("/late/look", _late_look, "steer", "POST"),
            route("/late", _late, "steer", "POST"),
            route("/compare", compare, "tick", "POST"),
            route("/ident", ident, "tick", "POST"),
            route("/papers/{path:path}", _paper),
        ],
        lifespan=running,
    )


def _refused(status: int, message: str) -> Response:
    headers = {"connection": "close"} if status in (400, 408, 413, 507) else {}
    return _Json({"error": message}, status, headers)


async def _page(live: Live, request: Request) -> Response:
    role: Role = request.state.role
    asked = dict(request.query_params)
    papers = await live.papers(PATIENCE_S) if asked.get("view") == "papers" else None
    made = await asyncio.to_thread(render.page, live, role, asked, papers)
    return HTMLResponse(made)


async def _static(live: Live, request: Request) -> Response:
    name = request.path_params["name"]
    if name not in render.STATIC:
        raise render.LostError("there is no such file")
    return Response(render.static(name), media_type=render.STATIC[name])


async def _worker(live: Live, request: Request) -> Response:
    """The script that keeps pages in the browser; it stands here because it may only keep what is below it."""
    return Response(render.static("worker.js"), media_type=render.STATIC["worker.js"])


async def _events(live: Live, request: Request) -> Response:
    page = live.listen()
    hello = f"retry: 1000\nevent: hello\ndata: {live.now.number}\n\n"

    async def told() -> AsyncIterator[str]:
        try:
            yield hello
            while True:
                try:
                    message = await asyncio.wait_for(page.get(), ALIVE_S)
                except TimeoutError:
                    yield ": still here\n\n"
                    continue
                if message is None:
                    return
                yield f"event: {message.event}\ndata: {message.data}\n\n"
        finally:
            live.leave(page)

    return StreamingResponse(told(), media_type="text/event-stream")


async def _ticks(live: Live, request: Request) -> Response:
    return _Json(live.standing())


async def _tick(live: Live, request: Request) -> Response:
    said = (await uploads.said(request)).get("ticks")
    if not isinstance(said, list) or len(said) > MOST_AT_ONCE:
        raise RefusedError(400, f"send at most {MOST_AT_ONCE} ticks at once")
    good, bad = [], {}
    for one in said:
        try:
            good.append(understood(one))
        except TickError as error:
            bad[str(one.get("id", "")) if isinstance(one, dict) else ""] = error.message
    if good:
        await live.tick(good)
    return _Json({"kept": [tick.id for tick in good], "refused": bad})


async def _reading(live: Live, request: Request) -> Response:
    channel = (await uploads.said(request)).get("channel", "")
    if channel not in ("", *live.now.names):
        raise RefusedError(422, "there is no such channel")
    live.read_out(channel)
    return _Json({})


async def _csv(live: Live, request: Request) -> Response:
    return _file("line-check.csv", as_csv(live.ticks, live.now.names).encode(), "text/csv; charset=utf-8")


async def _received(live: Live, request: Request) -> Response:
    return await _heard(live, request, "received")


async def _told(live: Live, request: Request) -> Response:
    return await _heard(live, request, "told")


async def _heard(live: Live, request: Request, kind: Literal["told", "received"]) -> Response:
    """Writes down that someone was told, or has received, letters and numbers."""
    said = await uploads.said(request)
    name, state = said.get("recipient"), live.now.state
    if not isinstance(name, str) or name not in views.names_of(live.now.show.file):
        raise RefusedError(422, "there is nobody of that name")
    there = {*(one.letter for one in state.revisions), *(one.number for one in state.amendments)}
    what = said.get("what")
    if (
        not isinstance(what, list)
        or not what
        or not all(type(one) in (str, int) and one in there for one in what)
    ):
        raise RefusedError(422, "there is no such revision or late change")
    await live.write(kind, {"recipient": name, "what": what}, _who(said))
    return _Json({})


def _who(said: dict[str, Any]) -> str:
    who = said.get("who", "")
    return " ".join(who.split())[: LONGEST["who"]] if isinstance(who, str) else ""


def _late_asked(said: dict[str, Any]) -> tuple[str, int]:
    text, undoes = said.get("said", ""), said.get("undoes", 0)
    if (
        not isinstance(text, str)
        or len(text) > 300
        or not isinstance(undoes, int)
        or not (text.strip() or undoes)
    ):
        raise RefusedError(422, "write what shall change, in at most 300 characters")
    return " ".join(text.split()), undoes


async def _late_look(live: Live, request: Request) -> Response:
    said, undoes = _late_asked(await uploads.said(request))
    meant = await asyncio.to_thread(making.look, live.now.show, live.journal, said, undoes)
    return HTMLResponse(render.part("meant", meant=meant, again=False, undoes=undoes))


async def _late(live: Live, request: Request) -> Response:
    asked = await uploads.said(request)
    said, undoes = _late_asked(asked)
    agreed = str(asked.get("agreed", ""))
    show, journal, who, at = live.now.show, live.journal, _who(asked), now()
    number = await live.alone(lambda: making.make(show, journal, said, agreed, at=at, who=who, undoes=undoes))
    return _Json({"number": number})


async def _compare(live: Live, request: Request, reader: uploads.Reader) -> Response:
    from chanbridge.handover.recipients import recipient_map

    data = await uploads.body(request, MOST_SHEET, SHEET_S)
    port = request.query_params.get("port", "")
    planned = _act(live, request)
    wanted = [one for one in planned.deliveries if port in ("", one.recipient.id)]
    if not wanted:
        raise RefusedError(422, "there is nobody of that name")
    asked = {
        "kind": "compare",
        "name": uploads.file_name(request),
        "maps": {one.recipient.id: map_text(recipient_map(planned, one)) for one in wanted},
        "names": {one.recipient.id: one.recipient.name or one.recipient.id for one in wanted},
    }
    answer = await reader.ask(asked, data, READ_S)
    called = asked["names"]
    return HTMLResponse(
        render.part("compared", answer=answer, name=asked["name"], called=called, guessed=not port)
    )


def _act(live: Live, request: Request) -> Planned:
    """The act that a sheet or a recording belongs to."""
    act = request.query_params.get("act", "")
    if act not in live.now.acts:
        raise RefusedError(422, "there is no such act")
    return live.now.acts[act]


async def _ident(live: Live, request: Request, reader: uploads.Reader) -> Response:
    port = request.query_params.get("port", "")
    if port not in {place.id for place in views.places(live.now.show.file)}:
        raise RefusedError(422, "say whose inputs were recorded")
    try:
        level = float(request.query_params.get("level", "-20"))
    except ValueError:
        level = math.nan
    if not QUIETEST_DBFS <= level <= 0:
        raise RefusedError(
            422, f"the level is from {QUIETEST_DBFS} to 0 dBFS, as it was made; most often -20"
        )
    asked = {
        "kind": "ident", "name": "the recording", "port": port, "level": level,
        "map": map_text(_act(live, request).map),
    }  # fmt: skip
    answer = await reader.recording(request, asked)
    return HTMLResponse(render.part("heard", answer=answer))


async def _paper(live: Live, request: Request) -> Response:
    """A document of a hand-over, or a folder of them as a ZIP; the name is looked up, never opened."""
    path = request.path_params["path"]
    papers = dict(await live.papers() or {})
    if path in papers and path.startswith("cover."):
        papers |= await asyncio.to_thread(live.now.cover, live.line_check())
    if path in papers:
        return _file(path.rpartition("/")[2], papers[path], "application/octet-stream")
    folder = path.removesuffix(".zip")
    inside = {name: data for name, data in papers.items() if name.startswith(f"{folder}/")}
    if not path.endswith(".zip") or not inside:
        raise render.LostError("there is no such paper")
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as whole:
        for name, data in inside.items():
            whole.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), data, zipfile.ZIP_DEFLATED)
    return _file(f"{folder}.zip", out.getvalue(), "application/zip")


def _file(name: str, data: bytes, kind: str) -> Response:
    plain = "".join(
        letter if letter.isascii() and (letter.isalnum() or letter in "-._ ") else "_" for letter in name
    )
    return Response(data, media_type=kind, headers={"content-disposition": f'attachment; filename="{plain}"'})
