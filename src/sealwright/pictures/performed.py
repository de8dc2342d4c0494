"""A test as it was performed, in seconds from the first exercise: what a score is overlaid with."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import msgspec

from sealwright.assess.events import (
    Closed,
    Dosed,
    Event,
    ExerciseRead,
    ExercisesEnded,
    ExerciseStarted,
    FacepieceTouched,
    FirstDoseBegun,
    LeakRead,
    MistChecked,
    Noticed,
    RoomReturned,
    RunStarted,
    SamplesTaken,
    SealBroken,
    Stopped,
    TakenBack,
    Tasted,
)
from sealwright.assess.verdict import Verdict
from sealwright.protocols import published

Sensed = Literal["tasted", "smelled", "reacted", "noticed"]
"""how the wearer notices the agent, as a word"""
_SENSED: dict[str, Sensed] = {"taste": "tasted", "vapour": "smelled", "smoke": "reacted"}


class Given(msgspec.Struct, frozen=True, kw_only=True):
    """A dose given. `at_s`: when the tester said it was done, so the end of its squeezes."""

    act: str
    at_s: float
    squeezes: int


class Done(msgspec.Struct, frozen=True, kw_only=True):
    """An exercise begun at `at_s` and kept up for `lasts` seconds."""

    exercise: str
    at_s: float
    lasts: float


class Sampled(msgspec.Struct, frozen=True, kw_only=True):
    """A stretch of air as it was sampled, `lasts` seconds of it."""

    air: Literal["mask", "ambient"]
    at_s: float
    lasts: float


class Answer(msgspec.Struct, frozen=True, kw_only=True):
    """A question answered on the way: mist seen, tasted (smelled, reacted to) at the seal break."""

    at_s: float
    yes: bool


class Performed(msgspec.Struct, frozen=True, kw_only=True):
    """All times in seconds from the first exercise. `ends_s`: the end of the exercises, whatever ended them.

    `tastes`: when the wearer noticed the agent, by taste or as `sensed` says. `samples`: in order of time, stretches of
    the same air that meet made one. `read`: exercises for which a number or a leak was read.
    """

    ends_s: float = 0
    doses: tuple[Given, ...] = ()
    exercises: tuple[Done, ...] = ()
    tastes: tuple[float, ...] = ()
    mists: tuple[Answer, ...] = ()
    touched: tuple[float, ...] = ()
    gaps: tuple[tuple[float, float], ...] = ()
    seal_break: Answer | None = None
    stopped: tuple[float, str] | None = None
    sensed: Sensed = "tasted"
    samples: tuple[Sampled, ...] = ()
    read: tuple[str, ...] = ()


def performed_from(events: Sequence[Event], verdict: Verdict) -> Performed | None:
    """The run within a test's events, what was taken back left out; None when no run was started."""
    events = _standing(events, verdict)
    first = next((i for i, e in enumerate(events) if isinstance(e.data, FirstDoseBegun | RunStarted | Dosed)), None)
    if first is None or verdict.started_at is None:
        return None
    origin = verdict.started_at
    run = [((_instant(e) - origin) / 1000, e.data) for e in events[first:]]
    end = _end(run)
    breaks = [Answer(at_s=s, yes=d.tasted) for s, d in run if isinstance(d, SealBroken)]
    return Performed(
        ends_s=end, exercises=_exercises(run, verdict, end),
        doses=tuple(Given(act=d.act, at_s=s, squeezes=d.squeezes) for s, d in run if isinstance(d, Dosed)),
        tastes=tuple(s for s, d in run if isinstance(d, Tasted | Noticed)), sensed=_sensed(verdict),
        samples=_samples(events, origin),
        read=tuple(dict.fromkeys(d.exercise for _, d in run if isinstance(d, LeakRead | ExerciseRead))),
        mists=tuple(Answer(at_s=s, yes=d.seen) for s, d in run if isinstance(d, MistChecked)),
        touched=tuple(s for s, d in run if isinstance(d, FacepieceTouched)),
        gaps=tuple(((d.away_at - origin) / 1000, s) for s, d in run if isinstance(d, RoomReturned)),
        seal_break=breaks[-1] if breaks else None,
        stopped=next(((s, d.reason) for s, d in run if isinstance(d, Stopped)), None))


def _standing(events: Sequence[Event], verdict: Verdict) -> list[Event]:
    """Events without those withdrawn; a withdrawal that the verdict does not accept changes nothing."""
    refused = {f.at for f in verdict.findings if f.code in ("take-back-refused", "take-back-late")}
    gone = {e.data.event for e in events if isinstance(e.data, TakenBack) and e.at not in refused}
    return [e for e in events if e.id not in gone]


def _instant(e: Event) -> int:
    """A dose entered afterwards counts when it was given."""
    return min(e.at, e.data.given_at) if isinstance(e.data, Dosed) and e.data.given_at is not None else e.at


def _end(run: Sequence[tuple[float, object]]) -> float:
    """The first thing that ended the exercises, or the last thing on record."""
    ends = (s for s, d in run if isinstance(d, ExercisesEnded | Tasted | Noticed | Stopped | SealBroken | Closed))
    return next(ends, run[-1][0])


def _sensed(verdict: Verdict) -> Sensed:
    """By the method; a protocol not on our shelf may have any."""
    protocol = published().get(verdict.protocol)
    return _SENSED.get(protocol.method, "tasted") if protocol else "noticed"


def _samples(events: Sequence[Event], origin: int) -> tuple[Sampled, ...]:
    """Room air may be sampled before the first exercise, and told before it too."""
    taken = sorted((e.data for e in events if isinstance(e.data, SamplesTaken)), key=lambda d: d.started_at)
    found = list[Sampled]()
    for d in taken:
        at, lasts = (d.started_at - origin) / 1000, d.step_ms * len(d.values) / 1000
        last = found[-1] if found else None
        if last and last.air == d.air and at <= last.at_s + last.lasts + d.step_ms / 1000:
            found[-1] = Sampled(air=d.air, at_s=last.at_s, lasts=max(last.lasts, at + lasts - last.at_s))
        else:
            found.append(Sampled(air=d.air, at_s=at, lasts=lasts))
    return tuple(found)


def _exercises(run: Sequence[tuple[float, object]], verdict: Verdict, end: float) -> tuple[Done, ...]:
    """As the verdict has them; else each from its start to the next one's."""
    if verdict.exercises:
        return tuple(Done(exercise=name, at_s=at, lasts=lasts) for name, at, lasts in verdict.exercises)
    starts = [(s, d.exercise) for s, d in run if isinstance(d, ExerciseStarted) and s < end]
    ends = [*(s for s, _ in starts[1:]), end][:len(starts)]
    return tuple(Done(exercise=name, at_s=s, lasts=after - s) for (s, name), after in zip(starts, ends, strict=True))
