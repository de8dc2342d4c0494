"""The picture of a test that measures, and of vapour and smoke. Names, times and readings are invented."""

from __future__ import annotations

import re
import shutil
import xml.etree.ElementTree as ET
from typing import Any

import pytest
from tests.pictures.test_score_picture import FACEPIECE, START, SVG, browser_boxes, overlapping, texts

from sealwright.assess import Event, event
from sealwright.assess.verdict import Verdict
from sealwright.pictures import Performed, performed_from, score_svg, strip_svg
from sealwright.pictures.performed import Sampled
from sealwright.protocols import CountingProtocol, compile_score, get, published

UNDOSED = sorted(i for i, p in published().items() if p.method != "taste")
MEASURED = [i for i in UNDOSED if get(i).quantitative]


def opened(protocol: str) -> list[Event]:
    data = {"protocol": protocol, "protocol_version": "1", "wearer": "w-1", "facepiece": FACEPIECE,
            "tester": {"id": "u-1"}}
    return [event("opened", START - 900_000, "u-1", "e-0", **data)]


def run(protocol: str, *more: tuple[float, str, dict[str, Any]]) -> Performed:
    """A run by the score of which `more` is told: (second, kind, data)."""
    score = compile_score(get(protocol))
    told = [(0.0, "run-started", {}), *more]
    told += [(float(a.at), "exercise-started", {"exercise": a.exercise}) for a in score.of("exercise")]
    if not any(kind == "noticed" for _, kind, _ in more):
        told.append((float(score.lasts), "exercises-ended", {}))
    told.sort(key=lambda t: t[0])
    events = opened(protocol) + [event(kind, START + round(s * 1000), "u-1", f"e-{n}", **data)
                                 for n, (s, kind, data) in enumerate(told, 1)]
    verdict = Verdict(result="unfinished", reason="", protocol=protocol, protocol_version="1", wearer="w-1",
                      findings=(), next=(), started_at=START)
    found = performed_from(events, verdict)
    assert found is not None
    return found


def stretch(air: str, at: float, seconds: int) -> tuple[float, str, dict[str, Any]]:
    return (at + seconds, "samples-taken", {"air": air, "started_at": START + round(at * 1000), "step_ms": 1000,
                                            "unit": "count", "values": [1] * seconds})


def by_the_score(protocol: str) -> list[tuple[float, str, dict[str, Any]]]:
    return [stretch(a.air, a.at, a.lasts) for a in compile_score(get(protocol)).of("sample")]


@pytest.mark.parametrize("protocol", UNDOSED)
@pytest.mark.parametrize("width", [390, 1024, 1600])
def test_every_act_is_drawn_and_told_and_no_level_or_squeeze_is(protocol: str, width: int) -> None:
    made = compile_score(get(protocol))
    root = ET.fromstring(score_svg(made, title="A score", width=width))
    told = root.findtext(f"{SVG}desc") or ""
    assert {g.get("data-act") for g in root.iter(f"{SVG}g")} - {None} == {a.id for a in made.acts}
    assert all(a.title in told for a in made.acts)
    assert not re.search(r"level|squeeze|dose|mist", " ".join([told, *texts(ET.tostring(root, "unicode"))]))


@pytest.mark.parametrize("protocol", UNDOSED)
def test_the_strip_places_each_act_by_its_second(protocol: str) -> None:
    """The browser moves the strip by `data-origin` + seconds x `data-px-per-s`; samples must stand just there."""
    made = compile_score(get(protocol))
    root = ET.fromstring(strip_svg(made, px_per_s=12))
    origin = float(root.get("data-origin") or 0)
    assert (root.get("height"), root.get("data-px-per-s")) == ("150", "12")
    drawn = {g.get("data-act"): g for g in root.iter(f"{SVG}g") if g.get("data-act")}
    assert drawn.keys() == {a.id for a in made.acts}
    for act in made.of("sample"):
        g = drawn[act.id]
        assert (g.get("data-kind"), g.get("data-at"), g.get("data-lasts")) == ("sample", str(act.at), str(act.lasts))
        part = next(e for e in g if act.air in (e.get("class") or "").split())
        x = part.get("x") or (part.get("d") or "")[1:].split()[0]
        assert float(x) == pytest.approx(origin + act.at * 12 + 1, abs=0.02)
        if act.air != "hold":
            assert float(part.get("width") or 0) == pytest.approx(act.lasts * 12 - 2, abs=0.02)


def test_the_airs_are_told_apart_by_shape_and_word() -> None:
    """WCAG 2.2, success criterion 1.4.1: colour is not the only means."""
    def shapes(protocol: str) -> dict[str, set[tuple[str, bool]]]:
        found: dict[str, set[tuple[str, bool]]] = {}
        for e in ET.fromstring(strip_svg(compile_score(get(protocol)), px_per_s=12)).iter():
            for air in {"ambient", "mask", "hold"} & set((e.get("class") or "").split()):
                found.setdefault(air, set()).add((e.tag.removeprefix(SVG), e.get("rx") is not None))
        return found

    assert shapes("us-counting") == {"ambient": {("rect", False)}, "mask": {("rect", True)}}
    assert shapes("us-pressure") == {"hold": {("path", False)}}
    assert {"Room air", "Mask air"} <= set(texts(strip_svg(compile_score(get("us-counting")), px_per_s=12)))
    assert "Breath held" in texts(strip_svg(compile_score(get("us-pressure")), px_per_s=12))


def test_what_is_left_out_of_the_overall_factor_stands_in_brackets_and_is_told() -> None:
    # The grimace is left out of the overall fit factor: 29 CFR 1910.134 App. A Part I.A.14(b), from memory.
    made = compile_score(get("us-counting"))
    assert [a.title for a in made.acts if not a.counts] == ["Grimace"]
    svg = score_svg(made, title="A", width=1600)
    assert svg.count('class="aside"') == 1 and "5:00 Grimace, 15 s, not counted." in svg
    assert {"Grimace", "not counted in the overall factor"} <= set(texts(svg))
    assert 'class="aside"' not in score_svg(compile_score(get("us-counting-short")), title="A")


def test_short_stretches_of_the_modified_protocol_are_told_in_order() -> None:
    # 29 CFR 1910.134 App. A Part I.C.4, table of samples, from memory: 20 s ambient, then 30 s of mask air in each.
    told = ET.fromstring(score_svg(compile_score(get("us-counting-short")), title="A")).findtext(f"{SVG}desc") or ""
    sampled = re.findall(r"(\d:\d\d) (Room air|Mask air), (\d+) s", told)
    assert sampled == [("0:00", "Room air", "20"), ("0:20", "Mask air", "30"), ("0:50", "Mask air", "30"),
                       ("1:20", "Mask air", "30"), ("1:50", "Mask air", "30"), ("2:20", "Room air", "9")]


# As performed

def test_samples_are_stretches_of_one_air_joined_where_they_meet() -> None:
    first, second = stretch("mask", 0, 20), stretch("mask", 20, 25)
    done = run("us-counting", stretch("ambient", -15, 15), first, second, stretch("ambient", 50, 10))
    assert done.samples == (Sampled(air="ambient", at_s=-15, lasts=15), Sampled(air="mask", at_s=0, lasts=45),
                            Sampled(air="ambient", at_s=50, lasts=10))


def test_a_test_sampled_by_its_score_shows_nothing_missed_and_one_that_is_not_shows_what() -> None:
    whole = by_the_score("us-counting")
    full, holed = run("us-counting", *whole), run("us-counting", *whole[:3], *whole[5:])
    made = compile_score(get("us-counting"))
    drawn, lacking = (score_svg(made, title="A", performed=p, width=1600) for p in (full, holed))
    assert "not taken." not in drawn and drawn.count("; taken.") == len(made.of("sample"))
    assert lacking.count("; not taken.") == 2
    assert "due, not taken; below it, as sampled" in texts(lacking)


def test_numbers_typed_or_leaks_read_count_as_taken() -> None:
    read = [(500.0 + n, "exercise-read", {"exercise": e.id, "factor_milli": 900_000})
            for n, e in enumerate(get("us-counting").exercises)]
    done = run("us-counting", *read)
    assert done.samples == () and "not taken." not in score_svg(compile_score(get("us-counting")), title="A",
                                                                performed=done)
    leaks = [(a.at + a.lasts, "leak-read", {"exercise": a.exercise, "leak_ul_min": 40_000})
             for a in compile_score(get("us-pressure")).of("sample") if a.exercise != "deep"]
    svg = score_svg(compile_score(get("us-pressure")), title="A", performed=run("us-pressure", *leaks))
    assert re.findall(r"(\d:\d\d) Breath held, 10 s; not taken", svg) == ["2:10"]


@pytest.mark.parametrize(("protocol", "word"), [("us-vapour", "Smelled"), ("us-smoke", "Reacted")])
def test_noticing_ends_the_picture_in_the_methods_own_word(protocol: str, word: str) -> None:
    done = run(protocol, (134.2, "noticed", {}))
    assert done.tastes == (134.2,) and done.ends_s == 134.2
    said = texts(score_svg(compile_score(get(protocol)), title="A", performed=done))
    assert f"{word} at 2:14" in said and said.count("not done") == 4
    assert f"{word.lower()}: the test ends" in said and not any("ast" in s and "aste" in s for s in said)


@pytest.mark.parametrize(("protocol", "yes", "said"), [
    ("us-vapour", True, "Seal broken: smelled"), ("us-vapour", False, "Seal broken: not smelled"),
    ("us-smoke", True, "Facepiece off: reacted"), ("us-smoke", False, "Facepiece off: no reaction")])
def test_the_closing_question_is_the_methods_own(protocol: str, yes: bool, said: str) -> None:
    done = run(protocol, (428.0, "seal-broken", {"tasted": yes}))
    assert said in texts(score_svg(compile_score(get(protocol)), title="A", performed=done))


def test_a_far_off_record_stays_on_the_paper() -> None:
    done = Performed(ends_s=1e6, samples=(Sampled(air="mask", at_s=-1e6, lasts=3e6),), read=("nothing",))
    root = ET.fromstring(score_svg(compile_score(get("us-counting")), title="A", performed=done, width=1024,
                                   standalone=False))
    wide = [float(e.get("width") or 0) for e in root.iter(f"{SVG}rect")]
    assert float(root.get("height") or 0) < 2000 and max(wide) <= 1024


# With our own eyes

@pytest.mark.browser
@pytest.mark.skipif(not shutil.which("chromium"), reason="no chromium")
def test_no_word_lies_over_another_or_leaves_the_paper() -> None:
    svgs = [(score_svg(compile_score(get(i)), title=get(i).title, width=w), w) for i in UNDOSED for w in (390, 1100)]
    performed = {i: run(i, *by_the_score(i)) for i in MEASURED if isinstance(get(i), CountingProtocol)}
    performed["us-smoke"] = run("us-smoke", (428.0, "seal-broken", {"tasted": False}))
    svgs += [(score_svg(compile_score(get(i)), title="A", width=390, performed=p), 390) for i, p in performed.items()]
    svgs += [(strip_svg(compile_score(get(i)), px_per_s=12), 9000) for i in UNDOSED]
    for boxes, (_, width) in zip(browser_boxes(svgs), svgs, strict=True):
        assert boxes and all(b["size"] >= 12 for b in boxes)
        assert all(b["x"] >= 0 and b["x"] + b["w"] <= width for b in boxes)
        assert not overlapping(boxes), (width, overlapping(boxes))
