"""The numbers of a quantitative test while it goes on, and the way in for an instrument's samples."""

from __future__ import annotations

import asyncio
import contextlib
from typing import Any

import msgspec
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from sealwright.assess.live import Running, live, running
from sealwright.errors import BadInput, SealwrightError, TooLarge
from sealwright.protocols import Protocol, compile_score, get
from sealwright.web.guard import NotJson
from sealwright.web.hub import Hub
from sealwright.web.samples import USUAL_STEP_MS, Kept, Sample, Samples, Way, read_lines, read_way

TYPES = ("application/jsonl", "application/x-ndjson", "application/json", "text/plain")
MOST_MESSAGE = 64_000
GATHER_S = 5.0
"""how long samples of a connection are gathered before they are put on record and acknowledged"""
MOST_GATHERED = 1000
MOST_A_SECOND, MOST_AT_ONCE = 200, 2000
WIDTH = 900


class LiveApi:
    """Endpoints of one test's numbers and samples."""

    def __init__(self, hub: Hub) -> None:
        self.hub, self.samples = hub, Samples(hub)

    def routes(self) -> list[Route | WebSocketRoute]:
        return [
            Route("/api/tests/{test}/live", self.live),
            Route("/api/tests/{test}/samples", self.take, methods=["POST"]),
            WebSocketRoute("/api/tests/{test}/stream", self.stream),
        ]

    async def live(self, request: Request) -> Response:
        """Factors so far, what the rest must reach, how many samples have come, and the picture of it."""
        body = await run_in_threadpool(self._live, request.path_params["test"])
        return Response(body, media_type="application/json")

    def _live(self, test: str) -> bytes:
        protocol = get(self.hub.ledger.test(test).protocol)
        events = self.hub.events_of(test)
        found = live(events, protocol)
        told: dict[str, Any] = {name: getattr(found, name) for name in found.__struct_fields__ if name != "numbers"}
        coming = running(events, protocol) if found.samples.count and found.remaining else None
        svg = coming_picture(coming, protocol, found.level) if coming else picture(found.numbers, found.level)
        return msgspec.json.encode({**told, "svg": svg, "now": self.hub.now()})

    async def take(self, request: Request) -> Response:
        """Body: JSON lines. Answer {kept, known, now}; the whole delivery is taken, or nothing of it."""
        if request.headers.get("content-type", "").split(";")[0] not in TYPES:
            raise NotJson("the body is not marked as JSON lines", place="Content-Type", mend="Send application/jsonl")
        way = read_way({**request.headers, **request.query_params})
        samples = await run_in_threadpool(read_lines, _text(await request.body()), way.unit)
        if not samples:
            raise BadInput("there is no sample", place="request body", mend="Send one JSON object a line")
        kept = await run_in_threadpool(self.samples.take, request.path_params["test"], samples, way)
        return Response(msgspec.json.encode(kept), media_type="application/json")

    async def stream(self, socket: WebSocket) -> None:
        """The same lines over a connection that stays. Each message is taken whole or refused; {kept, known, now} is
        said when its samples are on record, an error as elsewhere when they are not."""
        test = socket.path_params["test"]
        try:
            way = read_way(socket.query_params)
            await run_in_threadpool(self.hub.ledger.test, test)
        except SealwrightError as error:
            await socket.close(code=1008, reason=str(error)[:100])
            return
        await socket.accept()
        with contextlib.suppress(WebSocketDisconnect, RuntimeError):
            await _Line(socket, self.samples, test, way).run()


class _Line:
    """One connection: gathers samples for some seconds, puts them on record, acknowledges."""

    def __init__(self, socket: WebSocket, samples: Samples, test: str, way: Way) -> None:
        self.socket, self.samples, self.test, self.way = socket, samples, test, way
        self.held: list[Sample] = []
        self.since = self.heard = 0.0
        self.room = float(MOST_AT_ONCE)

    async def run(self) -> None:
        loop = asyncio.get_running_loop()
        try:
            while True:
                left = self.since + GATHER_S - loop.time() if self.held else None
                try:
                    text = await asyncio.wait_for(self.socket.receive_text(), left if left is None else max(left, 0.01))
                except TimeoutError:
                    await self.keep()
                    continue
                except KeyError:
                    await self.refuse(BadInput("a message that is no text", place="message", mend="Send JSON lines"))
                    continue
                await self.hear(text, loop.time())
        finally:
            if self.held:
                with contextlib.suppress(SealwrightError):
                    await run_in_threadpool(self.samples.take, self.test, self.held, self.way)

    async def hear(self, text: str, now: float) -> None:
        """A message: its samples join those that are held, or none of them does."""
        try:
            if len(text) > MOST_MESSAGE:
                raise TooLarge(f"{len(text)} characters in one message", place="message",
                               mend=f"Send at most {MOST_MESSAGE}")
            fresh = await run_in_threadpool(read_lines, text, self.way.unit)
            self._bounded(len(fresh), now)
        except SealwrightError as error:
            await self.refuse(error)
            return
        hub, step = self.samples.hub, self.way.step_ms or USUAL_STEP_MS
        self.since = self.since if self.held else now
        self.held += _stamped(fresh, hub.now() + hub.offset_of(self.test), step)
        if now - self.since >= GATHER_S or len(self.held) >= MOST_GATHERED or not fresh:
            await self.keep()

    def _bounded(self, n: int, now: float) -> None:
        """Lets MOST_AT_ONCE through, and MOST_A_SECOND for each second that has gone by."""
        self.room = min(MOST_AT_ONCE, self.room + MOST_A_SECOND * (now - self.heard))
        self.heard = now
        if n > self.room:
            raise TooLarge("too many samples a second", place="message",
                           mend=f"Send at most {MOST_A_SECOND} a second; a recorded test goes to the other address")
        self.room -= n

    async def keep(self) -> None:
        """An empty message asks for this at once."""
        held, self.held = self.held, []
        try:
            kept = (await run_in_threadpool(self.samples.take, self.test, held, self.way) if held
                    else Kept(kept=0, known=0, now=self.samples.hub.now()))
        except SealwrightError as error:
            await self.refuse(error)
            return
        await self.socket.send_text(msgspec.json.encode(kept).decode())

    async def refuse(self, error: SealwrightError) -> None:
        await self.socket.send_text(msgspec.json.encode(error.as_dict()).decode())


def _stamped(samples: list[Sample], now: int, step: int) -> list[Sample]:
    """Samples without a time came one step apart, the last of each air now."""
    later: dict[str, int] = {}
    found: list[Sample] = []
    for s in reversed(samples):
        if s.at is None and s.since is None:
            later[s.air] = later.get(s.air, -1) + 1
            s = msgspec.structs.replace(s, at=now - later[s.air] * step)
        found.append(s)
    return found[::-1]


def _text(body: bytes) -> str:
    try:
        return body.decode("utf-8")
    except UnicodeDecodeError as error:
        raise BadInput("the body is not UTF-8", place="request body", mend="Send JSON lines in UTF-8") from error


def coming_picture(coming: Running, protocol: Protocol, level: int | None) -> str:
    """The running factor against time, log axis, over the exercises."""
    from sealwright.pictures.trace import live_svg

    stages = [(a.title, float(a.at), float(a.at + a.lasts)) for a in compile_score(protocol).of("exercise")]
    return live_svg(coming.times, coming.factors, stages, level, WIDTH)


def picture(numbers: Any, level: int | None) -> str:
    """The factors against the pass level as SVG; empty while there are none."""
    if numbers is None or level is None:
        return ""
    from sealwright.pictures.trace import factor_svg

    return factor_svg(numbers, title="Fit factors so far", width=WIDTH, pass_level=level, standalone=False)
