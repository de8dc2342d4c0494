"""A test as it was performed, in seconds from the first exercise: what a score is overlaid with."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from sealwright.assess.events import (
    Closed,
    Dosed,
    Event,
    ExercisesEnded,
    ExerciseStarted,
    FacepieceTouched,
    FirstDoseBegun,
    MistChecked,
    RoomReturned,
    RunStarted,
    SealBroken,
    Stopped,
    TakenBack,
    Tasted,
)
from sealwright.assess.verdict import Verdict


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


class Answer(msgspec.Struct, frozen=True, kw_only=True):
    """A question answered on the way: mist seen, tasted at the seal break."""

    at_s: float
    yes: bool


class Performed(msgspec.Struct, frozen=True, kw_only=True):
    """All times in seconds from the first exercise. `ends_s`: the end of the exercises, whatever ended them."""

    ends_s: float = 0
    doses: tuple[Given, ...] = ()
    exercises: tuple[Done, ...] = ()
    tastes: tuple[float, ...] = ()
    mists: tuple[Answer, ...] = ()
    touched: tuple[float, ...] = ()
    gaps: tuple[tuple[float, float], ...] = ()
    seal_break: Answer | None = None
    stopped: tuple[float, str] | None = None


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
        tastes=tuple(s for s, d in run if isinstance(d, Tasted)),
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
    ends = (s for s, d in run if isinstance(d, ExercisesEnded | Tasted | Stopped | SealBroken | Closed))
    return next(ends, run[-1][0])


def _exercises(run: Sequence[tuple[float, object]], verdict: Verdict, end: float) -> tuple[Done, ...]:
    """As the verdict has them; else each from its start to the next one's."""
    if verdict.exercises:
        return tuple(Done(exercise=name, at_s=at, lasts=lasts) for name, at, lasts in verdict.exercises)
    starts = [(s, d.exercise) for s, d in run if isinstance(d, ExerciseStarted) and s < end]
    ends = [*(s for s, _ in starts[1:]), end][:len(starts)]
    return tuple(Done(exercise=name, at_s=s, lasts=after - s) for (s, name), after in zip(starts, ends, strict=True))
