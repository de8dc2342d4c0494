"""The row beneath the exercises of a test that measures: which air is drawn when, and when the breath is held.

Room air is a hollow box, mask air a solid bar with round ends, a held breath a trough under a fermata, the musician's
sign for holding. Of a test as performed, what was due and not seen stays a broken outline; a thin row below shows the
air as it was sampled.
"""

from __future__ import annotations

from sealwright.pictures.pen import EXERCISE, FAINT, INK, PAPER, el, num, text, width_of
from sealwright.pictures.performed import Performed, Sampled
from sealwright.pictures.staff import Line, Pen, act_group
from sealwright.protocols import Act, Score

SHORT = {"ambient": "room", "mask": "mask", "hold": "hold"}
ENOUGH = 0.5
"""share of a due stretch that must have been sampled for it to be drawn as taken"""


def sample_row(score: Score, line: Line, pen: Pen, done: Performed | None) -> str:
    """The samples of one line; nothing for a score without any."""
    due = "".join(act_group(a, pen, _stretch(a, *part, pen, done is None or taken(a, done)))
                  for a in score.of("sample") if (part := line.part(a.at, a.lasts)))
    return due + ("".join(_seen(s, line, pen) for s in done.samples) if done and due else "")


def taken(act: Act, done: Performed) -> bool:
    """A number was read for its exercise, or most of the stretch was sampled from the right air.

    Where numbers were read and no air was sampled into the record, room air counts as taken too.
    """
    if act.exercise in done.read if act.air != "ambient" else done.read and not done.samples:
        return True
    shared = sum(max(0.0, min(s.at_s + s.lasts, act.at + act.lasts) - max(s.at_s, act.at))
                 for s in done.samples if s.air == act.air)
    return shared >= ENOUGH * act.lasts


def _stretch(act: Act, x: float, width: float, pen: Pen, solid: bool) -> str:
    y, room = pen.samples, max(width - 2, 1.0)
    if act.air == "hold":
        return _held(act, x + 1, room, pen, solid)
    if act.air == "ambient":
        box = _box(x + 1, y, room, pen.air, solid)
        return box + _word(act, x, width, pen, INK if solid else FAINT)
    return _pill(x + 1, y, room, pen.air, solid) + _word(act, x, width, pen, PAPER if solid else FAINT)


def _box(x: float, y: float, width: float, tall: float, solid: bool = True) -> str:
    return el("rect", x=x, y=y, width=width, height=tall, fill=PAPER, stroke=INK if solid else FAINT,
              stroke_width=1.3, stroke_dasharray=None if solid else "3 3", class_="air ambient")


def _pill(x: float, y: float, width: float, tall: float, solid: bool = True) -> str:
    return el("rect", x=x, y=y, width=width, height=tall, rx=min(tall, width) / 2, fill=EXERCISE if solid else PAPER,
              stroke=EXERCISE if solid else FAINT, stroke_width=1.3, stroke_dasharray=None if solid else "3 3",
              class_="air mask")


def _held(act: Act, x: float, width: float, pen: Pen, solid: bool) -> str:
    """A trough as long as the breath is held; the fermata stands in its middle, or before the word."""
    colour, y, foot = INK if solid else FAINT, pen.samples, pen.samples + pen.air
    trough = el("path", d=f"M{num(x)} {num(y)} V{num(foot)} H{num(x + width)} V{num(y)}", fill="none", stroke=colour,
                stroke_width=2, stroke_dasharray=None if solid else "3 3", class_="air hold")
    word = act.title if width_of(act.title, pen.small) + 33 < width else ""
    middle = x + (16 if word else width / 2)
    said = text(word, middle + 15, y + pen.air / 2 + pen.small * 0.35, pen.small, fill=colour) if word else ""
    return trough + fermata(middle, foot - pen.air * 0.3, min(pen.air * 0.42, width * 0.3), colour) + said


def fermata(x: float, y: float, r: float, colour: str = INK) -> str:
    """A half ring over a dot."""
    ring = el("path", d=f"M{num(x - r)} {num(y)} A{num(r)} {num(r)} 0 0 1 {num(x + r)} {num(y)}", fill="none",
              stroke=colour, stroke_width=1.8, stroke_linecap="round")
    return ring + el("circle", cx=x, cy=y - 1, r=1.8, fill=colour)


def _word(act: Act, x: float, width: float, pen: Pen, colour: str) -> str:
    """Which air, as long as it has room; a long stretch says it again, to stay in sight as the paper moves."""
    word = next((w for w in (act.title, SHORT[act.air]) if width_of(w, pen.small) + 8 < width), "")
    if not word:
        return ""
    times = max(1, int(width // 240))
    y = pen.samples + pen.air / 2 + pen.small * 0.35
    return "".join(text(word, x + (i + 0.5) * width / times, y, pen.small, fill=colour, text_anchor="middle")
                   for i in range(times))


def _seen(s: Sampled, line: Line, pen: Pen) -> str:
    """Air as it was sampled, thin, below what was due."""
    part = line.part(s.at_s, s.lasts)
    if part is None:
        return ""
    draw = _pill if s.air == "mask" else _box
    return draw(part[0] + 0.5, pen.samples + pen.air + 4, max(part[1] - 1, 1.0), pen.seen - 4)


def signs() -> list[tuple[str, str, str]]:
    """(air, its sign around the origin, what it means), for the legend."""
    small = Pen(air=11.0)
    held = _held(Act(id="", kind="sample", who="tester", at=0, lasts=0, title=""), -9, 18, small, True)
    return [("ambient", _box(-9, -5.5, 18, 11), "room air is sampled"),
            ("mask", _pill(-9, -5.5, 18, 11), "mask air is sampled"),
            ("hold", el("g", held, transform=f"translate(0 {num(-small.samples - 5.5)})"), "breath held")]


def sign_missed() -> str:
    return _box(-9, -5.5, 18, 11, False)
