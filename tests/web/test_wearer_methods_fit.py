"""The longest words of the methods without a taste fit every screen, in a real browser."""

from __future__ import annotations

import pytest
from tests.browser.test_wearer_page import FITS, LYING, PHONE, TABLET, WALL, grave, screen, shows, wall_ms
from tests.web.test_wearer_methods import whole
from tests.web.wearer_fake import until

from sealwright.assess import event

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("wearer-page")]

MOMENTS = [
    ("us-vapour", "identity-confirmed", 1, "smell"), ("us-vapour", "exposure-begun", 5, "chamber"),
    ("us-vapour", "seal-broken", 1, "leave"), ("us-smoke", "identity-confirmed", 1, "whiff"),
    ("us-smoke", "run-started", 245, "talk"), ("us-smoke", "exercises-ended", 1, "whiff"),
    ("uk-counting", "run-started", 245, "talk"), ("us-aerosol", "comfort-judged", 1, "connect"),
    ("us-pressure-redon", "run-started", 95, "redon"), ("us-pressure-redon", "run-started", 71, "hold-breath"),
    ("us-pressure", "run-started", 330, "talk"),
]


def since(protocol, kind, seconds):
    """A scripted test, moved so that the event was `seconds` ago; cut there."""
    events = until(whole(protocol), kind)
    gap = wall_ms() - round(seconds * 1000) - events[-1].at
    return [event(e.__struct_config__.tag, e.at + gap, e.by, e.id,
                  **{f: getattr(e.data, f) for f in e.data.__struct_fields__ if getattr(e.data, f) is not None})
            for e in events]


@pytest.mark.parametrize("language", ["en", "es", "pl"])
def test_everything_fits_and_can_be_read_on_every_screen(browser, language):
    for protocol, kind, seconds, figure in MOMENTS:
        with screen(browser, since(protocol, kind, seconds), language=language) as (page, _):
            page.wait_for_selector(f'#figure [data-figure="{figure}"]')
            page.evaluate("document.fonts.ready")
            for viewport in (PHONE, TABLET, WALL, LYING):
                page.set_viewport_size(viewport)
                page.wait_for_function("w => document.body.dataset.fitted?.startsWith(w)", arg=f"{viewport['width']}|")
                found = page.evaluate(FITS)
                where = (language, protocol, figure, viewport, found)
                assert not found["shown"] and not found["overlap"] and max(found["scroll"]) <= 0, where
                assert found["line"] >= 0.06 and found["figure"] > 0.25, where


def test_the_breath_is_counted_down_on_the_screen(browser):
    with screen(browser, since("us-pressure", "run-started", 61)) as (page, _):
        shows(page, "hold-breath", "Hold your breath now")
        page.wait_for_function("() => +document.getElementById('number').textContent <= 8")
        assert page.evaluate("document.body.dataset.dosing") == "true"
        assert grave(page) == []
