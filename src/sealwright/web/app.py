"""The application: routes, errors, and what they share."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import jinja2
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import Response

from sealwright.assess import Event
from sealwright.errors import SealwrightError
from sealwright.ledger import Ledger
from sealwright.protocols import get
from sealwright.web import assets
from sealwright.web.api import Api
from sealwright.web.desk import Desk
from sealwright.web.guard import Guard, problem
from sealwright.web.hub import Hub
from sealwright.web.live_api import LiveApi
from sealwright.web.pages import Pages, environment
from sealwright.web.pairing import Pairings
from sealwright.web.reckoning import Reckoning
from sealwright.web.tracedesk import TraceDesk
from sealwright.web.wearer_screen import wearer_routes

HTTP_SAYS = {404: "there is nothing at this address", 405: "this address does not take that method"}


def wall_ms() -> int:
    return time.time_ns() // 1_000_000


def steady_ms() -> int:
    """A clock that goes on through sleep and knows no clock changes, where this system has one."""
    kind = getattr(time, "CLOCK_BOOTTIME", None) or getattr(time, "CLOCK_MONOTONIC", None)
    return round((time.clock_gettime(kind) if kind is not None else time.monotonic()) * 1000)


@dataclass(frozen=True)
class ScreenNeeds:
    """What the wearer's screen asks of the server."""

    hub: Hub
    pairings: Pairings
    templates: jinja2.Environment
    now: Callable[[], int]

    def events_of(self, test: str) -> list[Event]:
        return self.hub.events_of(test)

    def protocol_of(self, protocol: str) -> Any:
        return get(protocol)

    def offset_of(self, test: str) -> int:
        return self.hub.offset_of(test)

    def language_of(self, test: str) -> str:
        wearer = self.hub.ledger.test(test).wearer
        return str(self.hub.ledger.wearer(wearer).language)

    async def changed(self, test: str) -> None:
        await self.hub.changed(test)


def make_app(ledger: Ledger, *, org_name: str, now: Callable[[], int] = wall_ms, steady: Callable[[], int] = steady_ms,
             hosts: frozenset[str] | None = None) -> Starlette:
    """The ASGI application of one organisation's ledger. `now` is the server's clock in ms; `hosts` see Guard."""
    def still_open() -> list[str]:
        return [t.id for t in ledger.tests(open_only=True, limit=1000)]

    hub, env = Hub(ledger, now, steady), environment(org_name)
    pairings = Pairings(now, secret=ledger.chain, still_open=still_open)
    pages = Pages(hub, env, org_name)
    needs = ScreenNeeds(hub, pairings, env, now)
    routes = [*pages.routes(), *Desk(hub).routes(), *TraceDesk(hub, env).routes(),
              *Reckoning(env).routes(),
              *Api(hub, pairings, org_name).routes(), *LiveApi(hub).routes(), *wearer_routes(needs), *assets.routes()]

    async def mendable(request: Request, error: Exception) -> Response:
        assert isinstance(error, SealwrightError)
        return problem(error, wants_json=request.url.path.startswith("/api"), render=pages.problem)

    async def http(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        known = SealwrightError(HTTP_SAYS.get(error.status_code, error.detail), place=request.url.path,
                                mend="Start from the first page", code="not-found")
        known.status = error.status_code
        return await mendable(request, known)

    async def crashed(request: Request, error: Exception) -> Response:
        trouble = SealwrightError("something failed inside the server", place=request.url.path, code="server-error",
                                  mend="Try again; if it stays, look at what the server printed")
        trouble.status = 500
        return await mendable(request, trouble)

    door = [Middleware(Guard, hosts=hosts), Middleware(GZipMiddleware, minimum_size=2000)]
    app = Starlette(routes=routes, middleware=door,
                    exception_handlers={SealwrightError: mendable, HTTPException: http, Exception: crashed})
    app.state.hub = hub
    return app
