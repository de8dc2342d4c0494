"""Several wearers in one room, several tabs and devices at one test, the wearer's own screen."""

from __future__ import annotations

import re

import pytest
from tests.browser.tester_hands import Hands, settled

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("room-lanes")]

LANE = """() => [room.act?.lane.letter, Boolean(room.act?.waiting), Boolean(room.act?.running),
  room.act?.dose?.in ?? null]"""
CUES = """async () => { const {dueCues} = await import(`/static/${document.body.dataset.build}/room/cueplan.js`);
  const now = performance.now();
  return dueCues(room.lanes, room.clock, now, now + 90000).map((c) => [c.key.split('/')[0], c.name, c.at - now]) }"""


def in_hand(hands):
    """Letter of the lane in hand, whether it waits, runs, and the seconds to its dose."""
    return hands.see(LANE)


def pick(hands, letter):
    hands.page.get_by_role("button", name=f"Lane {letter}").first.click()
    hands.step()


def tend(hands):
    """One second of a room: a dose that has fallen due is given, mist looked at."""
    _, waiting, running, dose_in = in_hand(hands)
    if running and not waiting and (hands.label == "Mist seen" or (dose_in is not None and dose_in < -2)):
        hands.press()
    else:
        hands.wait(1)


def bring_to_first_dose(hands, letter):
    """Goes on with a lane by the key until its first dose is asked for; the other lanes' doses go before."""
    for _ in range(900):
        at, waiting, running, _ = in_hand(hands)
        if at == letter and hands.title == "Hood on, first dose" and not waiting:
            return
        if at == letter and not running and not waiting:
            if hands.title == "Sensitivity screening" and hands.big == "7":
                hands.hold()
            else:
                hands.press()
        elif at != letter and not running and hands.see(f"() => !room.acts(room.clock.now()).find("
                                                        f"(a) => a.lane.letter === '{letter}').waiting"):
            pick(hands, letter)
        elif running:
            tend(hands)
        else:
            hands.skip(max(1, hands.see("() => (Math.min(...room.acts(room.clock.now()).filter((a) => a.waiting)"
                                        ".map((a) => a.due)) - room.clock.now()) / 1000") + 0.5))
    raise AssertionError(f"{letter} never came to its first dose: {in_hand(hands)}, {hands.title!r}, {hands.label!r}")


def test_three_wearers_at_once(hands, server):
    """All three under hoods: clashes are told before, cues come in the order of time, a taste is asked for by name."""
    for wearer in ("gr-w01", "gr-w02", "gr-w03"):
        hands.add(wearer)
        letter = "ABC"[len(hands.shown()) - 1]
        for _ in range(60):
            if hands.title == "Test nebuliser":
                break
            hands.hold() if hands.title == "Sensitivity screening" and hands.big == "7" else hands.press()
        assert in_hand(hands)[0] == letter
    assert hands.shown() == ["Aldith Fernhollow", "Bartram Oakshadow", "Cerys Tidewell"]
    for letter in "AB":
        bring_to_first_dose(hands, letter)
    for letter in "AB":
        pick(hands, letter)
        assert (in_hand(hands)[0], hands.title) == (letter, "Hood on, first dose")
        hands.press()
        while (in_hand(hands)[0], hands.title) != (letter, "First dose"):
            tend(hands)
        hands.press()
    said = settled(lambda: (tend(hands), hands.text("#clashes"))[1], "a clash", 60)
    found = re.search(r"([AB]) \(.*\) and ([AB]) \(.*\) fall together in (\d+) s", said)
    assert found, said
    assert int(found[3]) > 0

    cues = hands.see(CUES)
    lanes = {test for test, _, _ in cues}
    assert len(lanes) == 2
    for test in lanes:
        mine = [c for c in sorted(cues, key=lambda c: c[2]) if c[0] == test and c[1] in ("ready", "dose")]
        names = [name for _, name, _ in mine]
        first = names.index("dose")
        assert names[first:first + 5] == ["dose", "ready", "ready", "ready", "dose"]

    pick(hands, "C")
    for _ in range(60):
        if in_hand(hands)[0] == "C":
            break
        tend(hands)
    assert in_hand(hands)[0] == "C"
    before = hands.see("() => room.clock.now()")
    hands.page.keyboard.press("t")
    hands.page.wait_for_selector("#who[open]")
    asked = hands.page.locator("#who-lanes button").all_inner_texts()
    assert asked == ["A · Aldith Fernhollow", "B · Bartram Oakshadow"]
    hands.wait(3)
    hands.doing(lambda: hands.page.keyboard.press("b"))
    hands.delivered()
    assert abs(hands.see("() => room.lanes[1].facts.tasted.at") - before) < 500
    assert hands.see("() => room.lanes[0].facts.tasted ?? null") is None


def test_the_language_chosen_for_the_wearers_screen_is_on_record(hands, server):
    hands.add("gr-w01", language="pl")
    hands.delivered()
    chosen = [e for e in server.ledger.events("wearer:gr-w01") if e.kind == "language-chosen"]
    assert [e.data for e in chosen] == [{"language": "pl"}]
    assert server.ledger.wearer("gr-w01").language == "pl"


def test_the_wearers_screen_shows_the_rooms_exercise_and_its_end(hands, browser, server):
    hands.add("gr-w01")
    code = settled(lambda: (hands.step(), hands.text(".code b"))[1], "a code")
    context = browser.new_context(viewport={"width": 800, "height": 1200})
    screen = context.new_page()
    screen.goto(f"{server.url}/w")
    screen.fill("#code", code)
    screen.click("button[type=submit]")
    screen.wait_for_selector("body.screen")
    hands.begin()
    hands.work(117)
    hands.wait(5, stride_s=0.5)  # in small steps, or the server's clock is far behind the room's as the news is sent
    hands.work(130)
    hands.delivered()
    screen.reload()
    # Published order of exercises, 29 CFR 1910.134 App. A I.A.14: third is head side to side; 60 s each.
    assert hands.title == "Head side to side"
    line = settled(lambda: screen.evaluate("document.body.dataset.step") == "2" and screen.inner_text("#line"),
                   "the third exercise on the wearer's screen")
    assert "side" in line.lower()
    room_left, screen_left = int(hands.big), int(screen.inner_text("#number"))
    assert abs(room_left - screen_left) <= 2
    hands.hold()
    hands.delivered()
    settled(lambda: screen.get_attribute("body", "data-phase") == "tasted", "the taste on the wearer's screen")
    assert "off" in screen.inner_text("#line").lower()
    context.close()


def test_a_second_tab_says_so_and_can_take_over(hands, server):
    hands.add("gr-w01")
    hands.until("Sensitivity screening")
    hands.press()
    first, test = hands.page, hands.test_id()
    second = first.context.new_page()
    second.add_init_script("delete window.Worker")
    second.clock.install()
    second.goto(f"{server.url}/room")
    second.wait_for_selector("#elsewhere[open]")
    assert "open in another tab" in second.inner_text("#elsewhere")
    second.click("#take-over")
    second.wait_for_selector("body[data-ready=yes]")
    first.wait_for_selector("#taken[open]")
    other = Hands(second, server)
    other.step()
    assert other.test_id() == test
    assert (other.title, other.big) == ("Sensitivity screening", "1")
    other.press()
    other.delivered()
    before = hands.kinds()
    first.mouse.click(5, 5)
    for key in ("Space", "t"):
        first.keyboard.press(key)
        hands.step()
    assert hands.kinds() == before
    stored = [e.kind for e in server.ledger.events(f"test:{test}")]
    assert stored.count("squeezed") == 2
    assert stored[-1] == "squeezed"


def test_a_test_opened_on_another_device_is_brought_here(hands, browser, server):
    hands.add("gr-w01")
    hands.until("Sensitivity screening")
    hands.press()
    hands.delivered()
    test = hands.test_id()
    context = browser.new_context()
    other = Hands.at(context, server)
    other.click("Bring here: Aldith Fernhollow")
    assert other.test_id() == test
    assert (other.title, other.big) == ("Sensitivity screening", "1")
    other.press()
    other.delivered()
    stored = server.ledger.events(f"test:{test}")
    assert [e.kind for e in stored][-2:] == ["taken-over", "squeezed"]
    assert stored[-2].data["room"] not in ("", stored[0].data["room"])
    assert other.complaints == []
    context.close()


def test_the_room_by_touch_on_a_phone(browser, server):
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    hands = Hands.at(context, server)
    page = hands.page
    page.tap("#add")
    page.select_option("#new-wearer", "gr-w01")
    hands.doing(lambda: page.tap("#new-form button[type=submit]"))
    for _ in range(40):
        if hands.title == "Hood off, water":
            break
        hands.step(700)
        if hands.title == "Sensitivity screening" and hands.big == "3":
            hands.doing(lambda: page.tap("#keys .taste"))
        else:
            hands.doing(lambda: page.tap("#key"))
    assert hands.title == "Hood off, water"
    hands.delivered()
    stored = [e.kind for e in server.ledger.events(f"test:{hands.test_id()}")]
    assert stored[-4:] == ["squeezed", "squeezed", "squeezed", "tasted"]
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    key = page.locator("#key").bounding_box()
    assert key["y"] + key["height"] <= 844
    assert min(key["width"], key["height"]) >= 44
    context.close()


def test_a_taste_held_while_another_lane_comes_to_hand_is_asked_for(hands):
    """The key goes down for A; before it has been held long enough B's dose takes the room over."""
    for wearer in ("gr-w01", "gr-w02"):
        hands.add(wearer)
        hands.until("Test nebuliser")
    for letter in "AB":
        bring_to_first_dose(hands, letter)
    pick(hands, "A")
    hands.begin()
    hands.wait(12)
    pick(hands, "B")
    hands.begin()
    # A's dose falls due at its 30th second and comes to hand 5 s before; B is in hand until then.
    while hands.see("() => (room.clock.now() - room.lanes[0].facts.run.at) / 1000") < 24.3:
        hands.step(100)
    pick(hands, "B")
    assert in_hand(hands)[0] == "B"
    hands.page.keyboard.down("Space")
    for _ in range(10):
        hands.step(100)
    settled(lambda: hands.page.query_selector("#who[open]"), f"the question, {in_hand(hands)} {hands.running}", 3)
    assert in_hand(hands)[0] == "A"
    hands.page.keyboard.up("Space")
    hands.doing(lambda: hands.page.click("#who-lanes button:has-text('Bartram')"))
    assert [hands.kinds(n).count("tasted") for n in (0, 1)] == [1, 2]


def test_a_press_before_the_last_answer_is_kept_says_nothing(hands):
    """A slow disk: the key is pressed again a second later, the answer before is still on its way to it."""
    hands.add("gr-w01")
    hands.until("Hood on, no facepiece")
    hands.step(700)
    before = hands.kinds()
    hands.see("""() => { const real = room.store.record.bind(room.store);
        room.store.record = async (...all) => {
            await new Promise((go) => { window.spin = go; });
            return real(...all) } }""")
    hands.page.keyboard.press("Space")
    hands.page.clock.run_for(1000)
    hands.page.keyboard.press("Space")
    hands.page.clock.run_for(1000)
    hands.see("() => window.spin()")
    settled(lambda: hands.kinds() != before, "the answer")
    hands.page.clock.run_for(200)
    assert hands.kinds()[len(before):] == ["screening-started"]
    assert hands.title == "Sensitivity screening"


def test_one_bounce_of_a_pedal_is_one_answer(hands):
    """Two presses within a twentieth of a second on a question that is asked once."""
    hands.add("gr-w01")
    hands.until("Hood on, no facepiece")
    before = hands.kinds()
    hands.step(700)
    hands.page.keyboard.press("Space")
    hands.page.keyboard.press("Space")
    settled(lambda: (hands.step(50), hands.kinds() != before)[1], "the answer")
    hands.step(300)
    assert hands.kinds()[len(before):] == ["screening-started"]
