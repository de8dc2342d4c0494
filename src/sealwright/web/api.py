"""The JSON API of the live room."""

from __future__ import annotations

import secrets
from typing import Any

import msgspec
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from sealwright.assess import judge
from sealwright.errors import BadInput, Conflict
from sealwright.protocols import equipment
from sealwright.web import pack, words
from sealwright.web.assets import BUILD
from sealwright.web.guard import read_json
from sealwright.web.hub import Hub
from sealwright.web.pairing import Pairings
from sealwright.web.wearer_sentences import spoken

BOOT = secrets.token_hex(8)
"""Tells one run of the server from the next: steady clocks of two runs do not compare."""
MAX_EVENTS = 200


def json_of(value: Any) -> Response:
    return Response(msgspec.json.encode(value), media_type="application/json")


class Api:
    """Endpoints for rooms. Every answer carries the server's clock, so that a room can see its own drift."""

    def __init__(self, hub: Hub, pairings: Pairings, org_name: str) -> None:
        self.hub, self.pairings, self.org_name = hub, pairings, org_name

    def _steady(self) -> dict[str, Any]:
        return {"steady": self.hub.steady(), "boot": BOOT}

    def routes(self) -> list[Route]:
        return [
            Route("/api/events", self.take_events, methods=["POST"]),
            Route("/api/marks", self.take_mark, methods=["POST"]),
            Route("/api/pack", self.pack),
            Route("/api/now", self.now),
            Route("/room/figures", self.figures),
            Route("/api/tests/{test}", self.test),
            Route("/api/tests/{test}/code", self.code),
        ]

    async def take_events(self, request: Request) -> Response:
        """Body {page, sent_at, events: [{stream, id, kind, at, by, data}]}; all or nothing; known ids are harmless."""
        body = await read_json(request)
        if body.get("page") not in (None, BUILD):
            raise Conflict("this page was made by another version of Sealwright", place="page", code="stale-page",
                           mend="Reload the page; what it has recorded is kept and sent then")
        events, sent_at = body.get("events"), body.get("sent_at")
        if not isinstance(events, list) or not 1 <= len(events) <= MAX_EVENTS:
            raise BadInput(f"`events` must be a list of 1 to {MAX_EVENTS}", place="events", mend="Send them in parts")
        if not isinstance(sent_at, int) or isinstance(sent_at, bool):
            raise BadInput("`sent_at` must be the room's clock in whole ms", place="sent_at", mend="Send a number")
        receipts = await run_in_threadpool(self.hub.ledger.append, events)
        tests = {r.stream[5:] for r in receipts if r.stream.startswith("test:")}
        now = self.hub.now()
        self.hub.heard(tests, sent_at - now)
        return json_of({"receipts": receipts, "now": now})

    async def take_mark(self, request: Request) -> Response:
        """A signature: {mark, person, role, path}. The drawing is a personal detail and stays out of the events."""
        body = await read_json(request)
        fields = [body.get(k) for k in ("mark", "person", "path")]
        if not all(isinstance(f, str) and f for f in fields):
            raise BadInput("a signature needs mark, person and path", place="mark", mend="Draw it again")
        role = "tester" if body.get("role") == "tester" else "wearer"
        sha256 = await run_in_threadpool(self.hub.ledger.put_mark, *fields, role=role)
        return json_of({"sha256": sha256, "now": self.hub.now()})

    async def now(self, request: Request) -> Response:
        return JSONResponse({"now": self.hub.now(), "build": BUILD, **self._steady()})

    async def pack(self, request: Request) -> Response:
        """Everything a room needs to go on alone: protocols, scores, wearers, facepieces, testers, lots, words."""
        return json_of(await run_in_threadpool(self._pack))

    def _pack(self) -> dict[str, Any]:
        ledger = self.hub.ledger
        return {
            "build": BUILD, "now": self.hub.now(), **self._steady(), "org": self.org_name,
            "protocols": pack.protocols(), "rules": pack.rules(), "site_levels": self.hub.site_levels(),
            "wearers": [{"id": w.id, "name": w.name, "language": w.language} for w in ledger.wearers()],
            "facepieces": ledger.facepieces(),
            "last": {t.wearer: t.facepiece.id for t in reversed(ledger.tests(limit=5000))}, "testers": ledger.testers(),
            "lots": ledger.lots(), "spoken": {lang: spoken(lang) for lang in words.available_languages()},
            "equipment": equipment(),
            "open": [{"id": t.id, "wearer": t.wearer} for t in ledger.tests(open_only=True, limit=1000)],
            "languages": words.available_languages(),
        }

    async def figures(self, request: Request) -> Response:
        """The drawn figures of exercises and of what the wearer does, by name."""
        return json_of(pack.figures())

    async def test(self, request: Request) -> Response:
        """A test's events and its verdict so far, judged by `assess` from what has arrived."""
        test = request.path_params["test"]
        row = await run_in_threadpool(self.hub.ledger.test, test)
        stored, events = await run_in_threadpool(self.hub.told_of, test)
        return json_of({"test": row, "verdict": judge(events), "now": self.hub.now(),
                        "events": [{"stream": e.stream, "id": e.id, "kind": e.kind, "at": e.at, "by": e.by,
                                    "data": e.data} for e in stored]})

    async def code(self, request: Request) -> Response:
        """The short code that pairs a wearer's screen with this test."""
        test = request.path_params["test"]
        await run_in_threadpool(self.hub.ledger.test, test)
        return JSONResponse({"code": self.pairings.code_for(test), "address": str(request.url_for("wearer-code"))})
