"""A site may ask for a higher fit factor than its rule set, never for a lower one."""

from __future__ import annotations

import httpx
import pytest

from sealwright.programme.registry import site_levels

pytestmark = pytest.mark.xdist_group("web-api")


@pytest.fixture
def client(server):
    with httpx.Client(base_url=server.url) as made:
        yield made


def ask(client, level, kind="full", rule_set="us"):
    return client.post("/protocols", data={"rule_set": rule_set, "kind": kind, "level": level})


def told(client):
    return client.get("/api/pack").json()["site_levels"]


def test_a_stricter_level_reaches_the_room_and_the_page_and_can_be_given_up(client, server):
    assert told(client) == {}
    assert ask(client, "1000").status_code == 303
    assert ask(client, "150", kind="half").status_code == 303
    assert told(client) == {"us": {"full": 1000, "half": 150}}
    page = client.get("/protocols").text
    assert "full face mask: 1,000" in page
    assert ask(client, "").status_code == 303
    assert told(client) == {"us": {"half": 150}}


# 29 CFR 1910.134(f)(7): 500 for a full facepiece, 100 for a half mask (from memory).
@pytest.mark.parametrize("kind, level, least", [("full", "499", 500), ("half", "99", 100), ("filtering", "1", 100)])
def test_a_lower_level_is_refused_and_nothing_changes(client, server, kind, level, least):
    before = server.ledger.count()
    answer = ask(client, level, kind=kind)
    assert answer.status_code == 422
    assert str(least) in answer.text
    assert server.ledger.count() == before
    assert told(client) == {}


@pytest.mark.parametrize("form", [{"level": "many"}, {"level": "1e3"}, {"level": "-700"}, {"level": "٧٠٠"},
                                  {"level": "9999999"}, {"rule_set": "xx"}, {"kind": "hood"}])
def test_what_is_no_level_is_refused(client, server, form):
    before = server.ledger.count()
    answer = client.post("/protocols", data={"rule_set": "us", "kind": "full", "level": "700", **form})
    assert answer.status_code == 422
    assert server.ledger.count() == before


def test_the_ledger_checks_and_rebuilds_with_it(client, server):
    ask(client, "1000")
    assert server.ledger.check().ok
    server.ledger.rebuild()
    assert server.ledger.check().ok
    assert told(client) == {"us": {"full": 1000}}


def test_the_last_word_of_each_kind_holds():
    told_ = [{"rule_set": "us", "kind": "full", "level": 600}, {"rule_set": "uk", "kind": "full", "level": 3000},
             {"rule_set": "us", "kind": "full", "level": 700}, {"rule_set": "uk", "kind": "full"}]
    assert site_levels(told_) == {"us": {"full": 700}}
