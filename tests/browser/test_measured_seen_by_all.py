"""The room's stages with numbers, for everyone: axe-core in light and dark, a phone without sideways scrolling."""

from __future__ import annotations

import json
import random

import httpx
import pytest
from tests.browser.test_room_measured import (
    FULL,
    HALF,
    field,
    in_run,
    name_instrument,
    open_counting,
    paste,
    run_through,
)
from tests.browser.test_seen_by_all import assert_all_can_see

from sealwright.demo.particles import Air
from sealwright.protocols import compile_score, get

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("room-seen-measured")]


def test_dialog_instrument_run_and_readings(hands, server):
    page = hands.page
    page.click("#add")
    page.select_option("#new-piece", FULL)
    page.click("#new-cautions-box summary")
    assert_all_can_see(page, "the dialog")
    page.keyboard.press("Escape")
    hands.add("gr-w01", piece=HALF, protocol="us-counting")
    hands.until("Instrument")
    hands.step(700)
    page.click("#key")
    hands.step(300)
    assert "Empty" in hands.text(".wrong:not(:empty)")
    assert_all_can_see(page, "the instrument, its name missing")
    name_instrument(hands)
    hands.until("Exercises and samples")
    in_run(hands)
    run_through(hands, 62)
    assert_all_can_see(page, "a run with a reading to type")
    run_through(hands, 436)
    field(hands, "normal-1.factor").focus()
    paste(hands, "\n".join("20\t3000" for _ in range(7)))
    assert_all_can_see(page, "what was pasted")
    hands.click("Fill the fields", ".plan")
    field(hands, "deep.mask").fill("few")
    hands.step(700)
    page.click("#key")
    hands.step(300)
    assert_all_can_see(page, "readings, one of them wrong")


def test_samples_arriving_and_the_factors_so_far(hands, server):
    open_counting(hands)
    in_run(hands)
    hands.delivered()
    protocol = get("us-counting")
    air = Air(random.Random(3), 3000.0, {e.id: 150.0 for e in protocol.exercises})
    lines = [json.dumps({"t": at + n + 1, "value": value, "air": side})
             for at, side, values in air.stretches(compile_score(protocol).of("sample"), 100 / 60)
             for n, value in enumerate(values) if at + n < 180]
    answer = httpx.post(f"{server.url}/api/tests/{hands.test_id()}/samples", content="\n".join(lines),
                        params={"flow_cm3_min": "100"}, headers={"Content-Type": "application/jsonl"})
    assert answer.json()["kept"] == len(lines)
    run_through(hands, 190)
    hands.step(2500)
    hands.page.click(".connection summary")
    assert hands.page.locator(".factors li").count() == 4
    assert_all_can_see(hands.page, "samples arriving")


def test_a_held_breath_can_be_seen_by_all(hands):
    hands.add("gr-w01", piece=FULL, protocol="us-pressure")
    name_instrument(hands)
    hands.until("Exercises and samples")
    hands.press()
    run_through(hands, 63)
    assert hands.title == "Hold your breath"
    assert_all_can_see(hands.page, "a held breath")
    run_through(hands, 72)
    assert_all_can_see(hands.page, "a leak to type")
