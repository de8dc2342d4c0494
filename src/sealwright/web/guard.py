"""At the door: body size, same origin, security headers, and one shape of error for page and API."""

from __future__ import annotations

import json
import re
from ipaddress import ip_address
from typing import Any

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from sealwright.errors import BadInput, SealwrightError, TooLarge

MAX_BODY = 1_000_000
LARGER = {"/traces": 200_000_000}
"""paths that take files"""
HALF_PAIR = re.compile(rb"\\u[dD][89a-fA-F]")
"""An escape that may be half of a surrogate pair; alone it is no text (RFC 7493, section 2.1)."""
HEADERS = {
    "Content-Security-Policy": "default-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
                               "frame-ancestors 'none'; form-action 'self'; base-uri 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
    "Cross-Origin-Opener-Policy": "same-origin",
}


class Foreign(SealwrightError):
    """A request that another site or a foreign name brought here."""

    code, status = "foreign", 403


class NotJson(BadInput):
    """The body is not marked as what is taken here."""

    status = 415


def _too_large() -> TooLarge:
    return TooLarge(f"the body is over {MAX_BODY // 1000} kB", place="request body",
                    mend="Send fewer events at a time; a room sends at most 50")


class Guard:
    """ASGI middleware. Refuses foreign hosts, foreign origins on unsafe methods and on connections that stay, and
    bodies over MAX_BODY unread.

    `hosts`: names this server goes by, beside any IP number; None: all.
    """

    def __init__(self, app: ASGIApp, hosts: frozenset[str] | None = None) -> None:
        self.app, self.hosts = app, hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        refused = self._refuse(scope)
        if scope["type"] == "websocket":
            if refused is not None:
                await send({"type": "websocket.close", "code": 1008, "reason": refused.found})
                return
            await self.app(scope, receive, send)
            return
        if refused is not None:
            await problem(refused, wants_json=True)(scope, receive, self._with_headers(send))
            return
        await self.app(scope, _counted(receive, most_for(scope)), self._with_headers(send))

    def _refuse(self, scope: Scope) -> SealwrightError | None:
        headers = Headers(scope=scope)
        if not self._ours(headers.get("host", "")):
            return Foreign("this server does not go by that name", place="Host header", code="foreign-host",
                           mend="Use this machine's name or number, or start the server with --host NAME")
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > most_for(scope):
            return _too_large()
        origin = headers.get("origin")
        foreign = origin and origin.split("://")[-1] != headers.get("host", "")
        if scope.get("method") not in ("GET", "HEAD", "OPTIONS") and foreign:
            return Foreign("this request comes from another site", place="Origin header",
                           mend="Open Sealwright at its own address", code="foreign-origin")
        return None

    def _ours(self, host: str) -> bool:
        """A number, or one of our names: a foreign name that points here is another site reaching in."""
        name = host.rsplit(":", 1)[0].strip("[]").lower() if not host.endswith("]") else host.strip("[]")
        if self.hosts is None or name in self.hosts:
            return True
        try:
            ip_address(name)
        except ValueError:
            return False
        return True

    @staticmethod
    def _with_headers(send: Send) -> Send:
        async def wrapped(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        return wrapped


def most_for(scope: Scope) -> int:
    """How many bytes a request to this path may bring."""
    return LARGER.get(scope["path"], MAX_BODY)


def _counted(receive: Receive, most: int) -> Receive:
    """Counts a body that came without a length."""
    seen = 0

    async def counted() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > most:
            raise _too_large()
        return message

    return counted


def problem(error: SealwrightError, *, wants_json: bool, render: Any = None) -> Response:
    """The answer that carries an error: JSON for the API, a page for people."""
    if wants_json or render is None:
        return JSONResponse(error.as_dict(), status_code=error.status)
    return HTMLResponse(render(error), status_code=error.status)


async def read_json(request: Request) -> Any:
    """The request's JSON object. Raises BadInput for another content type, encoding or form."""
    if request.headers.get("content-type", "").split(";")[0] != "application/json":
        raise NotJson("the body is not marked as JSON", place="Content-Type", mend="Send application/json")
    body = await request.body()
    try:
        value = json.loads(body.decode("utf-8"))
        if HALF_PAIR.search(body):
            json.dumps(value, ensure_ascii=False).encode("utf-8")
    except (ValueError, RecursionError) as error:
        raise BadInput(f"the body is not JSON: {error}", place="request body", mend="Send one JSON object") from error
    if not isinstance(value, dict):
        raise BadInput("the body is not an object", place="request body", mend="Send one JSON object")
    return value
