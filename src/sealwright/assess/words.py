"""Numbers in words: factors, intervals, chances."""

from __future__ import annotations

import math

from sealwright.assess.measured import Factor


def factor_words(x: Factor, level: int | None = None) -> str:
    """A factor and its interval: "134 (95 %: 101 to 181)", "at least 2,300 (nothing counted in the mask)"."""
    if x.factor is None:
        return "none: the mask read zero, of unknown size" if x.low is None else (
            f"at least {floored(x.low)} ({nothing(x)})")
    if x.low is None:
        return rounded(x.factor, level)
    return f"{rounded(x.factor, level)} (95 %: {interval(x, level)})"


def interval(x: Factor, level: int | None = None) -> str:
    """The ends of the 95 % interval: "101 to 181", "more than 2,300"; empty when not known."""
    if x.low is None:
        return ""
    if x.high is None:
        return f"more than {floored(x.low)}"
    return f"{rounded(x.low, level)} to {rounded(x.high, level)}"


def chance(p: float) -> str:
    """A probability as people say it, never certain."""
    return "above 99 %" if p > 0.99 else "below 1 %" if p < 0.01 else f"about {100 * p:.0f} %"


def rounded(value: float | None, level: int | None = None) -> str:
    """A factor to three figures, whole from 100 on; to more where it would else seem to stand on the level's other
    side (99.97 is no 100)."""
    if value is None:
        return "not known"
    said = _three_figures(value)
    for digits in range(1, 7):
        if level is None or (float(said.replace(",", "")) >= level) == (value >= level):
            break
        said = f"{value:,.{digits}f}"
    if level is not None and value < level <= float(said.replace(",", "")):
        return f"{math.nextafter(level, 0) * 10**6 // 1 / 10**6:,.6f}"
    return said


def nothing(x: Factor) -> str:
    """Why there is no more than a lower end."""
    return "no leak was read" if x.basis == "pressure" else "nothing counted in the mask"


def floored(value: float) -> str:
    """A lower end to three figures, whole from 100 on, never rounded up."""
    if value >= 100:
        step = 10 ** max(0, len(str(int(value))) - 3)
        return f"{int(value) // step * step:,}"
    digits = 1 if value >= 10 else 2
    return f"{math.floor(value * 10**digits) / 10**digits:.{digits}f}"


def _three_figures(value: float) -> str:
    if value >= 999.5:
        return f"{round(value, 3 - len(str(round(value)))):,.0f}"
    return f"{value:.0f}" if value >= 99.95 else f"{value:.1f}" if value >= 9.995 else f"{value:.2f}"
