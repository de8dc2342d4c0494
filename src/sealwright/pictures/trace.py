"""Concentration against time, with the windows that count; and the fit factor as it comes."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any, Protocol

from sealwright.assess.measured import Measured
from sealwright.pictures.factors import factor_svg, value
from sealwright.pictures.frame import (
    PAD,
    SIZE,
    Frame,
    all_fit,
    frame,
    heading,
    key,
    level_line,
    ruler,
    shown,
    stacked,
    upright,
)
from sealwright.pictures.logaxis import hatch, line
from sealwright.pictures.pen import DOSE, EXERCISE, FAINT, INK, PAPER, RULE, document, el, mark_of, text, width_of, wrap

__all__ = ["factor_svg", "live_svg", "trace_svg"]

TALL, LEFT = 300.0, 70.0


class Stretch(Protocol):
    """A window, s."""

    @property
    def exercise(self) -> str: ...
    @property
    def air(self) -> str: ...
    @property
    def start_s(self) -> float: ...
    @property
    def end_s(self) -> float: ...
    @property
    def title(self) -> str: ...


def trace_svg(t: Any, mask: Any, ambient: Any, windows: Sequence[Stretch], *, title: str, width: int = 1000,
              factors: Measured | None = None, pass_level: float | None = None, purge_s: float = 0.0,
              unit: str = "", standalone: bool = True) -> str:
    """Values (per cm3, or counts) against t, s; `ambient` None: `mask` is one channel that alternates.

    Windows of mask air are shaded bands with names and, if given, factors; those of room air are lighter and dotted.
    purge_s: the first seconds of each window, which are left out, hatched. Sequences of numbers; NaN where none was.
    """
    times = _plain(t)
    start, end = (times[0], times[-1]) if times else (0.0, 1.0)
    traces = [_thin(times, _plain(v), width) for v in (mask, ambient) if v is not None]
    masks = [w for w in windows if w.air == "mask"]
    told = " ".join(_describe(masks, windows, factors, ambient is None, end - start))
    name = mark_of(title, told, str(width))
    body, top = heading(title, width)
    rooms = [(w.end_s - w.start_s) / max(end - start, 1e-9) * (width - LEFT - PAD) for w in masks]
    named = all_fit([w.title or w.exercise for w in masks], rooms, 3)
    head = (3 if named else 1) * 15 + (18 if factors and named else 0) + 30
    f = frame([v for trace in traces for _, lo, hi in trace for v in (lo, hi)], LEFT, width - PAD, top + head,
              top + head + TALL)
    body += _legend(f, top, ambient is None) + (text(unit, PAD, top + 8, SIZE, fill=FAINT) if unit else "")
    body += hatch(f"{name}-p") + "".join(_band(w, f, start, end, purge_s, name) for w in windows
                                            if w.air == "mask" or not _within(w, masks))
    body += upright(f, "")
    ends = list(zip(traces, ((EXERCISE, None), (DOSE, "6 3")), strict=False))
    body += "".join(_curve(trace, f, start, end, colour, dash) for trace, (colour, dash) in ends)
    body += ruler(f, start, end) + _names(masks, rooms, f, start, end, named, factors, pass_level)
    drawn, tall = _key(masks, named, factors, pass_level, f.bottom + 32, width)
    return document(title, told, body + drawn, width=width, height=f.bottom + 32 + tall, standalone=standalone)


def _plain(values: Any) -> list[float]:
    return list(values.tolist() if hasattr(values, "tolist") else values)


def _thin(t: list[float], values: list[float], width: float) -> list[tuple[float, float, float]]:
    """(s, least, most) for as many stretches as the paper shows; those without a value are left out (NaN)."""
    each = max(1, len(values) // int(max(width, 100)))
    found = []
    for i in range(0, len(values), each):
        some = [v for v in values[i:i + each] if v == v]
        found.append((t[min(i + each // 2, len(t) - 1)], min(some, default=math.nan), max(some, default=math.nan)))
    return found


def _x(f: Frame, s: float, start: float, end: float) -> float:
    return f.left + (min(max(s, start), end) - start) / max(end - start, 1e-9) * (f.right - f.left)


def _curve(trace: list[tuple[float, float, float]], f: Frame, start: float, end: float, colour: str,
           dash: str | None) -> str:
    """A line through the values, broken where there are none; what is 0 lies on the floor."""
    path, pen = "", False
    for s, low, high in trace:
        if low != low:
            pen = False
            continue
        x = f"{_x(f, s, start, end):.1f}"
        points = [f.y(low)] if high == low else [f.y(low), f.y(high)]
        for y in points:
            path += f"{'L' if pen else 'M'}{x} {y:.1f}"
            pen = True
    return el("path", d=path or "M0 0", fill="none", stroke=colour, stroke_width=1.5, stroke_linejoin="round",
              stroke_dasharray=dash, class_="curve")


def _band(w: Stretch, f: Frame, start: float, end: float, purge_s: float, name: str) -> str:
    """The shade of a window, and its first seconds hatched."""
    x, until = _x(f, w.start_s, start, end), _x(f, w.end_s, start, end)
    if until - x < 0.3:
        return ""
    inside = w.air == "mask"
    shade = el("rect", x=x, y=f.top, width=until - x, height=f.bottom - f.top, fill=EXERCISE if inside else DOSE,
               fill_opacity=0.13 if inside else 0.07, stroke=EXERCISE if inside else DOSE, stroke_width=0.8,
               stroke_dasharray=None if inside else "2 3", class_=f"band {w.air}")
    cut = min(_x(f, w.start_s + purge_s, start, end), until) if purge_s > 0 else x
    return shade + (el("rect", x=x, y=f.top, width=cut - x, height=f.bottom - f.top, fill=f"url(#{name}-p)",
                       class_="purge") if cut > x else "")


def _within(w: Stretch, masks: Sequence[Stretch]) -> bool:
    """Whether the other air was sampled at the same time: one shade is enough."""
    return any(min(w.end_s, m.end_s) - max(w.start_s, m.start_s) > 0.5 * (w.end_s - w.start_s) for m in masks)


def _legend(f: Frame, top: float, single: bool) -> str:
    """What the lines are, right above the frame."""
    items = [("one channel, by turns", EXERCISE, None)] if single else [("mask", EXERCISE, None),
                                                                        ("room air", DOSE, "6 3")]
    body, x = "", f.right
    for word, colour, dash in reversed(items):
        x -= width_of(word, SIZE)
        body += text(word, x, top + 8, SIZE) + line(x - 28, top + 4, x - 6, top + 4, colour, 2.2, stroke_dasharray=dash)
        x -= 44
    return body


def _factor(w: Stretch, factors: Measured | None) -> Any:
    return next((x for x in factors.exercises if x.exercise == w.exercise), None) if factors else None


def _said(w: Stretch, factors: Measured | None, level: float | None) -> str:
    """The factor of a window in words, "" where there is none."""
    x = _factor(w, factors)
    if x is None:
        return ""
    return value(x) + (" below" if level and x.factor is not None and x.factor < level else "")


def _names(masks: Sequence[Stretch], rooms: Sequence[float], f: Frame, start: float, end: float, named: bool,
           factors: Measured | None, level: float | None) -> str:
    """Above each band its name and factor, or its number where names have no room."""
    body = ""
    for i, (w, room) in enumerate(zip(masks, rooms, strict=True)):
        middle = (_x(f, w.start_s, start, end) + _x(f, w.end_s, start, end)) / 2
        if not named:
            if room > 9:
                body += text(i + 1, middle, f.top - 8, SIZE, text_anchor="middle", font_weight=600)
            continue
        rows, said = wrap(w.title or w.exercise, SIZE, room - 6, 3), _said(w, factors, level)
        base = f.top - 8 - (18 if said else 0) - (len(rows) - 1) * SIZE * 1.18
        body += stacked(rows, middle, base)
        body += text(said, middle, f.top - 8, SIZE, text_anchor="middle", font_weight=700) if said else ""
    return body


def _key(masks: Sequence[Stretch], named: bool, factors: Measured | None, level: float | None, top: float,
         width: float) -> tuple[str, float]:
    if named or not masks:
        return "", 6.0
    entries = [(str(i + 1), f"{w.title or w.exercise}" + (f": {said}" if (said := _said(w, factors, level)) else ""))
               for i, w in enumerate(masks)]
    return key(entries, top + 4, width)


def _describe(masks: Sequence[Stretch], windows: Sequence[Stretch], factors: Measured | None, single: bool,
              lasts: float) -> Iterator[str]:
    """The picture in words."""
    kind = "one channel that alternates" if single else "mask and room air at the same time"
    yield f"Particles against time over {lasts:.0f} s, {kind}."
    yield f"{len(masks)} windows of mask air and {len(windows) - len(masks)} of room air."
    for w in masks:
        said = _said(w, factors, None)
        yield f"{w.title or w.exercise} {w.start_s:.0f} to {w.end_s:.0f} s{f', fit factor {said}' if said else ''}."


def live_svg(times: Sequence[float], running_factors: Sequence[float | None],
             exercises: Sequence[tuple[str, float, float]], pass_level: float | None, width: int = 1000, *,
             title: str = "Fit factor as it comes", standalone: bool = False) -> str:
    """The running fit factor against time, s. None: not known (nothing counted yet, or room air is sampled).

    exercises: (title, start_s, end_s) of those begun or still to come, as bands with names.
    """
    end = max([*times[-1:], *(e[2] for e in exercises), 1.0])
    start = min([*times[:1], *(e[1] for e in exercises), end - 1])
    last = next((v for v in reversed(running_factors) if v is not None), None)
    now = f"Now {shown(last)}" if last is not None else "Not known yet"
    told = f"Fit factor over {end - start:.0f} s. {now}" + (f", pass level {shown(pass_level)}." if pass_level else ".")
    body, top = heading(title, width)
    rooms = [(b - a) / (end - start) * (width - LEFT - PAD) for _, a, b in exercises]
    named = all_fit([e[0] for e in exercises], rooms, 2)
    values = [v for v in running_factors if v is not None] + ([pass_level, pass_level / 5, pass_level * 5]
                                                              if pass_level else [])
    f = frame(values, LEFT, width - PAD, top + (66 if named else 50), top + 50 + 240)
    body += "".join(_stage(e, i, f, start, end, room, named) for i, (e, room) in enumerate(zip(exercises, rooms,
                                                                                              strict=True)))
    body += upright(f, "") + ruler(f, start, end)
    body += level_line(f, pass_level, top + 10) if pass_level else ""
    trace = [(s, math.nan, math.nan) if v is None else (s, v, v) for s, v in zip(times, running_factors, strict=True)]
    body += _curve(trace, f, start, end, EXERCISE, None)
    if last is not None:
        at = max(i for i, v in enumerate(running_factors) if v is not None)
        body += _now(_x(f, times[at], start, end), f.y(last), last, pass_level, f)
    entries = [] if named else [(str(i + 1), e[0]) for i, e in enumerate(exercises)]
    drawn, tall = key(entries, f.bottom + 34, width)
    return document(title, told, body + drawn, width=width, height=f.bottom + 34 + tall, standalone=standalone)


def _stage(e: tuple[str, float, float], i: int, f: Frame, start: float, end: float, room: float, named: bool) -> str:
    """The band of an exercise, with its name or number above."""
    x, until = _x(f, e[1], start, end), _x(f, e[2], start, end)
    shade = el("rect", x=x + 1, y=f.top, width=max(until - x - 2, 1.0), height=f.bottom - f.top,
               fill=EXERCISE if i % 2 == 0 else RULE, fill_opacity=0.09 if i % 2 == 0 else 0.25, class_="band")
    rows = wrap(e[0], SIZE, room - 6, 2) if named else [str(i + 1)] if room > 9 else []
    return shade + stacked(rows, (x + until) / 2, f.top - 8 - (len(rows) - 1) * SIZE * 1.18, fill=FAINT)


def _now(x: float, y: float, last: float, level: float | None, f: Frame) -> str:
    """The newest value: a disc, its figure and, where there is a level, a word."""
    said = shown(last) + ("" if not level else " above" if last >= level else " below")
    left = x + width_of(said, 16, True) + 16 > f.right
    return el("circle", cx=x, cy=y, r=5.5, fill=EXERCISE, stroke=PAPER, stroke_width=1.5, class_="newest") + text(
        said, x + (-11 if left else 11), max(y - 8, f.top + 14), 16, font_weight=700, fill=INK, stroke=PAPER,
        stroke_width=4, paint_order="stroke", text_anchor="end" if left else "start")
