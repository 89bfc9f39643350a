"""The server: the page, and all that it and other programs ask, by HTTP/1.1 (RFC 9112).

Whoever asks shows a key as a bearer token (RFC 6750, section 2.1). No cookie is used, so a page
from elsewhere has nothing that a browser would send along for it; and what has an `Origin` (RFC
6454) other than this server's is refused all the same. Bodies are small and JSON, asked for by
type, so that no form of another page can send one. What anybody sends is checked against types and
limits before anything else is done with it.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar
from urllib.parse import unquote, urlsplit

import msgspec
from aiohttp import web

from bellcrank.live.clock import time_of_day
from bellcrank.live.decisions import Decision, Heard, HeardKind
from bellcrank.live.engine import Engine
from bellcrank.live.journal import Entry
from bellcrank.live.live import Live
from bellcrank.live.sentences import in_words
from bellcrank.serving import asked as a
from bellcrank.serving.figures import CONTENT_TYPE, Figures
from bellcrank.serving.interface import described
from bellcrank.serving.people import LONGEST_NAME, People, Person
from bellcrank.serving.rates import Rates
from bellcrank.serving.simulated import SimulatedPeople
from bellcrank.serving.standing import State, changed, standing

_BODY = 4096
"""Bytes of a body."""

_EVERY = 0.05
"""Seconds between two tellings to those who follow."""

_ALIVE = 10.0
"""Seconds after which a follower hears something though nothing has changed."""

_FOLLOWERS = 64
"""Who may follow at once."""

_BEHIND = 200
"""Tellings that a follower may be behind, before it has to begin anew."""

_LOG = 500
"""Entries that are told at once."""

_SAFE = {
    "Content-Security-Policy": "default-src 'none'; style-src 'self' 'unsafe-inline'; "
    "script-src 'self'; connect-src 'self'; img-src 'self' data:; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
    "Cross-Origin-Resource-Policy": "same-origin",
}
"""Headers of every answer (Content Security Policy Level 3, Fetch)."""

T = TypeVar("T", bound=msgspec.Struct)
Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


@dataclass(frozen=True, slots=True)
class Files:
    """What the page is made of: by path, its type and its bytes. layout: what it shows of the
    layout, for those with a key."""

    static: Mapping[str, tuple[str, bytes]]
    layout: Mapping[str, Any]


@dataclass(slots=True, eq=False)
class _Follower:
    """queue: what is still to be told; None ends it."""

    queue: asyncio.Queue[bytes | None] = field(default_factory=lambda: asyncio.Queue(_BEHIND))


_PERSON: web.RequestKey[Person] = web.RequestKey("person", Person)
_NAME: web.RequestKey[str] = web.RequestKey("name", str)


class Server:
    """Serves a railway that runs.

    hosts: what the server may be called by whoever asks it (`Host`), so that no name of another's
        can be made to lead here (DNS rebinding); empty for any.
    left: what the run before has left, as sentences, to be told until this one is started.
    """

    def __init__(
        self,
        live: Live,
        engine: Engine,
        people: People,
        files: Files,
        simulated: SimulatedPeople | None,
        *,
        hosts: frozenset[str] = frozenset(),
        left: Sequence[str] = (),
    ) -> None:
        self._live = live
        self._engine = engine
        self._people = people
        self._files = files
        self._simulated = simulated
        self._hosts = hosts
        self._left = left
        self._figures = Figures(live)
        self._followers: set[_Follower] = set()
        self._told: State | None = None
        self._news: list[Decision] = []
        self._rates = Rates(per_second=20, at_once=60)
        self._wrong_keys = Rates(per_second=1, at_once=10)
        live.followers.append(self._follow)
        live.followers.append(self._figures.follow)

    def app(self) -> web.Application:
        app = web.Application(middlewares=[self._guard], client_max_size=_BODY)
        router = app.router
        for path in self._files.static:
            router.add_get(path, self._static)
        router.add_get("/openapi.json", self._openapi)
        router.add_get("/metrics", self._metrics)
        router.add_get("/api/layout", self._layout)
        router.add_get("/api/state", self._state)
        router.add_get("/api/follow", self._stream)
        router.add_get("/api/log", self._log)
        router.add_post("/api/request", self._request)
        router.add_post("/api/cancel", self._cancel)
        router.add_post("/api/confirm", self._confirm)
        router.add_post("/api/thrown", self._thrown)
        router.add_post("/api/start", self._start)
        router.add_post("/api/stop", self._stop)
        if self._simulated is not None:
            router.add_post("/api/simulated", self._act)
        return app

    # ------------------------------------------------------------- who may ask

    @web.middleware
    async def _guard(self, request: web.Request, handler: Handler) -> web.StreamResponse:
        try:
            self._admit(request)
            answer = await handler(request)
        except web.HTTPException as error:
            answer = _wrong(error.status, error.text or error.reason)
        if not answer.prepared:
            answer.headers.update(_SAFE)
        return answer

    def _admit(self, request: web.Request) -> None:
        """Raise HTTPException where somebody may not ask this."""
        host = request.headers.get("Host", "")
        if self._hosts and (urlsplit(f"//{host}").hostname or "") not in self._hosts:
            raise web.HTTPMisdirectedRequest(text="this server is not called so")
        origin = request.headers.get("Origin")
        if origin is not None and urlsplit(origin).netloc != host:
            raise web.HTTPForbidden(text="a page from elsewhere may not ask this server")
        if request.path in self._files.static:
            return
        peer = request.remote or ""
        scheme, _, key = request.headers.get("Authorization", "").partition(" ")
        person = self._people.with_key(key.strip()) if scheme.lower() == "bearer" else None
        if person is None:
            if not self._wrong_keys.may(peer):
                raise web.HTTPTooManyRequests(text="too many wrong keys: wait a little")
            raise web.HTTPUnauthorized(text="this needs a key, as a bearer token")
        request[_PERSON] = person
        said = unquote(request.headers.get("Bellcrank-Name", ""))[:LONGEST_NAME]
        request[_NAME] = person.name or "".join(filter(str.isprintable, said)).strip() or "somebody"
        if request.method == "POST":
            if person.watches:
                raise web.HTTPForbidden(text="with this key one may only look on")
            if not self._rates.may(f"{peer} {request[_NAME]}"):
                raise web.HTTPTooManyRequests(text="too much was asked at once: wait a little")

    async def _body(self, request: web.Request, type_: type[T]) -> T:
        """What was sent, checked. Raises HTTPException."""
        if request.content_type != "application/json":
            raise web.HTTPUnsupportedMediaType(text="send JSON, and say so: application/json")
        try:
            return msgspec.json.decode(await request.read() or b"{}", type=type_)
        except msgspec.MsgspecError as error:
            raise web.HTTPBadRequest(text=str(error)[:300]) from None

    # ------------------------------------------------------------ what is asked

    async def _ask(self, request: web.Request, kind: HeardKind, of: str = "") -> web.Response:
        decision = await self._live.ask(Heard(kind, of, who=request[_NAME]))
        return _json(a.Answer(decision.outcome, list(decision.told)))

    def _works(self, request: web.Request, route: str) -> None:
        """Raise HTTPException if somebody may not work the signal of a route."""
        found = self._engine.box.table.routes.get(route)
        if found is None:
            raise web.HTTPNotFound(text=f"there is no route `{route}`")
        if not request[_PERSON].may_work(found.start):
            raise web.HTTPForbidden(text=f"{request[_NAME]} does not work {found.start}")

    async def _request(self, request: web.Request) -> web.Response:
        body = await self._body(request, a.Route)
        self._works(request, body.route)
        return await self._ask(request, "request", body.route)

    async def _cancel(self, request: web.Request) -> web.Response:
        body = await self._body(request, a.Route)
        self._works(request, body.route)
        return await self._ask(request, "cancel", body.route)

    async def _confirm(self, request: web.Request) -> web.Response:
        body = await self._body(request, a.Confirmed)
        self._works(request, body.route)
        kind: HeardKind = "confirm passed" if body.what == "passed" else "confirm arrived"
        return await self._ask(request, kind, body.route)

    async def _thrown(self, request: web.Request) -> web.Response:
        body = await self._body(request, a.Thrown)
        if body.drive not in self._engine.box.by_hand:
            raise web.HTTPNotFound(text=f"there is no drive `{body.drive}` that is thrown by hand")
        return await self._ask(request, "thrown by hand", body.drive)

    async def _start(self, request: web.Request) -> web.Response:
        await self._body(request, a.Nothing)
        if request[_PERSON].works is not None:
            raise web.HTTPForbidden(text="whoever starts must work the whole railway")
        return await self._ask(request, "start")

    async def _stop(self, request: web.Request) -> web.Response:
        await self._body(request, a.Nothing)
        return await self._ask(request, "stop")

    async def _act(self, request: web.Request) -> web.Response:
        body = await self._body(request, a.Act)
        assert self._simulated is not None
        wrong = self._simulated.do(body.key)
        self._tell()
        return _json(a.Answer("refused" if wrong else "done", [wrong] if wrong else []))

    # --------------------------------------------------------- what is looked at

    async def _static(self, request: web.Request) -> web.Response:
        type_, data = self._files.static[request.path]
        return web.Response(body=data, content_type=type_, charset="utf-8")

    async def _openapi(self, _: web.Request) -> web.Response:
        return web.Response(body=described(), content_type="application/json")

    async def _metrics(self, _: web.Request) -> web.Response:
        return web.Response(body=self._figures.text(), headers={"Content-Type": CONTENT_TYPE})

    async def _layout(self, request: web.Request) -> web.Response:
        person = request[_PERSON]
        works = None if person.works is None else sorted(person.works)
        return _json({**self._files.layout, "person": person.name, "works": works})

    async def _state(self, _: web.Request) -> web.Response:
        return _json(self._now())

    async def _log(self, request: web.Request) -> web.Response:
        after = request.query.get("after", "0")
        if not (after.isascii() and after.isdecimal() and len(after) < 16):
            raise web.HTTPBadRequest(text="`after` is the number of an entry")
        found = [e for e in self._live.journal.last(_LOG) if e.number > int(after)]
        return _json(a.Log([told_of(entry) for entry in found]))

    async def _stream(self, request: web.Request) -> web.StreamResponse:
        """Server-sent events (HTML Living Standard, section 9.2): the whole state, then what
        changes."""
        if len(self._followers) >= _FOLLOWERS:
            raise web.HTTPServiceUnavailable(text="too many follow already")
        answer = web.StreamResponse(headers={"Content-Type": "text/event-stream", **_SAFE})
        follower = _Follower()
        whole = self._now()
        self._told = self._told or whole
        # From here on what changes waits for it: nothing is lost while the whole is on its way.
        self._followers.add(follower)
        try:
            await answer.prepare(request)
            state = msgspec.to_builtins(whole) | {"name": request[_NAME]}
            await answer.write(_event("state", state))
            while True:
                try:
                    async with asyncio.timeout(_ALIVE):
                        data = await follower.queue.get()
                except TimeoutError:
                    data = b": alive\n\n"
                if data is None:
                    break
                await answer.write(data)
        except (ConnectionResetError, ConnectionError):
            pass
        finally:
            self._followers.discard(follower)
        return answer

    # ------------------------------------------------------------------ telling

    def _now(self) -> State:
        look = self._simulated.look() if self._simulated is not None else None
        live, engine = self._live, self._engine
        return standing(engine.box, engine.pacer, live.links, live.last_entry, look, self._left)

    def _follow(self, decisions: Sequence[Decision]) -> None:
        if any(decision.outcome == "started" for decision in decisions):
            self._left = ()
        if self._followers:
            self._news += [d for d in decisions if d.outcome != "nothing new"]

    async def tell_on(self) -> None:
        """Tell those who follow what changes, until cancelled."""
        try:
            while True:
                await asyncio.sleep(_EVERY)
                self._tell()
        finally:
            for follower in self._followers:
                with contextlib.suppress(asyncio.QueueFull):
                    follower.queue.put_nowait(None)

    def _tell(self) -> None:
        if not self._followers:
            self._told = None
            return
        now = self._now()
        news, self._news = self._news, []
        told = changed(self._told, now)
        self._told = now
        if news:
            told["log"] = [msgspec.to_builtins(e) for e in map(_news, news) if e.told]
        if not told:
            return
        data = _event("changes", told)
        for follower in list(self._followers):
            try:
                follower.queue.put_nowait(data)
            except asyncio.QueueFull:
                # It takes nothing in: it begins anew when it comes back.
                self._followers.discard(follower)
                while not follower.queue.empty():
                    follower.queue.get_nowait()
                follower.queue.put_nowait(None)


def told_of(entry: Entry) -> a.LogEntry:
    """An entry of the journal, for other programs."""
    found = _news(entry.decision)
    found.number, found.wall = entry.number, entry.wall
    return found


def _news(decision: Decision) -> a.LogEntry:
    heard = decision.heard
    return a.LogEntry(
        number=0,
        wall=time_of_day(),
        kind=heard.kind,
        of=heard.of,
        value=heard.value,
        who=heard.who,
        outcome=decision.outcome,
        told=list(decision.told),
        doing=[in_words(doing) for doing in decision.doing],
    )


def _event(name: str, data: object) -> bytes:
    return b"event: " + name.encode() + b"\ndata: " + msgspec.json.encode(data) + b"\n\n"


def _json(value: object) -> web.Response:
    return web.Response(body=msgspec.json.encode(value), content_type="application/json")


def _wrong(status: int, why: str) -> web.Response:
    answer = _json(a.Wrong(why))
    answer.set_status(status)
    if status == 401:
        answer.headers["WWW-Authenticate"] = "Bearer"
    return answer
