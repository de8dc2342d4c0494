"""What the wearer should see now, worked out from a test's events. Pure: no clock, no words, only codes.

Instants in a `ScreenState` are the server's; events carry the room's, `offset_ms` (room minus server) apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf
from typing import Literal

import msgspec

from sealwright.assess import Event
from sealwright.assess.events import KIND_OF
from sealwright.protocols import (
    Act,
    CountingProtocol,
    Exercise,
    Protocol,
    Score,
    Stage,
    TasteProtocol,
    compile_conduct,
)
from sealwright.web.wearer_ways import ENDED, TASTE, WAYS, Phase, Way

DURING_DOSE = {"hold-still": "hold", "pause-talking": "hush", "hold-hem": "hem"}
"""what the wearer does while a dose is given -> figure"""


class ScreenAct(msgspec.Struct, frozen=True, kw_only=True):
    """An act as the wearer meets it: `at` and `lasts` in seconds from the first exercise; `say` names its sentence.

    `details` name what stands smaller below; None: what goes with `say`.
    """

    kind: Literal["exercise", "dose", "hold", "seal-break", "end"]
    at: int
    lasts: int
    figure: str
    say: str
    details: tuple[str, ...] | None = None


class ScreenState(msgspec.Struct, frozen=True, kw_only=True):
    """One moment of the wearer's screen. `say` names the sentence; `since` and `until` bound a wait;
    `run_started_at` is the instant of second 0 of `acts`. `method` names the rule at the foot. All instants are the
    server's, in ms.
    """

    phase: Phase
    figure: str
    say: str
    server_now: int
    since: int | None = None
    until: int | None = None
    run_started_at: int | None = None
    acts: tuple[ScreenAct, ...] = ()
    closed: bool = False
    method: str = "taste"
    details: tuple[str, ...] | None = None


class _Past(msgspec.Struct):
    """What the events so far amount to; instants are the room's."""

    phase: Phase = "welcome"
    kind: str = "filtering"
    squeezes: int = 0
    not_tasted: bool = False
    marks: dict[str, int] = {}
    """kind of event -> when it last opened a phase; tasted: the taste of the screening"""
    free: bool = True
    zero_at: int | None = None
    reason: str = ""
    closed: bool = False


def screen_state(events: Sequence[Event], protocol: Protocol, score: Score | None, now: int,
                 offset_ms: int = 0) -> ScreenState:
    """The wearer's screen at `now` (server, ms). `score` is that of the level tasted at; None before it is known."""
    way = WAYS[protocol.method]
    past = _follow(events, protocol, score)
    since, until = _wait(past, protocol)
    zero_at = past.zero_at if past.phase == "exercises" and score else None
    acts = screen_acts(score, protocol) if score and zero_at is not None else ()
    act = act_at(acts, (now + offset_ms - (zero_at or 0)) / 1000) if acts else None
    return ScreenState(
        phase=past.phase, figure=act.figure if act else _figure(past, way), say=act.say if act else way.say(_say(past)),
        server_now=now,
        since=None if since is None else since - offset_ms, until=None if until is None else until - offset_ms,
        run_started_at=None if zero_at is None else zero_at - offset_ms,
        acts=acts, closed=past.closed, method=protocol.method, details=act.details if act else None)


def screen_acts(score: Score, protocol: Protocol) -> tuple[ScreenAct, ...]:
    """The acts of a score that the wearer meets, in order."""
    way, exercises = WAYS[protocol.method], {e.id: e for e in protocol.exercises}
    asides = ["step"] if isinstance(protocol, CountingProtocol) and protocol.underfoot else []
    asides += [way.aside] if way.aside else []
    met = [act for act in (_screen_act(a, way, exercises, asides) for a in score.acts) if act]
    if not any(act.kind == "seal-break" for act in met):
        met.append(ScreenAct(kind="end", at=score.lasts, lasts=1, figure=way.figure("readings"), say="readings"))
    return tuple(met)


def act_at(acts: tuple[ScreenAct, ...], second: float) -> ScreenAct:
    """What the wearer does at a second of the run: a dose or a held breath while it lasts, else the exercise or the
    seal break.
    """
    second = max(0.0, second)
    within = next((a for a in acts if a.kind in WITHIN and a.at <= second < a.at + a.lasts), None)
    return within or [a for a in acts if a.kind not in WITHIN and a.at <= second][-1]


WITHIN = ("dose", "hold")
"""acts that fall within an exercise"""


def _screen_act(act: Act, way: Way, exercises: dict[str, Exercise], asides: list[str]) -> ScreenAct | None:
    if act.kind == "exercise":
        # The sentence of a hood's exercise brings its own detail; without a hood there is another, or none.
        own = None if way is TASTE else _details(exercises[act.exercise], way, asides)
        return ScreenAct(kind="exercise", at=act.at, lasts=act.lasts, figure=act.figure, say=way.say(act.figure),
                         details=own)
    if act.kind == "sample" and act.air == "hold":
        held = exercises.get(act.exercise)
        return ScreenAct(kind="hold", at=act.at, lasts=act.lasts, figure="hold-breath", say="hold-breath",
                         details=(f"held: {_posture(held)}",) if held else ())
    if act.kind == "dose":
        do = act.during_dose or "hold-still"
        return ScreenAct(kind="dose", at=act.at, lasts=act.lasts, figure=DURING_DOSE[do], say=do)
    if act.kind == "seal-break":
        return ScreenAct(kind="seal-break", at=act.at, lasts=act.lasts, figure=way.figure("seal-break"),
                         say=way.say("seal-break"))
    return None


def _details(e: Exercise, way: Way, asides: list[str]) -> tuple[str, ...]:
    """What belongs to the exercise, then to all of them; a text to read out takes the place of the first."""
    said = way.say(e.kind)
    return (said if said == "talk" else e.how, *asides)


def _posture(e: Exercise) -> str:
    """How the head is held while the breath is: as the protocol puts it, or as the exercise is called."""
    return e.title if e.how == "Breath held" else e.how


def level_of(events: Sequence[Event], protocol: Protocol) -> int | None:
    """The dose level: as the run was started with, else as the screening says; None before either is known.

    0 for a method without levels.
    """
    if not isinstance(protocol, TasteProtocol):
        return 0
    past = _follow(events, protocol, None)
    level = next((e.data.level for e in reversed(events) if KIND_OF[type(e.data)] == "run-started"), None)
    if level is not None or "tasted" not in past.marks:
        return level
    dose = protocol.dose_for(past.squeezes)
    return dose.level if dose else None


def recorded_offset(events: Sequence[Event]) -> int:
    """Room minus server (ms) as the test itself last recorded it; 0 when it never did."""
    return next((e.data.offset_ms for e in reversed(events)
                 if KIND_OF[type(e.data)] == "clock-checked" and e.data.offset_ms), 0)


def _follow(events: Sequence[Event], protocol: Protocol, score: Score | None) -> _Past:
    kinds = {e.id: KIND_OF[type(e.data)] for e in events}
    withdrawn = {e.data.event for e in events if kinds[e.id] == "taken-back"}
    starts = {act.exercise: act.at for act in score.of("exercise")} if score else {}
    past = _Past()
    for e in events:
        if e.id not in withdrawn:
            _step(past, kinds[e.id], e, protocol, starts)
    return past


def _step(past: _Past, kind: str, e: Event, protocol: Protocol, starts: dict[str, int]) -> None:
    """Takes one event in. After an end only the way out and the closing matter."""
    if kind == "opened":
        past.kind = e.data.facepiece.kind
    elif kind == "closed":
        past.closed = True
        past.phase = past.phase if past.phase in ENDED else "done"
    elif kind == "hood-removed":
        _hood_off(past, protocol)
    elif kind == "agent-screened" and past.phase in ("jars", "whiff", "unsuited"):
        past.phase = "donning" if e.data.noticed else "unsuited"
    elif past.phase in ENDED:
        return
    elif kind in ("squeezed", "not-tasted"):
        past.squeezes += getattr(e.data, "n", 0)
        past.not_tasted = kind == "not-tasted"
        past.phase = "unsuited" if past.not_tasted and past.squeezes >= _most(protocol) else "screening"
    elif kind == "tasted":
        _tasted(past, e.at)
    elif kind == "exercise-started":
        # The room may have paused: second 0 is reckoned from the exercise it started last.
        past.zero_at = e.at - 1000 * starts[e.data.exercise] if e.data.exercise in starts else past.zero_at
    else:
        _move_on(past, kind, e, WAYS[protocol.method])


def _most(protocol: Protocol) -> float:
    """The last squeeze of the screening."""
    return protocol.doses[-1].upto if isinstance(protocol, TasteProtocol) else inf


def _tasted(past: _Past, at: int) -> None:
    """The first taste, in screening, is the threshold; any later one ends the test."""
    if past.phase == "screening":
        past.phase = "tasted-screening"
        past.marks["tasted"] = at
    else:
        past.phase = "tasted"


def _hood_off(past: _Past, protocol: Protocol) -> None:
    past.free = True
    if past.phase == "tasted-screening":
        past.phase = "washout"
    elif past.phase == "screening" and past.squeezes >= _most(protocol):
        past.phase = "unsuited"


DONNING = ("donned", "seal-checked", "comfort-judged")
EXPOSING = ("screening-started", "first-dose-begun", "exposure-begun", "run-started")
"""From here on there is something to come out of: a hood, a chamber, smoke, the facepiece at its line."""


def _move_on(past: _Past, kind: str, e: Event, way: Way) -> None:
    if kind in DONNING and past.phase == "exercises" and way is not TASTE:
        return  # Donned again in the run is an exercise of its own.
    if kind == "taste-gone":
        past.phase = "donning" if e.data.gone else "washout"
    elif kind == "noticed":
        past.phase = "noticed" if past.phase in EXPOSED else past.phase
    elif kind == "seal-checked":
        past.phase = "wear" if e.data.passed else "donning"
    elif kind == "comfort-judged":
        past.phase = "ready" if e.data.comfortable else "pause"
        past.free = not e.data.comfortable
    elif kind in way.moves:
        past.free = past.free and kind not in EXPOSING
        past.phase = way.moves[kind]
        past.marks[kind] = e.at
        past.zero_at = e.at if kind == "run-started" else past.zero_at
        past.reason = getattr(e.data, "reason", "")


EXPOSED: tuple[Phase, ...] = ("ready", "chamber", "smoke", "exercises", "seal-break")


def _figure(past: _Past, way: Way) -> str:
    if past.free and past.phase in ENDED:
        return way.free.get(past.phase, "wait")
    return way.figure(past.phase)


def _say(past: _Past) -> str:
    if past.phase in ENDED:
        how = "unwell" if past.reason in ("unwell", "breathless") else past.phase
        return f"{how}-hood-off" if past.free else how
    return past.phase


def _wait(past: _Past, protocol: Protocol) -> tuple[int | None, int | None]:
    """(since, until) of the wait the conduct asks for in this phase, in the room's clock."""
    stage_id, after = WAYS[protocol.method].waits.get(past.phase, ("", ""))
    since = past.marks.get(after)
    if since is None:
        return None, None
    stage: Stage = next(s for s in compile_conduct(protocol, past.kind) if s.id == stage_id)
    minutes = max((w.minutes for w in stage.waits if w.after == after), default=0)
    return since, since + minutes * 60_000
