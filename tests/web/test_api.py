"""Bad input at the room's API: one clear error each, the right status, and nothing changed in the ledger."""

from __future__ import annotations

import copy
import json
import socket
import time

import httpx
import pytest

from sealwright.demo.player import play
from sealwright.protocols import get
from sealwright.web.assets import BUILD

pytestmark = pytest.mark.xdist_group("web-api")
MB = 1_000_000


@pytest.fixture
def client(server):
    with httpx.Client(base_url=server.url) as made:
        yield made


def played(test="t-api", **options):
    piece = {"id": "marl-m", "make": "Pellitory Works", "model": "Little Marl", "material": "rubber", "size": "M",
             "kind": "half", "own": False}
    return play(get("us-bitter"), test_id=test, wearer="gr-w01", facepiece=piece, tester="gr-ft1",
                start_at=1_790_000_000_000, **options)


def bent(place, value):
    """The opening of a test with one thing changed, as the body of a request."""
    event = copy.deepcopy(played()[0])
    *path, last = place.split(".")
    target = event
    for step in path:
        target = target[step]
    if value is None:
        del target[last]
    else:
        target[last] = value
    return {"sent_at": 1, "events": [event]}


def state(ledger):
    return ledger.count(), ledger.heads()


def assert_one_clear_error(answer, status, code):
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/json"
    error = answer.json()
    assert set(error) == {"error", "found", "place", "mend"}
    assert error["error"] == code
    assert error["found"] and error["place"]
    return error


DEEP = '{"a":' * 5000 + "1" + "}" * 5000
BAD_EVENTS = {
    "unknown kind": (bent("kind", "flew-away"), "events[0].kind"),
    "unknown stream type": (bent("stream", "balloon:1"), "events[0].stream"),
    "stream without an id": (bent("stream", "test:"), "events[0].stream"),
    "at as text": (bent("at", "noon"), "events[0].at"),
    "at as a fraction": (bent("at", 1.5), "events[0].at"),
    "at before 1970": (bent("at", -1), "events[0].at"),
    "data as a list": (bent("data", []), "events[0].data"),
    "facepiece without a size": (bent("data.facepiece.size", None), "events[0].data.facepiece.size"),
    "facepiece with an empty size": (bent("data.facepiece.size", ""), "events[0].data.facepiece.size"),
    "facepiece of no kind": (bent("data.facepiece.kind", "beard"), "events[0].data.facepiece.kind"),
    "own as text": (bent("data.facepiece.own", "yes"), "events[0].data.facepiece.own"),
    "no tester": (bent("data.tester", None), "events[0].data.tester"),
    "a field too many": (bent("data.mood", "good"), "events[0].data.mood"),
    "no id": (bent("id", None), "events[0].id"),
    "an id with a blank": (bent("id", "a b"), "events[0].id"),
    "a name too long": (bent("data.facepiece.make", "x" * 121), "events[0].data.facepiece.make"),
    "an event that is no object": ({"sent_at": 1, "events": [7]}, "events[0]"),
    "no events": ({"sent_at": 1, "events": []}, "events"),
    "events missing": ({"sent_at": 1}, "events"),
    "events as text": ({"sent_at": 1, "events": "all"}, "events"),
    "too many events": ({"sent_at": 1, "events": [{}] * 201}, "events"),
    "sent_at missing": ({"events": played()[:1]}, "sent_at"),
    "sent_at as truth": ({"sent_at": True, "events": played()[:1]}, "sent_at"),
}


@pytest.mark.parametrize("body, place", BAD_EVENTS.values(), ids=BAD_EVENTS)
def test_a_bad_event_is_refused_with_its_place(client, server, body, place):
    before = state(server.ledger)
    error = assert_one_clear_error(client.post("/api/events", json=body), 422, "bad-input")
    assert error["place"] == place
    assert state(server.ledger) == before


BAD_BODIES = {
    "not JSON": (b"sealed", "application/json", 422),
    "cut off": (b'{"sent_at": 1, "events": [', "application/json", 422),
    "a list": (b"[]", "application/json", 422),
    "empty": (b"", "application/json", 422),
    "deep": (DEEP.encode(), "application/json", 422),
    "Latin-1": ('{"sent_at": 1, "events": "é"}'.encode("latin-1"), "application/json", 422),
    "UTF-16": ('{"sent_at": 1, "events": []}'.encode("utf-16"), "application/json", 422),
    "marked as text": (b'{"sent_at": 1, "events": []}', "text/plain", 415),
    "marked as a form": (b"sent_at=1", "application/x-www-form-urlencoded", 415),
    "NaN for sent_at": (b'{"sent_at": NaN, "events": [{}]}', "application/json", 422),
    "a lone surrogate for a kind": (json.dumps(bent("kind", "\ud800")).encode(), "application/json", 422),
    "a lone surrogate in a make": (json.dumps(bent("data.facepiece.make", "\ud800")).encode(), "application/json", 422),
    "a lone surrogate for an id": (json.dumps(bent("id", "\udfff")).encode(), "application/json", 422),
    "a lone surrogate for a field's name": (json.dumps(bent("data.\ud800", 1)).encode(), "application/json", 422),
    "infinite at": (json.dumps(bent("at", float("inf"))).encode(), "application/json", 422),
    "an endless number": (b'{"sent_at": 1' + b"0" * 5000 + b', "events": [{}]}', "application/json", 422),
}


@pytest.mark.parametrize("body, kind, status", BAD_BODIES.values(), ids=BAD_BODIES)
def test_a_bad_body_is_refused(client, server, body, kind, status):
    before = state(server.ledger)
    answer = client.post("/api/events", content=body, headers={"Content-Type": kind})
    assert_one_clear_error(answer, status, "bad-input")
    assert state(server.ledger) == before


def test_one_bad_event_among_good_ones_takes_them_all_back(client, server):
    events = played()
    events[7] = {**events[7], "kind": "flew-away"}
    before = state(server.ledger)
    error = assert_one_clear_error(client.post("/api/events", json={"sent_at": 1, "events": events}), 422, "bad-input")
    assert error["place"] == "events[7].kind"
    assert state(server.ledger) == before


def test_nothing_is_added_to_a_closed_test(client, server):
    events = played()
    assert client.post("/api/events", json={"sent_at": 1, "events": events}).status_code == 200
    before = state(server.ledger)
    late = {**events[-2], "id": "too-late"}
    assert_one_clear_error(client.post("/api/events", json={"sent_at": 1, "events": [late]}), 409, "closed")
    assert state(server.ledger) == before


def test_an_event_of_a_test_that_was_never_opened_is_refused(client, server):
    before = state(server.ledger)
    answer = client.post("/api/events", json={"sent_at": 1, "events": played()[1:2]})
    assert_one_clear_error(answer, 409, "unopened")
    assert state(server.ledger) == before


def test_the_same_id_with_other_content_is_refused(client, server):
    events = played()[:2]
    client.post("/api/events", json={"sent_at": 1, "events": events})
    before = state(server.ledger)
    other = {**events[1], "at": events[1]["at"] + 1}
    assert_one_clear_error(client.post("/api/events", json={"sent_at": 1, "events": [other]}), 409, "id-taken")
    assert state(server.ledger) == before


def test_the_same_events_again_are_known_and_not_doubled(client, server):
    body = {"sent_at": 1, "events": played()}
    first = client.post("/api/events", json=body).json()["receipts"]
    before = state(server.ledger)
    again = client.post("/api/events", json=body).json()["receipts"]
    assert state(server.ledger) == before
    assert [r["known"] for r in again] == [True] * len(again)
    assert [(r["id"], r["n"], r["hash"]) for r in again] == [(r["id"], r["n"], r["hash"]) for r in first]


def test_a_page_of_another_build_is_told_to_reload(client, server):
    before = state(server.ledger)
    body = {"page": "0" * 12, "sent_at": 1, "events": played()[:1]}
    assert_one_clear_error(client.post("/api/events", json=body), 409, "stale-page")
    assert state(server.ledger) == before
    assert client.post("/api/events", json={**body, "page": BUILD}).status_code == 200


def test_times_that_run_backwards_are_kept_and_found(client):
    events = played()
    events[3] = {**events[3], "at": events[3]["at"] - 3_600_000}
    assert client.post("/api/events", json={"sent_at": 1, "events": events}).status_code == 200
    answer = client.get("/api/tests/t-api").json()
    assert [e["id"] for e in answer["events"]] == [e["id"] for e in events]
    found = {f["code"]: f["severity"] for f in answer["verdict"]["findings"]}
    assert found["times-backwards"] == "major"


def test_a_body_of_fifty_megabytes_is_refused_unread(client, server):
    before = state(server.ledger)
    with socket.create_connection(("127.0.0.1", server.port), timeout=10) as raw:
        raw.sendall(f"POST /api/events HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nContent-Type: application/json\r\n"
                    f"Content-Length: {50 * MB}\r\n\r\n".encode())
        head = b""
        while b"too-large" not in head and (more := raw.recv(65536)):  # not one byte of the body was sent
            head += more
    assert head.startswith(b"HTTP/1.1 413 ")
    assert b'"error":"too-large"' in head
    assert state(server.ledger) == before


def test_a_body_without_a_length_is_read_only_so_far(server):
    """Fifty megabytes in chunks: the answer, or the end of the line, comes long before the last."""
    before = state(server.ledger)
    sent, answer, chunk = 0, b"", b"x" * 65536
    with socket.create_connection(("127.0.0.1", server.port), timeout=10) as raw:
        raw.sendall(f"POST /api/events HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nContent-Type: application/json\r\n"
                    "Transfer-Encoding: chunked\r\n\r\n".encode())
        raw.setblocking(False)
        until = time.monotonic() + 20
        pending = b""
        while sent < 50 * MB and not answer and time.monotonic() < until:
            try:
                pending = pending or b"10000\r\n" + chunk + b"\r\n"
                done = raw.send(pending)
                sent, pending = sent + done, pending[done:]
            except BlockingIOError:
                time.sleep(0.001)
            except ConnectionError:
                break
            try:
                answer = raw.recv(65536)
            except BlockingIOError:
                continue
            except ConnectionError:
                break
    assert answer.startswith(b"HTTP/1.1 413 ")
    assert sent < 20 * MB
    assert state(server.ledger) == before


@pytest.mark.parametrize("body", [{}, {"mark": "m-1", "person": "gr-w01", "path": ""},
                                  {"mark": "m-1", "person": "gr-w01", "path": 7},
                                  {"mark": "a b", "person": "gr-w01", "path": "M 0 0 L 1 1"},
                                  {"mark": "m-1", "person": "gr-w01", "path": "<script>alert(1)</script>"}])
def test_a_bad_signature_is_refused(client, server, body):
    answer = client.post("/api/marks", json=body)
    assert_one_clear_error(answer, 422, "bad-input")
    assert server.ledger.mark("m-1") is None


@pytest.mark.parametrize("address", ["/api/tests/nobody", "/api/tests/nobody/code", "/api/nothing"])
def test_what_is_not_there_is_a_404(client, address):
    assert_one_clear_error(client.get(address), 404, "not-found")


def test_a_method_that_is_not_taken_is_a_405(client):
    assert client.get("/api/events").status_code == 405
    assert client.delete("/api/pack").status_code == 405
