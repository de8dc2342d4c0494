"""The published protocols and the reader of a protocol file."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources

import msgspec

from sealwright.errors import BadInput, NotFound
from sealwright.protocols.types import Protocol

# Every rule that `assess` may cite; a protocol file without one of them is refused.
RULES = frozenset({
    "tasted-fails", "not-tasted-unsuited", "no-adjusting", "seal-hair", "clearance", "training", "equipment",
    "seal-check", "clogged", "own-words-identity", "solution-in-date", "tester-competent", "same-facepiece",
    "other-facepiece-after-fail", "not-full-face",
})


def parse(text: str, place: str = "protocol") -> Protocol:
    """Read one protocol file. Raises BadInput naming the field and the mend; cross-checks sums and ids."""
    try:
        protocol = msgspec.convert(tomllib.loads(text), Protocol)
    except tomllib.TOMLDecodeError as error:
        raise BadInput(f"not TOML: {error}", place=place, mend="Mend the line named") from error
    except msgspec.ValidationError as error:
        found, _, field = str(error).partition(" - at `$")
        raise BadInput(found, place=f"{place}: {field.strip('`.') or 'top level'}",
                       mend="Compare with a published protocol: `sealwright protocol show us-bitter --toml`") from error
    _cross_check(protocol, place)
    return protocol


TIMES = ("abstention", "top_up_every", "washout", "wear", "nebuliser_life", "squeeze_pace", "mist_check_after")
UNITS = ("ms", "s", "min")


def _check_times(p: Protocol, place: str) -> None:
    """Every time in a unit that is known, none below zero."""
    times = {name: getattr(p, name) for name in TIMES}
    times |= {f"tolerances.{name}": getattr(p.tolerances, name) for name in p.tolerances.__struct_fields__}
    for name, time in times.items():
        if time.unit not in UNITS:
            raise BadInput(f"unknown unit of time {time.unit!r}", place=f"{place}: {name}.unit",
                           mend=f"Choose one of {', '.join(UNITS)}")
        if time.value < 0:
            raise BadInput(f"{time.value} is below zero", place=f"{place}: {name}.value", mend="Give 0 or more")


def _cross_check(p: Protocol, place: str) -> None:
    """Faults that types cannot see."""
    def refuse(field: str, found: str, mend: str) -> None:
        raise BadInput(found, place=f"{place}: {field}", mend=mend)

    _check_times(p, place)
    for name in ("top_up_every", "squeeze_pace"):
        if getattr(p, name).value <= 0:
            refuse(name, "must be above zero", "Give a positive whole number")
    if p.squeeze_pace.unit != "ms" or p.top_up_every.unit != "s":
        refuse("unit", "squeeze_pace is in ms and top_up_every in s", "Convert the value and name the unit")
    ids = [e.id for e in p.exercises]
    if not ids or len(set(ids)) != len(ids):
        refuse("exercises", "ids must be there and differ", "Give every exercise an id of its own")
    for i, e in enumerate(p.exercises):
        if e.seconds <= 0:
            refuse(f"exercises[{i}].seconds", f"{e.seconds} is no duration", "Give seconds above zero")
    if not p.doses or list(p.doses) != sorted(p.doses, key=lambda d: d.upto):
        refuse("doses", "levels must rise", "Order the levels by `upto`, lowest first")
    for i, d in enumerate(p.doses):
        if d.first <= 0 or d.top_up <= 0:
            refuse(f"doses[{i}]", "squeezes must be above zero", "Give `first` and `top_up` above zero")
    if p.doses[-1].upto != p.screening.round_squeezes * p.screening.rounds:
        refuse("doses", "the last level must reach the last squeeze of screening",
               f"Set its `upto` to {p.screening.round_squeezes * p.screening.rounds}")
    if missing := sorted(RULES - p.rules.keys()):
        refuse("rules", f"missing: {', '.join(missing)}", "Add each with `rule` and `source`")


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
