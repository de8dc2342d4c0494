"""What the air under the hood held: a well-mixed volume, fed by squeezes, emptied at a steady rate.

While a dose is squeezed, dc/dt = feed / volume - rate * c; between doses, dc/dt = -rate * c. Each dose is solved in
closed form and, the equation being linear, the doses are added up. Only ratios are told, so what a squeeze holds
cancels out. The model explains what a missed or late dose did to the air; it decides no verdict, and `assess` does not
know it.

Real hoods are not well mixed, a nebuliser runs down, drops shrink. Read the curve as a shape, not a measurement.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import msgspec

from sealwright.errors import BadInput
from sealwright.protocols.score import Act, Score
from sealwright.protocols.types import OURS, Source

AIR_VISCOSITY, GRAVITY, FREE_PATH = 1.81e-5, 9.81, 0.066
"""of air at 20 C in Pa s; in m/s2; mean free path in µm (Hinds, Aerosol Technology, from memory)"""
FAR_S = 86_400.0
"""No dose of a test lies further from its first exercise."""
MOST = 1e6
"""No measure of a hood or a breath is larger, in its unit."""
ENOUGH, LONG = 0.9, 10.0
"""A stretch is told in which the air held less than this share of what is asked, for so many seconds. Ours."""


class Assumed(Source, frozen=True, kw_only=True):
    """One assumption of the model: what it is, how much, in what unit, from where."""

    name: str
    value: float
    unit: str


class HoodParameters(msgspec.Struct, frozen=True, kw_only=True):
    """The hood and how its air is emptied; `ASSUMED` has the source of each value."""

    diameter_cm: float = 30.5
    height_cm: float = 35.6
    head_l: float = 4.5
    breathing_l_min: float = 12.0
    drop_um: float = 2.5
    exchange_per_min: float = 0.8

    def __post_init__(self) -> None:
        for name in self.__struct_fields__:
            value = getattr(self, name)
            if not 0 <= value <= MOST:
                raise BadInput(f"{value:g} cannot be", place=name, mend=f"Give a number from 0 to {MOST:,.0f}")
        if self.volume_l <= 0:
            raise BadInput("the head fills the hood", place="head_l", mend="Give less than the hood holds")

    @property
    def volume_l(self) -> float:
        """Litres of air: the cylinder less what of the wearer is in it."""
        return math.pi / 4 * self.diameter_cm ** 2 * self.height_cm / 1000 - self.head_l

    @property
    def breathing(self) -> float:
        """Per second: what is breathed in is filtered, and comes out clean."""
        return self.breathing_l_min / 60 / self.volume_l

    @property
    def settling(self) -> float:
        """Per second, from a stirred volume of this height (Hinds, from memory): velocity / height."""
        return settling_velocity(self.drop_um) / (self.height_cm / 100)

    @property
    def rate(self) -> float:
        """Per second, all ways out together."""
        return self.breathing + self.settling + self.exchange_per_min / 60


ASSUMED = (
    Assumed(name="diameter_cm", value=30.5, unit="cm", source="29 CFR 1910.134 App. A Part I.B.3(a)(1)", read="memory"),
    Assumed(name="height_cm", value=35.6, unit="cm", source="29 CFR 1910.134 App. A Part I.B.3(a)(1)", read="memory"),
    Assumed(name="head_l", value=4.5, unit="l of head and neck within the hood", source=OURS),
    Assumed(name="breathing_l_min", value=12.0, unit="l/min, as in light movement", source=OURS),
    Assumed(name="drop_um", value=2.5, unit="µm, middle of the drops", source=OURS),
    Assumed(name="exchange_per_min", value=0.8, unit="1/min through the open bottom: chosen so that all together "
            "halves the mist in about 30 s, which topping up with half each 30 s takes for granted", source=OURS),
)


class Prediction(msgspec.Struct, frozen=True, kw_only=True):
    """The air under the hood at `times` (seconds from the first exercise), the score's peak first dose being 1.

    `held`: by the doses given; `asked`: by the score as written. `doses`: (second begun, squeezes) as given; `acts`:
    the act of the score that each was given for, where that is known.
    """

    score: Score
    doses: tuple[tuple[float, int], ...]
    times: tuple[float, ...]
    held: tuple[float, ...]
    asked: tuple[float, ...]
    acts: tuple[str, ...] = ()

    @property
    def relative(self) -> tuple[float | None, ...]:
        """What was held, as a share of what the score asks for; None where it asks for nothing yet."""
        return tuple(h / a if a > 1e-9 else None for h, a in zip(self.held, self.asked, strict=True))


class Stretch(msgspec.Struct, frozen=True, kw_only=True):
    """A time in which the air held too little: seconds, least and mean share, the dose due before it and its fault."""

    start: float
    end: float
    least: float
    mean: float
    due: int | None
    fault: Literal["missing", "late", "short", "fading"]


def settling_velocity(diameter_um: float, density: float = 1000.0) -> float:
    """m/s at which a drop falls through still air: Stokes with Cunningham's slip (Hinds, from memory).

    `density` in kg/m3. For 0.1 to 30 µm; larger drops fall slower than this says.
    """
    if diameter_um == 0:
        return 0.0
    slip = 1 + FREE_PATH / diameter_um * (2.34 + 1.05 * math.exp(-0.39 * diameter_um / FREE_PATH))
    return density * GRAVITY * (diameter_um * 1e-6) ** 2 * slip / (18 * AIR_VISCOSITY)


def air(doses: Sequence[tuple[float, int]], second: float, *, pace_s: float, rate: float) -> float:
    """Squeezes' worth of mist in the air at a second, after doses of (second begun, squeezes), one each `pace_s`."""
    return sum(_one(squeezes, second - begun, pace_s, rate) for begun, squeezes in doses)


def _one(squeezes: int, since: float, pace: float, rate: float) -> float:
    """A dose fed evenly for squeezes * pace seconds from 0, `since` seconds later."""
    lasts = squeezes * pace
    if since <= 0 or not squeezes:
        return 0.0
    if lasts == 0:
        return squeezes * math.exp(-rate * since)
    fed = min(since, lasts)
    if rate == 0:
        return fed / pace
    return -math.expm1(-rate * fed) / (rate * pace) * math.exp(-rate * (since - fed))


def predict(doses: Sequence[tuple[float, int]], *, nominal_score: Score, params: HoodParameters | None = None,
            acts: Sequence[str] = (), until: float | None = None, step: float = 1.0) -> Prediction:
    """The air that `doses` (second begun, squeezes) made, beside that of the score as written.

    Times from the first dose of either to `until` (the end of the exercises). Raises BadInput for a score without
    doses, and for a dose that cannot be.
    """
    rate, written = (params or HoodParameters()).rate, [(a.at, a.squeezes) for a in nominal_score.of("dose")]
    if acts and len(acts) != len(doses):
        raise BadInput(f"{len(acts)} acts for {len(doses)} doses", place="acts", mend="Name one for each, or none")
    if not written:
        raise BadInput(f"{nominal_score.protocol} gives no doses", place="score", mend="Take the score of a taste test")
    for i, (second, squeezes) in enumerate(doses):
        if not abs(second) <= FAR_S or squeezes < 0:
            raise BadInput(f"{squeezes} squeezes at {second:g} s", place=f"doses[{i}]",
                           mend="Give (second begun, squeezes): within a day of the first exercise, squeezes 0 or more")
    pace, first = _pace(nominal_score), min([at for at, _ in written] + [at for at, _ in doses])
    end = float(nominal_score.lasts) if until is None else until
    times = tuple(first + i * step for i in range(max(0, int((end - first) / step)) + 1))
    unit = air(written, 0.0, pace_s=pace, rate=rate)
    held, asked = (tuple(air(d, t, pace_s=pace, rate=rate) / unit for t in times) for d in (doses, written))
    return Prediction(score=nominal_score, doses=tuple((float(a), n) for a, n in doses), times=times, held=held,
                      asked=asked, acts=tuple(acts))


def _pace(score: Score) -> float:
    """Seconds a squeeze takes, by the score's first dose."""
    dose = score.of("dose")[0]
    return dose.lasts / dose.squeezes


def stretches(prediction: Prediction, enough: float = ENOUGH) -> tuple[Stretch, ...]:
    """Each time in the exercises in which the air held less than `enough` of what the score asks for."""
    found, run = list[Stretch](), list[tuple[float, float]]()
    for t, share in zip(prediction.times, prediction.relative, strict=True):
        if share is not None and share < enough and t >= 0:
            run.append((t, share))
        elif run:
            found.append(_stretch(prediction, run))
            run = []
    return (*found, _stretch(prediction, run)) if run else tuple(found)


def _stretch(p: Prediction, run: Sequence[tuple[float, float]]) -> Stretch:
    start, shares = run[0][0], [share for _, share in run]
    acts = [a for a in p.score.of("dose") if a.at <= start]
    due = acts[-1].at if acts else None
    return Stretch(start=start, end=run[-1][0], least=min(shares), mean=sum(shares) / len(shares), due=due,
                   fault="fading" if due is None else fault_of(p, due))


def fault_of(p: Prediction, due: int) -> Literal["missing", "late", "short", "fading"]:
    """What became of the dose due at a second: not given before the next was due, begun late, or short.

    `fading`: it was given whole and on time, so what is wanting came before.
    """
    acts = p.score.of("dose")
    index = next((i for i, a in enumerate(acts) if a.at == due), None)
    if index is None:
        raise BadInput(f"no dose is due at {due} s", place="due",
                       mend=f"Choose one of {', '.join(str(a.at) for a in acts)}")
    mine = _given_for(p, acts, index)
    if not mine:
        return "missing"
    if mine[0][0] > due + 3:
        return "late"
    return "short" if sum(n for _, n in mine) < acts[index].squeezes else "fading"


def _given_for(p: Prediction, acts: Sequence[Act], index: int) -> list[tuple[float, int]]:
    """The doses given for an act: as they say themselves, else those nearer to it than to its neighbours."""
    due = acts[index].at
    if p.acts:
        return [d for d, act in zip(p.doses, p.acts, strict=True) if act == acts[index].id]
    next_due = acts[index + 1].at if index + 1 < len(acts) else math.inf
    margin = (next_due - due) / 2 if math.isfinite(next_due) else 15.0
    return [(at, n) for at, n in p.doses if due - margin <= at < next_due - min(margin, 5.0)]


def explain(prediction: Prediction, due: int) -> str:
    """What the dose due at this second did to the air by not being given, late, or short; "" when it did nothing much.

    Raises BadInput for a second at which no dose is due.
    """
    fault = fault_of(prediction, due)
    after = [a.at for a in prediction.score.of("dose") if a.at > due]
    upto = float(after[0]) if after else float(prediction.score.lasts)
    told = next((s for s in stretches(prediction) if s.start < upto and s.end > due and s.end - s.start >= LONG), None)
    if fault == "fading" or told is None:
        return ""
    until = min(upto, told.end + 1)
    shares = [r for t, r in zip(prediction.times, prediction.relative, strict=True)
              if r is not None and max(due, told.start) <= t <= until]
    said = f"After the {fault} dose at {_clock(due)} the air held"
    again = any(at <= told.end and fault_of(prediction, at) != "fading" for at in after)
    back = until < told.end < prediction.times[-1] - 1 and not again
    more = f"; it was back at {_percent(ENOUGH)} by {_clock(told.end + 1)}" if back else ""
    return (f"{said} about {_percent(sum(shares) / len(shares))} of what the score asks for until {_clock(until)}, "
            f"at the least {_percent(min(shares))}{more}.")


def explanations(prediction: Prediction) -> tuple[str, ...]:
    """A sentence for each dose that left the air short, in the order of time."""
    last = prediction.times[-1]
    said = (explain(prediction, a.at) for a in prediction.score.of("dose") if a.at < last)
    return tuple(s for s in said if s)


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _clock(second: float) -> str:
    whole = round(second)
    return f"{'−' if whole < 0 else ''}{abs(whole) // 60}:{abs(whole) % 60:02d}"
