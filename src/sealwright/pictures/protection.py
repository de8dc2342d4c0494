"""Three factors on one log axis, each on a ground of its own, because they are not the same thing.

A fit factor is a point: one wearer, one donning. An assigned factor is a bar as long for everybody in the class. A
workplace factor is a scatter. What the air asks for crosses the assigned factor alone: it may be set against no other.
"""

from __future__ import annotations

from collections.abc import Iterator

from sealwright.pictures.logaxis import LogAxis, hatch, line
from sealwright.pictures.pen import (
    DOSE,
    EXERCISE,
    FAINT,
    INK,
    PAPER,
    RULE,
    TASTE,
    document,
    el,
    mark_of,
    text,
    width_of,
    wrap,
)
from sealwright.programme.protection import Workplace

PAD, TALL = 18.0, 46.0
LANES = (("Fit factor", "this wearer, this donning, a watched test of minutes"),
         ("Assigned protection factor", "the class, for all who passed, with a programme behind it"),
         ("Workplace protection factor", "measured at work, wearer by wearer, day by day"))


def protection_svg(*, apf: int, pass_level: int, fit_factor: float | None = None, wpf: Workplace | None = None,
                   needed: float | None = None, title: str = "Three factors, not one", width: int = 1000,
                   standalone: bool = True) -> str:
    """The three factors of a wearer and a class; `needed`: how many times the limit the air holds."""
    told = " ".join(describe(apf, pass_level, fit_factor, wpf, needed))
    seen = [1.0, apf * 2.0, pass_level * 2.0, fit_factor or 1.0, needed or 1.0, *(wpf.factors if wpf else ())]
    axis = LogAxis.over(seen, PAD + 4, width - PAD - 4)
    body, y = "", 0.0
    for row in wrap(title, 20, width - 2 * PAD, 3):
        y += 27
        body += text(row, PAD, y, 20, font_weight=600)
    y += 22
    name = mark_of(title, told, str(width))
    drawings = (_fit(axis, fit_factor, pass_level), _assigned(axis, apf, needed, f"{name}-h"), _workplace(axis, wpf))
    for (lane, words), drawn in zip(LANES, drawings, strict=True):
        head, y = _heading(lane, words, y, width)
        tall = TALL + (18 if wpf and lane == LANES[2][0] else 0)
        body += head + _ground(y, width, tall) + el("g", drawn, transform=f"translate(0 {y:.1f})")
        y += tall + 30
    body += axis.ruler(y - 22)
    return document(title, told, hatch(f"{name}-h", DOSE) + body, width=width, height=y + 12, standalone=standalone)


def describe(apf: int, pass_level: int, fit_factor: float | None, wpf: Workplace | None,
             needed: float | None) -> Iterator[str]:
    """The picture in words."""
    yield (f"Fit factor {fit_factor:,.4g}, pass level {pass_level:,}." if fit_factor else
           f"No fit factor measured, pass level {pass_level:,}.")
    yield f"Assigned protection factor {apf:,}."
    if needed:
        where = "within" if needed <= apf else "beyond"
        yield f"The air holds {figure(needed)} times the limit: {where} the assigned factor."
    if wpf is None:
        yield "Workplace protection factor not measured."
    else:
        fifth = f", 5th percentile {figure(wpf.fifth)}" if wpf.fifth is not None else ""
        yield f"Workplace protection factor, {len(wpf.factors)} measured, geometric mean {figure(wpf.middle)}{fifth}."


def _heading(lane: str, words: str, y: float, width: float) -> tuple[str, float]:
    """The lane's name and what it is, on one line or two."""
    body, long = text(lane, PAD, y + 14, 15, font_weight=600), width_of(lane, 15, True) + 10
    if long + width_of(words, 13) < width - 2 * PAD:
        return body + text(words, PAD + long, y + 14, 13, fill=FAINT), y + 24
    for row in wrap(words, 13, width - 2 * PAD, 2):
        y += 16
        body += text(row, PAD, y + 14, 13, fill=FAINT)
    return body, y + 24


def _ground(y: float, width: float, tall: float) -> str:
    return el("rect", x=PAD, y=y, width=width - 2 * PAD, height=tall, fill="none", stroke=RULE, rx=3)


def _said(words: str, x: float, y: float, axis: LogAxis, colour: str = INK, bold: bool = False) -> str:
    """Words right of x, or left of it where there is no room."""
    long = width_of(words, 13, bold)
    left = x + 12 + long > axis.right
    at = max(x - 12, min(axis.left + long, axis.right)) if left else x + 12
    return text(words, at, y, 13, fill=colour, font_weight=600 if bold else None, stroke=PAPER, stroke_width=3,
                text_anchor="end" if left else "start", paint_order="stroke")


def figure(value: float) -> str:
    """Three digits that tell, thousands marked."""
    return f"{value:,.0f}" if value >= 100 else f"{value:.3g}"


def _fit(axis: LogAxis, fit_factor: float | None, pass_level: int) -> str:
    at = axis.x(pass_level)
    body = line(at, 0, at, TALL, INK, 1.6) + el("path", d=f"M{at:.1f} 0 h8 M{at:.1f} {TALL:.1f} h8", stroke=INK,
                                                stroke_width=1.6)
    if fit_factor is None:
        body += _said(f"pass level {pass_level:,}", at, 18, axis)
        return body + _said("no number measured", at, 37, axis, FAINT)
    x, good = axis.x(max(fit_factor, axis.low)), fit_factor >= pass_level
    shape = f"M{x:.1f} 22 l8 8 l-8 8 l-8 -8 Z"
    body += el("path", d=shape, fill=EXERCISE if good else PAPER, stroke=EXERCISE if good else TASTE, stroke_width=2.2)
    word = f"{fit_factor:,.4g}" + ("" if good else ", not reached")
    return body + _said(f"pass level {pass_level:,}", at, 15, axis) + _said(word, x, 35, axis, bold=True)


def _assigned(axis: LogAxis, apf: int, needed: float | None, name: str) -> str:
    """A bar as far as the class goes; what the air asks for beyond it is hatched."""
    end = axis.x(apf)
    body = el("rect", x=axis.left, y=15.0, width=end - axis.left, height=16.0, fill=EXERCISE, fill_opacity=0.35)
    body += line(end, 7, end, 39, EXERCISE, 4)
    if not needed or needed <= apf:
        body += _said(f"{apf:,}", end, 28, axis, bold=True)
    else:
        body += text(f"{apf:,}", end - 8, 28, 13, font_weight=600, text_anchor="end")
    if not needed:
        return body
    at = axis.x(min(max(needed, axis.low), axis.high))
    if needed > apf:
        body += el("rect", x=end, y=15.0, width=at - end, height=16.0, fill=f"url(#{name})", stroke=TASTE)
    body += line(at, -4, at, TALL + 4, DOSE, 2.4) + el("path", d=f"M{at - 6:.1f} -4 h12 l-6 8 Z", fill=DOSE)
    word = f"the air asks for {figure(needed)}" + ("" if needed <= apf else ": too much")
    return body + _said(word, at, TALL + 17, axis, DOSE if needed <= apf else TASTE, bold=True)


def _workplace(axis: LogAxis, wpf: Workplace | None) -> str:
    if wpf is None:
        body = line(axis.left + 110, TALL / 2, axis.right, TALL / 2, FAINT, 1.4, stroke_dasharray="2 6")
        return body + _said("not measured", axis.left - 4, TALL / 2 + 5, axis, FAINT)
    body = "".join(el("circle", cx=axis.x(f), cy=9.0 + 4.5 * (i % 5), r=3.4, fill="none", stroke=INK, stroke_width=1.3)
                   for i, f in enumerate(sorted(wpf.factors)))
    if wpf.fifth is None:
        return body
    low, middle = axis.x(max(wpf.fifth, axis.low)), axis.x(wpf.middle)
    body += line(low, 38, middle, 38, INK, 1.6) + line(low, 32, low, 44, INK, 2.4)
    body += line(middle, 34, middle, 42, INK, 1.6)
    return body + _said(f"95 % above {figure(wpf.fifth)}", low - 12, 58, axis)
