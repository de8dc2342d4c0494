"""A score: the timed list of acts that a protocol and a dose level make; who does what at which second.

Second 0 is the start of the first exercise. The first dose is given before it, so its second is negative.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from sealwright.errors import BadInput
from sealwright.protocols.types import Dose, MeasuredProtocol, Protocol, QualitativeProtocol, TasteProtocol


class Act(msgspec.Struct, frozen=True, kw_only=True):
    """One thing someone does: `at` seconds from the first exercise, `lasts` seconds."""

    id: str
    kind: Literal["dose", "exercise", "mist", "seal-break", "sample"]
    who: Literal["tester", "wearer"]
    at: int
    lasts: int
    title: str
    squeezes: int = 0
    exercise: str = ""
    figure: str = ""
    during_dose: str = ""
    source: str = ""
    air: str = ""
    """of a sample: ambient, mask or hold (breath held)"""
    counts: bool = True
    """of an exercise: False when it is left out of the overall fit factor (grimace)"""


class Score(msgspec.Struct, frozen=True, kw_only=True):
    """`acts` in order of `at`. `lasts`: when the last exercise ends, s. `level` 0: a method without levels."""

    protocol: str
    protocol_version: str
    level: int
    lasts: int
    squeezes: int
    acts: tuple[Act, ...]

    def of(self, kind: str) -> tuple[Act, ...]:
        return tuple(a for a in self.acts if a.kind == kind)


def compile_score(protocol: Protocol, level: int = 0) -> Score:
    """The score of a protocol; of a taste protocol at a screening level. BadInput for a level it does not have."""
    exercises = _exercises(protocol)
    acts = list(exercises)
    if isinstance(protocol, TasteProtocol):
        dose = _dose_at(protocol, level)
        acts += [*_doses(protocol, dose, exercises), _mist(protocol, dose)]
    elif level:
        raise BadInput(f"{protocol.id} has no levels", place="level", mend="Leave the level out")
    if isinstance(protocol, QualitativeProtocol):
        acts.append(_seal_break(protocol))
    if isinstance(protocol, MeasuredProtocol):
        acts += _samples(protocol)
    acts.sort(key=lambda a: (a.at, a.kind != "exercise"))
    return Score(protocol=protocol.id, protocol_version=protocol.version, level=level,
                 lasts=protocol.exercise_seconds, squeezes=sum(a.squeezes for a in acts), acts=tuple(acts))


def _dose_at(p: TasteProtocol, level: int) -> Dose:
    dose = next((d for d in p.doses if d.level == level), None)
    if dose is None:
        raise BadInput(f"no level {level} in {p.id}", place="level",
                       mend=f"Choose one of {', '.join(str(d.level) for d in p.doses)}")
    return dose


def _samples(p: MeasuredProtocol) -> list[Act]:
    """Stretches of sampling. The instrument (or the tester at it) does them, the wearer goes on."""
    titles = {e.id: e.title for e in p.exercises}
    return [Act(id=f"sample-{n}", kind="sample", who="tester", at=s.at, lasts=s.lasts, air=s.air, exercise=s.exercise,
                title=_AIR[s.air], figure="hold-breath" if s.air == "hold" else "", source=s.source)
            for n, s in enumerate(p.samples, 1) if not s.exercise or s.exercise in titles]


_AIR = {"ambient": "Room air", "mask": "Mask air", "hold": "Breath held"}


def _exercises(p: Protocol) -> list[Act]:
    acts, at = [], 0
    for e in p.exercises:
        acts.append(Act(id=e.id, kind="exercise", who="wearer", at=at, lasts=e.seconds, title=e.title, exercise=e.id,
                        figure=e.kind, during_dose=e.during_dose, source=e.source, counts=e.counts))
        at += e.seconds
    return acts


def _seconds_for(p: TasteProtocol, squeezes: int) -> int:
    return -(-squeezes * p.squeeze_pace.value // 1000)


def _doses(p: TasteProtocol, dose: Dose, exercises: list[Act]) -> list[Act]:
    every, source = p.top_up_every.value, p.top_up_every.source
    first = _seconds_for(p, dose.first)
    acts = [Act(id="dose-0", kind="dose", who="tester", at=-first, lasts=first, squeezes=dose.first,
                title="First dose", source=dose.source)]
    for at in range(every, p.exercise_seconds, every):
        during = next(e for e in reversed(exercises) if e.at <= at)
        acts.append(Act(id=f"dose-{at}", kind="dose", who="tester", at=at, lasts=_seconds_for(p, dose.top_up),
                        squeezes=dose.top_up, title="Top-up", exercise=during.id, during_dose=during.during_dose,
                        source=source))
    return acts


def _mist(p: TasteProtocol, dose: Dose) -> Act:
    """Asked once on the way, after the first top-up past the named second, so that the hand is at the nebuliser."""
    every = p.top_up_every.value
    after = -(-p.mist_check_after.value // every) * every
    return Act(id="mist", kind="mist", who="tester", at=after + _seconds_for(p, dose.top_up), lasts=5,
               title="Mist still seen?", source=p.rules["clogged"].source)


def _seal_break(p: QualitativeProtocol) -> Act:
    return Act(id="seal-break", kind="seal-break", who="wearer", at=p.exercise_seconds, lasts=10,
               title=_CLOSING[p.method], source=p.seal_break.source)


_CLOSING = {"taste": "Break the seal: tasted now?", "vapour": "Break the seal: smelled now?",
            "smoke": "Facepiece off: does the smoke irritate now?"}
