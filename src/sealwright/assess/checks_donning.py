"""Departures of donning: how it was put on, the user seal check, comfort wear."""

from __future__ import annotations

from sealwright.assess.events import ComfortJudged, Donned, SealChecked
from sealwright.assess.facts import Facts, span


def donned_well(f: Facts) -> None:
    last = f.last(Donned, f.use_i)
    if last is None:
        if f.use:
            f.found("donning-missing", f"No donning on record before the {f.m.begins}", at=f.use_at)
        return
    if not last.data.checks:
        f.found("donning-unchecked", "Donned without going through the points", at=last.at)
    if faults := [item for item, good in last.data.checks.items() if not good]:
        f.found("donning-fault", f"Found wanting at donning: {', '.join(faults)}", at=last.at)
    if f.use_at is not None and (worn := f.use_at - last.at) < f.m.wear_ms:
        f.found("wear-short", f"Worn for {span(worn)} before the {f.m.begins}; {span(f.m.wear_ms)} is asked for",
                at=f.use_at)


def seal_checked(f: Facts) -> None:
    if not f.use:
        return
    last, donned = f.last(SealChecked, f.use_i), f.last(Donned, f.use_i)
    if last is None or (donned and last.i < donned.i):
        f.found("seal-check-missing", "No user seal check since the last donning", at=f.use_at)
    elif not last.data.passed:
        f.found("seal-check-failed", "The last user seal check failed", at=last.at)


def comfortable(f: Facts) -> None:
    if not f.use:
        return
    last = f.last(ComfortJudged, f.use_i)
    if last is None:
        f.found("comfort-unasked", "Nobody asked whether the facepiece is comfortable", at=f.use_at)
    elif not last.data.comfortable:
        f.found("uncomfortable", "The facepiece was not comfortable", at=last.at)


CHECKS = (donned_well, seal_checked, comfortable)
