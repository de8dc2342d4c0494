"""The picture of two methods side by side."""

from __future__ import annotations

import random
import re
import xml.etree.ElementTree as ET

import pytest

from sealwright.insight.agreement import Agreement, Pair, compare, from_table
from sealwright.pictures.agreement import MOST, agreement_svg
from sealwright.pictures.logaxis import LogAxis

SVG = "{http://www.w3.org/2000/svg}"


def sample(n: int = 60) -> tuple[Agreement, list[Pair]]:
    chance = random.Random(3)
    factors = [round(10 ** chance.gauss(2.1, 0.75), 1) for _ in range(n)]
    pairs = [Pair(passed=f * 10 ** chance.gauss(0, 0.2) >= 100, factor=f) for f in factors]
    return compare(pairs, 100, 0.2), pairs


@pytest.mark.parametrize("width", [360, 1000, 1600])
def test_everything_stays_on_the_paper(width: int) -> None:
    found, pairs = sample()
    root = ET.fromstring(agreement_svg(found, pairs, title="Bitter aerosol against particle counting", width=width))
    tall = float(root.get("height") or 0)
    for e in root.iter(f"{SVG}circle"):
        assert 0 <= float(e.get("cx") or 0) <= width - 36
    moves = [re.search(r" ([\d.]+)\)", g.get("transform", "")) for g in root.findall(f"{SVG}g")]
    tops = [float(m.group(1)) for m in moves if m]
    assert tops == sorted(tops) and max(tops) < tall


def test_each_pair_of_the_table_is_one_sign_and_wrong_passes_are_diamonds() -> None:
    root = ET.fromstring(agreement_svg(from_table(5, 2, 3, 7), title="t"))
    signs = [e for e in root.iter() if e.get("class") == "sign"]
    assert len(signs) == 17 and sum(e.tag == f"{SVG}path" for e in signs) == 3


def test_a_great_table_stands_for_several_and_says_so() -> None:
    svg = agreement_svg(from_table(900, 0, 20, 1000), title="t")
    assert svg.count('class="sign"') <= 4 * MOST and "a sign stands for 5" in svg


def test_words_say_what_colours_say() -> None:
    found, pairs = sample()
    svg = agreement_svg(found, pairs, title="t")
    assert {"not met", "met"} & set(re.findall(r">([a-z, ]+)</text>", svg))
    assert f"{found.table.c} passed with a poor fit" in svg and "left out: 83.3 to 120" in svg


def test_same_values_same_bytes_and_hostile_titles_are_harmless() -> None:
    found, pairs = sample()
    title = '<script>alert(1)</script> & "quotes" \x00'
    svg = agreement_svg(found, pairs, title=title)
    assert svg == agreement_svg(found, pairs, title=title) and "<script" not in svg
    ET.fromstring(svg)


@pytest.mark.parametrize("cells", [(0, 0, 0, 0), (1, 0, 0, 0), (0, 0, 0, 1)])
def test_nearly_empty_tables_can_be_drawn(cells: tuple[int, int, int, int]) -> None:
    assert "cannot be told" in agreement_svg(from_table(*cells), title="t", width=360)


def test_the_axis_holds_its_values_and_equal_ratios_are_equal_ways() -> None:
    axis = LogAxis.over([0.3, 4000], 10, 410)
    assert (axis.low, axis.high) == (0.1, 10_000) and axis.decades() == pytest.approx([0.1, 1, 10, 100, 1000, 10_000])
    assert axis.x(200) - axis.x(100) == pytest.approx(axis.x(20) - axis.x(10))
    assert LogAxis.over([100, 100], 0, 1).high == 1000
