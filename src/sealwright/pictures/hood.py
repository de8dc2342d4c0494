"""The air under the hood, drawn below the score on the same seconds: what was held, and what the score asks for.

The broken line is the score as written. Where the air held less than it should, the space between is hatched.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from sealwright.insight.hood import ENOUGH, Prediction, explanations, predict
from sealwright.pictures.logaxis import hatch, line
from sealwright.pictures.pen import DOSE, FAINT, INK, PAPER, RULE, TASTE, clock, document, el, mark_of, text, wrap
from sealwright.pictures.performed import Performed
from sealwright.pictures.staff import Line
from sealwright.protocols import Act, Score

TALL, TOP = 58.0, 1.25
"""px from nothing to TOP, in units of the score's first dose"""
FAR_S = 3600.0
"""A dose so far from the first exercise is one of a clock gone wrong, and bears on no air."""
CAUTION = "a model of a well-mixed hood, no measurement: it explains, it decides nothing"


def predicted(score: Score, performed: Performed | None = None) -> Prediction | None:
    """The air by the doses as performed (as written, where none were); None for a score without doses."""
    acts = {a.id: a for a in score.of("dose")}
    if not acts:
        return None
    if performed is None:
        return predict([(a.at, a.squeezes) for a in acts.values()], nominal_score=score, acts=list(acts))
    given = [(g.at_s - acts[g.act].lasts, g.squeezes, g.act) for g in performed.doses
             if g.act in acts and abs(g.at_s) < FAR_S]
    return predict([(at, n) for at, n, _ in given], nominal_score=score, acts=[a for *_, a in given],
                   until=min(float(score.lasts), performed.ends_s))


def hood_svg(prediction: Prediction, *, title: str, width: int = 1000, standalone: bool = True) -> str:
    """The curve alone, with the doses due as ticks and what is to be said of it below."""
    said = list(explanations(prediction)) or ["The air held what the score asks for."]
    told = " ".join([*said, CAUTION])
    body, y = "", 0.0
    for row in wrap(title, 20, width - 36, 3):
        y += 27
        body += text(row, 18, y, 20, font_weight=600)
    first, last = prediction.times[0] - 4, max(prediction.score.lasts, prediction.times[-1]) + 4
    whole = Line(first, last, 18, (width - 36) / (last - first))
    name = f"{mark_of(title, told, str(width))}-a"
    drawn, tall = hood_line(whole, prediction, name)
    body += el("g", drawn, _dues(whole, prediction.score.of("dose")), transform=f"translate(0 {y + 48:.1f})")
    y += 48 + tall + 12
    for sentence in [*said, CAUTION[0].upper() + CAUTION[1:] + "."]:
        for row in wrap(sentence, 13, width - 36, 6):
            y += 17
            body += text(row, 18, y, 13, fill=FAINT if sentence not in said else INK)
        y += 5
    return document(title, told, wanting(name) + body, width=width, height=y + 10, standalone=standalone)


def hood_line(whole: Line, p: Prediction, name: str, label: bool = True) -> tuple[str, float]:
    """The curve over the seconds of one line, and how tall it is. `name`: of the pattern for what is wanting."""
    seen = [i for i, t in enumerate(p.times) if whole.start <= t <= whole.end]
    left, right = whole.x(max(whole.start, p.times[0])), whole.x(min(whole.end, float(p.score.lasts)))
    body = "".join(line(left, _y(v), right, _y(v), RULE) for v in (0.0, 0.5, 1.0))
    if len(seen) > 1:
        body += _wanting(whole, p, seen, name) + _curves(whole, p, seen)
    rows = wrap("mist under the hood, modelled; broken line: as the score asks", 12.5, right - left, 2) if label else []
    body += "".join(text(row, left, TALL + 15 + i * 14, 12.5, fill=FAINT) for i, row in enumerate(rows))
    return body, TALL + 8 + 14 * len(rows)


def wanting(name: str) -> str:
    """The pattern for what the air was wanting."""
    return hatch(name, TASTE)


def _y(value: float) -> float:
    return TALL * (1 - min(value, TOP) / TOP)


def _path(points: Sequence[tuple[float, float]]) -> str:
    return "M" + " L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def _curves(whole: Line, p: Prediction, seen: Sequence[int]) -> str:
    asked, held = ([(whole.x(p.times[i]), _y(series[i])) for i in seen] for series in (p.asked, p.held))
    return (el("path", d=_path(asked), fill="none", stroke=FAINT, stroke_width=1.2, stroke_dasharray="4 3",
               class_="asked") +
            el("path", d=_path(held), fill="none", stroke=DOSE, stroke_width=2.2, stroke_linejoin="round",
               class_="held"))


def _wanting(whole: Line, p: Prediction, seen: Sequence[int], name: str) -> str:
    """The space between what was held and what was asked, wherever less than ENOUGH was held."""
    runs, shares = list[list[int]](), p.relative
    for i in seen:
        share = shares[i]
        if share is None or share >= ENOUGH:
            continue
        if runs and runs[-1][-1] == i - 1:
            runs[-1].append(i)
        else:
            runs.append([i])
    drawn = ""
    for run in runs:
        there = [(whole.x(p.times[i]), _y(p.asked[i])) for i in run]
        back = [(whole.x(p.times[i]), _y(p.held[i])) for i in reversed(run)]
        drawn += el("path", d=_path([*there, *back]) + " Z", fill=f"url(#{name})", stroke=TASTE, stroke_width=0.8,
                    class_="wanting")
    return drawn


def _dues(whole: Line, doses: Sequence[Act]) -> str:
    """Ticks where doses are due, above the curve, the squeezes over them where there is room; minutes below it."""
    close = min((b.at - a.at for a, b in pairwise(doses)), default=60) * whole.pps < 24
    body = ""
    for a in doses:
        x = whole.x(a.at)
        body += line(x, -6, x, 2, DOSE, 1.4)
        if not close:
            body += text(a.squeezes, x, -9, 12, text_anchor="middle", fill=FAINT)
    last = doses[-1].at
    every = 60 if 60 * whole.pps > 34 else 120
    for s in range(0, last + 61, every):
        if whole.start <= s <= whole.end:
            body += line(whole.x(s), TALL, whole.x(s), TALL + 4, FAINT)
            body += text(clock(s), whole.x(s), -24 if close else -26, 12, text_anchor="middle", fill=FAINT,
                         stroke=PAPER, stroke_width=3, paint_order="stroke")
    return body
