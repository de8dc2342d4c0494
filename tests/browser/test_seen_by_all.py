"""Pages and room for everyone: axe-core finds nothing serious in light or dark, nothing runs off the side of a phone,
nothing moves for those who asked for stillness, and all of it can be reached by keyboard.

axe-core carries the rules (WCAG 2.2 A and AA among them); no horizontal scrolling at 390 px is WCAG 1.4.10.
"""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from tests.browser.tester_hands import Hands, settled

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("room-seen")]

WIDTHS = {390: 844, 1024: 768, 1600: 900}
MOVING = """() => document.getAnimations().filter((a) => a.playState === 'running'
  && a.effect?.getComputedTiming().activeDuration > 1).map((a) => a.animationName || a.transitionProperty)"""
WIDE = """() => [...document.querySelectorAll('body *')].filter((e) => e.getBoundingClientRect().right > innerWidth + 1)
  .map((e) => e.tagName + '.' + e.className).slice(0, 5)"""


def assert_all_can_see(page, where):
    """Light and dark under axe; three widths without scrolling sideways; stillness."""
    size = page.viewport_size
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        found = Axe().run(page).response["violations"]
        serious = [(v["id"], [n["html"][:160] for n in v["nodes"]][:3]) for v in found
                   if v["impact"] in ("serious", "critical")]
        assert serious == [], f"{where}, {scheme}"
    for width, height in WIDTHS.items():
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), (where, width, page.evaluate(WIDE))
    page.set_viewport_size(size)
    page.emulate_media(color_scheme="light", reduced_motion="reduce")
    settled(lambda: page.evaluate(MOVING) == [], f"stillness at {where}: {page.evaluate(MOVING)}", 3)
    page.emulate_media(reduced_motion="no-preference")


@pytest.mark.parametrize("address", ["/", "/tests", "/wearers", "/testers", "/facepieces", "/protocols",
                                     "/protocols/us-bitter", "/protocols/us-counting", "/reckoning",
                                     "/reckoning/protection?concentration=3&limit=0.1&unit=mg/m3",
                                     "/reckoning/agreement", "/traces", "/cautions", "/w", "/nowhere"])
def test_a_page_can_be_seen_by_all(browser, server, address):
    context = browser.new_context(viewport={"width": 1024, "height": 768})
    page = context.new_page()
    page.goto(server.url + address)
    assert_all_can_see(page, address)
    context.close()


@pytest.mark.parametrize("result", ["pass", "fail"])
def test_the_record_of_a_test_can_be_seen_by_all(browser, server, result):
    test = next(t for t in server.ledger.tests(limit=90) if t.result == result)
    context = browser.new_context(viewport={"width": 1024, "height": 768})
    page = context.new_page()
    for address in (f"/tests/{test.id}", f"/wearers/{test.wearer}"):
        page.goto(server.url + address)
        for details in page.locator("details summary").all():
            details.click()
        assert_all_can_see(page, address)
    context.close()


def test_the_room_can_be_seen_by_all(hands):
    assert_all_can_see(hands.page, "idle")
    hands.page.click("#add")
    assert_all_can_see(hands.page, "a wearer comes in")
    hands.page.keyboard.press("Escape")
    hands.add("gr-w01")
    hands.press()
    assert_all_can_see(hands.page, "checklist")
    hands.until("Questions before the test")
    assert_all_can_see(hands.page, "questions")
    hands.until("Sensitivity screening")
    assert_all_can_see(hands.page, "screening")
    hands.until("Taste gone?")
    hands.begin()
    hands.work(12)
    assert hands.page.evaluate(MOVING) != []  # the figure moves for those who did not ask for stillness
    assert_all_can_see(hands.page, "run")
    hands.wait(15)
    settled(lambda: hands.running["dose"] and hands.label.endswith(" given"), "a dose")
    assert_all_can_see(hands.page, "dose")
    hands.press()
    hands.page.click("#keys .stop")
    assert_all_can_see(hands.page, "stop")
    hands.page.click("#stop button[value=no]")
    hands.work(50)
    hands.hold()
    assert_all_can_see(hands.page, "hood off")
    hands.press()
    assert_all_can_see(hands.page, "signing")
    hands.sign_and_close()
    hands.verdict()
    assert_all_can_see(hands.page, "verdict")


def test_three_lanes_fit_on_a_phone(hands):
    for wearer in ("gr-w01", "gr-w02", "gr-w03"):
        hands.add(wearer)
    assert_all_can_see(hands.page, "three lanes")


def test_the_dialogs_are_worked_by_keyboard(browser, server):
    context = browser.new_context()
    hands = Hands.at(context, server)
    page = hands.page
    page.focus("#add")
    page.keyboard.press("Enter")
    page.wait_for_selector("#new[open]")
    assert page.evaluate("document.activeElement.closest('dialog')?.id") == "new"
    for _ in range(20):
        if page.evaluate("document.activeElement.type") == "submit":
            break
        page.keyboard.press("Tab")
    hands.doing(lambda: page.keyboard.press("Enter"))
    settled(lambda: (hands.step(), hands.title == "Kit check")[1], "a lane")
    hands.press()
    assert "1" in hands.see("() => String(Object.keys(room.lanes[0].draft.ticked).length)")
    assert hands.complaints == []
    context.close()
