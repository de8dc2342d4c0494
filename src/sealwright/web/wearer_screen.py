"""The wearer's screen: pages at /w, paired by a code, fed by server-sent events. No name and no ledger id is on it."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Sequence
from typing import Any, Protocol

import jinja2
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response, StreamingResponse
from starlette.routing import Route

from sealwright.assess import Event
from sealwright.errors import BadInput, NotFound, SealwrightError
from sealwright.pictures.figures import KINDS, dress_of, figure_svg
from sealwright.protocols import Protocol as TestProtocol
from sealwright.protocols import compile_score
from sealwright.protocols.types import MethodName
from sealwright.web.pairing import GUESS_WINDOW_MS, Pairings, TooManyGuesses, grouped, normal
from sealwright.web.wearer_sentences import labels, present, spoken
from sealwright.web.wearer_state import ScreenState, level_of, recorded_offset, screen_state
from sealwright.web.wearer_ways import WAYS
from sealwright.web.words import SOURCE, available_languages, closest, words

__all__ = ["Pairings", "ScreenState", "WearerDeps", "grouped", "screen_state", "spoken", "wearer_routes"]

BEAT_S = 10.0
"""How often a silent stream says that it is alive; the page calls the connection lost after three."""


class WearerDeps(Protocol):
    """What the screen asks of the server. `now` and instants in ms; `changed` returns at the test's next event."""

    @property
    def pairings(self) -> Pairings: ...
    @property
    def templates(self) -> jinja2.Environment: ...
    def events_of(self, test: str, /) -> Sequence[Event]: ...
    def protocol_of(self, protocol: str, /) -> TestProtocol: ...
    def offset_of(self, test: str, /) -> int: ...
    def language_of(self, test: str, /) -> str: ...
    async def changed(self, test: str, /) -> None: ...
    @property
    def now(self) -> Any: ...


def wearer_routes(deps: WearerDeps, *, beat_s: float = BEAT_S) -> list[Route]:
    """Routes of the wearer's screen, to be mounted at the top of the application."""
    screen = _Screen(deps, beat_s)
    return [
        Route("/w", screen.ask, methods=["GET"], name="wearer-code"),
        Route("/w", screen.pair, methods=["POST"]),
        Route("/w/{code}", screen.page, name="wearer-screen"),
        Route("/w/{code}/state", screen.state),
        Route("/w/{code}/stream", screen.stream),
    ]


class _Screen:
    def __init__(self, deps: WearerDeps, beat_s: float) -> None:
        self.deps, self.beat_s = deps, beat_s
        self._figures = {method: _figures(method) for method in WAYS}

    # --- pages ---

    async def ask(self, request: Request) -> Response:
        """GET /w: asks for the code."""
        return self._code_page(request)

    async def pair(self, request: Request) -> Response:
        """POST /w: on to the screen, or the question again with what went wrong."""
        form = await request.form(max_files=0, max_fields=4)
        code = normal(str(form.get("code", "")))
        try:
            self._test(request, code)
        except SealwrightError as error:
            return self._code_page(request, error)
        return RedirectResponse(f"/w/{code}", status_code=303)

    async def page(self, request: Request) -> Response:
        """GET /w/{code}: the screen itself."""
        code = normal(request.path_params["code"])
        try:
            test = self._test(request, code)
        except SealwrightError as error:
            return self._code_page(request, error)
        told = await run_in_threadpool(self._told, test, request.query_params.get("lang"))
        say, method = words(told["language"]), await run_in_threadpool(self._method, test)
        html = self.deps.templates.get_template("wearer_screen.html").render(
            _=say, ngettext=say.count, language=say.language, direction=say.direction, state=told, code=code,
            labels=labels(say), figures=self._figures[method], languages=available_languages(),
            chosen=request.query_params.get("lang", ""))
        return HTMLResponse(html, headers={"Cache-Control": "no-store"})

    async def state(self, request: Request) -> Response:
        """GET /w/{code}/state: the screen's state as JSON."""
        try:
            test = self._test(request, normal(request.path_params["code"]))
        except SealwrightError as error:
            return JSONResponse(error.as_dict(), status_code=error.status, headers=_retry(error))
        told = await run_in_threadpool(self._told, test, request.query_params.get("lang"))
        return JSONResponse(told, headers={"Cache-Control": "no-store"})

    async def stream(self, request: Request) -> Response:
        """GET /w/{code}/stream: the state at once and after every event, beats between."""
        try:
            test = self._test(request, normal(request.path_params["code"]))
        except SealwrightError as error:
            return JSONResponse(error.as_dict(), status_code=error.status, headers=_retry(error))
        return StreamingResponse(self._news(test, request.query_params.get("lang")), media_type="text/event-stream",
                                 headers={"Cache-Control": "no-store", "X-Accel-Buffering": "no"})

    # --- what they share ---

    def _test(self, request: Request, code: str) -> str:
        test = self.deps.pairings.guess(code, request.client.host if request.client else "")
        if test is None:
            raise NotFound("that code is not open", place="code", mend="Read it off the tester's screen again")
        return test

    def _code_page(self, request: Request, error: SealwrightError | None = None) -> Response:
        asked = request.query_params.get("lang") or _accepted(request)
        say = words(asked)
        html = self.deps.templates.get_template("wearer_code.html").render(
            _=say, ngettext=say.count, language=say.language, direction=say.direction, languages=available_languages(),
            problem="" if error is None else "throttled" if isinstance(error, TooManyGuesses) else "unknown",
            minutes=GUESS_WINDOW_MS // 60_000)
        return HTMLResponse(html, status_code=error.status if error else 200, headers=_retry(error))

    def _method(self, test: str) -> MethodName:
        return self.deps.protocol_of(_protocol_id(self.deps.events_of(test))).method

    def _told(self, test: str, language: str | None) -> dict[str, Any]:
        """The state of a test's screen, in the language asked for or the wearer's own."""
        events = self.deps.events_of(test)
        protocol = self.deps.protocol_of(_protocol_id(events))
        level = level_of(events, protocol)
        try:
            score = None if level is None else compile_score(protocol, level)
        except BadInput:
            score = None  # A level the protocol does not have: the room says so, the wearer is not troubled.
        offset = self.deps.offset_of(test) or recorded_offset(events)  # A server just restarted knows none.
        state = screen_state(events, protocol, score, self.deps.now(), offset)
        if state.closed:
            self.deps.pairings.close(test)
        return present(state, words(language or self.deps.language_of(test) or SOURCE))

    async def _news(self, test: str, language: str | None) -> AsyncIterator[str]:
        last: dict[str, Any] = {}
        waiter = None
        try:
            while True:
                if waiter is None or waiter.done():
                    waiter = asyncio.ensure_future(self.deps.changed(test))
                    await asyncio.sleep(0)  # It listens before we look, so that nothing falls between.
                told = await run_in_threadpool(self._told, test, language)
                if _without_now(told) != _without_now(last):
                    yield _sse("state", told)
                else:
                    yield _sse("beat", {"server_now": told["server_now"]})
                last = told
                if told["closed"]:
                    return
                await asyncio.wait({waiter}, timeout=self.beat_s)
        finally:
            if waiter is not None:
                waiter.cancel()


def _figures(method: MethodName) -> dict[str, Markup]:
    """Every figure, dressed for a method: kind -> drawing."""
    return {kind: Markup(figure_svg(kind, **dress_of(method)._asdict())) for kind in KINDS}


def _sse(kind: str, data: dict[str, Any]) -> str:
    return f"retry: 2000\nevent: {kind}\ndata: {json.dumps(data, separators=(',', ':'), ensure_ascii=False)}\n\n"


def _without_now(told: dict[str, Any]) -> dict[str, Any]:
    return {k: v for k, v in told.items() if k != "server_now"}


def _retry(error: SealwrightError | None) -> dict[str, str]:
    wait = {"Retry-After": str(GUESS_WINDOW_MS // 1000)} if isinstance(error, TooManyGuesses) else {}
    return {"Cache-Control": "no-store", **wait}


def _protocol_id(events: Sequence[Event]) -> str:
    if not events:
        raise NotFound("this test has no events", place="test", mend="Open it in the room first")
    return str(events[0].data.protocol)


def _accepted(request: Request) -> str:
    """The first language of the browser that we have."""
    header = request.headers.get("accept-language", "")[:200]
    for tag in (part.split(";")[0].strip() for part in header.split(",")):
        if tag and (closest(tag) != SOURCE or tag.split("-")[0] == SOURCE):
            return tag
    return SOURCE
