"""What to do after a verdict, in plain words."""

from __future__ import annotations

from sealwright.assess.codes import DEPARTURES
from sealwright.assess.facts import Facts, TasteFacts, span
from sealwright.assess.method import ms_of
from sealwright.assess.verdict import Next, Result
from sealwright.protocols import SmokeProtocol, TasteProtocol, VapourProtocol

_OTHER_AGENT = {"bitter": "sweet", "sweet": "bitter"}
_STOPPED = {
    "unwell": Next(step="rest", text="Rest and fresh air; test again only when well"),
    "breathless": Next(step="clearance", text="Short of breath: to a physician before any further test"),
    "kit": Next(step="mend-kit", text="Mend or change the kit"),
}

_NOTHING_FITS = Next(step="other-device", text="If none in stock fits: choose a device that does not seal on the face")
"""Said after every fail of a retry. Common practice, no source."""

_RETRIES = Next(step="other-device", text="Every further try makes a lucky pass likelier: let a lead decide first")
"""Trying until a number passes is itself a risk. Ours."""


def next_steps(result: Result, f: Facts) -> tuple[Next, ...]:
    """The steps in the order in which to take them."""
    if result == "pass":
        return (Next(step="none", text="Passed: for this make, model and size. Check the seal at every donning"),)
    if result == "unfinished":
        return (Next(step="finish", text="Go on with the test, or stop it and close the record"),)
    if result == "unsuited":
        return _unsuited(f)
    return _after_fail(f) if result == "fail" else _after_void(f)


def _unsuited(f: Facts) -> tuple[Next, ...]:
    other = f"Screen with the {_OTHER_AGENT[f.p.agent]} aerosol" if isinstance(f.p, TasteProtocol) else (
        "Choose another agent")
    return (Next(step="other-agent", text=other), Next(step="quantitative", text="Or test by a quantitative method"))


def _wait(f: Facts) -> Next | None:
    """What must pass before the next try, if anything."""
    if isinstance(f, TasteFacts):
        return Next(step="wait", text=f"Rinse the mouth with water, wait {span(f.m.washout_ms)}")
    if isinstance(f.p, VapourProtocol):
        return Next(step="wait", text=f"Out of the chamber, wait {span(ms_of(f.p.repeat_wait))} in clean air")
    if isinstance(f.p, SmokeProtocol):
        return Next(step="wait", text="Out of the smoke, into fresh air, until the wearer is quite at ease")
    return None


def _after_fail(f: Facts) -> tuple[Next, ...]:
    again, screening = "repeat everything", "" if f.p.quantitative else ", screening included"
    other = f"Try another facepiece and {again}{screening}"
    steps = [_STOPPED.get(f.stopped.data.reason) if f.stopped else None, _hood_off(f)]
    if f.p.rule_set != "us" or f.p.quantitative:
        steps.append(Next(step="re-don", text=f"Don afresh and {again}{screening}"))
        other = f"Or: {other[0].lower()}{other[1:]}"
    steps.append(Next(step="other-facepiece", text=other))
    if f.opened.try_no > 1:
        steps += [_RETRIES] if f.p.quantitative and f.opened.try_no > 2 else []
        steps.append(_NOTHING_FITS)
    return tuple(s for s in steps if s)


def _hood_off(f: Facts) -> Next | None:
    if isinstance(f, TasteFacts):
        return Next(step="wait", text=f"Hood off, rinse the mouth with water, wait {span(f.m.washout_ms)}")
    return _wait(f)


def unjudged_step(code: str) -> Next:
    """What to do about a record that cannot be judged for the departure `code`."""
    row = DEPARTURES[code]
    return Next(step=row.step or "repeat", text=row.advice)


def _after_void(f: Facts) -> tuple[Next, ...]:
    steps: dict[str, Next] = {}
    wait = _wait(f)
    if f.stopped and f.stopped.data.reason in _STOPPED:
        step = _STOPPED[f.stopped.data.reason]
        steps[step.step] = step
    for finding in sorted(f.findings, key=lambda x: x.at if x.at is not None else -1):
        row = DEPARTURES[finding.code]
        if finding.severity == "void" and row.step and row.step != "repeat" and row.step not in steps:
            steps[row.step] = wait if row.step == "wait" and wait else Next(step=row.step,
                                                                            text=row.advice or row.meaning)
    if "quantitative" in steps:
        return tuple(steps.values())
    if f.threshold and wait and "wait" not in steps:
        steps["wait"] = wait
    again = "Repeat everything" if f.p.quantitative else "Repeat everything, screening included"
    steps["repeat"] = Next(step="repeat", text=again)
    return tuple(steps.values())
