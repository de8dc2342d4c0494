"""Departures of the screening of a taste test: threshold, level, washout."""

from __future__ import annotations

from sealwright.assess.events import Donned, RunStarted, Tasted, TasteGone
from sealwright.assess.facts import TasteFacts, span


def screened(f: TasteFacts) -> None:
    if not f.use:
        return
    if f.unsuited:
        f.found("run-after-unsuited", f"Run although not tasted in {f.squeezes} squeezes of screening", at=f.use_at)
    elif f.threshold is None and not f.squeezed:
        f.found("screening-missing", "No sensitivity screening before the test", at=f.use_at)
    elif f.threshold is None:
        f.found("screening-unfinished", f"Run after {f.squeezes} squeezes of screening, not yet tasted", at=f.use_at)


def threshold_sound(f: TasteFacts) -> None:
    if f.threshold and not f.squeezed:
        f.found("taste-without-squeeze", "Tasted before any squeeze of the screening", at=f.threshold.at)
    if len(f.screening_starts) > 1:
        f.found("screening-again", f"Screening was begun {len(f.screening_starts)} times; the last one counts",
                at=f.screening_starts[-1].at)
    if f.squeezes > f.m.screening_squeezes:
        f.found("screening-over", f"{f.squeezes} squeezes of screening; it has {f.m.screening_squeezes}",
                at=f.squeezed[-1].at)
    due = (f.squeezes - 1) // f.p.screening.round_squeezes if f.squeezes else 0
    if f.asked < due:
        f.found("round-not-asked", f"Asked after {f.asked} of {due} rounds of screening", at=f.squeezed[-1].at)


def level_fits(f: TasteFacts) -> None:
    started = f.all(RunStarted)
    if not started:
        return
    used, at = started[-1].data.level, started[-1].at
    if used not in f.m.scores:
        f.found("level-unknown", f"{f.p.id} has no level {used}", at=at)
    if f.threshold is None or f.unsuited or not f.squeezed:
        return
    dose = f.p.dose_for(f.squeezes)
    if dose and used != dose.level:
        f.found("level-low" if used < dose.level else "level-high",
                f"Doses of level {used}; tasted at squeeze {f.squeezes} asks for level {dose.level}", at=at)


def washed_out(f: TasteFacts) -> None:
    before = f.opened.tasted_at
    if before is not None and f.screening_at is not None:
        _gap(f, "previous-washout-short", f.screening_at - before, "the taste of the try before and this screening",
             f.screening_at)
    if f.threshold and f.use_at is not None:
        _gap(f, "washout-short", f.use_at - f.threshold.at, "the taste of the screening and the first dose", f.use_at)


def _gap(f: TasteFacts, code: str, gap: int, between: str, at: int) -> None:
    if gap < f.m.washout_ms:
        f.found(code, f"{span(gap)} between {between}; {span(f.m.washout_ms)} is asked for", at=at,
                severity="void" if gap * 2 < f.m.washout_ms else "major")


def taste_gone(f: TasteFacts) -> None:
    if not f.use or f.threshold is None:
        return
    last = f.last(TasteGone, f.use_i)
    if last is None or last.i < f.threshold.i:
        f.found("taste-gone-unasked", "Nobody asked whether the taste of the screening was gone", at=f.use_at)
    elif not last.data.gone:
        f.found("taste-not-gone", "The taste of the screening was not gone", at=last.at)


def no_taste_between(f: TasteFacts) -> None:
    """A further taste after the threshold and before the first dose."""
    donned = next(iter(f.all(Donned)), None)
    for mark in f.before(Tasted, f.use_i):
        if not f.threshold or mark.i <= f.threshold.i or mark is f.taste:
            continue
        worn = donned is not None and donned.i < mark.i
        f.found("taste-before-dose", "Tasted with the facepiece on before a first dose is on record" if worn else
                "Tasted again after the screening, before donning", at=mark.at, severity="void" if worn else "major")


CHECKS = (screened, threshold_sound, level_fits, washed_out, taste_gone, no_taste_between)
