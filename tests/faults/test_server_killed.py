"""The server dies without a goodbye, again and again, while a room records: nothing is lost, doubled or out of order.

SEALWRIGHT_KILLS sets how often (5; `make faults`: 50). SEALWRIGHT_SEED repeats a run; the seed is in the report.
"""

from __future__ import annotations

import os
import random
import shutil
import threading
import time

import httpx
import pytest
from tests.browser.tester_hands import settled
from tests.faults.tools import mortal

from sealwright.demo.yard import yard
from sealwright.ledger import open_ledger

KILLS = int(os.environ.get("SEALWRIGHT_KILLS", "5"))
SEED = int(os.environ.get("SEALWRIGHT_SEED", time.time_ns() % 1_000_000))

pytestmark = [pytest.mark.faults, pytest.mark.xdist_group("server-killed")]

NOTES_WHAT_IS_ACKNOWLEDGED = """
  window.acknowledged = [];
  const real = window.fetch;
  window.fetch = async (...asked) => {
    const answer = await real(...asked);
    if (String(asked[0]).endsWith("/api/events") && answer.ok) {
      const {receipts} = await answer.clone().json();
      window.acknowledged.push(...receipts.map((r) => [r.stream, r.id, r.n, r.hash]));
    }
    return answer;
  };
"""
# The first lane stands at its screening, for the tester's own key. Beside it wearers in further lanes, whose squeezes
# come as fast as the device can keep them.
MANY_EVENTS = """async () => {
  const now = Date.now();
  await room.record(room.lanes[0], [
    {kind: "kit-checked", data: {checks: {hood: true}}},
    {kind: "nebuliser-loaded", data: {which: "screening", lot: "BS-131", expires_at: now + 1e9, loaded_at: now}},
    {kind: "questions-answered", data: {cleared: true, trained: true, feels_well: true, seal_hair: "none"}},
    {kind: "identity-confirmed", data: {wearer_named: true, model_read: true, size_read: "M"}},
    {kind: "screening-started", data: {}}]);
  for (const wearer of ["gr-w02", "gr-w03"]) {
    await room.open({wearer, facepiece: "marl-m", protocol: "us-bitter", own: false, language: "en", previous: null});
  }
  room.picked = room.lanes[0].test;
  window.going = true;
  window.made = (async () => {
    while (window.going) {
      const lane = room.lanes[1 + Math.floor(Math.random() * 2)];
      await room.record(lane, [{kind: "squeezed", data: {n: 1}}]);
      await new Promise((go) => setTimeout(go, 20));
    }
  })();
}"""
# The tester's key works the first lane, then one after another: not tasted at thirty squeezes, signed, closed.
KEY_IS_OURS = """async () => {
  const lane = room.lanes.find((l) => l.test === room.picked);
  if (!lane.facts.closed) return room.focus === lane.test;
  const wearer = `gr-w${String(room.lanes.length + 1).padStart(2, "0")}`;
  await room.open({wearer, facepiece: "marl-m", protocol: "us-bitter", own: false, language: "en", previous: null});
  return false;
}"""
LOGS = """async () => Promise.all(room.lanes.map(async (l) =>
  [l.test, (await room.store.events(l.test)).map((e) => e.id)]))"""


@pytest.mark.browser
def test_what_a_room_recorded_survives_every_death_of_the_server(browser, yard_file, tmp_path):
    print(f"seed {SEED}, {KILLS} kills")
    rng = random.Random(SEED)
    ledger = tmp_path / "ledger.db"
    shutil.copy(yard_file, ledger)
    context = browser.new_context()
    page = context.new_page()
    page.add_init_script(NOTES_WHAT_IS_ACKNOWLEDGED)
    with mortal(ledger, yard().id) as server:
        page.goto(f"{server.url}/room")
        page.wait_for_selector("body[data-ready=yes]", timeout=30_000)
        page.click("#add")
        page.select_option("#new-wearer", "gr-w01")
        page.click("#new-form button[type=submit]")
        page.wait_for_selector(".lane")
        page.evaluate(MANY_EVENTS)
        for _ in range(KILLS):
            until = time.monotonic() + rng.uniform(0.05, 0.9)
            while time.monotonic() < until:
                if page.evaluate(KEY_IS_OURS):
                    page.keyboard.press("Space")
            server.kill()
            time.sleep(rng.uniform(0, 0.3))
            server.start()
            page.evaluate("dispatchEvent(new Event('online'))")
            settled(lambda: page.evaluate("room.sender.fails === 0"), "the server found again", 30)
        page.evaluate("async () => { window.going = false; await window.made; await room.busy }")
        settled(lambda: page.evaluate("room.store.waiting()") == 0, "an empty outbox", 60)
        logs, acknowledged = page.evaluate(LOGS), page.evaluate("window.acknowledged")
        assert page.evaluate("room.store.refused()") == []
    context.close()
    with open_ledger(str(ledger), org=yard().id) as book:
        assert len(logs) >= 3
        assert sum(len(ids) for _, ids in logs) > 20 * KILLS
        assert len(logs[0][1]) > 6  # more than was there before the key was pressed
        for test, ids in logs:
            assert [e.id for e in book.events(f"test:{test}")] == ids
        assert len(acknowledged) > 0
        stored = {(stream, e.id, e.n, e.hash) for stream in {a[0] for a in acknowledged} for e in book.events(stream)}
        assert {tuple(a) for a in acknowledged} <= stored
        report = book.check(rows=True)
        assert report.ok, report


def batch(test):
    """Fifty events of one test: opened, and squeezes."""
    common = {"stream": f"test:{test}", "by": "gr-ft1"}
    opened = {"protocol": "us-bitter", "protocol_version": "1", "wearer": "gr-w01", "tester": {"id": "gr-ft1"},
              "facepiece": {"id": "marl-m", "make": "Pellitory Works", "model": "Little Marl", "material": "rubber",
                            "size": "M", "kind": "half", "own": False}}
    return [{**common, "id": f"{test}-0", "kind": "opened", "at": 1_700_000_000_000, "data": opened}] + [
        {**common, "id": f"{test}-{i}", "kind": "squeezed", "at": 1_700_000_000_000 + i, "data": {"n": 1}}
        for i in range(1, 50)]


def test_a_batch_of_fifty_is_on_record_whole_or_not_at_all(yard_file, tmp_path):
    print(f"seed {SEED}")
    rng = random.Random(SEED)
    ledger = tmp_path / "ledger.db"
    shutil.copy(yard_file, ledger)
    sent, answered = [], []

    def send(url):
        with httpx.Client() as client:
            while True:
                test = f"batch-{len(sent)}"
                sent.append(test)
                try:
                    answer = client.post(f"{url}/api/events", json={"sent_at": 0, "events": batch(test)})
                except httpx.TransportError:
                    return
                assert answer.status_code == 200, answer.text
                answered.append(test)

    with mortal(ledger, yard().id) as server:
        for _ in range(max(3, KILLS // 3)):
            thread = threading.Thread(target=send, args=(server.url,))
            thread.start()
            time.sleep(rng.uniform(0.1, 0.5))
            server.kill()
            thread.join()
            server.start()
    with open_ledger(str(ledger), org=yard().id) as book:
        counts = {test: len(book.events(f"test:{test}")) for test in sent}
        assert set(counts.values()) <= {0, 50}
        assert {counts[test] for test in answered} == {50}
        assert book.check(rows=True).ok
