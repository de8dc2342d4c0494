"""The picture of a score: time runs left to right, exercises are bars on a staff, doses notes above, marks below.

A note's head holds its squeezes and its foot lies on the staff for as long as they take. Of a test as performed, rings
are what was due and filled heads what was given; a filled head within its ring was given on time. A test that measures
has no notes, but a row of samples beneath its bars.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from sealwright.insight.hood import Prediction, explanations
from sealwright.pictures.glyphs import glyph, mark
from sealwright.pictures.hood import hood_line, wanting
from sealwright.pictures.pen import (
    DOSE,
    EXERCISE,
    FAINT,
    INK,
    PAPER,
    TASTE,
    clock,
    document,
    el,
    mark_of,
    text,
    width_of,
    wrap,
)
from sealwright.pictures.performed import Performed
from sealwright.pictures.samples import sample_row, sign_missed, signs, taken
from sealwright.pictures.staff import SHORT_S, Line, Mark, Pen, draw_line, hatch, place, troubles, was_due
from sealwright.protocols import Act, Score

LEGIBLE = 1.9
"""px a second below which a bar of a minute no longer holds its name at a readable size."""
STRIP = Pen(name=16, count=14, small=13.5, radius=13.5, head=17, staff=46, bar=48, mark=22, ids=True)
STRIP_HEIGHT = 150
UNDOSED = {True: replace(STRIP, staff=12, bar=50, air=26), False: replace(STRIP, staff=18, bar=72)}
"""the strip's pen where no doses are given: with samples, without"""
HOLD = {"hold-still": "wearer holds still", "pause-talking": "wearer pauses talking",
        "hold-hem": "wearer holds the hem"}
PAD, TAIL = 18.0, 9.0


def score_svg(score: Score, *, title: str, width: int = 1600, performed: Performed | None = None,
              standalone: bool = True, fold: int | None = None, heading: bool = True, legend: bool = True,
              beneath: Prediction | None = None) -> str:
    """The whole score as an SVG `width` px wide.

    As music wraps, it takes as few lines as stay legible at this width; `fold`: with at most so many minutes a line.
    `standalone`: with its own ground and light and dark colours; otherwise those of the page around it. `beneath`: what
    the air under the hood held, drawn below each line on the same seconds.
    """
    told = " ".join([*describe(score, performed), *(explanations(beneath) if beneath else ())])
    last = _last(score, performed)
    pen = _pen(score, performed, f"{mark_of(title, told, str(width))}-h" if performed and performed.gaps else "")
    marks, air = _marks(score, performed, last), f"{mark_of(title, told, str(width))}-a"
    body, y = _heading(score, title, width) if heading else ("", 4.0)
    for line in _lines(score, performed, width, fold):
        placed = place(line, [m for m in marks if line.holds(m.at)], pen, width - PAD)
        drawn = sample_row(score, line, pen, performed) + draw_line(score, line, placed, pen, performed, last)
        body += el("g", drawn, transform=f"translate(0 {y:.1f})")
        y += pen.marks + pen.mark * (1 + max((p.last_row for p in placed), default=-1)) + 16
        if beneath:
            drawn, tall = hood_line(line, beneath, air, label=line.start < 0)
            body += el("g", drawn, transform=f"translate(0 {y:.1f})", class_="air")
            y += tall + 18
    meant = _signs(score, performed) if legend else []
    if meant:
        drawn, y = _legend(meant, y, width)
        body += drawn
    body = (hatch(pen.hatch) if pen.hatch else "") + (wanting(air) if beneath else "") + body
    return document(title, told, body, width=width, height=y + 4, standalone=standalone)


def _pen(score: Score, performed: Performed | None, name: str) -> Pen:
    """Room above the notes for what was amiss with them, below the bars for what is sampled."""
    if not score.of("dose"):
        seen = 11.0 if performed and performed.samples else 0.0
        return Pen(hatch=name, staff=14, air=18.0 if score.of("sample") else 0.0, seen=seen)
    rows = max((len(troubles(a, performed)) for a in score.of("dose")), default=0) if performed else 0
    plain = Pen(hatch=name)
    room = 14.0 * max(rows - 1, 0)
    return replace(plain, head=plain.head + room, staff=plain.staff + room)


def strip_svg(score: Score, *, px_per_s: float = 8.0, label: str = "Score of the test") -> str:
    """The staff alone for the live room, 150 px high, to be moved under a fixed line.

    On the root `data-origin` is the x of second 0 and `data-px-per-s` the scale; each act is a `g` with `data-act`,
    `data-kind`, `data-at`, `data-lasts` and `id="act-<id>"`, whose parts have the classes head, count, foot, bar, name;
    a sample's has the class air and ambient, mask or hold.
    """
    pen = STRIP if score.of("dose") else UNDOSED[bool(score.of("sample"))]
    last = _last(score, None)
    line = Line(_first(score) - 4.0, last + 40, 0.0, px_per_s)
    width = (line.end - line.start) * px_per_s
    drawn = sample_row(score, line, pen, None)
    drawn += draw_line(score, line, place(line, _marks(score, None, last), pen, width), pen, None, last)
    return document(label, " ".join(describe(score)), drawn, width=width, height=STRIP_HEIGHT, standalone=False,
                    data_origin=float(line.x(0)), data_px_per_s=float(px_per_s))


def describe(score: Score, performed: Performed | None = None) -> Iterator[str]:
    """The acts in words, one sentence each, in the order of time."""
    yield f"{', '.join(_particulars(score))}{' in all' if score.squeezes else ''}."
    for a in score.acts:
        if a.kind == "dose":
            hold = f", {HOLD[a.during_dose]}" if a.during_dose else ""
            yield f"{clock(a.at)} {a.title}: {a.squeezes} squeezes{hold}{_told(a, performed)}."
        elif a.kind == "sample":
            seen = "" if performed is None else "; taken" if taken(a, performed) else "; not taken"
            yield f"{clock(a.at)} {a.title}, {a.lasts} s{seen}."
        else:
            lasts = f", {a.lasts} s" if a.kind == "exercise" else ""
            yield f"{clock(a.at)} {a.title}{lasts}{'' if a.counts else ', not counted'}."
    if performed:
        yield "As performed:"
        yield from (f"{clock(int(m.at))} {m.word}." for m in _marks(score, performed, _last(score, performed)))


def _particulars(score: Score) -> list[str]:
    """Which score it is; level and squeezes only where there are any."""
    dosed = [f"level {score.level}", f"{score.squeezes} squeezes"] if score.squeezes else []
    return [f"{score.protocol} version {score.protocol_version}", *dosed]


def _told(act: Act, performed: Performed | None) -> str:
    if performed is None:
        return ""
    given = [f"given by {clock(int(g.at_s))}, {g.squeezes} squeezes" for g in performed.doses if g.act == act.id]
    return "; " + (" and ".join(given) or ("missed" if was_due(act, performed) else "not reached"))


def _first(score: Score) -> int:
    return min(a.at for a in score.acts)


def _last(score: Score, performed: Performed | None) -> float:
    """Where the exercises end, on paper or as performed, whichever is later. A clock gone wrong makes no year of paper.
    """
    ends = [float(score.lasts)]
    if performed:
        ends += [performed.ends_s, *(e.at_s + e.lasts for e in performed.exercises)]
    return min(max(ends), 2.0 * score.lasts)


def _lines(score: Score, performed: Performed | None, width: float, fold: int | None) -> list[Line]:
    first, last = min(_first(score), -24 if score.squeezes else 0) - 4.0, _last(score, performed)
    if performed:  # a first dose given early may begin before its second
        first = max(min([first, *(g.at_s - 24 for g in performed.doses if g.act == "dose-0")]), -90.0)
    room = width - 2 * PAD
    minutes = _fold(first, last, room, fold, _legible(score))
    each = 60.0 * minutes if minutes else last
    cuts = [0.0]
    while cuts[-1] + each < last - 5:
        cuts.append(cuts[-1] + each)
    spans = list(zip([first, *cuts[1:]], [*cuts[1:], last + TAIL], strict=True))
    pps = room / max(b - a for a, b in spans)
    return [Line(a, b, PAD, pps) for a, b in spans]


def _legible(score: Score) -> float:
    """LEGIBLE, and more where exercises are shorter than a minute; those told by their glyph alone do not count."""
    shortest = min((a.lasts for a in score.of("exercise") if a.lasts > SHORT_S), default=60)
    return LEGIBLE if shortest >= 60 else 2.4


def _fold(first: float, last: float, room: float, most: int | None, legible: float) -> int:
    """The most whole minutes a line that stay legible, spread evenly; 0 when all fits on one."""
    minutes = -(-int(last) // 60)
    if (last + TAIL - first) * legible <= room and (not most or most >= minutes):
        return 0
    fits = max(1, min(int((room / legible + first) // 60), most or minutes))
    return -(-minutes // -(-minutes // fits))


def _marks(score: Score, performed: Performed | None, last: float) -> list[Mark]:
    if performed is None:
        return [Mark(a.at, a.kind, a.title, INK, a) for a in score.acts if a.kind in ("mist", "seal-break")]
    p, found = performed, list[Mark]()
    found += [Mark(s, "taste", f"{p.sensed.title()} at {clock(int(s))}", TASTE) for s in p.tastes]
    found += [Mark(m.at_s, "mist", "Mist seen" if m.yes else "Mist not seen", INK if m.yes else TASTE) for m in p.mists]
    found += [Mark(s, "touched", f"Facepiece touched at {clock(int(s))}", TASTE) for s in p.touched]
    found += [Mark(a, "away", f"Room away {round(b - a)} s", INK) for a, b in p.gaps]
    if p.seal_break:
        colour = INK if p.seal_break.yes else TASTE
        found.append(Mark(p.seal_break.at_s, "seal-break", _broken(p.sensed, p.seal_break.yes), colour))
    if p.stopped:
        found.append(Mark(p.stopped[0], "stopped", f"Stopped: {p.stopped[1].replace('-', ' ')}", TASTE))
    held = (replace(m, at=min(m.at, last + TAIL - 1)) for m in found)  # what came after stands at the end of the paper
    return sorted(held, key=lambda m: m.at)


def _broken(sensed: str, yes: bool) -> str:
    if sensed == "reacted":
        return f"Facepiece off: {'reacted' if yes else 'no reaction'}"
    return f"Seal broken: {sensed if yes else f'not {sensed}'}"


def _heading(score: Score, title: str, width: float) -> tuple[str, float]:
    y, body = 0.0, ""
    for row in wrap(title, 20, width - 2 * PAD, 3):
        y += 27
        body += text(row, PAD, y, 20, font_weight=600)
    for row in wrap(", ".join([*_particulars(score), f"{clock(score.lasts)} of exercises"]), 14, width - 2 * PAD, 2):
        y += 20
        body += text(row, PAD, y, 14, fill=FAINT)
    return body, y + 14


def _legend(signs: list[tuple[str, str]], top: float, width: float) -> tuple[str, float]:
    """What the signs mean, in a row that wraps."""
    body, x, y = "", PAD, top + 10
    for sign, words in signs:
        wide = 22 + width_of(words, 12.5) + 18
        if x > PAD and x + wide - 18 > width - PAD:
            x, y = PAD, y + 22
        body += el("g", sign, transform=f"translate({x + 9:.1f} {y:.1f})")
        body += text(words, x + 22, y + 4.5, 12.5, fill=FAINT)
        x += wide + 4
    return body, y + 14


def _signs(score: Score, performed: Performed | None) -> list[tuple[str, str]]:
    """Signs drawn around the origin, with their meaning; of a test as performed only those that may be met in it."""
    asides = _sampled(score, performed)
    if performed is None:
        dose = [(_sign_head(False), "dose: its squeezes; below it, how long they take"),
                (mark("mist", 0, 0), "look for the mist")] if score.of("dose") else []
        closing = [(mark("seal-break", 0, 0), "seal broken to close")] if score.of("dose") else []
        return [*dose, *closing, *asides]
    found = asides if not score.of("dose") else [
        (_sign_ring() + _sign_head(True), "dose given, in its ring: on time"), (_sign_head(False), "dose due")]
    if performed.tastes:
        found.append((mark("taste", 0, 0, TASTE), f"{performed.sensed}: the test ends"))
    if performed.gaps:
        found.append((mark("away", 0, 0), "room away: nobody watched the clock"))
    return found


def _sampled(score: Score, performed: Performed | None) -> list[tuple[str, str]]:
    """Of a test that measures: the airs met in it, what is not counted, the exercises too short for their names."""
    airs = {a.air for a in score.of("sample")}
    found = [(sign, words) for air, sign, words in signs() if air in airs]
    if performed and airs:
        found.append((sign_missed(), "due, not taken" + ("; below it, as sampled" if performed.samples else "")))
    if not all(a.counts for a in score.of("exercise")):
        found.append((_sign_aside(), "not counted in the overall factor"))
    short = {a.figure: a.title for a in score.of("exercise") if a.lasts <= SHORT_S}
    return found + [(glyph(figure, 0, 0, 18), title) for figure, title in short.items()]


def _sign_aside() -> str:
    return el("path", d="M-5 -6 Q-9 0 -5 6 M5 -6 Q9 0 5 6", fill="none", stroke=EXERCISE, stroke_width=1.8)


def _sign_head(filled: bool) -> str:
    return el("ellipse", rx=6.5, ry=5.5, fill=DOSE if filled else PAPER, stroke=DOSE, stroke_width=1.6)


def _sign_ring() -> str:
    return el("ellipse", rx=9.5, ry=8.5, fill="none", stroke=DOSE, stroke_width=1.2)
