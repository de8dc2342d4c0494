"""The room's side of never lost: browser killed, network gone, answers lost, clocks set. The clock is in our hand."""

from __future__ import annotations

import contextlib

import pytest
from tests.browser.tester_hands import Hands, settled
from tests.conftest import CHROMIUM, CHROMIUM_ARGS
from tests.faults.tools import kill_tree

from sealwright.assess import decode, judge

pytestmark = [pytest.mark.browser, pytest.mark.faults, pytest.mark.xdist_group("room-lost")]

SHOWN = """() => ({wall: Date.now(), run: room.lanes[0].facts.run.at, dosing: Boolean(room.act.dose),
  left: Number(document.getElementById('big').textContent), title: document.getElementById('title').textContent})"""


def in_run(hands, until_s):
    hands.add("gr-w01")
    hands.begin()
    hands.work(until_s)
    return hands.test_id()


def second_shown(hands):
    """The second of the run that the page shows by its exercise and seconds left (published: seven exercises of 60 s,
    29 CFR 1910.134 App. A I.A.14), beside the second by `wall`, the browser's own clock."""
    def exercise_in_hand():
        seen = hands.see(SHOWN)
        if seen["dosing"]:
            return None
        return seen

    seen = settled(lambda: exercise_in_hand() or hands.press(), "an exercise shown")
    place = ["Normal breathing", "Deep breathing", "Head side to side", "Head up and down", "Talking", "Bending over",
             "Normal breathing"].index(seen["title"])
    return place * 60 + 60 - seen["left"], seen


def assert_right_second(hands, stepped_ms=0):
    shown, seen = second_shown(hands)
    truly = (seen["wall"] - stepped_ms - seen["run"]) / 1000
    assert abs(shown - truly) < 1.5, (shown, truly)
    return truly


def stored_kinds(server, test):
    return [e.kind for e in server.ledger.events(f"test:{test}")]


def kept_log(hands):
    return hands.see("async () => (await room.store.events(room.lanes[0].test)).map((e) => e.id)")


def assert_all_arrived(hands, server, test):
    hands.delivered()
    assert [e.id for e in server.ledger.events(f"test:{test}")] == kept_log(hands)
    assert hands.see("() => room.store.refused()") == []
    assert server.ledger.check(rows=True).ok


@pytest.mark.parametrize("death", ["closed", "killed"])
def test_a_browser_gone_in_the_run_comes_back_in_the_right_second(playwright, server, tmp_path, death):
    profile = str(tmp_path / "profile")

    def launch():
        return playwright.chromium.launch_persistent_context(profile, executable_path=CHROMIUM, args=CHROMIUM_ARGS)

    context = launch()
    hands = Hands.at(context, server)
    test = in_run(hands, 50)
    hands.step(5000)
    before = hands.see("() => ({log: room.lanes[0].facts.events.map((e) => e.id), now: Date.now()})")
    if death == "closed":
        context.close()
    else:
        assert kill_tree(profile) > 0
        with contextlib.suppress(Exception):
            context.close()
    context = launch()
    server.clock.ahead_ms += before["now"] + 75_000 - server.clock()
    # Seventy-five seconds are gone when the page opens again: the second and third exercises began meanwhile.
    back = Hands.at(context, server, time_ms=before["now"] + 75_000)
    assert back.complaints == []
    assert kept_log(back)[:len(before["log"])] == before["log"]
    truly = assert_right_second(back)
    assert 125 < truly < 150
    assert_all_arrived(back, server, test)
    events = server.ledger.events(f"test:{test}")
    starts = {e.data["exercise"]: e.data.get("witnessed", True) for e in events if e.kind == "exercise-started"}
    assert list(starts.values()) == [True, False, False]
    returned = [e for e in events if e.kind == "room-returned"]
    assert len(returned) == 1
    # A browser killed may not have put its last sign of life on disk; then the last event is the last that is known.
    longest = 85_000 if death == "closed" else 85_000 + 30_000
    assert 70_000 < returned[0].at - returned[0].data["away_at"] < longest
    verdict = judge([decode(e.kind, e.id, e.at, e.by, e.data) for e in events])
    assert {"room-away", "unwitnessed"} <= {f.code for f in verdict.findings}
    context.close()


def test_two_minutes_without_the_network_lose_nothing(hands, server):
    test = in_run(hands, 40)
    hands.delivered()
    arrived = len(stored_kinds(server, test))
    hands.page.context.set_offline(True)
    hands.work(160)
    settled(lambda: (hands.step(300), "server away" in hands.text("#status"))[1], "server away")
    waiting = hands.see("() => room.store.waiting()")
    assert f"{waiting} kept here" in hands.text("#status")
    assert waiting >= 6  # four doses, two exercise starts
    assert len(stored_kinds(server, test)) == arrived
    assert_right_second(hands)
    hands.page.context.set_offline(False)
    assert_all_arrived(hands, server, test)
    assert len(stored_kinds(server, test)) == arrived + waiting
    doses = [e for e in server.ledger.events(f"test:{test}") if e.kind == "dosed"]
    assert [e.data["act"] for e in doses] == [f"dose-{s}" for s in range(0, 30 * len(doses), 30)]
    assert len(doses) >= 5


def test_a_reload_while_the_server_is_down_comes_back_in_the_right_second(hands, server):
    settled(lambda: hands.see("() => navigator.serviceWorker.controller?.state === 'activated'"), "a worker in charge")
    test = in_run(hands, 40)
    hands.delivered()
    server.stop()
    hands.work(70)
    # What the browser keeps by itself may go at any time; what the room keeps must do.
    devtools = hands.page.context.new_cdp_session(hands.page)
    devtools.send("Network.clearBrowserCache")
    hands.page.reload()
    hands.ready()
    assert_right_second(hands)
    hands.work(100)
    settled(lambda: (hands.step(300), "server away" in hands.text("#status"))[1], "server away")
    kept = kept_log(hands)
    server.start()
    assert_all_arrived(hands, server, test)
    assert kept_log(hands)[:len(kept)] == kept
    assert stored_kinds(server, test).count("dosed") >= 4


def test_an_answer_that_is_lost_doubles_nothing(browser, server):
    context = browser.new_context(service_workers="block")
    hands = Hands.at(context, server)
    taken = []

    def lose(route):
        if len(taken) < 5:
            taken.append(route.fetch().status)
            route.abort()
        else:
            route.continue_()

    context.route("**/api/events", lose)
    hands.add("gr-w01")
    hands.until("Sensitivity screening")
    for _ in range(3):
        hands.press()
    test = hands.test_id()
    settled(lambda: (hands.step(1000), len(taken) == 5)[1], "five lost answers")
    assert set(taken) == {200}
    assert_all_arrived(hands, server, test)
    assert stored_kinds(server, test).count("squeezed") == 3
    context.close()


@pytest.mark.parametrize("hours", [1, -1])
def test_a_clock_set_by_an_hour_in_the_run_moves_nothing(hands, server, hours):
    test = in_run(hands, 40)
    hands.delivered()
    step = hours * 3_600_000
    truth = server.clock.ahead_ms
    gap = "() => Date.now() - performance.now()"
    before = hands.see(gap)
    hands.page.clock.set_system_time((hands.see("() => Date.now()") + step) / 1000)
    # Time went on while the browser was told: what counts is by how much its clock was set in the end.
    step = hands.stepped_ms = round(hands.see(gap) - before)
    hands.step(300)
    assert abs(server.clock.ahead_ms - truth) < 5000
    assert_right_second(hands, step)
    hands.work(100)
    assert_right_second(hands, step)
    hands.page.reload()
    hands.ready()
    assert_right_second(hands, step)
    hands.work(130)
    assert_all_arrived(hands, server, test)
    events = server.ledger.events(f"test:{test}")
    stepped = [e.data["stepped_ms"] for e in events if e.kind == "clock-checked"]
    assert len(stepped) == 1
    assert abs(stepped[0] - step) < 1000
    assert [e.at for e in events] == sorted(e.at for e in events)
    verdict = judge([decode(e.kind, e.id, e.at, e.by, e.data) for e in events])
    assert "clock-stepped" in {f.code for f in verdict.findings}


@pytest.mark.parametrize("reached", ["at once", "later"])
def test_two_minutes_asleep_are_told_from_a_clock_that_was_set(hands, server, monkeypatch, reached):
    """In sleep the browser's even clock stands still (it does on Linux and macOS) and the wall clock goes on."""
    monkeypatch.setattr(server.app.state.hub, "steady", server.clock)
    hands.page.reload()
    hands.ready()
    test = in_run(hands, 50)
    hands.delivered()
    hands.page.context.set_offline(reached == "later")
    server.clock.ahead_ms += 120_000
    hands.page.clock.set_system_time((hands.see("() => Date.now()") + 120_000) / 1000)
    if reached == "later":
        settled(lambda: (hands.step(200), hands.see("() => room.clock.unsure"))[1], "the room in doubt")
        hands.page.context.set_offline(False)
        hands.see("() => { room.sender.wake() }")
    settled(lambda: (hands.step(200), "room-returned" in hands.kinds())[1], "the room back")
    assert 165 < assert_right_second(hands) < 185
    assert_all_arrived(hands, server, test)
    events = server.ledger.events(f"test:{test}")
    assert "clock-checked" not in [e.kind for e in events]
    late = [e.data["exercise"] for e in events if e.kind == "exercise-started" and not e.data.get("witnessed", True)]
    assert len(late) == 2


def test_a_lane_cut_off_before_its_first_event_does_not_lock_the_room(hands):
    hands.see("() => room.store.keepLane({test: 't-cut-off', letter: 'A', order: 1})")
    hands.page.reload()
    hands.ready()
    assert hands.shown() == []
    hands.add("gr-w01")
    assert hands.shown() == ["Aldith Fernhollow"]


def test_one_refused_event_is_set_aside_said_and_stops_nothing(hands, server):
    """Another device closes the test; what this one still records is refused, kept and shown, and the rest goes on."""
    hands.add("gr-w01")
    hands.delivered()
    first = hands.test_id()
    server.ledger.append([{"stream": f"test:{first}", "id": "closed-elsewhere", "kind": "closed", "by": "gr-ft2",
                           "at": server.clock(), "data": {}}])
    hands.page.context.set_offline(True)
    for _ in range(6):
        hands.press()
    hands.add("gr-w02")
    for _ in range(6):
        hands.press()
    hands.page.context.set_offline(False)
    hands.delivered()
    refused = hands.see("() => room.store.refused()")
    assert [r["body"]["kind"] for r in refused] == ["kit-checked"]
    assert "could not be put on record" in hands.text("#refused")
    assert "closed" in hands.text("#refused")
    assert hands.page.locator("#refused a[download]").count() == 1
    assert stored_kinds(server, hands.test_id(1)) == ["opened", "kit-checked"]
    assert stored_kinds(server, first)[-1] == "closed"
    hands.complaints.clear()
