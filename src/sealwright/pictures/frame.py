"""A frame for measurements: seconds or exercises to the right, a logarithmic axis upwards, names that find room."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sealwright.pictures.logaxis import LogAxis, line
from sealwright.pictures.pen import FAINT, INK, RULE, clock, cut, text, width_of, wrap

SIZE = 12.5
PAD = 14.0


@dataclass(frozen=True)
class Frame:
    """Edges in px; `log` maps a value to its height (its `left` is the bottom, or above it where there are zeros)."""

    left: float
    right: float
    top: float
    bottom: float
    log: LogAxis

    def y(self, value: float) -> float:
        """Height of a value; 0 lies on the floor, what is below the lowest decade on that decade."""
        return self.bottom if value <= 0 else self.log.x(max(value, self.log.low))


def frame(values: Iterable[float], left: float, right: float, top: float, bottom: float) -> Frame:
    """A frame whose decades hold all values above 0, with a line of its own for zeros if there are any."""
    seen = list(values)
    some = [v for v in seen if v > 0 and math.isfinite(v)] or [1.0, 1000.0]
    return Frame(left, right, top, bottom, LogAxis.over(some, bottom - (18 if 0 in seen else 0), top))


def shown(value: float) -> str:
    """A number with three figures at most and thousands apart: 1,240; 96.4."""
    if value <= 0 or not math.isfinite(value):
        return "0" if value == 0 else "not known"
    kept = round(value, 2 - math.floor(math.log10(value)))
    return f"{kept:,.0f}" if kept >= 100 else f"{kept:g}"


def upright(f: Frame, name: str) -> str:
    """Rules and figures at the decades, smaller ticks between, and the name of the axis above."""
    body = text(name, f.left, f.top - 8, SIZE, fill=FAINT) if name else ""
    if f.log.left < f.bottom:
        body += text("0", f.left - 8, f.bottom + 4, SIZE, fill=FAINT, text_anchor="end")
    decades = f.log.decades()
    every = 1 + len(decades) // 7
    for i, decade in enumerate(decades):
        y = f.y(decade)
        body += line(f.left, y, f.right, y, RULE)
        if i % every == 0:
            body += text(_round(decade), f.left - 8, y + 4, SIZE, fill=FAINT, text_anchor="end")
        if decade != decades[-1]:
            body += "".join(line(f.left - 3, s, f.left, s, FAINT, 0.8) for k in range(2, 10) for s in [f.y(decade * k)])
    return body


def _round(decade: float) -> str:
    """A power of ten in few signs."""
    for big, word in ((1e12, "× 10¹²"), (1e9, "billion"), (1e6, "million")):
        if decade >= big:
            return f"{decade / big:,.0f} {word}"
    return f"{decade:,.0f}" if decade >= 1 else f"{decade:g}"


def ruler(f: Frame, start: float, end: float) -> str:
    """Minutes and seconds below the frame, as many as have room."""
    span, room = max(end - start, 1e-9), f.right - f.left
    steps = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1800, 3600, 7200, 21600, 86400)
    step = next((s for s in steps if s / span * room >= 52), steps[-1])
    body, s = "", math.ceil(start / step) * step
    while s <= end + 1e-9:
        x = f.left + (s - start) / span * room
        body += line(x, f.bottom, x, f.bottom + 6, FAINT)
        if x < f.right - 12 or s + step > end:
            wide = width_of(clock(int(s)), SIZE) / 2
            body += text(clock(int(s)), min(x, f.right + 10 - wide), f.bottom + 7 + SIZE, SIZE, fill=FAINT,
                         text_anchor="middle")
        s += step
    return line(f.left, f.bottom, f.right, f.bottom, INK, 1.4) + body


def level_line(f: Frame, level: float, at: float, word: str = "pass level") -> str:
    """The pass level across the frame, broken; what it is stands at the right on the line of text `at`."""
    y, said = f.y(level), f"{word} {shown(level)}"
    x = f.right - width_of(said, SIZE, True)
    dash: dict[str, object] = {"stroke_dasharray": "7 4"}
    sample = line(x - 30, at - 4, x - 6, at - 4, INK, 1.8, **dash)
    return line(f.left, y, f.right, y, INK, 1.8, class_="level", **dash) + sample + text(said, x, at, SIZE,
                                                                                      font_weight=600)


def heading(title: str, width: float) -> tuple[str, float]:
    """The title, and the height below it."""
    y, body = 0.0, ""
    for row in wrap(title, 18, width - 2 * PAD, 3):
        y += 25
        body += text(row, PAD, y, 18, font_weight=600)
    return body, y + 10


def all_fit(names: Sequence[str], rooms: Sequence[float], lines: int) -> bool:
    """Whether each name, uncut, has room in so many lines."""
    return all(not any(r.endswith("…") for r in wrap(n, SIZE, room - 6, lines)) and
               max((width_of(w, SIZE) for w in n.split()), default=0) <= room - 6
               for n, room in zip(names, rooms, strict=True))


def key(entries: Sequence[tuple[str, str]], top: float, width: float) -> tuple[str, float]:
    """Numbered names below a picture, in as many columns as have room. Returns the drawing and its height."""
    if not entries:
        return "", 0.0
    widest = max(width_of(f"{n}  {said}", SIZE) for n, said in entries) + 24
    columns = max(1, min(int((width - 2 * PAD) // widest), len(entries)))
    rows, wide = -(-len(entries) // columns), (width - 2 * PAD) / columns
    lead = max(20.0, *(width_of(n, SIZE, True) + 6 for n, _ in entries))
    body = ""
    for i, (n, said) in enumerate(entries):
        x, y = PAD + wide * (i // rows), top + 17 * (i % rows) + SIZE
        body += text(n, x, y, SIZE, font_weight=600) + text(cut(said, SIZE, wide - lead - 4), x + lead, y, SIZE)
    return body, rows * 17.0 + 6


def stacked(rows: Sequence[str], x: float, y: float, size: float = SIZE, **attrs: object) -> str:
    """Lines of text centred under each other, the first on y."""
    return "".join(text(r, x, y + i * size * 1.18, size, text_anchor="middle", **attrs) for i, r in enumerate(rows))
