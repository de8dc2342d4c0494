"""The picture of three factors that are not one."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from typing import Any

import pytest

from sealwright.pictures.protection import figure, protection_svg
from sealwright.programme.protection import workplace_protection_factor

SVG = "{http://www.w3.org/2000/svg}"
MEASURED = workplace_protection_factor([90, 40, 20, 300, 75, 61], [1] * 6)


@pytest.mark.parametrize("width", [360, 1000, 1600])
@pytest.mark.parametrize("given", [
    {}, {"fit_factor": 340, "needed": 8, "wpf": MEASURED}, {"fit_factor": 12, "needed": 25},
    {"fit_factor": 0.4, "needed": 0.02}, {"needed": 40_000}])
def test_every_mark_stays_on_the_paper(width: int, given: dict[str, Any]) -> None:
    root = ET.fromstring(protection_svg(apf=10, pass_level=100, width=width, **given))
    xs = [float(e.get(k) or 0) for e in root.iter(f"{SVG}line") for k in ("x1", "x2")]
    xs += [float(e.get("cx") or 0) for e in root.iter(f"{SVG}circle")] + [float(e.get("x") or 0) for e in
                                                                          root.iter(f"{SVG}text")]
    assert min(xs) >= 0 and max(xs) <= width
    assert all(float(e.get("width", "1").rstrip("%")) >= 0 for e in root.iter(f"{SVG}rect"))


def test_words_say_whether_it_is_enough() -> None:
    assert "the air asks for 8<" in protection_svg(apf=10, pass_level=100, needed=8)
    assert "the air asks for 25: too much" in protection_svg(apf=10, pass_level=100, needed=25)
    assert "72, not reached" in protection_svg(apf=10, pass_level=100, fit_factor=72)
    assert "no number measured" in protection_svg(apf=10, pass_level=100)
    assert "not measured" in protection_svg(apf=10, pass_level=100)
    assert protection_svg(apf=10, pass_level=100, wpf=MEASURED).count("<circle") == 6


def test_what_the_air_asks_for_touches_the_assigned_factor_alone() -> None:
    """The mark of what is needed lies in one lane: the others must not be read against it."""
    plain, asked = (protection_svg(apf=10, pass_level=100, fit_factor=340, needed=n) for n in (None, 8))
    lanes = [re.split(r'transform="translate\(0 [\d.]+\)"', svg)[1:] for svg in (plain, asked)]
    same = [a.split("</g>")[0] == b.split("</g>")[0] for a, b in zip(*lanes, strict=True)]
    assert same == [True, False, True]


def test_same_values_same_bytes() -> None:
    assert protection_svg(apf=50, pass_level=500) == protection_svg(apf=50, pass_level=500)


@pytest.mark.parametrize("value, said", [(0.5, "0.5"), (8, "8"), (82.63, "82.6"), (2500, "2,500"),
                                         (99999.9, "100,000")])
def test_figures(value: float, said: str) -> None:
    assert figure(value) == said
