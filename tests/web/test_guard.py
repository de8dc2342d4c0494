"""At the door: other sites, foreign names, and the headers on everything that leaves."""

from __future__ import annotations

import asyncio

import httpx
import pytest
from starlette.routing import Route

from sealwright.web.app import make_app

pytestmark = pytest.mark.xdist_group("web-api")


@pytest.fixture
def client(server):
    with httpx.Client(base_url=server.url) as made:
        yield made


@pytest.mark.parametrize("origin", ["https://elsewhere.example", "http://127.0.0.1:1", "null",
                                    "http://127.0.0.1.elsewhere.example"])
@pytest.mark.parametrize("address", ["/api/events", "/api/marks", "/w", "/wearers"])
def test_another_site_cannot_write(client, server, origin, address):
    before = server.ledger.count(), server.ledger.heads(), len(server.ledger.wearers())
    answer = client.post(address, json={}, headers={"Origin": origin})
    assert answer.status_code == 403
    assert answer.json()["error"] == "foreign-origin"
    assert (server.ledger.count(), server.ledger.heads(), len(server.ledger.wearers())) == before


def test_our_own_page_can_write(client, server):
    answer = client.post("/api/events", json={}, headers={"Origin": server.url})
    assert answer.status_code == 422  # past the door, and then refused for what is in it


# What each promises: Content-Security-Policy (W3C CSP3), the rest (WHATWG Fetch and HTML, W3C Referrer Policy).
@pytest.mark.parametrize("address", ["/", "/room", "/w", "/w/NOSUCH", "/worker.js", "/api/pack", "/api/now", "/nowhere",
                                     "/tests/nobody", "/type/Regular", "/type/none", "/favicon.ico", "/static/x/y.js"])
def test_the_headers_are_on_everything(client, address):
    headers = client.get(address).headers
    policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
    assert policy["default-src"] == "'self'"
    assert "script-src" not in policy  # so scripts fall under default-src: our own files, nothing inline
    assert policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["cross-origin-opener-policy"] == "same-origin"
    assert "cache-control" in headers


def test_a_failure_inside_is_said_in_the_one_shape_and_shows_nothing_of_it(demo_ledger):
    app = make_app(demo_ledger, org_name="The Yard")

    async def fails(request):
        raise RuntimeError("secret inside")

    app.router.routes.insert(0, Route("/api/fails", fails))

    async def ask():
        transport = httpx.ASGITransport(app=app, raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
            return await client.get("/api/fails")

    answer = asyncio.run(ask())
    assert answer.status_code == 500
    assert answer.json()["error"] == "server-error"
    assert "secret" not in answer.text
