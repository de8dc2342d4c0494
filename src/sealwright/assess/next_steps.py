"""What to do after a verdict, in plain words."""

from __future__ import annotations

from sealwright.assess.codes import DEPARTURES
from sealwright.assess.facts import Facts, span
from sealwright.assess.verdict import Finding, Next, Result

_OTHER_AGENT = {"bitter": "sweet", "sweet": "bitter"}
_STOPPED = {
    "unwell": Next(step="rest", text="Rest and fresh air; test again only when well"),
    "breathless": Next(step="clearance", text="Short of breath: to a physician before any further test"),
    "kit": Next(step="mend-kit", text="Mend or change the kit"),
}

_NOTHING_FITS = Next(step="other-device", text="If none in stock fits: choose a device that does not seal on the face")
"""Said after every fail of a retry. Common practice, no source."""


def next_steps(result: Result, f: Facts, findings: tuple[Finding, ...]) -> tuple[Next, ...]:
    """The steps in the order in which to take them."""
    if result == "pass":
        return (Next(step="none", text="Passed: for this make, model and size. Check the seal at every donning"),)
    if result == "unfinished":
        return (Next(step="finish", text="Go on with the test, or stop it and close the record"),)
    if result == "unsuited":
        return (Next(step="other-agent", text=f"Screen with the {_OTHER_AGENT[f.p.agent]} aerosol"),
                Next(step="quantitative", text="Or test by a quantitative method"))
    return (_after_taste if result == "fail" else _after_void)(f, findings)


def _after_taste(f: Facts, findings: tuple[Finding, ...]) -> tuple[Next, ...]:
    wait = Next(step="wait", text=f"Hood off, rinse the mouth with water, wait {span(f.m.washout_ms)}")
    other = "Try another facepiece and repeat everything, screening included"
    again: tuple[Next, ...]
    if f.p.rule_set == "us":
        again = (Next(step="other-facepiece", text=other),)
    else:
        again = (Next(step="re-don", text="Don afresh and repeat everything, screening included"),
                 Next(step="other-facepiece", text=f"Or: {other[0].lower()}{other[1:]}"))
    return (wait, *again) if f.opened.try_no == 1 else (wait, *again, _NOTHING_FITS)


def unjudged_step(code: str) -> Next:
    """What to do about a record that cannot be judged for the departure `code`."""
    row = DEPARTURES[code]
    return Next(step=row.step or "repeat", text=row.advice)


def _after_void(f: Facts, findings: tuple[Finding, ...]) -> tuple[Next, ...]:
    steps: dict[str, Next] = {}
    wait = Next(step="wait", text=f"Rinse the mouth with water, wait {span(f.m.washout_ms)}")
    if f.stopped and f.stopped.data.reason in _STOPPED:
        step = _STOPPED[f.stopped.data.reason]
        steps[step.step] = step
    for finding in findings:
        row = DEPARTURES[finding.code]
        if finding.severity == "void" and row.step and row.step != "repeat" and row.step not in steps:
            steps[row.step] = wait if row.step == "wait" else Next(step=row.step, text=row.advice or row.meaning)
    if "quantitative" in steps:
        return tuple(steps.values())
    if f.threshold and "wait" not in steps:
        steps["wait"] = wait
    steps["repeat"] = Next(step="repeat", text="Repeat everything, screening included")
    return tuple(steps.values())
