"""The curve of the air under the hood, alone and beneath a score."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest

from sealwright.pictures import score_svg
from sealwright.pictures.hood import TALL, hood_svg, predicted
from sealwright.pictures.performed import Given, Performed
from sealwright.protocols import Score, compile_score, get

SVG = "{http://www.w3.org/2000/svg}"
SCORE: Score = compile_score(get("us-bitter"), 20)


def performed(without: str = "", ends_s: float = 430.0) -> Performed:
    return Performed(ends_s=ends_s, doses=tuple(Given(act=a.id, at_s=a.at + a.lasts, squeezes=a.squeezes)
                                                for a in SCORE.of("dose") if a.id != without and a.at < ends_s))


def curve(svg: str, kind: str) -> list[list[tuple[float, float]]]:
    found = [e.get("d") or "" for e in ET.fromstring(svg).iter(f"{SVG}path") if e.get("class") == kind]
    return [[(float(x), float(y)) for x, y in re.findall(r"(-?[\d.]+) (-?[\d.]+)", d)] for d in found]


def test_as_written_the_two_curves_are_one_and_nothing_is_wanting() -> None:
    air = predicted(SCORE)
    assert air is not None
    svg = hood_svg(air, title="t")
    assert curve(svg, "held") == curve(svg, "asked") and curve(svg, "wanting") == []
    assert "held what the score asks for" in svg


def test_a_missing_dose_is_hatched_where_it_was_missed_and_told() -> None:
    air = predicted(SCORE, performed("dose-210"))
    assert air is not None
    svg = hood_svg(air, title="t", width=1000)
    (area,) = curve(svg, "wanting")
    span = 964 / (424 + 20)  # px a second: 4 s of margin either side of −16 to 420
    assert min(x for x, _ in area) == pytest.approx(18 + (210 + 20) * span, abs=2 * span)
    assert "After the missing dose at 3:30" in re.sub(r"</text><text[^>]*>", " ", svg)


def test_the_curve_lies_under_its_seconds_of_the_score() -> None:
    """The peak of the first dose stands under second 0 of the staff: the same x."""
    air = predicted(SCORE)
    svg = score_svg(SCORE, title="t", width=1600, beneath=air)
    (held,) = curve(svg, "held")
    ruler = next(e for e in ET.fromstring(svg).iter(f"{SVG}text") if e.get("class") == "clock" and e.text == "0:00")
    x, y = min((p for p in held if p[0] < float(ruler.get("x") or 0) + 20), key=lambda p: p[1])
    assert x == pytest.approx(float(ruler.get("x") or 0), abs=1) and 0 < y < TALL


@pytest.mark.parametrize("width", [360, 1000, 1600])
def test_beneath_a_folded_score_every_line_has_its_part_and_the_picture_grows(width: int) -> None:
    air = predicted(SCORE, performed("dose-90"))
    plain, under = (ET.fromstring(score_svg(SCORE, title="t", width=width, performed=performed("dose-90"), beneath=b))
                    for b in (None, air))
    parts = [e for e in under.iter(f"{SVG}g") if e.get("class") == "air"]
    assert len(parts) == (1 if width > 900 else 4) and float(under.get("height") or 0) >= float(
        plain.get("height") or 0) + len(parts) * TALL
    assert len([e for e in plain.iter(f"{SVG}g") if e.get("class") == "air"]) == 0
    assert all(0 <= x <= width for line in curve(ET.tostring(under, "unicode"), "held") for x, _ in line)


def test_a_test_that_ended_early_is_drawn_as_far_as_it_went() -> None:
    air = predicted(SCORE, performed(ends_s=83.0))
    assert air is not None and air.times[-1] <= 83
    assert len(curve(hood_svg(air, title="t"), "held")) == 1


def test_no_doses_no_curve() -> None:
    bare = Score(protocol="x", protocol_version="1", level=0, lasts=60, squeezes=0, acts=SCORE.of("exercise"))
    assert predicted(bare) is None


def test_same_values_same_bytes_and_a_hostile_title_is_harmless() -> None:
    air = predicted(SCORE, performed("dose-60"))
    assert air is not None
    title = '<script>alert(1)</script> "\x00'
    assert hood_svg(air, title=title) == hood_svg(air, title=title)
    assert "<script" not in hood_svg(air, title=title)
