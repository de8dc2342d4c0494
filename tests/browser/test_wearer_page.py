"""The wearer's page in a real browser: pairing, playing the score alone, losing the server, fitting every screen."""

from __future__ import annotations

import contextlib
import time

import pytest
from axe_playwright_python.sync_playwright import Axe
from tests.web.wearer_fake import TEST, FakeDeps, played, serving, until

from sealwright.assess import event

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("wearer-page")]
PHONE, TABLET, WALL = {"width": 390, "height": 844}, {"width": 1024, "height": 768}, {"width": 1600, "height": 900}
LYING = {"width": 844, "height": 390}
START = 1_000_000_000_000


def wall_ms():
    return time.time_ns() // 1_000_000


def since(kind, seconds, nth=1, room_ahead_ms=0, **options):
    """A scripted test, moved so that the nth event of a kind was `seconds` ago; cut there."""
    at = until(played(START, **options), kind, nth)[-1].at
    return until(played(START + wall_ms() + room_ahead_ms - round(seconds * 1000) - at, **options), kind, nth)


@contextlib.contextmanager
def screen(browser, events, *, language="en", viewport=TABLET, **context):
    """(page, deps) of a wearer's screen already paired; at the end the browser has nothing to complain of."""
    deps = FakeDeps(language=language)
    deps.put(events)
    complaints: list[str] = []
    with serving(deps.app()) as url:
        page = browser.new_context(viewport=viewport, **context).new_page()
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda said: complaints.append(said.text) if "Content Security" in said.text else None)
        page.goto(f"{url}/w/{deps.pairings.code_for(TEST)}")
        page.wait_for_selector("#figure svg")
        yield page, deps
        page.context.close()
    assert complaints == []


def shows(page, figure, line):
    """Waits until the page shows the figure and a line that begins so."""
    page.wait_for_selector(f'#figure [data-figure="{figure}"]')
    page.wait_for_function("begins => document.getElementById('line').textContent.startsWith(begins)", arg=line)


@pytest.mark.parametrize("viewport", [PHONE, TABLET])
def test_pairing_by_keyboard_and_by_touch(browser, viewport):
    deps = FakeDeps(language="es")
    deps.put(since("opened", 1))
    code = deps.pairings.code_for(TEST)
    with serving(deps.app()) as url:
        page = browser.new_context(viewport=viewport, has_touch=True, locale="pl-PL").new_page()
        page.goto(f"{url}/w")
        assert page.evaluate("document.documentElement.lang") == "pl"
        page.keyboard.type("www mmm")  # The field has the focus already; these are the widest letters.
        assert page.evaluate("(f => f.scrollWidth - f.clientWidth)(document.getElementById('code'))") <= 0
        page.keyboard.press("Enter")
        page.wait_for_selector("[role=alert]")
        page.fill("#code", "")
        page.type("#code", code.lower())
        assert page.input_value("#code") == f"{code[:3]} {code[3:]}"
        page.tap("button")
        page.wait_for_url(f"**/w/{code}")
        shows(page, "wait", "Le damos la bienvenida")
        page.tap("#languages a[lang=pl]")
        shows(page, "wait", "Witamy")
        page.context.close()


def test_an_event_in_the_room_changes_the_screen(browser):
    with screen(browser, since("identity-confirmed", 1)) as (page, deps):
        shows(page, "hood", "Please put the hood on")
        deps.put(since("screening-started", 0))
        shows(page, "taste", "Mouth slightly open")
        deps.put(since("hood-removed", 1))
        shows(page, "water", "Rinse your mouth")
        assert page.inner_text("#unit") == "minutes" and page.inner_text("#number") == "7"
        deps.put(since("hood-removed", 9 * 60))
        shows(page, "water", "Is the taste quite gone?")
        assert page.is_hidden("#left")


def test_the_screen_plays_the_score_without_the_server_and_says_so_quietly(browser):
    deps = FakeDeps()
    deps.put(since("run-started", 56.5))
    code = deps.pairings.code_for(TEST)
    with contextlib.ExitStack() as stack:
        url = stack.enter_context(serving(deps.app()))
        page = browser.new_context(viewport=TABLET).new_page()
        page.goto(f"{url}/w/{code}")
        shows(page, "normal", "Breathe normally")
        assert page.inner_text("#place") == "Exercise 1 of 7"
        stack.close()
        shows(page, "hold", "Hold still")
        shows(page, "deep", "Breathe slowly and deeply")
        assert page.inner_text("#place") == "Exercise 2 of 7"
        page.wait_for_selector("#lost", state="visible")
        assert page.inner_text("#lost") == "Connection lost. Just carry on."
        deps.put([*deps.events, event("tasted", wall_ms(), "tester-1", "late-news")])
        with serving(deps.app(), int(url.rsplit(":", 1)[1])):
            shows(page, "stop", "Stop. Please take the hood off.")
            page.wait_for_selector("#lost", state="hidden")
        page.context.close()


def test_a_room_an_hour_ahead_and_a_wrong_tablet_clock_change_nothing(browser):
    deps = FakeDeps()
    deps.offset = 3_600_000
    deps.put(since("run-started", 130, room_ahead_ms=3_600_000))
    with serving(deps.app()) as url:
        page = browser.new_context(viewport=TABLET).new_page()
        page.add_init_script("const real = Date.now; Date.now = () => real() - 86400000")
        page.goto(f"{url}/w/{deps.pairings.code_for(TEST)}")
        shows(page, "side", "Turn your head slowly")
        assert 40 <= int(page.inner_text("#number")) <= 50  # 130 s in, the third minute has 50 s left.
        page.context.close()


def test_a_closed_test_ends_the_screen(browser):
    with screen(browser, since("signed", 1, 2)) as (page, deps):
        shows(page, "stop", "That was the last step")
        deps.put(since("closed", 0))
        shows(page, "done", "All done")
        page.reload()
        page.wait_for_selector("[role=alert]")


def test_stillness_is_kept_where_it_is_asked_for(browser):
    with screen(browser, since("run-started", 130), reduced_motion="reduce") as (page, _):
        shows(page, "side", "Turn your head")
        assert page.evaluate("document.getAnimations().filter(a => a instanceof CSSAnimation).length") == 0
        page.emulate_media(reduced_motion="no-preference")
        page.wait_for_function("document.getAnimations().filter(a => a instanceof CSSAnimation).length > 3")


def test_the_screen_is_kept_awake(browser):
    deps = FakeDeps()
    deps.put(since("opened", 1))
    with serving(deps.app()) as url:
        page = browser.new_context(viewport=TABLET).new_page()
        page.add_init_script("window.asked = []; Object.defineProperty(navigator, 'wakeLock', {value: "
                             "{request: async (what) => window.asked.push(what)}})")
        page.goto(f"{url}/w/{deps.pairings.code_for(TEST)}")
        page.wait_for_function("window.asked.length === 1 && window.asked[0] === 'screen'")
        page.context.close()


# The longest words there are: the reading text, the bend, the pause in talking, the seal break.
MOMENTS = [("run-started", 245, "talk"), ("run-started", 305, "bend"), ("run-started", 271, "hush"),
           ("exercises-ended", 1, "break-seal")]
FITS = """() => {
  const box = (s) => document.querySelector(s).getBoundingClientRect();
  const inside = (s) => { const b = box(s);
    return b.top >= 0 && b.left >= 0 && b.bottom <= innerHeight + 1 && b.right <= innerWidth + 1; };
  const apart = (a, b) => { const p = box(a), q = box(b); return !p.width || !q.width || p.bottom <= q.top + 1
    || q.bottom <= p.top + 1 || p.right <= q.left + 1 || q.right <= p.left + 1; };
  return { shown: [".rule", "#line", "#detail", "#left", "#next", "#place"].filter((s) => !inside(s)),
    overlap: [["#detail", "#left"], ["#line", "#left"], ["#next", ".strip"], ["#detail", ".rule"], ["#left", ".rule"]]
      .filter(([a, b]) => !apart(a, b)),
    scroll: [document.documentElement.scrollWidth - innerWidth, document.documentElement.scrollHeight - innerHeight],
    line: parseFloat(getComputedStyle(document.getElementById("line")).fontSize) / Math.min(innerWidth, innerHeight),
    figure: box("#figure svg").height / innerHeight };
}"""


@pytest.mark.parametrize("language", ["en", "es", "pl"])
def test_everything_fits_and_can_be_read_on_every_screen(browser, language):
    for kind, seconds, figure in MOMENTS:
        with screen(browser, since(kind, seconds), language=language) as (page, _):
            page.wait_for_selector(f'#figure [data-figure="{figure}"]')
            page.evaluate("document.fonts.ready")
            for viewport in (PHONE, TABLET, WALL, LYING):
                page.set_viewport_size(viewport)
                page.wait_for_function("w => document.body.dataset.fitted?.startsWith(w)", arg=f"{viewport['width']}|")
                found = page.evaluate(FITS)
                where = (language, figure, viewport, found)
                assert not found["shown"] and not found["overlap"] and max(found["scroll"]) <= 0, where
                assert found["line"] >= 0.06 and found["figure"] > 0.25, where


def grave(page):
    found = Axe().run(page).response["violations"]
    return [(v["id"], n["html"][:120]) for v in found if v["impact"] in ("serious", "critical") for n in v["nodes"]]


@pytest.mark.parametrize(("viewport", "scheme"), [(PHONE, "dark"), (TABLET, "light")])
def test_axe_finds_nothing_serious(browser, viewport, scheme):
    moments = [since("opened", 1), since("hood-removed", 60), since("run-started", 130), since("run-started", 151),
               since("run-started", 245), since("tasted", 1, 2, taste_in_run_s=100)]
    for events in moments:
        with screen(browser, events, viewport=viewport, color_scheme=scheme) as (page, _):
            assert grave(page) == []
    with serving(FakeDeps().app()) as url:
        page = browser.new_context(viewport=viewport, color_scheme=scheme).new_page()
        page.goto(f"{url}/w")
        assert grave(page) == []
        page.fill("#code", "zzzzzz")
        page.click("button")
        page.wait_for_selector("[role=alert]")
        assert grave(page) == []
        page.context.close()
