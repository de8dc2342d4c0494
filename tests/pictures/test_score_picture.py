"""The picture of a score, on paper and as performed. Names and dates are invented."""

from __future__ import annotations

import re
import shutil
import xml.etree.ElementTree as ET
from itertools import combinations, pairwise
from typing import Any

import msgspec
import pytest

from sealwright.assess import Event, decode, judge
from sealwright.demo.player import play
from sealwright.pictures import Performed, literal, performed_from, score_svg, strip_svg
from sealwright.pictures.pen import COLOURS
from sealwright.pictures.performed import Given
from sealwright.protocols import Score, compile_score, get, published

SVG = "{http://www.w3.org/2000/svg}"
START = 1_790_000_000_000
FACEPIECE = {"id": "fp-1", "make": "Larkwell", "model": "Tern 2", "material": "silicone", "size": "M", "kind": "half",
             "own": True}
HOSTILE = '<script>alert(1)</script> & "quotes" \x00 ]]>'


def score(level: int = 30) -> Score:
    return compile_score(get("us-bitter"), level)


def played(**options: Any) -> list[dict[str, Any]]:
    return play(get("us-bitter"), test_id="t-1", wearer="w-1", facepiece=FACEPIECE, tester="u-1", start_at=START,
                taste_at_squeeze=27, **options)


def decoded(dicts: list[dict[str, Any]]) -> list[Event]:
    return [decode(e["kind"], e["id"], e["at"], e["by"], e["data"]) for e in dicts]


def performed(dicts: list[dict[str, Any]]) -> Performed:
    events = decoded(dicts)
    found = performed_from(events, judge(events))
    assert found is not None
    return found


def troubled() -> list[dict[str, Any]]:
    """A test with a short dose, a late one, one missed, a touched facepiece and a room away for 37 s."""
    dicts = played()
    run = next(e["at"] for e in dicts if e["kind"] == "run-started")
    of = {e["data"]["act"]: e for e in dicts if e["kind"] == "dosed"}
    of["dose-90"]["data"]["squeezes"] = 9
    of["dose-150"]["at"] = run + (150 + 12 + 9) * 1000  # 15 squeezes take 12 s
    dicts.remove(of["dose-240"])
    extra = [("facepiece-touched", 283, {}), ("room-returned", 345, {"away_at": run + 308_000})]
    dicts += [{"id": f"x-{s}", "kind": k, "at": run + s * 1000, "by": "u-1", "data": d} for k, s, d in extra]
    return sorted(dicts, key=lambda e: e["at"])


def texts(svg: str) -> list[str]:
    return [t.text or "" for t in ET.fromstring(svg).iter(f"{SVG}text")]


@pytest.mark.parametrize("protocol", sorted(i for i, p in published().items() if p.method == "taste"))
@pytest.mark.parametrize("width", [390, 1024, 1600])
def test_every_exercise_and_dose_is_drawn_and_told(protocol: str, width: int) -> None:
    made = compile_score(get(protocol), 20)
    svg = score_svg(made, title="A score", width=width)
    root = ET.fromstring(svg)
    told = root.findtext(f"{SVG}desc") or ""
    drawn = {g.get("data-act") for g in root.iter(f"{SVG}g")} - {None}
    assert drawn == {a.id for a in made.acts}
    for act in made.acts:
        assert act.title in told
    # 29 CFR 1910.134 App. A Part I.B.4(b)(7) and (9), read in a faithful copy: level 20 is 20 squeezes, then 10 each
    # 30 s; over seven exercises of 60 s that makes 13 top-ups.
    assert [c.text for c in root.iter(f"{SVG}text") if c.get("class") == "count"] == ["20"] + ["10"] * 13


def test_it_is_one_accessible_image() -> None:
    """WAI-ARIA 1.2 `img` role; SVG Accessibility API Mappings: the name from title, the description from desc."""
    root = ET.fromstring(score_svg(score(), title="Bitter aerosol, level 30"))
    assert root.get("role") == "img"
    named = {e.get("id"): e.text for e in root if e.tag in (f"{SVG}title", f"{SVG}desc")}
    assert named[root.get("aria-labelledby")] == "Bitter aerosol, level 30"
    assert "0:30 Top-up: 15 squeezes, wearer holds still." in (named[root.get("aria-describedby")] or "")


def test_the_same_values_give_the_same_bytes_and_ids_of_their_own() -> None:
    one, same = (score_svg(score(), title="A") for _ in range(2))
    other = score_svg(score(10), title="A")
    assert one == same
    ids = [set(re.findall(r' id="([^"]+)"', svg)) for svg in (one, other)]
    assert ids[0] and not ids[0] & ids[1]


@pytest.mark.parametrize("draw", [lambda t: score_svg(score(), title=t), lambda t: strip_svg(score(), label=t)])
def test_text_from_outside_is_never_markup(draw: Any) -> None:
    svg = draw(HOSTILE)
    root = ET.fromstring(svg)
    assert not list(root.iter(f"{SVG}script"))
    assert root.findtext(f"{SVG}title") == HOSTILE.replace("\x00", "□")


def test_an_exercise_title_from_a_protocol_file_is_never_markup() -> None:
    made = score()
    acts = tuple(msgspec.structs.replace(a, title="<b>&x") if a.kind == "exercise" else a for a in made.acts)
    assert "<b>&x" in texts(score_svg(msgspec.structs.replace(made, acts=acts), title="A"))


def test_folded_lines_grow_down_and_never_across() -> None:
    narrow, wide = (ET.fromstring(score_svg(score(), title="A", width=w)) for w in (390, 1600))
    assert (narrow.get("width"), wide.get("width")) == ("390", "1600")
    assert float(narrow.get("height") or 0) > 2 * float(wide.get("height") or 0)
    assert ET.fromstring(score_svg(score(), title="A", width=1600, fold=2)).get("height") != wide.get("height")


def test_the_strip_places_each_act_by_its_second() -> None:
    """The browser moves the strip by `data-origin` + seconds x `data-px-per-s`; the notes must stand just there."""
    root = ET.fromstring(strip_svg(score(), px_per_s=9))
    origin, pps = float(root.get("data-origin") or 0), float(root.get("data-px-per-s") or 0)
    assert (root.get("height"), pps) == ("150", 9.0)
    doses = [g for g in root.iter(f"{SVG}g") if g.get("data-kind") == "dose"]
    assert len(doses) == 14
    for g in doses:
        head = next(e for e in g.iter(f"{SVG}ellipse"))
        foot = next(e for e in g.iter(f"{SVG}rect") if e.get("class") == "foot")
        at, lasts = float(g.get("data-at") or 0), float(g.get("data-lasts") or 0)
        assert float(head.get("cx") or 0) == pytest.approx(origin + at * pps, abs=0.02)
        assert float(foot.get("width") or 0) == pytest.approx(lasts * pps, abs=0.02)
        assert g.get("id") == f"act-{g.get('data-act')}"


def test_a_standalone_picture_knows_dark_and_print_and_an_inlined_one_takes_the_pages_colours() -> None:
    alone, inlined = score_svg(score(), title="A"), score_svg(score(), title="A", standalone=False)
    assert "@media screen and (prefers-color-scheme:dark)" in alone  # so that paper stays light
    assert "<style" not in inlined and "var(--dose,#9a5200)" in inlined
    assert "var(" not in literal(inlined) and "#9a5200" in literal(inlined)


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2, "relative luminance"."""
    channels = [int(colour[i:i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


@pytest.mark.parametrize("which", [0, 1])
@pytest.mark.parametrize("name", ["ink", "faint", "dose", "taste", "exercise", "good"])
def test_colours_of_text_keep_contrast(name: str, which: int) -> None:
    """WCAG 2.2, success criterion 1.4.3: 4.5 : 1 for text (1.4.11 asks 3 : 1 of lines)."""
    a, b = sorted((luminance(COLOURS[name][which]), luminance(COLOURS["paper"][which])))
    assert (b + 0.05) / (a + 0.05) >= 4.5


# As performed

def test_a_test_by_the_book_shows_every_dose_given() -> None:
    done = performed(played())
    assert [g.squeezes for g in done.doses] == [30] + [15] * 13
    assert done.seal_break and done.seal_break.yes
    svg = score_svg(score(), title="A", performed=done)
    assert svg.count('class="due"') == 14 and 'class="missed"' not in svg
    assert {"Mist seen", "Seal broken: tasted"} <= set(texts(svg))


def test_a_taste_ends_the_picture_in_words_and_shape() -> None:
    done = performed(played(taste_in_run_s=134.2))
    assert done.tastes == (134.2,) and done.ends_s == 134.2
    svg = score_svg(score(), title="A", performed=done)
    assert "Tasted at 2:14" in texts(svg) and texts(svg).count("not done") == 4
    assert 'class="missed"' not in svg  # what came after the end was never due
    assert "2:30 Top-up: 15 squeezes, wearer holds still; not reached." in svg


def test_departures_are_drawn_and_told() -> None:
    svg = score_svg(score(), title="A", performed=performed(troubled()))
    assert {"9 of 15", "9 s late", "15 missed", "Facepiece touched at 4:43", "Room away 37 s"} <= set(texts(svg))
    assert svg.count('class="missed"') == 1
    pattern = re.search(r'<pattern[^>]* id="([^"]+)"', svg)
    assert pattern and f'fill="url(#{pattern[1]})"' in svg


def test_a_dose_taken_back_is_not_given() -> None:
    dicts = played()
    wrong = next(e for e in dicts if e["kind"] == "dosed" and e["data"]["act"] == "dose-30")
    i = dicts.index(wrong) + 1
    dicts.insert(i, {"id": "x-1", "kind": "taken-back", "at": wrong["at"] + 2000, "by": "u-1",
                     "data": {"event": wrong["id"]}})
    assert "dose-30" not in {g.act for g in performed(dicts).doses}
    dicts[i]["at"] = wrong["at"] + 60_000  # too late: the verdict does not accept it, nor does the picture
    dicts.sort(key=lambda e: e["at"])
    assert "dose-30" in {g.act for g in performed(dicts).doses}


def test_no_run_no_overlay() -> None:
    events = decoded(play(get("us-bitter"), test_id="t-1", wearer="w-1", facepiece=FACEPIECE, tester="u-1",
                          start_at=START, taste_at_squeeze=None))
    assert performed_from(events, judge(events)) is None


def test_times_far_off_the_paper_stay_on_it() -> None:
    """A record may say anything; the picture stays within its frame."""
    done = Performed(ends_s=1e6, doses=(Given(act="dose-0", at_s=-1e6, squeezes=30),), tastes=(1e6,), touched=(-1e6,))
    root = ET.fromstring(score_svg(score(), title="A", performed=done, width=1024))
    assert float(root.get("height") or 0) < 2000


# With our own eyes: the words are measured in a real browser

def browser_boxes(svgs: list[tuple[str, int]]) -> list[list[dict[str, Any]]]:
    from playwright.sync_api import sync_playwright

    script = """() => [...document.querySelectorAll('text')].filter(t => t.textContent).map(t => {
        const b = t.getBoundingClientRect();
        return {text: t.textContent, x: b.x, y: b.y, w: b.width, h: b.height,
                size: parseFloat(getComputedStyle(t).fontSize)}})"""
    with sync_playwright() as p:
        browser = p.chromium.launch(executable_path=shutil.which("chromium"), args=[
            "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
            "--disable-sync", "--no-first-run", "--disable-default-apps"])
        found = []
        for svg, width in svgs:
            page = browser.new_page(viewport={"width": width, "height": 900})
            page.set_content(f"<body style='margin:0;font-family:system-ui'>{svg}</body>")
            found.append(page.evaluate(script))
            page.close()
        browser.close()
    return found


def overlapping(boxes: list[dict[str, Any]]) -> list[tuple[str, str]]:
    """Pairs of words that lie over one another; lines of one name may touch by their empty margins."""
    def over(a: dict[str, Any], b: dict[str, Any]) -> bool:
        across = min(a["x"] + a["w"], b["x"] + b["w"]) - max(a["x"], b["x"])
        down = min(a["y"] + a["h"], b["y"] + b["h"]) - max(a["y"], b["y"])
        return across > 0.5 and down > 0.35 * min(a["h"], b["h"])
    return [(a["text"], b["text"]) for a, b in combinations(boxes, 2) if over(a, b)]


@pytest.mark.browser
@pytest.mark.skipif(not shutil.which("chromium"), reason="no chromium")
def test_no_word_lies_over_another_or_leaves_the_paper() -> None:
    cases = [(width, done) for width in (390, 768, 1024, 1600)
             for done in (None, performed(played()), performed(played(taste_in_run_s=134.2)), performed(troubled()))]
    svgs = [(score_svg(score(), title="Bitter aerosol, US", width=w, performed=d), w) for w, d in cases]
    svgs.append((strip_svg(score()), 4000))
    for boxes, (_, width) in zip(browser_boxes(svgs), svgs, strict=True):
        assert all(b["size"] >= 12 for b in boxes)
        assert all(b["x"] >= 0 and b["x"] + b["w"] <= width for b in boxes)
        assert not overlapping(boxes), (width, overlapping(boxes))


def test_minutes_stand_in_order_along_the_ruler() -> None:
    root = ET.fromstring(score_svg(score(), title="A", width=1600))
    ruler = [(t.text, float(t.get("x") or 0)) for t in root.iter(f"{SVG}text") if t.get("class") == "clock"]
    assert [t for t, _ in ruler] == [f"{m}:00" for m in range(8)]
    gaps = [b - a for (_, a), (_, b) in pairwise(ruler)]
    assert max(gaps) - min(gaps) < 0.05


def test_a_taste_during_the_first_dose_is_drawn_before_second_zero() -> None:
    done = performed(played(taste_in_run_s=-6))
    assert done.exercises == () and done.tastes == (pytest.approx(-6, abs=1.5),)
    drawn = score_svg(score(), title="Bitter", performed=done)
    assert any("Tasted" in t for t in texts(drawn))
    assert sum("not done" in t for t in texts(drawn)) >= 7
