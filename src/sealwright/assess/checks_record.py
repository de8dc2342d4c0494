"""Departures of the record itself: order, clocks, rooms, withdrawn taps."""

from __future__ import annotations

from sealwright.assess.events import (
    ClockChecked,
    Data,
    Dosed,
    ExercisesEnded,
    ExerciseStarted,
    Noticed,
    Opened,
    RoomReturned,
    SamplesTaken,
    TakenOver,
    Tasted,
)
from sealwright.assess.facts import Facts, clock, span


def opened_once(f: Facts) -> None:
    openings = f.all(Opened)
    if openings and openings[0].i:
        f.found("before-opened", f"{openings[0].i} event(s) are recorded before the opening", at=openings[0].at)
    for again in openings[1:]:
        names = ("wearer", "facepiece", "protocol")
        other = [n for n in names if getattr(again.data, n) != getattr(f.opened, n)]
        f.found("opened-again", f"Opened again with another {', '.join(other)}" if other else "Opened twice, alike",
                at=again.at, severity="void" if other else "minor")


def closed_last(f: Facts) -> None:
    if f.closed_i is not None and f.closed_i < f.size - 1:
        late = f.events[f.closed_i + 1]
        f.found("after-closed", f"{f.size - 1 - f.closed_i} event(s) are recorded after the closing", at=late.at)


def same_version(f: Facts) -> None:
    if f.opened.protocol_version != f.p.version:
        f.found("protocol-version", f"Led by version {f.opened.protocol_version or 'unknown'} of {f.p.id}, "
                                    f"judged by version {f.p.version}")


def times_forward(f: Facts) -> None:
    """Recorded order is the order in which the room saw things; its clock should agree, within the tolerance."""
    worst, where, last = f.m.clock_step_ms, None, 0
    for e in f.events:
        if type(e.data) is SamplesTaken:  # from an instrument, not seen by the room: in an order of its own
            continue
        back = last - e.at
        if back > 0:
            if _named_afterwards(e.data):
                continue
            if back > worst:
                worst, where = back, e.at
        last = e.at
    if where is not None:
        f.found("times-backwards", f"Times run backwards by up to {span(worst)}", at=where)


def _named_afterwards(data: Data) -> bool:
    """Whose instant may lie before what is recorded already: worked out by the score, or asked back."""
    return type(data) in (Tasted, Noticed) or getattr(data, "witnessed", True) is False


def clock_right(f: Facts) -> None:
    for mark in f.all(ClockChecked):
        offset, stepped = mark.data.offset_ms, mark.data.stepped_ms
        if abs(offset) > f.m.clock_offset_ms:
            f.found("clock-offset", f"The room's clock was {span(abs(offset))} {'fast' if offset > 0 else 'slow'}",
                    at=mark.at)
        if abs(stepped) > f.m.clock_step_ms:
            f.found("clock-stepped", f"The room's clock jumped {span(abs(stepped))} {'on' if stepped > 0 else 'back'}",
                    at=mark.at, severity="major" if _in_run(f, mark.i) else "minor")


def one_room(f: Facts) -> None:
    for mark in f.all(TakenOver):
        if mark.data.room != f.opened.room:
            f.found("two-rooms", f"Room {mark.data.room or 'unnamed'} went on with the test", at=mark.at,
                    severity="minor" if _in_run(f, mark.i) else "note")


def room_there(f: Facts) -> None:
    for mark in f.all(RoomReturned):
        away, back = min(mark.data.away_at, mark.at), mark.at
        in_run = f.use_at is not None and f.end_at is not None and away < f.end_at and back > f.use_at
        long = back - away > f.m.away_note_ms
        when = f", from {clock(f.second(away))} to {clock(f.second(back))}" if in_run else ""
        f.found("room-away", f"The room was away for {span(back - away)}{when}", at=away, until=back,
                severity="minor" if in_run and long else "note")


def witnessed(f: Facts) -> None:
    unseen = [f.m.titles.get(m.data.exercise, m.data.exercise) for m in f.all(ExerciseStarted) if not m.data.witnessed]
    ends = [m for m in f.all(ExercisesEnded) if not m.data.witnessed]
    if unseen or ends:
        what = ", ".join([*unseen, *(["the end of the exercises"] if ends else [])])
        f.found("unwitnessed", f"Worked out afterwards: {what}")


def taps_withdrawn(f: Facts) -> None:
    for target, by in f.withdrawn.items():
        e, back = f.events[target], f.events[by]
        taste = type(e.data) is f.NOTICED and f.use_i is not None and target > f.use_i
        what = type(e).__struct_config__.tag
        f.found("taste-taken-back" if taste else "taken-back",
                f"{what} withdrawn after {span(back.at - e.at)}", at=e.at, until=back.at)
    for i, code in f.refused:
        e = f.events[i]
        text = {"take-back-late": "A tap was withdrawn too late and still counts",
                "take-back-refused": "What was to be withdrawn is not on record before or cannot be withdrawn"}[code]
        f.found(code, text, at=e.at)


def one_tester(f: Facts) -> None:
    others = sorted({m.event.by for m in f.all(Dosed)} - {f.opened.tester.id})
    if others:
        f.found("second-tester", f"Doses recorded by {', '.join(others)}, not by {f.opened.tester.id}")


def _in_run(f: Facts, i: int) -> bool:
    return f.use_i is not None and f.use_i < i < f.end_i


CHECKS = (opened_once, closed_last, same_version, times_forward, clock_right, one_room, room_there, witnessed,
          taps_withdrawn, one_tester)
