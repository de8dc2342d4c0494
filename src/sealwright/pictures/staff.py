"""One line of staff, drawn back to front: rules, bars, gaps, notes, marks."""

from __future__ import annotations

from dataclasses import dataclass

from sealwright.pictures.glyphs import glyph, mark
from sealwright.pictures.pen import (
    DOSE,
    EXERCISE,
    FAINT,
    INK,
    PAPER,
    RULE,
    TASTE,
    clock,
    el,
    num,
    text,
    width_of,
    wrap,
)
from sealwright.pictures.performed import Given, Performed
from sealwright.protocols import Act, Score

SHORT_S = 20
"""an exercise no longer than this may be told by its glyph alone; the legend names it"""


@dataclass(frozen=True)
class Pen:
    """Sizes in px. Heights are from the top of a line: `head` the middle of the notes, `staff` the top of the bars.

    `air`: height of the row of samples below the bars, `seen`: of the row as sampled below that; 0: there is none.
    """

    name: float = 14
    count: float = 12.5
    small: float = 12.5
    radius: float = 12
    head: float = 30
    staff: float = 60
    bar: float = 48
    mark: float = 21
    ids: bool = False
    hatch: str = ""
    air: float = 0
    seen: float = 0

    @property
    def samples(self) -> float:
        """The top of the row of samples."""
        return self.staff + self.bar + 5

    @property
    def floor(self) -> float:
        return self.samples + self.air + self.seen if self.air else self.staff + self.bar

    @property
    def marks(self) -> float:
        """Where the rows of marks begin, below the ruler."""
        return self.floor + 10 + self.small + 5


@dataclass(frozen=True)
class Line:
    """One line of staff: the seconds it holds and how they lie on the paper."""

    start: float
    end: float
    left: float
    pps: float

    def x(self, second: float) -> float:
        return self.left + (second - self.start) * self.pps

    def holds(self, second: float) -> bool:
        return self.start <= second < self.end

    def part(self, at: float, lasts: float) -> tuple[float, float] | None:
        """x and width of what this line shows of a stretch of time."""
        a, b = max(at, self.start), min(at + lasts, self.end)
        return (self.x(a), (b - a) * self.pps) if b > a else None


@dataclass(frozen=True)
class Mark:
    """Something below the staff: a shape of its own and a word."""

    at: float
    shape: str
    word: str
    colour: str = INK
    act: Act | None = None


@dataclass(frozen=True)
class Placed:
    """A mark where it goes; `left`: its word stands left of its shape; `at_figure`: right under one of the ruler.

    `words`: the rows its word takes, more than one only where it fits on neither side.
    """

    mark: Mark
    x: float
    row: int
    left: bool
    at_figure: bool
    words: tuple[str, ...]

    @property
    def last_row(self) -> int:
        return self.row + len(self.words) - 1


def place(line: Line, marks: list[Mark], pen: Pen, right: float) -> list[Placed]:
    """Rows for the marks of a line, so that no word lies over another and none leaves the paper."""
    placed, taken = list[Placed](), list[float]()
    for m in marks:
        x, long = line.x(m.at), 14 + width_of(m.word, pen.small, m.colour == TASTE)
        left, words = x + long > right, [m.word]
        if left and x - long < 0:
            left, room = x > right - x, max(x, right - x) - 16
            words = wrap(m.word, pen.small * (1.12 if m.colour == TASTE else 1), room, 3)
            long = room + 14
        start, end = (x - long, x + 9) if left else (x - 9, x + long)
        row = next((i for i in range(len(taken)) if all(start > until + 6 for until in taken[i:i + len(words)])),
                   len(taken))
        taken[row:row + len(words)] = [end] * len(words)
        placed.append(Placed(m, x, row, left, abs((m.at + 30) % 60 - 30) * line.pps < 20, tuple(words)))
    return placed


def draw_line(score: Score, line: Line, marks: list[Placed], pen: Pen, done: Performed | None, last: float) -> str:
    """Everything of one line; `last` is where the final bar line stands."""
    parts = [_rules(line, pen, bool(score.of("dose"))), *(_bar(a, line, pen, done) for a in score.of("exercise"))]
    parts.append(_ruler(line, pen, last))
    parts += [_note(a, line, pen, done) for a in score.of("dose") if line.holds(a.at)]
    return "".join([*parts, *(_leader(m, pen) for m in marks), *(_mark(m, pen) for m in marks)])


def act_group(act: Act, pen: Pen, *inside: str) -> str:
    return el("g", *inside, id=f"act-{act.id}" if pen.ids else None, class_=f"act {act.kind}", data_act=act.id,
              data_kind=act.kind, data_at=act.at, data_lasts=act.lasts)


def _stroke(x1: float, y1: float, x2: float, y2: float, colour: str, wide: float = 1.0, **attrs: object) -> str:
    return el("line", x1=float(x1), y1=float(y1), x2=float(x2), y2=float(y2), stroke=colour, stroke_width=float(wide),
              **attrs)


def _rules(line: Line, pen: Pen, dosed: bool) -> str:
    """The five rules of the staff and, before the first exercise, a word for the dose that is given there."""
    a, b = line.x(line.start) - (0 if line.start < 0 else 6), line.x(line.end)
    drawn = "".join(_stroke(a, y, b, y, RULE) for y in (pen.staff + i * pen.bar / 4 for i in range(5)))
    if line.start >= 0 or not dosed:
        return drawn
    middle, wide = pen.staff + pen.bar / 2, width_of("first dose", pen.small) + 20
    if line.x(0) - a > wide:
        return drawn + _lifted("first dose", line.x(0) - wide + 8, middle + 4, pen.small)
    return drawn + _lifted("first", a + 3, middle - 3, pen.small) + _lifted("dose", a + 3, middle + 12, pen.small)


def _lifted(word: str, x: float, y: float, size: float) -> str:
    """A word on a patch of paper, clear of the rules behind it."""
    patch = el("rect", x=x - 2, y=y - size * 0.85, width=width_of(word, size) + 4, height=size * 1.1, fill=PAPER)
    return patch + text(word, x, y, size, fill=FAINT)


def _ruler(line: Line, pen: Pen, last: float) -> str:
    """A tick every 10 s, longer at the half minute, a figure at the minute; bar lines at second 0 and at the end."""
    parts, y = [], pen.floor + 3
    for s in range(-(-int(line.start) // 10) * 10, int(min(line.end, last)) + 1, 10):
        long = 9.0 if s % 60 == 0 else 6.5 if s % 30 == 0 else 3.5
        parts.append(_stroke(line.x(s), y, line.x(s), y + long, FAINT, 1.2 if s % 30 == 0 else 0.8))
        if s % 60 == 0 and s >= 0:
            x = line.x(s) if s < 600 else max(line.x(s), 1.6 * pen.small)  # five figures stay on the paper
            parts.append(text(clock(s), x, y + 11 + pen.small * 0.8, pen.small, fill=FAINT, text_anchor="middle",
                              class_="clock"))
    if line.holds(0):
        parts.append(_stroke(line.x(0), pen.staff, line.x(0), pen.floor, INK, 2))
    if line.holds(last):
        x = line.x(last) + 4
        parts += [_stroke(x, pen.staff, x, pen.floor, INK, 1), _stroke(x + 4, pen.staff, x + 4, pen.floor, INK, 3.5)]
    return "".join(parts)


def _bar(act: Act, line: Line, pen: Pen, done: Performed | None) -> str:
    """An exercise: full when it is the plan or was done, a broken outline for what was due and not done."""
    due = line.part(act.at, act.lasts)
    if done is None:
        return act_group(act, pen, _filled(*due, pen, act.counts), _name(act, *due, pen)) if due else ""
    kept = [e for e in done.exercises if e.exercise == act.exercise]
    parts = [p for e in kept if (p := line.part(e.at_s, e.lasts)) and p[1] > 2 * line.pps]
    if not due and not parts:
        return ""
    short = due is not None and sum(w for _, w in parts) < due[1] - 2 * line.pps
    outline = _box(*due, pen, fill=PAPER, stroke=FAINT, stroke_dasharray="3 3") if due and short else ""
    return act_group(act, pen, outline, *(_filled(*p, pen, act.counts) for p in parts), _gaps(act, line, pen, done),
                _name(act, *_roomiest(due if short else None, parts), pen, "" if kept else "not done"))


def _roomiest(due: tuple[float, float] | None, parts: list[tuple[float, float]]) -> tuple[float, float]:
    """x and width of the best place for a name: a part done, what was left undone after it, or all that was due."""
    places = list(parts)
    if due:
        x = max([due[0], *(a + w + 6 for a, w in parts)])
        places.append((x, due[0] + due[1] - x))
    best = max(places, key=lambda p: p[1], default=(0.0, 0.0))
    return due if due and best[1] < 86 else best


def _box(x: float, width: float, pen: Pen, **attrs: object) -> str:
    return el("rect", x=x + 1.5, y=float(pen.staff), width=max(width - 3, 1.0), height=float(pen.bar), rx=4, **attrs)


def _filled(x: float, width: float, pen: Pen, counts: bool = True) -> str:
    """A bar; in brackets when the exercise is left out of the overall factor."""
    if not counts:
        return _box(x, width, pen, fill=PAPER, class_="bar") + _brackets(x, width, pen)
    return (_box(x, width, pen, fill=PAPER) +
            _box(x, width, pen, fill=EXERCISE, fill_opacity=0.13, stroke=EXERCISE, stroke_width=1.4, class_="bar"))


def _brackets(x: float, width: float, pen: Pen) -> str:
    top, foot, deep = num(pen.staff), num(pen.staff + pen.bar), min(7.0, width / 4)
    sides = [(x + 2 + deep, x + 1 - deep), (x + width - 2 - deep, x + width - 1 + deep)]
    return el("path", d="".join(f"M{num(a)} {top} Q{num(b)} {num(pen.staff + pen.bar / 2)} {num(a)} {foot}"
                                for a, b in sides), fill="none", stroke=EXERCISE, stroke_width=1.8, class_="aside")


def _name(act: Act, x: float, width: float, pen: Pen, word: str = "") -> str:
    """Glyph and name within the bar; a long bar says it again, so that it stays in sight as the paper moves."""
    if width < 26 and act.lasts > SHORT_S:
        return ""
    word = word or ("" if act.counts or width < width_of("not counted", pen.name) + 2.5 * pen.name else "not counted")
    times = max(1, int(width // 240))
    return "".join(_name_once(act, x + i * width / times, width / times, pen, word) for i in range(times))


def _name_once(act: Act, x: float, width: float, pen: Pen, word: str) -> str:
    """The glyph gives way where the name would be cut, then the lines close up to three."""
    for lead, most in ((pen.name * 2.15, 2), (6.0, 2), (6.0, 3)):
        rows = wrap(act.title, pen.name, width - lead - 5, most)
        if not any(row.endswith("…") for row in rows):
            break
    if any(row.endswith("…") for row in rows) and (act.lasts <= SHORT_S or width < 50):
        return glyph(act.figure, x + width / 2, pen.staff + pen.bar / 2, min(pen.name * 1.35, width - 6))
    rows = [*rows[:2], word] if word else rows
    middle, step = pen.staff + pen.bar / 2, pen.name * (1.05 if len(rows) > 2 else 1.2)
    top = middle - step * (len(rows) - 1) / 2 + pen.name * 0.35
    halo: dict[str, object] = {"stroke": PAPER, "stroke_width": 3, "paint_order": "stroke", "stroke_linejoin": "round"}
    said = "".join(text(row, x + lead, top + i * step, pen.name, fill=FAINT if word else INK, class_="name",
                        **(halo if pen.hatch else {})) for i, row in enumerate(rows))
    return (glyph(act.figure, x + 7 + pen.name * 0.7, middle, pen.name * 1.35) if lead > 6 else "") + said


def _gaps(act: Act, line: Line, pen: Pen, done: Performed) -> str:
    """The time within an exercise for which the room was away: hatched."""
    spans = [(max(a, act.at), min(b, act.at + act.lasts)) for a, b in done.gaps]
    shown = [p for a, b in spans if b > a and (p := line.part(a, b - a))]
    return "".join(el("rect", x=x, y=float(pen.staff), width=max(w, 3.0), height=float(pen.bar), stroke=INK,
                      fill=f"url(#{pen.hatch})", stroke_width=0.8, opacity=0.6, class_="away") for x, w in shown)


def hatch(name: str) -> str:
    """The pattern of a gap, to be filled with by `name`."""
    lines = el("path", d="M-2 8 L8 -2 M4 14 L14 4", stroke=INK, stroke_width=1.1)
    return el("defs", el("pattern", lines, id=name, width=8, height=8, patternUnits="userSpaceOnUse"))


# Notes

def _head(x: float, pen: Pen, count: int, filled: bool, colour: str = DOSE) -> str:
    y, r = pen.head, pen.radius
    oval = el("ellipse", cx=float(x), cy=float(y), rx=r + 1.5, ry=float(r), fill=colour if filled else PAPER,
              stroke=colour, stroke_width=1.8, stroke_dasharray=None if colour == DOSE else "3 3", class_="head")
    shade = PAPER if filled else INK if colour == DOSE else FAINT
    return oval + text(count or "", x, y + pen.count * 0.35, pen.count, fill=shade, font_weight=600,
                       text_anchor="middle", class_="count")


def _stem(x: float, pen: Pen, colour: str = DOSE) -> str:
    return _stroke(x, pen.head + pen.radius, x, pen.staff, colour, 1.6)


def _foot(a: float, b: float, line: Line, pen: Pen) -> str:
    return el("rect", x=line.x(a), y=pen.staff - 2.5, width=max((b - a) * line.pps, 2.0), height=5, rx=1.5, fill=DOSE,
              class_="foot")


def _note(act: Act, line: Line, pen: Pen, done: Performed | None) -> str:
    x, amiss = line.x(act.at), "" if done is None else _troubles(act, line, pen, done)
    given = [g for g in done.doses if g.act == act.id] if done else []
    if given:
        return act_group(act, pen, _ring(x, pen), *(_given(g, act, line, pen) for g in given), amiss)
    if done is not None and not was_due(act, done):
        return act_group(act, pen, _stem(x, pen, FAINT), _head(x, pen, act.squeezes, False, FAINT))
    if done is None:
        return act_group(act, pen, _stem(x, pen), _foot(act.at, act.at + act.lasts, line, pen),
                    _head(x, pen, act.squeezes, False))
    return act_group(act, pen, _stem(x, pen), _head(x, pen, 0, False), _cross(x, pen), amiss)


def troubles(act: Act, done: Performed) -> list[str]:
    """What was amiss with a dose, in words; a few seconds either way are not told, the drawing shows them."""
    given = [g for g in done.doses if g.act == act.id]
    if not given:
        return [f"{act.squeezes} missed"] if was_due(act, done) else []
    squeezes, off = sum(g.squeezes for g in given), round(given[0].at_s - act.at - act.lasts)
    return ([f"{squeezes} of {act.squeezes}"] if squeezes != act.squeezes else []) + (
        [f"{abs(off)} s {'late' if off > 0 else 'early'}"] if abs(off) >= 5 else [])


def _troubles(act: Act, line: Line, pen: Pen, done: Performed) -> str:
    given = next((g for g in done.doses if g.act == act.id), None)
    middle = line.x(given.at_s - act.lasts if given else act.at)
    found = troubles(act, done)
    middle = max(middle, *(width_of(w, pen.small, True) / 2 + 2 for w in found)) if found else middle
    top = pen.head - pen.radius - 7
    return "".join(text(w, middle, top - i * pen.small * 1.1, pen.small, fill=TASTE, font_weight=600,
                        text_anchor="middle") for i, w in enumerate(found))


def was_due(act: Act, done: Performed) -> bool:
    """A dose whose time was up before the test ended."""
    return act.at + act.lasts <= done.ends_s


def _ring(x: float, pen: Pen) -> str:
    return el("ellipse", cx=float(x), cy=float(pen.head), rx=pen.radius + 4.5, ry=pen.radius + 3, fill="none",
              stroke=DOSE, stroke_width=1.4, class_="due")


def _cross(x: float, pen: Pen) -> str:
    a, b, y = pen.radius + 3, pen.radius, pen.head
    return el("path", d=f"M{x - a:.2f} {y - b:.2f} L{x + a:.2f} {y + b:.2f} M{x + a:.2f} {y - b:.2f} "
              f"L{x - a:.2f} {y + b:.2f}", stroke=TASTE, stroke_width=2.2, stroke_linecap="round", class_="missed")


def _given(given: Given, act: Act, line: Line, pen: Pen) -> str:
    """A filled head where the dose began, reckoned back from when the tester said it was done."""
    began = given.at_s - act.lasts
    x, squeezed = line.x(began), act.lasts * given.squeezes / max(act.squeezes, 1)
    return _stem(x, pen) + _foot(began, began + squeezed, line, pen) + _head(x, pen, given.squeezes, True)


def _foot_of(placed: Placed, pen: Pen) -> float:
    return pen.marks + placed.row * pen.mark + pen.mark / 2


def _leader(placed: Placed, pen: Pen) -> str:
    """From the staff down to a mark; right through the staff where the mark bears on the whole test."""
    x, shape = placed.x, placed.mark.shape
    if shape in ("taste", "touched", "stopped"):
        return _stroke(x, pen.staff - 6, x, _foot_of(placed, pen), placed.mark.colour, 2)
    if placed.at_figure or shape == "away":
        return ""
    return _stroke(x, pen.floor, x, _foot_of(placed, pen), placed.mark.colour, stroke_dasharray="1.5 3")


def _mark(placed: Placed, pen: Pen) -> str:
    m, x, y = placed.mark, placed.x, _foot_of(placed, pen)
    words = (text(word, x + (-13 if placed.left else 13), y + pen.small * 0.35 + i * pen.mark * 0.8, pen.small,
                  fill=m.colour, font_weight=600 if m.colour == TASTE else None,
                  text_anchor="end" if placed.left else "start", stroke=PAPER, stroke_width=3, paint_order="stroke",
                  class_="word") for i, word in enumerate(placed.words))
    drawn = mark(m.shape, x, y, m.colour) + "".join(words)
    return act_group(m.act, pen, drawn) if m.act else drawn
