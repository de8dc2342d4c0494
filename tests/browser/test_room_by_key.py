"""Whole tests in the live room, worked by one key from the kit check to the end."""

from __future__ import annotations

import pytest

from sealwright.assess import decode, judge

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("room-key")]


def judged(server, test):
    return judge([decode(e.kind, e.id, e.at, e.by, e.data) for e in server.ledger.events(f"test:{test}")])


def test_a_pass_by_the_key_alone_ends_with_a_certificate(hands, server):
    hands.add("gr-w01")
    hands.begin()
    hands.work(421)
    assert hands.title == "Break the seal"
    hands.press()
    hands.sign_and_close()
    test = hands.test_id()
    assert hands.verdict() == "● Pass"
    assert judged(server, test).result == "pass"
    assert [(f.code, f.severity) for f in judged(server, test).findings] == []
    page = hands.page
    page.goto(f"{server.url}/tests/{test}")
    assert "● Pass" in page.inner_text("main .lead")
    href = page.get_by_role("link", name="Certificate").get_attribute("href")
    answer = page.request.get(server.url + href)
    assert answer.status == 200
    assert answer.body().startswith(b"%PDF")
    assert page.request.get(f"{server.url}/tests/{test}/card.pdf").body().startswith(b"%PDF")


def test_held_in_the_run_it_fails_and_a_retry_opens_the_next_try(hands, server):
    hands.add("gr-w01")
    hands.begin()
    hands.work(100)
    hands.hold()
    assert hands.title == "Hood off"
    hands.press()
    assert hands.kinds()[-2:] == ["tasted", "hood-removed"]
    hands.sign_and_close()
    first = hands.test_id()
    assert hands.verdict() == "✕ Fail"
    tasted_at = [e.at for e in server.ledger.events(f"test:{first}") if e.kind == "tasted"][-1]
    alerts = []
    hands.page.on("dialog", lambda d: (alerts.append(d.message), d.dismiss()))
    hands.page.click("text=Try again")
    hands.step()
    assert [o.get_attribute("value") for o in hands.page.locator("#new-wearer option").all()] == ["gr-w01"]
    hands.doing(lambda: hands.page.click("#new-form button[type=submit]"))
    hands.delivered()
    second = hands.see("() => room.lanes.at(-1).test")
    opened = server.ledger.events(f"test:{second}")[0].data
    assert (opened["try_no"], opened["previous"], opened["tasted_at"]) == (2, first, tasted_at)
    assert server.ledger.test(first).result == "fail"
    assert alerts == []
    assert hands.shown() == ["Aldith Fernhollow"]


def test_not_tasted_at_the_broken_seal_is_void(hands, server):
    hands.add("gr-w01")
    hands.begin()
    hands.work(421)
    hands.click("Not tasted", "#now-body, #keys")
    assert hands.kinds()[-1] == "seal-broken"
    hands.sign_and_close()
    assert hands.verdict() == "○ Void"
    found = judged(server, hands.test_id())
    assert "seal-break-not-tasted" in [f.code for f in found.findings]


def test_thirty_squeezes_not_tasted_is_unsuited(hands, server):
    hands.add("gr-w01")
    hands.until("Hood off", taste_at=None)
    assert hands.see("() => room.lanes[0].facts.squeezes") == 30
    hands.press()
    hands.sign_and_close()
    assert hands.verdict() == "◇ Unsuited to this agent"
    assert judged(server, hands.test_id()).result == "unsuited"


def test_a_wrong_tap_is_taken_back_within_its_time_and_not_after(hands, server):
    hands.add("gr-w01")
    hands.until("Sensitivity screening")
    hands.press()
    hands.type("t")
    assert hands.title == "Hood off, water"
    hands.click("Take back")
    assert hands.title == "Sensitivity screening"
    hands.delivered()
    stored = server.ledger.events(f"test:{hands.test_id()}")
    assert stored[-1].kind == "taken-back"
    assert stored[-1].data["event"] == next(e.id for e in stored if e.kind == "tasted")
    hands.press()
    assert hands.page.get_by_role("button", name="Take back").count() == 1
    hands.wait(8.5)  # tolerances.take_back of the protocol file: 8 s
    assert hands.page.get_by_role("button", name="Take back").count() == 0


def test_a_point_of_the_checklist_that_is_not_right_is_on_record(hands, server):
    hands.add("gr-w01")
    hands.click("Hood clean, window clear, hole in front of nose and mouth: not right")
    for _ in range(4):
        hands.press()
    assert hands.label == "Record with 1 not right"
    hands.press()
    hands.delivered()
    stored = server.ledger.events(f"test:{hands.test_id()}")[-1]
    assert stored.kind == "kit-checked"
    assert [k for k, good in stored.data["checks"].items() if not good] == ["hood"]


def test_a_stop_says_why(hands, server):
    hands.add("gr-w01")
    hands.begin()
    hands.work(20)
    hands.page.click("#keys .stop")
    hands.page.wait_for_selector("#stop[open]")
    assert "Aldith Fernhollow" in hands.text("#stop-title")
    hands.doing(lambda: hands.page.click("#stop button[value=no]"))
    assert "stopped" not in hands.kinds()
    hands.page.click("#keys .stop")
    hands.step()
    hands.page.click("#stop button[value=breathless]")
    hands.delivered()
    assert hands.title == "Hood off"
    stored = server.ledger.events(f"test:{hands.test_id()}")
    assert [e.data for e in stored if e.kind == "stopped"] == [{"reason": "breathless"}]


def test_every_button_does_what_it_says_after_the_others_were_redrawn(hands):
    """The stop of the lane in hand stays a stop, however often the checklist beside it changes."""
    hands.add("gr-w01")
    for _ in range(3):
        hands.press()
    hands.add("gr-w02")
    hands.press()
    hands.page.click("#keys .stop")
    hands.step()
    assert "Bartram Oakshadow" in hands.text("#stop-title")
    hands.doing(lambda: hands.page.click("#stop button[value=no]"))
    hands.page.locator(".lane-pick").first.click()
    hands.step()
    assert "Aldith Fernhollow" in hands.text("#now-body .who")
    hands.page.click("#keys .stop")
    hands.step()
    assert "Aldith Fernhollow" in hands.text("#stop-title")


def test_sound_can_be_turned_off_and_stays_off(hands):
    hands.page.click("#sound")
    hands.step()
    assert hands.text("#sound") == "Sound off"
    assert hands.page.get_attribute("#sound", "aria-pressed") == "false"
    assert hands.see("() => room.cues.on") is False
    hands.page.reload()
    hands.ready()
    assert hands.text("#sound") == "Sound off"
