"""The published protocols and the reader of a protocol file."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources

import msgspec

from sealwright.errors import BadInput, NotFound
from sealwright.protocols.types import CLASSES, MeasuredProtocol, Protocol, RuleSet, Sourced, TasteProtocol

# Every rule that `assess` may cite, by method; a protocol file without one of them is refused.
COMMON_RULES = frozenset({
    "no-adjusting", "seal-hair", "clearance", "training", "equipment", "seal-check", "own-words-identity",
    "tester-competent", "same-facepiece", "other-facepiece-after-fail",
})
_QUALITATIVE = COMMON_RULES | {"tasted-fails", "not-tasted-unsuited", "not-full-face"}
_MEASURED = COMMON_RULES | {"pass-level", "stricter-only", "instrument-sound"}
RULES: dict[str, frozenset[str]] = {
    "taste": _QUALITATIVE | {"clogged", "solution-in-date"}, "vapour": _QUALITATIVE | {"solution-in-date", "chamber"},
    "smoke": _QUALITATIVE | {"no-hood", "ventilated"}, "aerosol": _MEASURED, "counting": _MEASURED,
    "pressure": _MEASURED,
}
UNITS_OF_TIME = ("ms", "s", "min", "h", "day")
_TIMES: dict[str, tuple[str, ...]] = {
    "taste": ("abstention", "top_up_every", "washout", "wear", "nebuliser_life", "squeeze_pace", "mist_check_after"),
    "vapour": ("wear", "stock_life", "odour_life", "settle", "repeat_wait"), "smoke": ("wear",),
    "aerosol": ("wear", "purge", "smoke_free"), "counting": ("wear", "purge", "smoke_free"),
    "pressure": ("wear", "breath_hold"),
}

# Values that are reckoned with as they stand: another unit would be taken for this one.
_UNITS = {"inspiratory_flow": "ml/min", "pressure": "tenths of a mm of water", "breath_hold": "s", "challenge": "µl",
          "flow": "ml/min", "least_ambient": "per cm3", "purge": "s", "required_factor": "fit factor"}
_AIRS = {"counting": ("ambient", "mask"), "aerosol": ("ambient", "mask"), "pressure": ("hold",)}


def parse(text: str, place: str = "protocol") -> Protocol:
    """Read one protocol file. Raises BadInput naming the field and the mend; cross-checks sums and ids."""
    try:
        table = tomllib.loads(text)
        method = table.get("method", "taste")  # missing: the conversion below says what is not there
        if not isinstance(method, str) or method not in CLASSES:
            raise BadInput(f"unknown method {method!r}", place=f"{place}: method",
                           mend=f"Choose one of {', '.join(CLASSES)}")
        protocol = msgspec.convert(table, CLASSES[method])
    except tomllib.TOMLDecodeError as error:
        raise BadInput(f"not TOML: {error}", place=place, mend="Mend the line named") from error
    except msgspec.ValidationError as error:
        found, _, field = str(error).partition(" - at `$")
        raise BadInput(found, place=f"{place}: {field.strip('`.') or 'top level'}",
                       mend="Compare with a published protocol: `sealwright protocol show us-bitter --toml`") from error
    _cross_check(protocol, _Refuse(place))
    return protocol


class _Refuse:
    """Raises BadInput for a field of the file."""

    def __init__(self, place: str) -> None:
        self.place = place

    def __call__(self, field: str, found: str, mend: str) -> None:
        raise BadInput(found, place=f"{self.place}: {field}", mend=mend)


def _check_times(p: Protocol, refuse: _Refuse) -> None:
    """Every time in a unit that is known, none below zero."""
    times = {name: getattr(p, name) for name in _TIMES[p.method]}
    times |= {f"tolerances.{name}": getattr(p.tolerances, name) for name in p.tolerances.__struct_fields__}
    for name, time in times.items():
        if time.unit not in UNITS_OF_TIME:
            refuse(f"{name}.unit", f"unknown unit of time {time.unit!r}", f"Choose one of {', '.join(UNITS_OF_TIME)}")
        if time.value < 0:
            refuse(f"{name}.value", f"{time.value} is below zero", "Give 0 or more")


def _check_units(p: Protocol, refuse: _Refuse) -> None:
    for name, unit in _UNITS.items():
        value = getattr(p, name, None)
        if isinstance(value, Sourced) and value.unit != unit:
            refuse(f"{name}.unit", f"{value.unit!r} is not the unit it is reckoned in",
                   f"Give the value in {unit}, and name that unit")


def _cross_check(p: Protocol, refuse: _Refuse) -> None:
    """Faults that types cannot see."""
    _check_times(p, refuse)
    _check_units(p, refuse)
    ids = [e.id for e in p.exercises]
    if not ids or len(set(ids)) != len(ids):
        refuse("exercises", "ids must be there and differ", "Give every exercise an id of its own")
    for i, e in enumerate(p.exercises):
        if e.seconds <= 0:
            refuse(f"exercises[{i}].seconds", f"{e.seconds} is no duration", "Give seconds above zero")
    if missing := sorted(RULES[p.method] - p.rules.keys()):
        refuse("rules", f"missing: {', '.join(missing)}", "Add each with `rule` and `source`")
    if isinstance(p, TasteProtocol):
        _check_taste(p, refuse)
    if isinstance(p, MeasuredProtocol):
        _check_measured(p, refuse)


def _check_taste(p: TasteProtocol, refuse: _Refuse) -> None:
    for i, e in enumerate(p.exercises):
        if not e.during_dose:
            refuse(f"exercises[{i}].during_dose", "missing", "Say what the wearer does while a dose is given")
    for name in ("top_up_every", "squeeze_pace"):
        if getattr(p, name).value <= 0:
            refuse(name, "must be above zero", "Give a positive whole number")
    if p.squeeze_pace.unit != "ms" or p.top_up_every.unit != "s":
        refuse("unit", "squeeze_pace is in ms and top_up_every in s", "Convert the value and name the unit")
    if not p.doses or list(p.doses) != sorted(p.doses, key=lambda d: d.upto):
        refuse("doses", "levels must rise", "Order the levels by `upto`, lowest first")
    for i, d in enumerate(p.doses):
        if d.first <= 0 or d.top_up <= 0:
            refuse(f"doses[{i}]", "squeezes must be above zero", "Give `first` and `top_up` above zero")
    if p.doses[-1].upto != p.screening.round_squeezes * p.screening.rounds:
        refuse("doses", "the last level must reach the last squeeze of screening",
               f"Set its `upto` to {p.screening.round_squeezes * p.screening.rounds}")


def _check_measured(p: MeasuredProtocol, refuse: _Refuse) -> None:
    if {level.kind for level in p.pass_levels} != set(p.suits.kinds):
        refuse("pass_levels", "there must be one level for each kind that the protocol suits",
               f"Give one each for {', '.join(p.suits.kinds)}")
    for i, level in enumerate(p.pass_levels):
        if level.value < 1:
            refuse(f"pass_levels[{i}].value", f"{level.value} is no fit factor", "Give a whole number above zero")
    _check_samples(p, refuse)
    sampled = {s.exercise for s in p.samples if s.air != "ambient"}
    if unsampled := [e.id for e in p.exercises if e.counts and e.id not in sampled]:
        refuse("samples", f"nothing is sampled in {', '.join(unsampled)}", "Add a sample for each exercise")


def _check_samples(p: MeasuredProtocol, refuse: _Refuse) -> None:
    """In order, of an air the method knows, and each within the exercise whose it is."""
    spans, start, end = {}, 0, None
    for e in p.exercises:
        spans[e.id] = (start, start := start + e.seconds)
    for i, s in enumerate(p.samples):
        if s.exercise and s.exercise not in spans:
            refuse(f"samples[{i}].exercise", f"no exercise {s.exercise!r}", f"Choose one of {', '.join(spans)}")
        if s.lasts <= 0 or (end is not None and s.at < end):
            refuse(f"samples[{i}]", "samples must last, and follow one another in time", "Order them by `at`")
        if s.air not in _AIRS[p.method]:
            refuse(f"samples[{i}].air", f"{s.air!r} is not sampled by the method {p.method}",
                   f"Choose one of {', '.join(_AIRS[p.method])}")
        end = s.at + s.lasts
        first, last = spans.get(s.exercise, (s.at, end))
        if s.at < first or end > last:
            refuse(f"samples[{i}]", f"{s.at} to {end} s is outside {s.exercise}, which lasts from {first} to {last} s",
                   "Move the sample, or name the exercise it belongs to")


@cache
def published() -> dict[str, Protocol]:
    """All protocols that come with the package, by id."""
    folder = resources.files("sealwright.protocols")
    found = (parse(f.read_text("utf-8"), f.name) for f in sorted(folder.iterdir(), key=lambda f: f.name)
             if f.name.endswith(".toml"))
    return {p.id: p for p in found}


def source_text(protocol_id: str) -> str:
    """The TOML of a published protocol as it stands in the package."""
    get(protocol_id)
    return resources.files("sealwright.protocols").joinpath(f"{protocol_id}.toml").read_text("utf-8")


def get(protocol_id: str) -> Protocol:
    """The published protocol with this id; NotFound names those there are."""
    try:
        return published()[protocol_id]
    except KeyError:
        raise NotFound(f"no protocol {protocol_id!r}", place="protocol",
                       mend=f"Choose one of: {', '.join(published())}") from None


def taste(protocol_id: str) -> TasteProtocol:
    """The published taste protocol with this id; NotFound for another method's."""
    found = get(protocol_id)
    if not isinstance(found, TasteProtocol):
        raise NotFound(f"{protocol_id!r} is no taste protocol", place="protocol",
                       mend=f"Choose one of: {', '.join(p.id for p in published().values() if p.method == 'taste')}")
    return found


@cache
def rule_sets() -> dict[str, RuleSet]:
    """The rule sets that come with the package, by id."""
    folder = resources.files("sealwright.protocols").joinpath("rules")
    found = (msgspec.convert(tomllib.loads(f.read_text("utf-8")), RuleSet)
             for f in sorted(folder.iterdir(), key=lambda f: f.name) if f.name.endswith(".toml"))
    return {r.id: r for r in found}


def rule_set(rule_set_id: str) -> RuleSet:
    """The rule set with this id; NotFound names those there are."""
    try:
        return rule_sets()[rule_set_id]
    except KeyError:
        raise NotFound(f"no rule set {rule_set_id!r}", place="rule set",
                       mend=f"Choose one of: {', '.join(rule_sets())}") from None
