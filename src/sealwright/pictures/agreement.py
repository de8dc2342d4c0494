"""Two methods side by side: every wearing a sign, above the line if the test passed it, below if it did not.

Left stand the fits that are good enough, right those that are not. Filled discs agree with the reference. A filled
diamond above the line on the right is the one that matters: a poor fit sent to work.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sealwright.insight.agreement import Agreement, Criterion, Pair, Zone
from sealwright.pictures.logaxis import LogAxis, hatch, line
from sealwright.pictures.pen import (
    DOSE,
    EXERCISE,
    FAINT,
    GOOD,
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

PAD, STEP, MOST = 18.0, 13.0, 240
"""margin; distance of signs; signs drawn in one cell before each stands for several wearings"""


def agreement_svg(found: Agreement, pairs: Sequence[Pair] = (), *, title: str, width: int = 1000,
                  standalone: bool = True) -> str:
    """The counts, the five demands with their intervals and, where `pairs` have fit factors, the zone left out."""
    told = " ".join(describe(found))
    body, y = _title(title, width)
    drawn, tall = _cells(found, width - 2 * PAD)
    body += _at(drawn, PAD, y)
    y += tall + 26
    factors = [p for p in pairs if p.factor is not None]
    if found.zone and factors:
        drawn, tall = _strip(factors, found.zone, width - 2 * PAD, mark_of(title, told, str(width)))
        body += _at(drawn, PAD, y)
        y += tall + 22
    for one in found.criteria:
        drawn, tall = _demand(one, width - 2 * PAD)
        body += _at(drawn, PAD, y)
        y += tall
    return document(title, told, body, width=width, height=y + 6, standalone=standalone)


def describe(found: Agreement) -> Iterator[str]:
    """The picture in words."""
    t = found.table
    yield (f"Of {t.n} wearings {t.d} passed with a good fit, {t.c} passed with a poor fit, {t.a} failed with a poor "
           f"fit and {t.b} with a good one.")
    yield from (f"{c.title} {_value(c)}, needed {_needed(c)}: {_verdict(c)}." for c in found.criteria)
    yield from found.notes


def _at(body: str, x: float, y: float) -> str:
    return el("g", body, transform=f"translate({x:.1f} {y:.1f})")


def _title(title: str, width: float) -> tuple[str, float]:
    y, body = 0.0, ""
    for row in wrap(title, 20, width - 2 * PAD, 3):
        y += 27
        body += text(row, PAD, y, 20, font_weight=600)
    return body, y + 20


# Signs: a disc agrees, a diamond is a poor fit passed, a ring a good fit failed.

def sign(kind: str, x: float, y: float, r: float = 4.6) -> str:
    if kind == "wrong-pass":
        return el("path", d=f"M{x:.1f} {y - r - 1.6:.1f} L{x + r + 1.6:.1f} {y:.1f} L{x:.1f} {y + r + 1.6:.1f} "
                  f"L{x - r - 1.6:.1f} {y:.1f} Z", fill=TASTE, class_="sign")
    if kind == "wrong-fail":
        return el("circle", cx=float(x), cy=float(y), r=r - 0.6, fill=PAPER, stroke=DOSE, stroke_width=1.8,
                  class_="sign")
    return el("circle", cx=float(x), cy=float(y), r=float(r), fill=GOOD if kind == "right-pass" else EXERCISE,
              class_="sign")


SAID = {"right-pass": "passed, fits", "wrong-pass": "passed, does not fit", "wrong-fail": "failed, fits",
        "right-fail": "failed, does not fit"}


def _cells(found: Agreement, wide: float) -> tuple[str, float]:
    """Four fields around a cross: the line is the test's answer, the upright parts good fits from poor ones."""
    t, poor, good = found.table, found.table.a + found.table.c, found.table.b + found.table.d
    split = wide * min(max(good / (good + poor) if good + poor else 0.5, 0.42), 0.58)
    each = max(1, -(-max(t.a, t.b, t.c, t.d) // MOST))
    count = {"right-pass": t.d, "wrong-pass": t.c, "wrong-fail": t.b, "right-fail": t.a}
    room = {"right-pass": split, "wrong-pass": wide - split, "wrong-fail": split, "right-fail": wide - split}
    tall = {k: _rows(n, each, room[k]) * STEP for k, n in count.items()}
    above, below = max(tall["right-pass"], tall["wrong-pass"]), max(tall["wrong-fail"], tall["right-fail"])
    y = above + 68
    body = text(f"Reference: fits ({good})", 0, 12, 14, fill=FAINT)
    body += text(f"does not fit ({poor})", wide, 12, 14, fill=FAINT, text_anchor="end")
    for kind, n in count.items():
        x = 0.0 if kind in ("right-pass", "wrong-fail") else split + 12
        body += _field(kind, n, x, room[kind], each, y)
    body += line(0, y, wide, y, INK, 2) + line(split, 22, split, y + below + 54, RULE, 1.4)
    said, bottom = "above the line: the test passed it; below: the test failed it", y + below + 58
    for row in wrap(said if each == 1 else f"{said}; a sign stands for {each}", 13, wide, 2):
        bottom += 15
        body += text(row, 0, bottom, 13, fill=FAINT)
    return body, bottom + 4


def _per_row(room: float) -> int:
    return max(1, int((room - 18) // STEP))


def _rows(n: int, each: int, room: float) -> int:
    signs = -(-n // each)
    return -(-signs // _per_row(room))


def _field(kind: str, n: int, x: float, room: float, each: int, y: float) -> str:
    """Signs stacked away from the line, the count and its words beyond them."""
    per, up = _per_row(room), kind.endswith("pass")
    body = "".join(sign(kind, x + 6 + (i % per) * STEP, y + (-1 if up else 1) * (13 + (i // per) * STEP))
                   for i in range(-(-n // each)))
    tall = _rows(n, each, room) * STEP
    after = x + width_of(str(n), 24, True) + 8
    rows = wrap(SAID[kind], 13, room - (after - x) - 8, 2)
    foot = y - tall - (24 if len(rows) > 1 else 18) if up else y + tall + 33
    body += text(n, x, foot, 24, font_weight=700, fill=TASTE if kind == "wrong-pass" and n else INK)
    return body + "".join(text(row, after, foot - (7 if len(rows) > 1 else 2) + i * 15, 13, fill=INK)
                          for i, row in enumerate(rows))


# The zone on a log axis

def _strip(pairs: Sequence[Pair], zone: Zone, wide: float, name: str) -> tuple[str, float]:
    """Every reference factor on a log axis, passed above, failed below; the zone hatched, the pass level upright."""
    factors = [p.factor for p in pairs if p.factor is not None]
    axis = LogAxis.over([*factors, zone.low / 2, zone.high * 2], 6, wide - 6)
    ups, downs = (_stack([p for p in pairs if p.passed is passed], axis) for passed in (True, False))
    rise, fall = (10.5 * max((row for *_, row in s), default=0) + 16 for s in (ups, downs))
    y = 38 + rise
    body = _zone(zone, axis, y, rise, fall, name) + line(0, y, wide, y, INK, 2)
    for stack, way in ((ups, -1), (downs, 1)):
        body += "".join(sign(_kind(p, zone.level), at, y + way * (10 + 10.5 * row), 3.8) for p, at, row in stack)
    body += axis.ruler(y + fall + 6)
    said = "reference fit factor" + ("; in the hatched zone the reference itself is in doubt" if zone.cv else "")
    tall = y + fall + 30
    for row in wrap(said, 13, wide, 2):
        tall += 15
        body += text(row, 0, tall, 13, fill=FAINT)
    return body, tall + 4


def _kind(pair: Pair, level: float) -> str:
    good = (pair.factor or 0) >= level
    return ("right" if pair.passed == good else "wrong") + ("-pass" if pair.passed else "-fail")


def _stack(pairs: Sequence[Pair], axis: LogAxis) -> list[tuple[Pair, float, int]]:
    """Each with its x and the row in which it does not lie on another."""
    placed, ends = list[tuple[Pair, float, int]](), list[float]()
    for factor, p in sorted(((p.factor, p) for p in pairs if p.factor), key=lambda f: f[0]):
        at = axis.x(factor)
        row = next((i for i, end in enumerate(ends) if at - end >= 10), len(ends))
        ends[row:row + 1] = [at]
        placed.append((p, at, row))
    return placed


def _zone(zone: Zone, axis: LogAxis, y: float, rise: float, fall: float, name: str) -> str:
    at, left, right = (axis.x(f) for f in (zone.level, zone.low, zone.high))
    body = text(f"pass level {zone.level:g}", at, 12, 13, text_anchor="middle", font_weight=600)
    if zone.cv:
        body += hatch(f"{name}-z") + el("rect", x=left, y=34.0, width=right - left, height=rise + fall + 8,
                                        stroke=FAINT, fill=f"url(#{name}-z)", stroke_dasharray="3 3", class_="zone")
        body += text(f"left out: {zone.low:.3g} to {zone.high:.3g}", at, 28, 13, fill=FAINT, text_anchor="middle")
    return body + line(at, 32, at, y + fall + 4, INK, 1.6)


# Demands

def _value(c: Criterion) -> str:
    return "not known" if c.value is None else f"{c.value:.3f}"


def _needed(c: Criterion) -> str:
    return f"{'more than' if c.strictly else 'at least'} {c.needed:.2f}"


def _verdict(c: Criterion) -> str:
    return "cannot be told" if c.met is None else "not met" if not c.met else "met" if c.sure else "met, not surely"


def _demand(c: Criterion, wide: float) -> tuple[str, float]:
    """One demand: its interval as a bar with the value as a disc, what is needed as a bracket, the answer in words."""
    body, figures = text(c.title, 0, 14, 15, font_weight=600), f"{_value(c)}, needed {_needed(c)}"
    apart = width_of(c.title, 15, True) + width_of(figures, 13) + 12 < wide
    body += text(figures, wide if apart else 0, 14 if apart else 31, 13, fill=FAINT,
                 text_anchor="end" if apart else None)
    y = 33.0 if apart else 49.0
    body += _interval(c, wide - width_of("met, not surely", 14, True) - 26, y)
    body += text(_verdict(c), wide, y + 5, 14, font_weight=600, fill=INK if c.met else TASTE, text_anchor="end")
    tall = y + 19
    for row in wrap(c.means, 13, wide, 2):
        body += text(row, 0, tall + 4, 13, fill=FAINT)
        tall += 16
    return body, tall + 12


def _interval(c: Criterion, room: float, y: float) -> str:
    """0 to 1 from the left; a hollow disc is not enough."""
    def x(value: float) -> float:
        return 6 + (room - 6) * min(max(value, 0.0), 1.0)

    need = x(c.needed)
    body = line(x(0), y, x(1), y, RULE, 2)
    body += el("path", d=f"M{need + 4:.1f} {y - 9:.1f} H{need:.1f} V{y + 9:.1f} H{need + 4:.1f}", fill="none",
               stroke=INK, stroke_width=1.8)
    if c.value is None:
        return body
    if c.low is not None and c.high is not None:
        body += line(x(c.low), y, x(c.high), y, EXERCISE, 5, stroke_linecap="round", opacity=0.55)
    return body + el("circle", cx=x(c.value), cy=y, r=6, fill=EXERCISE if c.met else PAPER,
                     stroke=EXERCISE if c.met else TASTE, stroke_width=2.4)
