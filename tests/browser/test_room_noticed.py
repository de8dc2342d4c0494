"""Whole vapour and smoke tests in the live room: solutions, screening by jar or whiff, noticed or not."""

from __future__ import annotations

import pytest

from sealwright.assess import decode, judge
from sealwright.protocols import compile_score, get

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("room-noticed")]

HALF = "marl-m"


def judged(server, test):
    return judge([decode(e.kind, e.id, e.at, e.by, e.data) for e in server.ledger.events(f"test:{test}")])


def run_out(hands, protocol):
    while hands.running:
        left = compile_score(get(protocol)).lasts - hands.running["s"]
        hands.wait(max(0.2, min(10, left + 0.05)), stride_s=10)


def test_vapour_to_a_pass_by_key(hands, server):
    hands.add("gr-w01", piece=HALF, protocol="us-vapour")
    hands.until("Stock solution")
    hands.click("Yesterday", ".options")
    assert hands.title == "Odour solution"
    hands.click("2 h ago", ".options")
    hands.until("Exercises")
    assert "exposure-begun" in hands.kinds()
    assert hands.text("#keys .taste").startswith("Smelled")
    hands.press()
    run_out(hands, "us-vapour")
    assert hands.title == "Break the seal"
    assert hands.label == "Smelled now"
    hands.press()
    hands.sign_and_close()
    assert hands.verdict() == "● Pass"
    verdict = judged(server, hands.test_id())
    assert [(f.code, f.severity) for f in verdict.findings] == []
    # kept on the device for the next wearer
    hands.add("gr-w02", piece=HALF, protocol="us-vapour")
    hands.until("Stock solution")
    assert "the one made" in hands.label


def test_smelled_in_the_run_it_fails(hands, server):
    hands.add("gr-w01", piece=HALF, protocol="us-vapour")
    hands.until("Exercises")
    hands.press()
    hands.wait(70, stride_s=10)
    hands.hold()
    assert hands.kinds()[-1] == "noticed"
    assert hands.title == "Out of the chamber"
    hands.press()
    hands.sign_and_close()
    assert hands.verdict() == "✕ Fail"
    assert judged(server, hands.test_id()).tasted_s == pytest.approx(70, abs=3)


def test_smoke_shows_its_cautions_and_a_reaction_ends_it(hands, server):
    hands.page.click("#add")
    hands.page.select_option("#new-piece", HALF)
    hands.page.select_option("#new-protocol", "us-smoke")
    hands.page.click("#new-cautions-box summary")
    assert "lungs" in hands.text("#new-cautions")
    hands.page.keyboard.press("Escape")
    hands.add("gr-w01", piece=HALF, protocol="us-smoke")
    hands.until("Exercises")
    hands.press()
    hands.wait(20, stride_s=10)
    assert hands.text("#keys .taste").startswith("Reacted")
    hands.type("t")
    assert hands.kinds()[-1] == "noticed"
    assert hands.title == "Smoke away"
    hands.press()
    hands.sign_and_close()
    assert hands.verdict() == "✕ Fail"


def test_smoke_to_a_pass(hands, server):
    hands.add("gr-w01", piece=HALF, protocol="us-smoke")
    hands.until("Exercises")
    hands.press()
    run_out(hands, "us-smoke")
    assert hands.title == "Same tube, no facepiece"
    hands.press()
    hands.sign_and_close()
    assert hands.verdict() == "● Pass"


def test_who_cannot_smell_it_is_unsuited(hands, server):
    hands.add("gr-w01", piece=HALF, protocol="us-vapour")
    hands.until("Odour screening")
    hands.click("Cannot tell them apart", "#now-body")
    hands.until("Close the record")
    hands.press()
    hands.delivered()
    assert hands.verdict() == "◇ Unsuited to this agent"
