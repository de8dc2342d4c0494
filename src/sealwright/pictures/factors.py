"""Fit factors by exercise: a sign at each factor, a whisker for how sure it is, the overall one at the right."""

from __future__ import annotations

from collections.abc import Iterator

from sealwright.assess.measured import Factor, Measured
from sealwright.assess.words import nothing
from sealwright.pictures.frame import (
    PAD,
    SIZE,
    Frame,
    all_fit,
    frame,
    heading,
    key,
    level_line,
    shown,
    stacked,
    upright,
)
from sealwright.pictures.logaxis import hatch, line
from sealwright.pictures.pen import EXERCISE, FAINT, INK, PAPER, TASTE, document, el, mark_of, text, wrap

TALL = 300.0
NARROW = 50.0
"""Width of a column that has no room for figures."""


def factor_svg(measured: Measured, *, title: str, width: int = 1000, pass_level: float | None = None,
               live: str | None = None, standalone: bool = True) -> str:
    """Factors on a logarithmic axis. live: id of the exercise under way, hatched.

    A disc reaches the pass level, a diamond does not; an arrow upwards begins at the lower bound where nothing was
    counted in the mask; what does not count to the overall factor is faint. Words say all of it too.
    """
    told = " ".join(describe(measured, pass_level))
    body, top = heading(title, width)
    factors = [*measured.exercises, measured.overall]
    seen = [v for f in factors for v in (f.factor, f.low, f.high) if v] + ([pass_level] if pass_level else [])
    f = frame(seen, 70, width - PAD, top + 22, top + 22 + TALL)
    names = [x.title or x.exercise for x in measured.exercises] + ["Overall"]
    each = (f.right - f.left - 10) / (len(factors) + 0.3)
    middles = [f.left + each * (i + 0.5 + (0.3 if i == len(factors) - 1 else 0)) + 5 for i in range(len(factors))]
    body += upright(f, "fit factor")
    if live is not None:
        body += _under_way(measured, live, middles, each, f, mark_of(title, told))
    body += level_line(f, pass_level, f.top - 8) if pass_level else ""
    split = f.right - each * 1.15 - 5
    body += line(split, f.top, split, f.bottom, INK, 1.2) + line(f.left, f.bottom, f.right, f.bottom, INK, 1.4)
    body += "".join(_column(x, at, f, pass_level, each) for x, at in zip(factors, middles, strict=True))
    fits = each >= NARROW and all_fit(names, [each] * len(names), 3)
    labels = names if fits else [*(str(i + 1) for i in range(len(names) - 1)), "All"]
    bottom = f.bottom
    for label, x, at in zip(labels, factors, middles, strict=True):
        rows = [*wrap(label, SIZE, each - 6, 3), *([] if x.counts or not fits else ["(left out)"])]
        body += stacked(rows, at, f.bottom + 18, fill=INK if x.counts else FAINT,
                        font_weight=600 if x is measured.overall else None)
        bottom = max(bottom, f.bottom + 18 + len(rows) * 15)
    drawn, tall = _key(measured, pass_level, bottom + 4, width, fits)
    return document(title, told, body + drawn, width=width, height=bottom + tall + 14, standalone=standalone)


def _key(measured: Measured, level: float | None, top: float, width: float, fits: bool) -> tuple[str, float]:
    """What the signs mean, and the names where they have no room below their columns."""
    body, tall = "", 0.0
    if not fits:
        entries = [(str(i + 1), f"{x.title or x.exercise} {_said(x, level)}") for i, x in enumerate(measured.exercises)]
        entries.append(("All", f"overall {_said(measured.overall, level)}"))
        body, tall = key(entries, top + 2, width)
    said = [w for w in (
        "whisker: 95 % interval" if any(x.low for x in measured.exercises) else "",
        f"arrow: {nothing(measured.overall)}, at least so much" if any(_open(x) for x in measured.exercises) else "",
        "diamond: below the pass level" if level and any(_below(x, level) for x in
                                                         [*measured.exercises, measured.overall]) else "") if w]
    for row in wrap("; ".join(said), SIZE, width - 2 * PAD, 4) if said else []:
        tall += 16
        body += text(row, PAD, top + tall + 2, SIZE, fill=FAINT)
    return body, tall + 6


def value(f: Factor) -> str:
    """A factor in few words."""
    if f.factor is not None:
        return shown(f.factor)
    return f"over {shown(f.low)}" if f.low else "not known"


def _said(f: Factor, level: float | None) -> str:
    return value(f) + (" below" if level and _below(f, level) else "") + ("" if f.counts else " (left out)")


def describe(measured: Measured, level: float | None = None) -> Iterator[str]:
    """The picture in words."""
    for f in (*measured.exercises, measured.overall):
        name = "Overall" if f is measured.overall else f.title or f.exercise
        sure = f", between {shown(f.low)} and {shown(f.high)}" if f.low and f.high and f.factor is not None else ""
        below = ", below the pass level" if level and _below(f, level) else ""
        yield f"{name} {value(f)}{sure}{below}{'' if f.counts else ', left out of the overall factor'}."
    if level:
        yield f"Pass level {shown(level)}."


def _below(f: Factor, level: float) -> bool:
    return f.factor is not None and f.factor < level


def _open(f: Factor) -> bool:
    return f.factor is None and bool(f.low)


def _under_way(measured: Measured, live: str, middles: list[float], each: float, f: Frame, name: str) -> str:
    at = next((m for x, m in zip(measured.exercises, middles, strict=False) if x.exercise == live), None)
    if at is None:
        return ""
    return hatch(f"{name}-now") + el("rect", x=at - each / 2 + 2, y=f.top, width=each - 4, height=f.bottom - f.top,
                                     fill=f"url(#{name}-now)", class_="now") + text(
        "now", at, f.top + 14, SIZE, text_anchor="middle", font_weight=600)


def _column(x: Factor, at: float, f: Frame, level: float | None, each: float) -> str:
    """Whisker, sign and figure of one factor."""
    colour = FAINT if not x.counts else TASTE if level and _below(x, level) else EXERCISE
    if x.factor is None:
        return _arrow(x, at, f, colour, each) if x.low else text("not known", at, f.bottom - 8, SIZE, fill=FAINT,
                                                                 text_anchor="middle")
    body, y, cap = "", f.y(x.factor), min(7.0, each / 5)
    if x.low:
        high = f.y(x.high) if x.high else f.top
        low = f.y(x.low)
        body = line(at, low, at, high, colour, 1.8) + line(at - cap, low, at + cap, low, colour, 1.8)
        body += line(at - cap, high, at + cap, high, colour, 1.8) if x.high else _tip(at, high, colour)
    sign = (el("path", d=f"M{at:.1f} {y - 7:.1f} L{at + 7:.1f} {y:.1f} L{at:.1f} {y + 7:.1f} L{at - 7:.1f} {y:.1f} Z",
               fill=PAPER, stroke=colour, stroke_width=2.2, class_="sign below") if level and _below(x, level)
            else el("circle", cx=at, cy=y, r=5.6, fill=colour if x.counts else PAPER, stroke=colour, stroke_width=2,
                    class_="sign"))
    return body + sign + _figure(shown(x.factor), at, y, f, each, (f.y(x.high) if x.high else None) if x.low else y)


def _figure(said: str, at: float, y: float, f: Frame, each: float, high: float | None) -> str:
    """The value, beside the sign where there is room, else above its whisker, else only in the key."""
    if each < NARROW:
        return ""
    halo: dict[str, object] = {"stroke": PAPER, "stroke_width": 3.5, "paint_order": "stroke", "font_weight": 600}
    if each > 84:
        return text(said, at + 11, y + 4.5, 13, **halo)
    over = (y if high is None else high) - 9
    return text(said, at, over if over > f.top + 8 else y + 22, 12.5, text_anchor="middle", **halo)


def _tip(at: float, y: float, colour: str) -> str:
    return el("path", d=f"M{at - 6:.1f} {y + 9:.1f} L{at:.1f} {y:.1f} L{at + 6:.1f} {y + 9:.1f}", fill="none",
              stroke=colour, stroke_width=2.2, class_="tip")


def _arrow(x: Factor, at: float, f: Frame, colour: str, each: float) -> str:
    """From the lower bound upwards: nothing was counted."""
    low, tip = f.y(x.low or 1), max(f.top, f.y(x.low or 1) - 46)
    foot = line(at - 8, low, at + 8, low, colour, 2.6, class_="bound")
    words = "" if each < NARROW else text(value(x), at, low + 17, 12.5, text_anchor="middle", font_weight=600,
                                          stroke=PAPER, stroke_width=3.5, paint_order="stroke")
    return line(at, low, at, tip, colour, 2.2) + _tip(at, tip, colour) + foot + words


