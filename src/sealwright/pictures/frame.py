"""A frame for measurements: seconds or exercises to the right, a logarithmic axis upwards, names that find room."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sealwright.pictures.logaxis import LogAxis, line
from sealwright.pictures.pen import FAINT, INK, PAPER, RULE, clock, cut, el, text, width_of, wrap

SIZE = 12.5
PAD = 14.0


@dataclass(frozen=True)
class Frame:
    """Edges in px; `log` maps a value to its height (its `left` is the bottom)."""

    left: float
    right: float
    top: float
    bottom: float
    log: LogAxis

    def y(self, value: float) -> float:
        """Height of a value; below the lowest decade: on the floor."""
        return self.log.x(max(value, self.log.low))


def frame(values: Iterable[float], left: float, right: float, top: float, bottom: float) -> Frame:
    """A frame whose decades hold all values above 0."""
    some = [v for v in values if v > 0 and math.isfinite(v)] or [1.0, 1000.0]
    return Frame(left, right, top, bottom, LogAxis.over(some, bottom, top))


def shown(value: float) -> str:
    """A number with three figures at most and thousands apart: 1,240; 96.4."""
    if value <= 0 or not math.isfinite(value):
        return "0" if value == 0 else "not known"
    kept = round(value, 2 - math.floor(math.log10(value)))
    return f"{kept:,.0f}" if kept >= 100 else f"{kept:g}"


def upright(f: Frame, name: str) -> str:
    """Rules and figures at the decades, smaller ticks between, and the name of the axis above."""
    body = text(name, f.left, f.top - 8, SIZE, fill=FAINT)
    decades = f.log.decades()
    every = 1 + len(decades) // 7
    for i, decade in enumerate(decades):
        y = f.y(decade)
        body += line(f.left, y, f.right, y, RULE)
        if i % every == 0:
            body += text(f"{decade:,g}", f.left - 8, y + 4, SIZE, fill=FAINT, text_anchor="end")
        if decade != decades[-1]:
            body += "".join(line(f.left - 3, s, f.left, s, FAINT, 0.8) for k in range(2, 10) for s in [f.y(decade * k)])
    return body


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


def level_line(f: Frame, level: float, word: str = "pass level") -> str:
    """The pass level across the frame, broken, its words at the left on a patch of paper."""
    y, said = f.y(level), f"{word} {shown(level)}"
    patch = el("rect", x=f.left + 3, y=y - SIZE - 5, width=width_of(said, SIZE, True) + 4, height=SIZE + 3, fill=PAPER,
               opacity=0.85)
    return (line(f.left, y, f.right, y, INK, 1.8, stroke_dasharray="7 4", class_="level") + patch +
            text(said, f.left + 5, y - 5, SIZE, font_weight=600))


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
    body = ""
    for i, (n, said) in enumerate(entries):
        x, y = PAD + wide * (i // rows), top + 17 * (i % rows) + SIZE
        body += text(n, x, y, SIZE, font_weight=600) + text(cut(said, SIZE, wide - 24), x + 20, y, SIZE)
    return body, rows * 17.0 + 6


def stacked(rows: Sequence[str], x: float, y: float, size: float = SIZE, **attrs: object) -> str:
    """Lines of text centred under each other, the first on y."""
    return "".join(text(r, x, y + i * size * 1.18, size, text_anchor="middle", **attrs) for i, r in enumerate(rows))
