"""What the wearer should see now, worked out from a test's events. Pure: no clock, no words, only codes.

Instants in a `ScreenState` are the server's; events carry the room's, `offset_ms` (room minus server) apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import msgspec

from sealwright.assess import Event
from sealwright.assess.events import KIND_OF
from sealwright.protocols import Act, Protocol, Score, Stage, compile_conduct

Phase = Literal["welcome", "hood-on", "screening", "unsuited", "tasted-screening", "washout", "donning", "seal-check",
                "wear", "pause", "ready", "first-dose", "exercises", "seal-break", "finish", "tasted", "stopped",
                "done"]

FIGURE: dict[Phase, str] = {
    "welcome": "wait", "hood-on": "hood", "screening": "taste", "unsuited": "stop", "tasted-screening": "stop",
    "washout": "water", "donning": "don", "seal-check": "seal-check", "wear": "wear", "pause": "wait",
    "ready": "hood-mask", "first-dose": "hold", "exercises": "normal", "seal-break": "break-seal", "finish": "stop",
    "tasted": "stop", "stopped": "stop", "done": "done",
}
DURING_DOSE = {"hold-still": "hold", "pause-talking": "hush", "hold-hem": "hem"}
"""what the wearer does while a dose is given -> figure"""


class ScreenAct(msgspec.Struct, frozen=True, kw_only=True):
    """An act as the wearer meets it: `at` and `lasts` in seconds from the first exercise; `say` names its sentence."""

    kind: Literal["exercise", "dose", "seal-break"]
    at: int
    lasts: int
    figure: str
    say: str


class ScreenState(msgspec.Struct, frozen=True, kw_only=True):
    """One moment of the wearer's screen. `say` names the sentence; `since` and `until` bound a wait;
    `run_started_at` is the instant of second 0 of `acts`. All instants are the server's, in ms.
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


class _Past(msgspec.Struct):
    """What the events so far amount to; instants are the room's."""

    phase: Phase = "welcome"
    kind: str = "filtering"
    squeezes: int = 0
    not_tasted: bool = False
    tasted_at: int | None = None
    hood_off: bool = True
    donned_at: int | None = None
    zero_at: int | None = None
    reason: str = ""
    closed: bool = False


def screen_state(events: Sequence[Event], protocol: Protocol, score: Score | None, now: int,
                 offset_ms: int = 0) -> ScreenState:
    """The wearer's screen at `now` (server, ms). `score` is that of the level tasted at; None before it is known."""
    past = _follow(events, protocol, score)
    since, until = _wait(past, protocol)
    zero_at = past.zero_at if past.phase == "exercises" and score else None
    acts = screen_acts(score) if score and zero_at is not None else ()
    act = act_at(acts, (now + offset_ms - (zero_at or 0)) / 1000) if acts else None
    return ScreenState(
        phase=past.phase, figure=act.figure if act else _figure(past), say=act.say if act else _say(past),
        server_now=now,
        since=None if since is None else since - offset_ms, until=None if until is None else until - offset_ms,
        run_started_at=None if zero_at is None else zero_at - offset_ms,
        acts=acts, closed=past.closed)


def screen_acts(score: Score) -> tuple[ScreenAct, ...]:
    """The acts of a score that the wearer meets, in order."""
    return tuple(act for act in map(_screen_act, score.acts) if act)


def act_at(acts: tuple[ScreenAct, ...], second: float) -> ScreenAct:
    """What the wearer does at a second of the run: a dose while it lasts, else the exercise or the seal break."""
    second = max(0.0, second)
    dose = next((a for a in acts if a.kind == "dose" and a.at <= second < a.at + a.lasts), None)
    return dose or [a for a in acts if a.kind != "dose" and a.at <= second][-1]


def _screen_act(act: Act) -> ScreenAct | None:
    if act.kind == "exercise":
        return ScreenAct(kind="exercise", at=act.at, lasts=act.lasts, figure=act.figure, say=act.figure)
    if act.kind == "dose":
        do = act.during_dose or "hold-still"
        return ScreenAct(kind="dose", at=act.at, lasts=act.lasts, figure=DURING_DOSE[do], say=do)
    if act.kind == "seal-break":
        return ScreenAct(kind="seal-break", at=act.at, lasts=act.lasts, figure="break-seal", say="seal-break")
    return None


def level_of(events: Sequence[Event], protocol: Protocol) -> int | None:
    """The dose level: as the run was started with, else as the screening says; None before either is known."""
    past = _follow(events, protocol, None)
    level = next((e.data.level for e in reversed(events) if KIND_OF[type(e.data)] == "run-started"), None)
    if level is not None or past.tasted_at is None:
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


ENDED: tuple[Phase, ...] = ("tasted", "stopped", "unsuited")
MOVES: dict[str, Phase] = {
    "identity-confirmed": "hood-on", "screening-started": "screening", "donned": "seal-check",
    "first-dose-begun": "first-dose", "run-started": "exercises",
    "exercises-ended": "seal-break", "seal-broken": "finish", "stopped": "stopped",
}
"""Kinds of event that lead to a phase whatever their particulars."""


def _step(past: _Past, kind: str, e: Event, protocol: Protocol, starts: dict[str, int]) -> None:
    """Takes one event in. After an end only the hood and the closing matter."""
    if kind == "opened":
        past.kind = e.data.facepiece.kind
    elif kind == "closed":
        past.closed = True
        past.phase = past.phase if past.phase in ENDED else "done"
    elif kind == "hood-removed":
        _hood_off(past, protocol)
    elif past.phase in ENDED:
        return
    elif kind in ("squeezed", "not-tasted"):
        past.squeezes += getattr(e.data, "n", 0)
        past.not_tasted = kind == "not-tasted"
        past.phase = "unsuited" if past.not_tasted and past.squeezes >= protocol.doses[-1].upto else "screening"
    elif kind == "tasted":
        _tasted(past, e.at)
    elif kind == "exercise-started":
        # The room may have paused: second 0 is reckoned from the exercise it started last.
        past.zero_at = e.at - 1000 * starts[e.data.exercise] if e.data.exercise in starts else past.zero_at
    else:
        _move_on(past, kind, e)


def _tasted(past: _Past, at: int) -> None:
    """The first taste, in screening, is the threshold; any later one ends the test."""
    if past.phase == "screening":
        past.phase, past.tasted_at = "tasted-screening", at
    else:
        past.phase = "tasted"


def _hood_off(past: _Past, protocol: Protocol) -> None:
    past.hood_off = True
    if past.phase == "tasted-screening":
        past.phase = "washout"
    elif past.phase == "screening" and past.squeezes >= protocol.doses[-1].upto:
        past.phase = "unsuited"


def _move_on(past: _Past, kind: str, e: Event) -> None:
    if kind == "taste-gone":
        past.phase = "donning" if e.data.gone else "washout"
    elif kind == "seal-checked":
        past.phase = "wear" if e.data.passed else "donning"
    elif kind == "comfort-judged":
        past.phase = "ready" if e.data.comfortable else "pause"
        past.hood_off = not e.data.comfortable
    elif kind in MOVES:
        past.hood_off = past.hood_off and kind not in ("screening-started", "first-dose-begun", "run-started")
        past.phase = MOVES[kind]
        past.donned_at = e.at if kind == "donned" else past.donned_at
        past.zero_at = e.at if kind == "run-started" else past.zero_at
        past.reason = getattr(e.data, "reason", "")


def _figure(past: _Past) -> str:
    if past.phase in ("tasted", "unsuited") and past.hood_off:
        return "water"
    return "wait" if past.phase == "stopped" and past.hood_off else FIGURE[past.phase]


def _say(past: _Past) -> str:
    if past.phase in ("tasted", "unsuited", "stopped"):
        how = "unwell" if past.reason in ("unwell", "breathless") else past.phase
        return f"{how}-hood-off" if past.hood_off else how
    return past.phase


WAITS: dict[Phase, tuple[str, str]] = {
    "tasted-screening": ("taste-gone", "tasted"), "washout": ("taste-gone", "tasted"),
    "wear": ("comfort", "donned"), "ready": ("hood-over", "tasted"),
}
"""phase -> (stage of the conduct, the event its wait counts from)"""


def _wait(past: _Past, protocol: Protocol) -> tuple[int | None, int | None]:
    """(since, until) of the wait the conduct asks for in this phase, in the room's clock."""
    if past.phase not in WAITS:
        return None, None
    stage_id, after = WAITS[past.phase]
    since = past.tasted_at if after == "tasted" else past.donned_at
    if since is None:
        return None, None
    stage: Stage = next(s for s in compile_conduct(protocol, past.kind) if s.id == stage_id)
    minutes = max((w.minutes for w in stage.waits if w.after == after), default=0)
    return since, since + minutes * 60_000
