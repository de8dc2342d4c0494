"""The wearer's figures: well-formed, of our colours, moving, and still where stillness is asked for."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from math import cos, radians, sin

import pytest

from sealwright.errors import NotFound
from sealwright.pictures.figure_parts import OWN, turn
from sealwright.pictures.figures import KINDS, figure_svg
from sealwright.pictures.pen import COLOURS
from sealwright.protocols import published

SVG = "{http://www.w3.org/2000/svg}"
WANTED = {"normal", "deep", "side", "nod", "talk", "bend", "grimace", "jog", "wait", "don", "hood", "taste", "stop",
          "water", "done", "break-seal", "shake", "redon", "hold-breath", "step", "smell", "chamber", "enter", "leave",
          "whiff", "smoke", "off", "connect"}
EXERCISES = ("normal", "deep", "side", "nod", "talk", "bend", "jog", "shake", "step")
DRESSES = [{}, {"hood": False}, {"hood": False, "line": True}, {"hood": False, "shut": True}]
HOOD = OWN["figure-hood"][0]


def test_every_exercise_of_every_protocol_has_a_figure():
    assert {e.kind for p in published().values() for e in p.exercises} | WANTED <= set(KINDS)


@pytest.mark.parametrize("dress", DRESSES)
@pytest.mark.parametrize("kind", KINDS)
def test_a_figure_is_one_self_contained_drawing(kind, dress):
    svg = figure_svg(kind, **dress)
    root = ET.fromstring(svg)
    assert root.tag == f"{SVG}svg" and root.get("viewBox") == "0 0 400 400" and root.get("aria-hidden") == "true"
    assert not list(root.iter(f"{SVG}text"))  # It must be understood without words.
    assert not re.search(r"https?://(?!www\.w3\.org/2000/svg)|<image|<script|\son\w+=", svg)
    for found in re.findall(r"url\(#([\w-]+)\)", svg):
        assert f'id="{found}"' in svg
    assert figure_svg(kind, **dress) == svg


@pytest.mark.parametrize("kind", KINDS)
def test_colours_are_variables_with_the_house_fallbacks(kind):
    known = {name: pair[0] for name, pair in (COLOURS | OWN).items()}
    used = re.findall(r"var\(--([\w-]+),(#[0-9a-f]{6})\)", figure_svg(kind))
    assert used and all(known[name] == literal for name, literal in used)


@pytest.mark.parametrize("dress", DRESSES)
@pytest.mark.parametrize("kind", KINDS)
def test_every_figure_moves_and_can_stand_still(kind, dress):
    svg, still = figure_svg(kind, **dress), figure_svg(kind, animated=False, **dress)
    named = set(re.findall(r"@keyframes ([\w-]+)", svg))
    run = set(re.findall(r"animation:([\w-]+) ", svg))
    classes = {c for e in ET.fromstring(svg).iter() for c in (e.get("class") or "").split()}
    assert named and named == run and named <= classes
    assert "prefers-reduced-motion:reduce" in svg and 'class="swf swf-still"' not in svg
    assert f"swf-{kind} swf-still" in still and ".swf-still *{animation:none!important}" in still


@pytest.mark.parametrize("kind", ["deep", "side", "nod", "bend", "jog", "grimace", "hood", "stop", "don",
                                  "shake", "step", "redon", "off", "connect", "enter", "leave", "smoke"])
def test_arrows_show_the_way_where_nothing_moves(kind):
    assert f'stroke="var(--exercise,{COLOURS["exercise"][0]})" stroke-width="9"' in figure_svg(kind, animated=False)


@pytest.mark.parametrize("kind", EXERCISES)
def test_no_hood_is_drawn_where_there_is_none(kind):
    assert HOOD in figure_svg(kind)
    for dress in DRESSES[1:]:
        assert HOOD not in figure_svg(kind, **dress)


@pytest.mark.parametrize("kind", [*EXERCISES, "grimace", "hold-breath"])
def test_a_line_hangs_at_the_facepiece_where_one_is_asked_for(kind):
    tubes = [figure_svg(kind, **dress).count('stroke-width="13"') for dress in DRESSES]
    assert tubes[:2] == [0, 0] and tubes[2] >= 1 and tubes[3] == 0


@pytest.mark.parametrize("kind", EXERCISES)
def test_shut_eyes_are_no_open_ones(kind):
    def eyes(**dress):
        return len(re.findall(r'<ellipse [^>]*rx="5(\.5)?" ry="7\.5"', figure_svg(kind, **dress)))
    assert eyes(hood=False) >= 1 and eyes(hood=False, shut=True) == 0


@pytest.mark.parametrize("kind", ["whiff", "smoke"])
def test_smoke_is_met_with_shut_eyes_and_without_a_hood(kind):
    # Eyes shut and no hood for irritant smoke: 29 CFR 1910.134 App. A Part I.B.5(a), from memory.
    svg = figure_svg(kind)
    assert HOOD not in svg and not re.search(r'rx="5\.5" ry="7\.5"', svg)


def test_an_unknown_figure_names_those_there_are():
    with pytest.raises(NotFound) as refused:
        figure_svg("somersault")
    assert refused.value.place == "figure" and "normal" in refused.value.mend


@pytest.mark.parametrize("x", [-40, -23, 0, 23, 40])
@pytest.mark.parametrize("degrees", [-46, -10, 0, 30, 46])
def test_a_turned_point_lies_where_a_rotated_ball_has_it(x, degrees):
    # Outside check: the x of (x, z) rotated about the vertical axis, z = sqrt(r2 - x2) towards the viewer.
    radius = 58.0
    z = (radius**2 - x**2) ** 0.5
    shift, scale = turn(x, radius, degrees)
    assert x + shift == pytest.approx(x * cos(radians(degrees)) + z * sin(radians(degrees)))
    assert 0 < scale < 1.5 and (degrees or scale == pytest.approx(1))
