"""Samples of an instrument sent to a test, and its numbers so far: each sample once, bad lines refused whole."""

from __future__ import annotations

import asyncio
import contextlib
import json

import httpx
import pytest
import websockets
from websockets.exceptions import WebSocketException

from sealwright.web.app import make_app
from sealwright.web.samples import Way, read_lines

pytestmark = pytest.mark.xdist_group("web-api")

T0 = 1_790_000_000_000
HALF = {"id": "marl-m", "make": "Pellitory Works", "model": "Little Marl", "material": "rubber", "size": "M",
        "kind": "half", "own": False}


def event(kind, at, n, **data):
    return {"stream": "test:t-count", "id": f"e-{n}", "kind": kind, "at": at, "by": "gr-ft1", "data": data}


def begin(ledger, protocol="us-counting", run=True):
    ledger.append([event("opened", T0 - 60_000, 0, protocol=protocol, protocol_version="1", wearer="gr-w01",
                         facepiece=HALF, tester={"id": "gr-ft1"}),
                   event("instrument-named", T0 - 50_000, 1, instrument="Counter 2", due_at=T0 * 2)])
    if run:
        ledger.append([event("run-started", T0, 2), event("exercise-started", T0, 3, exercise="normal-1")])


@pytest.fixture
def client(server):
    begin(server.ledger)
    with httpx.Client(base_url=server.url) as made:
        yield made


def send(client, *lines, content_type="application/jsonl", **params):
    body = "\n".join(line if isinstance(line, str) else json.dumps(line) for line in lines)
    return client.post("/api/tests/t-count/samples", content=body, params=params,
                       headers={"Content-Type": content_type})


def taken(server):
    return [e for e in server.ledger.events("test:t-count") if e.kind == "samples-taken"]


def values(server, air):
    return [v for e in taken(server) if e.data["air"] == air for v in e.data["values"]]


def seconds(first, last, mask=3, ambient=400):
    return [{"t": T0 / 1000 + n, "mask": mask, "ambient": ambient} for n in range(first, last + 1)]


def test_two_airs_become_two_stretches_of_whole_numbers(client, server):
    answer = send(client, *seconds(1, 8))
    assert answer.status_code == 200, answer.text
    assert (answer.json()["kept"], answer.json()["known"]) == (16, 0)
    assert [(e.data["air"], e.data["started_at"], e.data["step_ms"], e.data["unit"], e.data["values"], e.at)
            for e in taken(server)] == [("mask", T0, 1000, "count", [3] * 8, T0 + 8000),
                                        ("ambient", T0, 1000, "count", [400] * 8, T0 + 8000)]


def test_delivered_twice_or_overlapping_is_once(client, server):
    send(client, *seconds(1, 20))
    again = send(client, *seconds(1, 20)).json()
    assert (again["kept"], again["known"]) == (0, 40)
    more = send(client, *seconds(15, 25)).json()
    assert (more["kept"], more["known"]) == (10, 12)
    assert len(values(server, "mask")) == len(values(server, "ambient")) == 25


def test_after_a_restart_of_the_server_what_is_on_record_is_known(client, server):
    send(client, *seconds(1, 20))
    server.stop()
    server.start()
    with httpx.Client(base_url=server.url) as fresh:
        again = send(fresh, *seconds(11, 30)).json()
        assert (again["kept"], again["known"]) == (20, 20)
        assert send(fresh, *seconds(1, 30)).json()["kept"] == 0


def test_a_clock_that_jitters_and_drifts_loses_no_sample(client, server):
    """Times off by up to 0.3 s, the instrument's second 1 % short: every sample once, times rising in each air."""
    lines = [{"t": T0 / 1000 + n * 0.99 + (0.3, -0.3, 0.0)[n % 3], "value": n, "air": "mask"} for n in range(1, 301)]
    for part in range(0, 300, 7):
        send(client, *lines[part:part + 7])
    for part in range(0, 300, 11):
        send(client, *lines[part:part + 11])
    assert values(server, "mask") == list(range(1, 301))
    ends = [e.data["started_at"] + 1000 * k for e in taken(server) for k in range(1, len(e.data["values"]) + 1)]
    assert ends == sorted(set(ends))


def test_times_in_all_their_forms_are_one_instant(client, server):
    iso = "2026-09-21T14:13:25Z"  # T0 + 5 s: 1 790 000 000 s since 1970
    for t in (T0 + 5000, (T0 + 5000) / 1000, 5.0, 5, iso):
        send(client, {"t": t, "mask": 1, "ambient": 2})
    assert [(e.data["air"], e.at) for e in taken(server)] == [("mask", T0 + 5000), ("ambient", T0 + 5000)]


def test_a_line_without_a_time_ends_now_by_the_clock_of_the_record(client, server):
    before = server.clock()
    send(client, *[{"value": 7, "air": "mask"}] * 3)
    (made,) = taken(server)
    assert made.data["values"] == [7, 7, 7]
    assert before <= made.at <= server.clock()


def test_concentrations_are_kept_in_thousandths(client, server):
    send(client, {"t": 1, "value": 12.345, "air": "mask"}, {"t": 2, "value": 12, "air": "mask"}, unit="per-cm3")
    assert [(e.data["unit"], e.data["values"]) for e in taken(server)] == [("milli-per-cm3", [12_345, 12_000])]


def test_the_flow_in_the_address_joins_the_instrument_named_before(client, server):
    send(client, *seconds(1, 3), flow_cm3_min="100")
    send(client, *seconds(4, 6), flow_cm3_min="100")
    named = [e.data for e in server.ledger.events("test:t-count") if e.kind == "instrument-named"]
    assert len(named) == 2
    assert named[-1] == {"instrument": "Counter 2", "due_at": T0 * 2, "flow_mm3_s": 1667}


GOOD = {"t": 1, "mask": 3, "ambient": 400}
BAD = {
    "no json": ("{t: 1}", "line 2"), "a list": ("[1, 2]", "line 2"), "half a line": ('{"t": 1, "mas', "line 2"),
    "no value": ({"t": 2}, "line 2"), "no air": ({"t": 2, "value": 3}, "line 2"),
    "an air of none": ({"t": 2, "value": 3, "air": "hood"}, "line 2"),
    "below zero": ({"t": 2, "mask": -1, "ambient": 3}, "line 2"),
    "truth": ({"t": 2, "mask": True, "ambient": 3}, "line 2"),
    "not a number": ('{"t": 2, "mask": NaN, "ambient": 3}', "line 2"),
    "endless": ('{"t": 2, "mask": Infinity, "ambient": 3}', "line 2"),
    "half a count": ({"t": 2, "mask": 1.5, "ambient": 3}, "line 2"),
    "too many": ({"t": 2, "mask": 10**10, "ambient": 3}, "line 2"),
    "a time without a zone": ({"t": "2026-09-21T14:13:25", "mask": 1, "ambient": 2}, "line 2"),
    "no time at all": ({"t": "noon", "mask": 1, "ambient": 2}, "line 2"),
    "long before": ({"t": -7200, "mask": 1, "ambient": 2}, "line 2"),
    "the year 5000": ({"t": 10**14, "mask": 1, "ambient": 2}, "line 2"),
    "a long line": ('{"t": 2, "mask": 1, "ambient": 2, "x": "' + "y" * 3000 + '"}', "line 2"),
}


@pytest.mark.parametrize("line, place", BAD.values(), ids=BAD)
def test_one_bad_line_refuses_the_whole_delivery_by_its_number(client, server, line, place):
    answer = send(client, GOOD, line, {"t": 3, "mask": 1, "ambient": 2})
    assert answer.status_code == 422, answer.text
    error = answer.json()
    assert error["place"] == place
    assert error["found"] and error["mend"]
    assert taken(server) == []


@pytest.mark.parametrize("params, place", [({"unit": "drops"}, "unit"), ({"step_ms": "1"}, "step_ms"),
                                           ({"step_ms": "nan"}, "step_ms"), ({"flow_cm3_min": "-5"}, "flow_cm3_min"),
                                           ({"source": "x" * 200}, "source")])
def test_a_wrong_address_names_its_part(client, server, params, place):
    answer = send(client, GOOD, **params)
    assert (answer.status_code, answer.json()["place"]) == (422, place)
    assert taken(server) == []


def test_other_refusals(client, server):
    assert send(client, GOOD, content_type="image/png").status_code == 415
    assert send(client, "").status_code == 422
    assert send(client, *[GOOD] * 5001).status_code == 413
    assert client.post("/api/tests/t-none/samples", content=json.dumps(GOOD),
                       headers={"Content-Type": "application/jsonl"}).status_code == 404
    assert client.post("/api/tests/t-count/samples", content=json.dumps(GOOD),
                       headers={"Content-Type": "application/jsonl", "Origin": "https://else.test"}).status_code == 403
    assert send(client, b"\xff".decode("latin-1")).status_code == 422
    assert taken(server) == []


def test_one_test_keeps_one_unit_and_one_step(client, server):
    send(client, *seconds(1, 3))
    other = send(client, {"t": 9, "mask": 1, "ambient": 2}, unit="per-cm3")
    assert (other.status_code, other.json()["place"]) == (409, "unit")
    faster = send(client, {"t": 9, "mask": 1, "ambient": 2}, step_ms="100")
    assert (faster.status_code, faster.json()["place"]) == (409, "step_ms")
    assert len(values(server, "mask")) == 3


def test_before_the_exercises_only_instants_are_taken(server):
    begin(server.ledger, run=False)
    with httpx.Client(base_url=server.url) as client:
        assert send(client, {"t": 3, "mask": 1, "ambient": 2}).status_code == 422
        assert send(client, {"t": T0, "mask": 1, "ambient": 2}).status_code == 200


def test_a_closed_test_takes_nothing(client, server):
    server.ledger.append([event("closed", T0 + 1000, 9)])
    assert send(client, GOOD).status_code == 409


def test_the_numbers_so_far_say_what_the_rest_must_reach(client, server):
    """Two of seven exercises that count at 200: (7 - 2) / (7/100 - 2/200) is what the rest must reach."""
    server.ledger.append([event("exercise-read", T0 + n, f"r{n}", exercise=x, factor_milli=200_000)
                          for n, x in enumerate(("normal-1", "deep"))])
    found = client.get("/api/tests/t-count/live").json()
    assert (found["level"], found["rule"], found["outlook"]["certain"]) == (100, "overall", "")
    assert found["outlook"]["needed"] == pytest.approx(5 / (7 / 100 - 2 / 200))
    assert [f["factor"] for f in found["factors"]] == [200, 200]
    assert found["overall"]["factor"] == pytest.approx(200)
    server.ledger.append([event("exercise-read", T0 + 9, "r9", exercise="side", factor_milli=14_000)])
    assert client.get("/api/tests/t-count/live").json()["outlook"]["certain"] == "fail"  # 2/200 + 1/14 > 7/100


def test_only_a_method_that_measures_has_numbers(server):
    begin(server.ledger, protocol="us-bitter", run=False)
    answer = httpx.get(f"{server.url}/api/tests/t-count/live")
    assert (answer.status_code, answer.json()["error"]) == (422, "bad-input")
    assert httpx.get(f"{server.url}/api/tests/t-none/live").status_code == 404


# The connection that stays

def stream(server, **headers):
    return websockets.connect(f"ws://127.0.0.1:{server.port}/api/tests/t-count/stream", additional_headers=headers,
                              proxy=None)


def test_over_a_connection_each_message_is_taken_whole_or_refused(client, server):
    async def talk():
        async with stream(server) as line:
            await line.send("\n".join(json.dumps(x) for x in seconds(1, 4)))
            await line.send(json.dumps(GOOD) + "\nnonsense")
            refused = json.loads(await line.recv())
            await line.send(b"\x00")
            binary = json.loads(await line.recv())
            await line.send("")
            kept = json.loads(await line.recv())
            await line.send("\n".join(json.dumps(x) for x in seconds(1, 6)))
            await line.send("")
            again = json.loads(await line.recv())
            await line.send(json.dumps(seconds(7, 7)[0]))
        return refused, binary, kept, again

    refused, binary, kept, again = asyncio.run(talk())
    assert (refused["error"], refused["place"]) == ("bad-input", "line 2")
    assert binary["place"] == "message"
    assert (kept["kept"], kept["known"]) == (8, 0)
    assert (again["kept"], again["known"]) == (4, 8)
    # what was held when the line was hung up is kept too
    for _ in range(200):
        if len(values(server, "mask")) == 7:
            break
        asyncio.run(asyncio.sleep(0.02))
    assert len(values(server, "mask")) == 7


def test_a_connection_that_floods_is_told_so(client, server):
    async def flood():
        async with stream(server) as line:
            some = "\n".join('{"value": 1, "air": "mask"}' for _ in range(2000))
            for _ in range(4):
                await line.send(some)
            return [json.loads(await line.recv()) for _ in range(2)]

    assert "too-large" in [x.get("error") for x in asyncio.run(flood())]


@pytest.mark.parametrize("headers", [{"Origin": "https://elsewhere.example"}, {"Origin": "null"}])
def test_another_site_cannot_open_the_connection(client, server, headers):
    async def knock():
        with contextlib.suppress(WebSocketException, OSError):
            async with stream(server, **headers) as line:
                await line.send(json.dumps(GOOD))
                return "open"
        return "refused"

    assert asyncio.run(knock()) == "refused"
    assert taken(server) == []


def test_a_foreign_name_cannot_open_the_connection(demo_ledger):
    app, said = make_app(demo_ledger, org_name="The Yard", hosts=frozenset({"yard"})), []

    async def ask():
        async def receive():
            return {"type": "websocket.connect"}

        async def send_(message):
            said.append(message)

        scope = {"type": "websocket", "path": "/api/tests/t/stream", "raw_path": b"", "query_string": b"",
                 "headers": [(b"host", b"else.example")], "subprotocols": [], "scheme": "ws"}
        await app(scope, receive, send_)

    asyncio.run(ask())
    assert [m["type"] for m in said] == ["websocket.close"]
    assert said[0]["code"] == 1008


def test_way_is_kept_apart_from_lines():
    assert Way().unit == "count"
    assert [s.milli for s in read_lines('{"t":1,"mask":2,"ambient":3}\n\n', "count")] == [2000, 3000]
