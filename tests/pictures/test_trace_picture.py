"""Pictures of traces and fit factors: everything on the paper, said in words too, the same bytes each time."""

from __future__ import annotations

import math
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from dataclasses import dataclass

import pytest

from sealwright.assess.measured import Factor, Measured
from sealwright.pictures.frame import frame, shown
from sealwright.pictures.trace import factor_svg, live_svg, trace_svg

SVG = "{http://www.w3.org/2000/svg}"
TITLES = ["Normal breathing", "Deep breathing", "Head side to side", "Grimace"]


@dataclass
class Stretch:
    exercise: str
    air: str
    start_s: float
    end_s: float
    title: str = ""


WINDOWS = [Stretch("", "ambient", 0, 20), *(Stretch(f"e{i}", "mask", 20 + 60 * i, 65 + 60 * i, t)
                                            for i, t in enumerate(TITLES)), Stretch("", "ambient", 245, 260)]
T = [float(s) for s in range(260)]
MASK = [2000.0 if s < 20 or s > 245 else 0.0 if s % 5 == 0 else 10 + s % 7 for s in range(260)]


def measured() -> Measured:
    factors = (Factor(exercise="e0", title=TITLES[0], factor=152.0, low=101, high=260),
               Factor(exercise="e1", title=TITLES[1], factor=80.4, low=50, high=140),
               Factor(exercise="e2", title=TITLES[2], factor=None, low=4300),
               Factor(exercise="e3", title=TITLES[3], factor=12.0, counts=False))
    return Measured(exercises=factors, overall=Factor(exercise="", factor=120.0, low=90, high=170), pass_level=100,
                    pass_rule="overall", passed=True)


def drawn(svg: str) -> ET.Element:
    return ET.fromstring(svg)


def words_in(root: ET.Element) -> list[str]:
    return ["".join(e.itertext()) for e in root.iter(f"{SVG}text")]


def of_class(root: ET.Element, name: str) -> list[ET.Element]:
    return [e for e in root.iter() if name in (e.get("class") or "").split()]


def pictures(width: int) -> list[str]:
    exercises = [(t, 60.0 * i, 60.0 * i + 60) for i, t in enumerate(TITLES)]
    running = [None if s < 9 else 90.0 + s % 50 for s in range(150)]
    return [trace_svg(T, MASK, None, WINDOWS, title="One channel", width=width, factors=measured(), pass_level=100,
                      purge_s=5), trace_svg(T, MASK, [2000.0] * 260, WINDOWS, title="Two", width=width),
            factor_svg(measured(), title="Factors", width=width, pass_level=100, live="e1"),
            live_svg([float(s) for s in range(150)], running, exercises, 100, width)]


@pytest.mark.parametrize("width", [390, 1000, 1600])
def test_everything_stays_on_the_paper(width: int) -> None:
    for svg in pictures(width):
        root = drawn(svg)
        tall = float(root.get("height") or 0)
        for e in root.iter():
            for name, most in (("x", width), ("x1", width), ("x2", width), ("cx", width), ("y", tall), ("y1", tall),
                               ("y2", tall), ("cy", tall)):
                assert 0 <= float(e.get(name) or 0) <= most, (e.tag, e.attrib)
        for path in of_class(root, "curve"):
            assert all(0 <= float(x) <= width for x in re.findall(r"[ML]([\d.-]+) ", path.get("d") or ""))


def test_same_values_same_bytes_and_a_name_and_a_description() -> None:
    for svg, again in zip(pictures(1000), pictures(1000), strict=True):
        root = drawn(svg)
        assert svg == again and root.find(f"{SVG}title") is not None and root.find(f"{SVG}desc") is not None


def test_hostile_names_are_harmless() -> None:
    window = Stretch("x", "mask", 0, 200, '<script>alert(1)</script> & "x" \x00')
    svg = trace_svg(T, MASK, None, [window], title="<b>&", width=600)
    assert "<script" not in svg and "<b>" not in svg
    drawn(svg)


def test_windows_are_bands_with_names_and_the_left_out_seconds_are_hatched() -> None:
    root = drawn(trace_svg(T, MASK, None, WINDOWS, title="t", width=1600, factors=measured(), pass_level=100,
                           purge_s=5))
    assert len(of_class(root, "band")) == 6 and len(of_class(root, "purge")) == 6
    said = " ".join(words_in(root))
    assert "Normal breathing" in said and "80.4 below" in said and "over 4,300" in said
    band, hatched = of_class(root, "mask")[0], of_class(root, "purge")[1]
    assert float(hatched.get("width") or 0) / float(band.get("width") or 1) == pytest.approx(5 / 45, rel=0.01)


def test_names_without_room_become_numbers_with_a_key() -> None:
    said = words_in(drawn(trace_svg(T, MASK, None, WINDOWS, title="t", width=390, factors=measured())))
    assert "1" in said and "Normal breathing: 152" in said


def test_two_channels_are_two_lines_and_one_shade() -> None:
    both = [Stretch("e", air, 20, 80, "Talking") for air in ("mask", "ambient")]
    root = drawn(trace_svg(T, MASK, [2000.0] * 260, both, title="t", width=1000))
    assert len(of_class(root, "curve")) == 2 and len(of_class(root, "band")) == 1
    assert {"mask", "room air"} <= set(words_in(root))


def test_equal_ratios_are_equal_ways_and_zero_lies_below_them_all() -> None:
    f = frame([0, 1, 1000], 0, 100, 10, 310)
    assert f.y(10) - f.y(100) == pytest.approx(f.y(100) - f.y(1000)) and f.y(0) == 310 > f.y(1) == 292
    assert frame([1, 1000], 0, 100, 10, 310).y(1) == 310


def test_missing_values_break_the_line() -> None:
    values = [5.0, 6.0, math.nan, 7.0, 8.0]
    (curve,) = of_class(drawn(trace_svg([0, 1, 2, 3, 4], values, None, [], title="t", width=400)), "curve")
    assert (curve.get("d") or "").count("M") == 2


def test_long_traces_keep_their_extremes_in_few_points() -> None:
    values = [1000.0] * 100_000
    values[54_321] = 90_000.0
    svg = trace_svg(list(range(100_000)), values, None, [], title="t", width=800)
    (curve,) = of_class(drawn(svg), "curve")
    heights = [float(y) for y in re.findall(r"[ML][\d.]+ ([\d.]+)", curve.get("d") or "")]
    assert len(svg) < 60_000 and min(heights) < max(heights) - 20


@pytest.mark.parametrize("given", [([], []), ([1.0], [0.0]), ([1.0, 2.0], [math.nan, math.nan])])
def test_nearly_nothing_can_be_drawn(given: tuple[list[float], list[float]]) -> None:
    drawn(trace_svg(*given, None, [], title="t", width=390))
    drawn(live_svg([], [], [], None, 390))
    drawn(factor_svg(Measured(exercises=(), overall=Factor(exercise="", factor=None), pass_level=100,
                              pass_rule="each", passed=False), title="t", width=390))


# Factors

def test_signs_and_words_say_what_colours_say() -> None:
    svg = factor_svg(measured(), title="t", width=1000, pass_level=100)
    root = drawn(svg)
    diamonds = [e for e in of_class(root, "sign") if e.tag == f"{SVG}path"]
    assert len(diamonds) == 2 and len(of_class(root, "bound")) == 1 and len(of_class(root, "level")) == 1
    said = " ".join(words_in(root))
    for word in ("over 4,300", "pass level 100", "(left out)", "diamond: below the pass level",
                 "whisker: 95 % interval"):
        assert word in said
    desc = root.find(f"{SVG}desc")
    assert desc is not None and "Deep breathing 80.4, between 50 and 140, below the pass level." in (desc.text or "")


def test_the_overall_factor_stands_at_the_right() -> None:
    root = drawn(factor_svg(measured(), title="t", width=1000, pass_level=100))
    at = {"".join(e.itertext()): float(e.get("x") or 0) for e in root.iter(f"{SVG}text")}
    assert at["Overall"] > max(at["Grimace"], at["(left out)"])


def test_narrow_paper_puts_the_figures_in_a_key_with_the_same_words() -> None:
    said = words_in(drawn(factor_svg(measured(), title="t", width=300, pass_level=100)))
    assert "Deep breathing 80.4 below" in said and "Grimace 12 below (left out)" in said and "overall 120" in said


def test_the_exercise_under_way_is_named() -> None:
    assert "now" in words_in(drawn(factor_svg(measured(), title="t", pass_level=100, live="e1")))
    assert "now" not in words_in(drawn(factor_svg(measured(), title="t", pass_level=100, live="none")))


def test_the_running_factor_says_above_or_below() -> None:
    for last, word in ((150.0, "150 above"), (80.0, "80 below")):
        svg = live_svg([0, 1, 2], [None, 120.0, last], [("Talking", 0.0, 30.0)], 100, 600)
        assert word in words_in(drawn(svg)) and f"Now {last:g}" in svg
    assert "Not known yet" in live_svg([0.0], [None], [], 100, 600)


@pytest.mark.parametrize(("value", "said"), [(1239.6, "1,240"), (96.44, "96.4"), (1.234, "1.23"), (0, "0"),
                                             (123456, "123,000"), (math.inf, "not known")])
def test_numbers_are_shown_in_three_figures(value: float, said: str) -> None:
    assert shown(value) == said


def test_pictures_need_no_number_library() -> None:
    code = "import sys, sealwright.pictures.trace; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
