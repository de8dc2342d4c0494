"""What protection a place of work needs, which classes of equipment are assigned it, and what a fit factor is not.

Three numbers go by "factor" and must not be mixed. A *fit factor* is measured in one test, of one wearer in one
donning. An *assigned protection factor* belongs to a class of equipment and holds where a programme is in place. A
*workplace protection factor* is measured at work, outside against inside. Only the assigned one may be set against an
exposure; nothing here divides an exposure by a fit factor.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Sequence
from functools import cache
from importlib import resources
from statistics import NormalDist, fmean, stdev
from typing import Literal, NoReturn, get_args

import msgspec

from sealwright.errors import BadInput, NotFound, SealwrightError
from sealwright.protocols import published
from sealwright.protocols.types import Claim, Source

FacepieceKind = Literal["quarter", "filtering", "half", "full", "hood", "loose"]
Supply = Literal["filter", "powered", "airline-demand", "airline-flow", "airline-pressure", "scba-demand",
                 "scba-pressure"]
Form = Literal["particles", "gas"]
Test = Literal["qualitative", "quantitative"]
Atmosphere = Literal["known", "oxygen-deficient", "immediately-dangerous", "unknown"]
UNITS = ("mg/m3", "µg/m3", "ppm", "ppb", "f/ml")
_SAME = {"mg/m³": "mg/m3", "ug/m3": "µg/m3", "μg/m3": "µg/m3", "µg/m³": "µg/m3", "μg/m³": "µg/m3", "f/cm3": "f/ml",
         "f/cm³": "f/ml"}


LEAST_TIMES, MOST_TIMES = 1e-6, 1e9
"""Beyond these a number is a slip of the pen, not air that is worked in. Ours."""


class AskCompetentPerson(SealwrightError):
    """A question that no table answers; a competent person must decide."""

    code, status = "competent-person", 422


class Amount(msgspec.Struct, frozen=True):
    """A concentration in the air with its unit, one of UNITS (f/ml: fibres)."""

    value: float
    unit: str


class EquipmentClass(Source, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A class of equipment and its assigned protection factor. `id` is unique in its rule set.

    `forms`: what it is for; that the filter suits the substance is for a competent person to see.
    """

    id: str
    title: str
    rule_set: str = ""
    apf: int
    kind: FacepieceKind
    supply: Supply
    forms: tuple[Form, ...] = ("particles", "gas")
    note: str = ""

    @property
    def tight(self) -> bool:
        """It seals to the face, so every wearer of it is fit-tested."""
        return self.kind not in ("hood", "loose")


class Ceiling(Claim, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What a qualitative pass is good for at most with these kinds and supplies; `factor` 0: nothing."""

    kinds: tuple[FacepieceKind, ...]
    supplies: tuple[Supply, ...]
    factor: int


class ProtectionTable(Source, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The assigned protection factors of one rule set."""

    id: str
    title: str
    programme: str
    not_for: tuple[str, ...]
    ceiling: Ceiling
    classes: tuple[EquipmentClass, ...]


class Usable(Source, frozen=True, kw_only=True):
    """How many times the limit a wearer of this class may work in; `why` it is less than assigned, if it is."""

    factor: int
    why: str = ""


class Workplace(msgspec.Struct, frozen=True, kw_only=True):
    """Workplace protection factors of repeated measurements, taken as lognormal.

    `spread`: geometric standard deviation. `fifth`: the value that 95 % of them exceed, by the lognormal through
    them; `fifth_low`: its one-sided lower 95 % confidence bound. None where there is one measurement.
    """

    factors: tuple[float, ...]
    middle: float
    spread: float | None = None
    fifth: float | None = None
    fifth_low: float | None = None


class Explained(msgspec.Struct, frozen=True, kw_only=True):
    """The three factors told apart, a sentence each, what they have to do with each other, and what is refused."""

    fit: str
    assigned: str
    workplace: str
    together: str
    refused: str

    def lines(self) -> tuple[str, ...]:
        return (self.fit, self.assigned, self.workplace, self.together, self.refused)


# Tables

@cache
def tables() -> dict[str, ProtectionTable]:
    """The tables that come with the package, by rule set."""
    folder = resources.files("sealwright.programme").joinpath("apf")
    found = (_table(f.read_text("utf-8")) for f in sorted(folder.iterdir(), key=lambda f: f.name)
             if f.name.endswith(".toml"))
    return {t.id: t for t in found}


def _table(text: str) -> ProtectionTable:
    raw = tomllib.loads(text)
    raw["classes"] = [{**c, "rule_set": raw["id"]} for c in raw["classes"]]
    return msgspec.convert(raw, ProtectionTable)


def table(rule_set: str) -> ProtectionTable:
    """The table of a rule set; NotFound names those there are."""
    try:
        return tables()[rule_set]
    except KeyError:
        raise NotFound(f"no assigned protection factors for {rule_set!r}", place="rules",
                       mend=f"Choose one of: {', '.join(tables())}") from None


def equipment(rule_set: str, class_id: str) -> EquipmentClass:
    """One class of equipment; NotFound names those there are."""
    classes = table(rule_set).classes
    found = next((c for c in classes if c.id == class_id), None)
    if found is None:
        raise NotFound(f"no class {class_id!r} in {rule_set}", place="class",
                       mend=f"Choose one of: {', '.join(c.id for c in classes)}")
    return found


# What is needed, and what reaches it

def needed_factor(concentration: Amount, limit: Amount, *, atmosphere: Atmosphere = "known") -> float:
    """How many times the exposure limit the air holds (the hazard ratio); at 1 or less the limit is kept without.

    Raises BadInput for a number or unit that cannot be used, AskCompetentPerson where no ratio may be used.
    """
    _stop(atmosphere)
    c, lim = _usable("concentration", concentration), _usable("limit", limit)
    if c.unit != lim.unit:
        raise BadInput(f"concentration in {c.unit}, limit in {lim.unit}", place="unit",
                       mend="Give both in one unit; ppm and mg/m3 convert by the substance's molar mass")
    times = c.value / lim.value
    if not LEAST_TIMES <= times <= MOST_TIMES:
        raise BadInput(f"the air would hold {times:.3g} times the limit", place="concentration",
                       mend="Check both numbers and their unit")
    return times


def _stop(atmosphere: Atmosphere) -> None:
    if atmosphere == "known":
        return
    told = {"oxygen-deficient": "too little oxygen in the air: no filter helps",
            "immediately-dangerous": "an atmosphere immediately dangerous to life or health",
            "unknown": "what is in the air, or how much of it, is not known: treat it as immediately dangerous"}
    if atmosphere not in told:
        raise BadInput(f"unknown atmosphere {atmosphere!r}", place="atmosphere",
                       mend=f"Choose one of known, {', '.join(told)}")
    raise AskCompetentPerson(told[atmosphere], place="atmosphere",
                             mend="Nobody goes in on the strength of a factor: a competent person must decide")


def _usable(name: str, amount: Amount) -> Amount:
    unit = _SAME.get(amount.unit.strip(), amount.unit.strip())
    if unit not in UNITS:
        raise BadInput(f"unknown unit {amount.unit!r}", place=f"{name}.unit", mend=f"Choose one of {', '.join(UNITS)}")
    if not (math.isfinite(amount.value) and amount.value > 0):
        raise BadInput(f"{amount.value:g} is no {name}", place=name, mend="Give a number above 0")
    return Amount(amount.value, unit)


def classes_reaching(rule_set: str, factor: float, *, form: Form | None = None,
                     passed_by: Test = "quantitative") -> tuple[EquipmentClass, ...]:
    """The classes that may be worn in air of `factor` times the limit, the least assigned factor first.

    `form`: for that only. `passed_by`: how its wearers were fit-tested.
    """
    if form is not None and form not in get_args(Form):
        raise BadInput(f"unknown form {form!r}", place="form", mend=f"Choose one of {', '.join(get_args(Form))}")
    if passed_by not in get_args(Test):
        raise BadInput(f"unknown way of fit-testing {passed_by!r}", place="passed by",
                       mend=f"Choose one of {', '.join(get_args(Test))}")
    if not (math.isfinite(factor) and factor > 0):
        raise BadInput(f"{factor:g} is no factor", place="factor", mend="Give how many times the limit the air holds")
    found = (c for c in table(rule_set).classes if form is None or form in c.forms)
    found = (c for c in found if usable_factor(c, passed_by).factor >= factor)
    return tuple(sorted(found, key=lambda c: c.apf))


def greatest_use_concentration(apf: int, limit: Amount, *, dangerous: Amount | None = None) -> Amount:
    """The most that the air may hold for a class: factor times limit, never above what is immediately `dangerous`.

    29 CFR 1910.134(b) "maximum use concentration" and (d)(3)(i)(B), from memory. The limits of a cartridge count too.
    """
    if apf < 1:
        raise BadInput(f"{apf} is no assigned protection factor", place="apf", mend="Give a whole number of 1 or more")
    lim = _usable("limit", limit)
    most = Amount(apf * lim.value, lim.unit)
    if dangerous is None:
        return most
    ceiling = _usable("dangerous", dangerous)
    if ceiling.unit != lim.unit:
        raise BadInput(f"limit in {lim.unit}, danger in {ceiling.unit}", place="unit", mend="Give both in one unit")
    return min(most, ceiling, key=lambda a: a.value)


def pass_level_for(cls: EquipmentClass) -> int:
    """The fit factor that the published quantitative methods of its rule set ask of a facepiece of this kind.

    Raises BadInput for a hood or a loose-fitting facepiece: they have no seal, so no fit factor.
    """
    if not cls.tight:
        raise BadInput(f"{cls.title} does not seal to the face, so it has no fit factor", place="class",
                       mend="Choose a mask or a filtering facepiece")
    kind = "half" if cls.kind == "quarter" else cls.kind
    levels = (p.level_for(kind) for p in published().values() if p.quantitative and p.rule_set == cls.rule_set)
    return max((level.value for level in levels if level), default=100)


def usable_factor(cls: EquipmentClass, passed_by: Test) -> Usable:
    """How many times the limit a wearer may work in who was passed in it this way."""
    ceiling = table(cls.rule_set).ceiling
    if (passed_by == "qualitative" and cls.kind in ceiling.kinds and cls.supply in ceiling.supplies
            and ceiling.factor < cls.apf):
        return Usable(factor=ceiling.factor, why=ceiling.rule, source=ceiling.source, read=ceiling.read)
    return Usable(factor=cls.apf, source=cls.source, read=cls.read)


# The three factors told apart

def workplace_protection_factor(outside: Sequence[float], inside: Sequence[float]) -> Workplace:
    """Workplace protection factors of pairs of samples, worn throughout: outside / inside, each pair one measurement.

    The 5th percentile of many wearers is what assigned factors have mostly been set by (NIOSH evaluation of DM and DFM
    respirators, draft, read in a copy). Raises BadInput for a number that is no concentration.
    """
    if len(outside) != len(inside) or not outside:
        raise BadInput(f"{len(outside)} samples outside, {len(inside)} inside", place="inside",
                       mend="Give one inside for each outside, at least one pair")
    for name, values in (("outside", outside), ("inside", inside)):
        for i, value in enumerate(values):
            if not (math.isfinite(value) and value > 0):
                raise BadInput(f"{value:g} is no concentration", place=f"{name}[{i}]",
                               mend="Where nothing was found, give the least amount that would have been")
    factors = tuple(o / i for o, i in zip(outside, inside, strict=True))
    for i, factor in enumerate(factors):
        if not 0 < factor < math.inf:
            raise BadInput(f"{outside[i]:g} over {inside[i]:g} is no factor", place=f"inside[{i}]",
                           mend="Check the unit of both")
    logs = [math.log(f) for f in factors]
    middle = fmean(logs)
    if len(logs) < 2:
        return Workplace(factors=factors, middle=math.exp(middle))
    spread = stdev(logs)
    return Workplace(factors=factors, middle=math.exp(middle), spread=math.exp(spread),
                     fifth=math.exp(middle - NormalDist().inv_cdf(0.95) * spread),
                     fifth_low=math.exp(middle - tolerance_k(len(logs)) * spread))


def tolerance_k(n: int) -> float:
    """Standard deviations below the mean that n values put the 5th percentile at most, with 95 % confidence."""
    from scipy.stats import nct

    return float(nct.ppf(0.95, n - 1, NormalDist().inv_cdf(0.95) * math.sqrt(n)) / math.sqrt(n))


def explain(fit_factor: float | None, apf: int, pass_level: int, wpf: Workplace | None = None) -> Explained:
    """The difference between a fit factor, an assigned and a workplace protection factor, with these numbers.

    `fit_factor` None: passed by a qualitative test, which measures none.
    """
    if fit_factor is not None and not 0.01 <= fit_factor <= MOST_TIMES:
        raise BadInput(f"{fit_factor:g} is no fit factor", place="fit factor",
                       mend=f"Give the number a test gave, 0.01 to {MOST_TIMES:,.0f}")
    if apf < 1 or pass_level < 1:
        raise BadInput(f"an assigned factor of {apf}, a pass level of {pass_level}", place="class",
                       mend="Give whole numbers of 1 or more")
    return Explained(fit=_fit(fit_factor, pass_level), assigned=_assigned(apf), workplace=_workplace(wpf, apf),
                     together=_together(fit_factor, apf, pass_level), refused=REFUSED)


def _fit(fit_factor: float | None, pass_level: int) -> str:
    if fit_factor is None:
        return ("Fit factor: none was measured. Noticing nothing of the agent is taken to show at least "
                f"{pass_level}, for this wearer in this donning, in the test.")
    reached = "reaches" if fit_factor >= pass_level else "does not reach"
    return (f"Fit factor {fit_factor:,.4g}: what leaked past this wearer's seal in this donning, over some minutes of "
            "exercises under watch, with a filter or an agent chosen so that the seal alone shows. It "
            f"{reached} the pass level of {pass_level:,}; that is all it is for.")


def _assigned(apf: int) -> str:
    return (f"Assigned protection factor {apf:,}: what this class of equipment is expected to give at work to nearly "
            "all who wear it, where a programme is in place: suited to the substance, fit-tested, trained, maintained, "
            "worn all the time. It is the same for every wearer who passed.")


def _workplace(wpf: Workplace | None, apf: int) -> str:
    if wpf is None:
        return ("Workplace protection factor: not measured here. It takes samples inside and outside the facepiece at "
                "work, and it changes from wearer to wearer and day to day.")
    told = f"Workplace protection factor, {len(wpf.factors)} measured at work: geometric mean {wpf.middle:,.3g}"
    if wpf.spread is None or wpf.fifth is None or wpf.fifth_low is None:
        return f"{told}. One measurement says nothing of the spread."
    word = "above" if wpf.fifth >= apf else "below"
    return (f"{told}, geometric standard deviation {wpf.spread:.3g}, 5th percentile {wpf.fifth:,.3g} ({word} the "
            f"assigned {apf:,}; with so few it may be as low as {wpf.fifth_low:,.3g}).")


def _together(fit_factor: float | None, apf: int, pass_level: int) -> str:
    times = pass_level / apf
    margin = (f"The pass level is {times:g} times the assigned factor here, because a fit under watch is better than "
              "a fit at work." if times > 1 else
              "The pass level is not above the assigned factor here: the class owes it to more than the seal.")
    more = "A higher fit factor" if fit_factor is None or fit_factor >= pass_level else "A fit factor that fails"
    then = ("does not raise the assigned one" if more.startswith("A higher") else
            "means that this facepiece is not worn at all, not that it is worn in less")
    return f"{margin} {more} {then}."


REFUSED = ("Exposure divided by a fit factor is not worked out here. The seal was tested for minutes and under watch; "
           "work lasts hours, with sweat, speech and a donning nobody saw, and the filter has a share too. Use the "
           "assigned factor of the class, or measure at work.")


def exposure_inside(concentration: Amount, fit_factor: float) -> NoReturn:
    """There is no such number: always raises AskCompetentPerson, which says why and what to use instead."""
    raise AskCompetentPerson(f"what a wearer breathes is not {concentration.value:g} {concentration.unit} divided by a "
                             f"fit factor of {fit_factor:g}", place="fit factor", mend=REFUSED)


