"""A small server with nothing on it but the wearer's screen, fed by hand: for tests of the screen alone."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from importlib import resources
from pathlib import Path

import httpx
import jinja2
import uvicorn
from starlette.applications import Starlette
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from sealwright.assess import Event, event
from sealwright.demo.player import play
from sealwright.protocols import get
from sealwright.web.assets import font
from sealwright.web.guard import HEADERS
from sealwright.web.wearer_screen import Pairings, wearer_routes

FACEPIECE = {"id": "fp-1", "make": "Vellum", "model": "Tern 3", "material": "fleece", "size": "one size",
             "kind": "filtering", "own": False}
WEARER, TEST = "wearer-of-invention", "test-of-invention"
WEB = Path(str(resources.files("sealwright.web")))


def played(start_at: int = 1_000_000_000_000, protocol: str = "us-bitter", **options: object) -> list[Event]:
    """A whole test from the script, as events."""
    drafts = play(get(protocol), test_id=TEST, wearer=WEARER, facepiece=FACEPIECE, tester="tester-1",
                  start_at=start_at, **options)  # type: ignore[arg-type]
    return [event(d["kind"], d["at"], d["by"], d["id"], **d["data"]) for d in drafts]


def until(events: list[Event], kind: str, nth: int = 1) -> list[Event]:
    """The events up to and with the nth of a kind."""
    places = [i for i, e in enumerate(events) if e.__struct_config__.tag == kind]
    return events[:places[nth - 1] + 1]


class FakeDeps:
    """One test on a server whose clock is `now`; `put` sets its events and tells the streams."""

    def __init__(self, now=lambda: time.time_ns() // 1_000_000, language: str = "en") -> None:
        self.now, self.language, self.offset = now, language, 0
        self.pairings = Pairings(now)
        self.templates = jinja2.Environment(loader=jinja2.FileSystemLoader(WEB / "templates"), autoescape=True,
                                            undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True)
        self.templates.globals["static"] = "/static/here"
        self.events: list[Event] = []
        self._waiting: set[tuple[asyncio.AbstractEventLoop, asyncio.Event]] = set()

    def put(self, events: list[Event]) -> None:
        self.events = list(events)
        for loop, waiter in list(self._waiting):
            loop.call_soon_threadsafe(waiter.set)

    def events_of(self, test: str) -> list[Event]:
        return self.events

    def protocol_of(self, protocol: str):
        return get(protocol)

    def offset_of(self, test: str) -> int:
        return self.offset

    def language_of(self, test: str) -> str:
        return self.language

    async def changed(self, test: str) -> None:
        mine = (asyncio.get_running_loop(), asyncio.Event())
        self._waiting.add(mine)
        try:
            await mine[1].wait()
        finally:
            self._waiting.discard(mine)

    def app(self, beat_s: float = 10.0) -> Starlette:
        app = Starlette(routes=[*wearer_routes(self, beat_s=beat_s), Route("/type/{face}", font),
                                Mount("/static/here", StaticFiles(directory=WEB / "static"))])
        return _with_house_headers(app)


def _with_house_headers(app: Starlette):
    """The content security policy the house sends, so that the pages are seen to live with it."""
    async def wrapped(scope, receive, send) -> None:
        async def sending(message) -> None:
            if message["type"] == "http.response.start":
                ours = ((name.lower().encode(), value.encode()) for name, value in HEADERS.items())
                message["headers"] = [*message["headers"], *ours]
            await send(message)

        await app(scope, receive, sending if scope["type"] == "http" else send)

    return wrapped


class Client:
    """Requests to an app in this process, each answered whole."""

    def __init__(self, app) -> None:
        self.app = app

    def get(self, path: str, **more) -> httpx.Response:
        return asyncio.run(self._send("GET", path, **more))

    def post(self, path: str, **more) -> httpx.Response:
        return asyncio.run(self._send("POST", path, **more))

    async def _send(self, method: str, path: str, **more) -> httpx.Response:
        transport = httpx.ASGITransport(app=self.app)
        async with httpx.AsyncClient(transport=transport, base_url="http://sealwright.test") as client:
            return await client.request(method, path, **more)


@contextlib.contextmanager
def serving(app, port: int = 0) -> Iterator[str]:
    """The app on a free loopback port; yields its address."""
    with socket.socket() as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(("127.0.0.1", port))
        listening.listen()
        server = uvicorn.Server(uvicorn.Config(app, log_level="error", timeout_graceful_shutdown=1))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.01)
        try:
            yield f"http://127.0.0.1:{listening.getsockname()[1]}"
        finally:
            server.should_exit = True
            thread.join(5)
