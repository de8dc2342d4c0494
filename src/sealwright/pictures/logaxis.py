"""A logarithmic axis: factors that are a ratio apart lie the same way apart."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from sealwright.pictures.pen import FAINT, el, text, width_of


@dataclass(frozen=True)
class LogAxis:
    """From `low` at x `left` to `high` at x `right`, both whole decades."""

    low: float
    high: float
    left: float
    right: float

    @classmethod
    def over(cls, values: Iterable[float], left: float, right: float) -> LogAxis:
        """The fewest whole decades that hold all values (each above 0)."""
        seen = list(values)
        low, high = math.floor(math.log10(min(seen)) + 1e-9), math.ceil(math.log10(max(seen)) - 1e-9)
        return cls(10.0 ** low, 10.0 ** max(high, low + 1), left, right)

    def x(self, value: float) -> float:
        share = math.log(value / self.low) / math.log(self.high / self.low)
        return self.left + (self.right - self.left) * share

    def decades(self) -> list[float]:
        return [self.low * 10 ** i for i in range(round(math.log10(self.high / self.low)) + 1)]

    def ruler(self, y: float, size: float = 12.5) -> str:
        """Ticks below y, a figure at each decade where there is room."""
        body, last, until = "", self.decades()[-1], -1e9
        for decade in self.decades():
            at = self.x(decade)
            anchor = "start" if decade == self.low else "end" if decade == last else "middle"
            body += line(at, y, at, y + 6, FAINT)
            wide = width_of(f"{decade:,g}", size)
            begins = at - {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
            if begins > until + 4:
                body += text(f"{decade:,g}", at, y + 7 + size, size, fill=FAINT, text_anchor=anchor)
                until = begins + wide
            if decade != last:
                body += "".join(line(s, y, s, y + 3.5, FAINT, 0.8) for k in range(2, 10) for s in [self.x(decade * k)])
        return body


def line(x1: float, y1: float, x2: float, y2: float, colour: str, wide: float = 1.0, **attrs: object) -> str:
    """A straight stroke."""
    return el("line", x1=float(x1), y1=float(y1), x2=float(x2), y2=float(y2), stroke=colour, stroke_width=float(wide),
              **attrs)


def hatch(name: str, colour: str = FAINT) -> str:
    """A pattern of slanting lines, to be filled with by `name`."""
    lines = el("path", d="M-2 8 L8 -2 M4 14 L14 4", stroke=colour, stroke_width=0.8)
    return el("defs", el("pattern", lines, id=name, width=8, height=8, patternUnits="userSpaceOnUse"))
