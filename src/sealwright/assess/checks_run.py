"""Departures from the first dose to the signatures: doses, exercises, mist, facepiece, seal break, closing."""

from __future__ import annotations

from sealwright.assess.events import (
    Donned,
    Dosed,
    FacepieceTouched,
    MistChecked,
    RunStarted,
    SealBroken,
    Signed,
)
from sealwright.assess.facts import Facts, Mark, TasteFacts, clock
from sealwright.protocols import Act, PressureProtocol


def run_marked(f: TasteFacts) -> None:
    if f.use is None:
        told = f.unsuited or f.stopped or any((x.code, x.severity) == ("taste-before-dose", "void") for x in f.findings)
        if f.over and not told:
            f.found("run-missing", "No test dose on record")
    elif not f.all(RunStarted) and (f.run_exercises or (f.over and f.cut_at is None)):
        f.found("run-start-unmarked", "The start of the run is not on record", at=f.use_at)


def doses_given(f: TasteFacts) -> None:
    level = played_level(f)
    if level is None or f.use is None:
        return
    given: dict[str, list[Mark]] = {}
    for mark in f.all(Dosed):
        given.setdefault(mark.data.act, []).append(mark)
        _entered_later(f, mark)
    missing: list[Act] = []
    for act in f.m.doses[level]:
        marks = given.pop(act.id, None)
        if marks:
            _report_missing(f, missing)
            _dose(f, act, marks)
        elif _was_due(f, act):
            missing.append(act)
    _report_missing(f, missing)
    for marks in given.values():
        f.found("dose-extra", f"A dose ({marks[0].data.act}) that the score does not have", at=marks[0].at)


def played_level(f: TasteFacts) -> int | None:
    """The level the run was led by, where the protocol has it, else the level the screening gave."""
    started = f.all(RunStarted)
    if started and started[-1].data.level in f.m.doses:
        return int(started[-1].data.level)
    dose = f.p.dose_for(f.squeezes) if f.threshold else None
    return dose.level if dose else None


def _entered_later(f: TasteFacts, mark: Mark) -> None:
    given_at = mark.data.given_at
    if given_at is None:
        return
    if given_at > mark.event.at:
        f.found("dose-time-odd", "A dose is said to be given after it was recorded", at=mark.at)
    else:
        f.found("dose-entered-later", f"{_name(mark.data.act)} was entered afterwards", at=given_at,
                until=mark.event.at)


def _dose(f: TasteFacts, act: Act, marks: list[Mark]) -> None:
    origin = f.origin or 0
    squeezes = sum(m.data.squeezes for m in marks)
    if squeezes != act.squeezes:
        code = "dose-short" if squeezes < act.squeezes else "dose-over"
        f.found(code, f"{_name(act.id)} had {squeezes} squeezes; {act.squeezes} are asked for", at=marks[0].at)
    due_ms, done_ms = origin + act.at * 1000, origin + (act.at + act.lasts) * 1000
    early, late = due_ms - marks[0].at, marks[-1].at - done_ms
    if early > f.m.dose_early_note_ms:
        f.found("dose-early", _when(f, act, marks[0].at), at=marks[0].at,
                severity="void" if early > f.m.dose_early_void_ms else "minor")
    if late > f.m.dose_late_note_ms:
        f.found("dose-late", _when(f, act, marks[-1].at), at=marks[-1].at,
                severity="void" if late > f.m.dose_late_void_ms else "minor")


def _name(act_id: str) -> str:
    second = act_id.removeprefix("dose-")
    if second == "0":
        return "First dose"
    return f"Top-up of {clock(int(second))}" if second.isdecimal() and len(second) < 6 else f"Dose {act_id}"


def _when(f: TasteFacts, act: Act, at: int) -> str:
    return f"{_name(act.id)}, due {clock(act.at)}, was given by {clock(f.second(at))}"


def _was_due(f: TasteFacts, act: Act) -> bool:
    """Whether the time of an act was over when the run was cut off or, unfinished, when the record stops."""
    if f.cut_at is not None:
        stop = f.cut_at
    elif f.over or f.exercises_ended:
        return True
    else:
        stop = f.events[-1].at
    return (f.origin or 0) + (act.at + act.lasts) * 1000 + f.m.dose_late_void_ms < stop


def _report_missing(f: TasteFacts, missing: list[Act]) -> None:
    """One finding for doses missing in a row."""
    if not missing:
        return
    first, last, origin = missing[0], missing[-1], f.origin or 0
    text = f"{_name(first.id)} was not given" if first is last else (
        f"{len(missing)} doses from {clock(first.at)} to {clock(last.at)} were not given")
    f.found("dose-missing", text, at=origin + first.at * 1000, until=origin + (last.at + last.lasts) * 1000)
    missing.clear()


def exercises_done(f: Facts) -> None:
    if f.use is None:
        return
    done: dict[str, int] = {}
    for exercise, start, ms in segments(f):
        if exercise not in f.m.exercise_seconds:
            f.found("exercise-extra", f"{exercise} is no exercise of {f.p.id}", at=start)
        else:
            done[exercise] = done.get(exercise, 0) + ms
    _missing_exercises(f, done)
    _short_exercises(f, done)
    if list(done) != [e for e in f.m.exercise_ids if e in done]:
        f.found("exercise-order", "Exercises in another order: " + ", ".join(f.m.titles[e] for e in done))


def segments(f: Facts) -> list[tuple[str, int, int]]:
    """(exercise id, start ms, duration ms) as performed: each until the next one or the end of the run."""
    starts = f.run_exercises
    out = []
    for k, mark in enumerate(starts):
        if mark.i > f.end_i:
            break
        following = starts[k + 1] if k + 1 < len(starts) else None
        end = following.at if following and following.i < f.end_i else f.end_at or mark.at
        out.append((mark.data.exercise, mark.at, max(0, end - mark.at)))
    return out


def _missing_exercises(f: Facts, done: dict[str, int]) -> None:
    at = (f.origin or 0)
    for exercise in f.m.exercise_ids:
        seconds = f.m.exercise_seconds[exercise]
        at += seconds * 1000
        if exercise not in done and (at < f.cut_at if f.cut_at is not None else f.over or f.exercises_ended):
            f.found("exercise-missing", f"{f.m.titles[exercise]} was not done", at=at - seconds * 1000)


def _short_exercises(f: Facts, done: dict[str, int]) -> None:
    """The exercise under way when the run was cut off, or when the record stops, is not short; nor is donning anew."""
    ended = f.exercises_ended or f.seal_broken or f.closed_i is not None
    last = next(reversed(done), None) if f.cut_at is not None or not ended else None
    for exercise, ms in done.items():
        short = f.m.exercise_seconds[exercise] * 1000 - ms
        if short > f.m.short_note_ms and exercise != last and exercise not in f.m.redonnings:
            f.found("exercise-short", f"{f.m.titles[exercise]} lasted {ms // 1000} s of "
                                      f"{f.m.exercise_seconds[exercise]} s",
                    at=_start_of(f, exercise), severity="void" if short > f.m.short_void_ms else "minor")
        elif -short > f.m.pause_note_ms:
            f.found("exercise-long", f"{f.m.titles[exercise]} lasted {ms // 1000} s", at=_start_of(f, exercise))


def _start_of(f: Facts, exercise: str) -> int | None:
    return next((m.at for m in f.run_exercises if m.data.exercise == exercise), None)


def mist_seen(f: TasteFacts) -> None:
    if f.use is None:
        return
    marks = [m for m in f.all(MistChecked) if f.use_i is not None and m.i > f.use_i]
    for mark in marks:
        if not mark.data.seen:
            f.found("clogged", "No mist was seen from the nebuliser", at=mark.at)
    if not marks and f.over and f.cut_at is None:
        f.found("mist-unasked", "Nobody looked whether the nebuliser still gave mist", at=f.end_at)


def facepiece_left_alone(f: Facts) -> None:
    if f.use_i is None:
        return
    over = f.exercises_ended if f.p.quantitative else f.seal_broken
    allowed = f.p.redonnings.value if isinstance(f.p, PressureProtocol) else 0
    for kind, code, text in ((FacepieceTouched, "touched", "The facepiece was touched"),
                             (Donned, "donned-in-run", "The facepiece was donned anew")):
        late = [m for m in f.all(kind) if m.i > f.use_i and not (over and m.i > over.i)]
        for mark in late[allowed if kind is Donned else 0:]:
            f.found(code, text, at=mark.at)


_STOPS = {"unwell": "the wearer felt unwell", "breathless": "the wearer was short of breath",
          "wearer-asked": "the wearer asked", "tester": "the tester stopped it", "interrupted": "it was interrupted",
          "kit": "the kit failed"}


def not_stopped(f: Facts) -> None:
    if f.stopped is None:
        return
    if f.stopped_late:
        f.found("stopped-after", f"Stopped after the end: {_STOPS[f.stopped.data.reason]}", at=f.stopped.at)
    else:
        f.found("stopped", f"Stopped: {_STOPS[f.stopped.data.reason]}", at=f.stopped.at)


def seal_broken(f: Facts) -> None:
    if f.use is None or f.cut_at is not None or f.unsuited:
        return
    if f.seal_broken is None:
        if f.closed_i is not None:
            f.found("seal-break-missing", "The seal was not broken at the end", at=f.end_at)
    elif not all(m.data.tasted for m in f.all(SealBroken) if m.i >= f.seal_broken.i):
        f.found("seal-break-not-tasted", _NOTHING[f.p.method], at=f.seal_broken.at)


_NOTHING = {"taste": "Nothing was tasted when the seal was broken",
            "vapour": "Nothing was smelled when the seal was broken",
            "smoke": "The same tube did not irritate without a facepiece"}


def signed(f: Facts) -> None:
    if f.closed_i is None:
        return
    roles = {m.data.role for m in f.all(Signed)}
    for role, code in (("tester", "tester-unsigned"), ("wearer", "wearer-unsigned")):
        if role not in roles:
            f.found(code, f"Closed without the {role}'s signature", at=f.events[f.closed_i].at)


CHECKS = (exercises_done, facepiece_left_alone, not_stopped, signed)
TASTE_CHECKS = (run_marked, doses_given, mist_seen, seal_broken)
