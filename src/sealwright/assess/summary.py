"""A verdict as lines of plain text, for the command line and for notes."""

from __future__ import annotations

from sealwright.assess.facts import clock
from sealwright.assess.verdict import Finding, Verdict

_RESULT = {"pass": "PASS", "fail": "FAIL", "void": "VOID", "unsuited": "UNSUITED", "unfinished": "UNFINISHED"}


def summary(verdict: Verdict) -> str:
    """Result and reason, what was done, each finding with its source, what to do now."""
    v = verdict
    lines = [f"{_RESULT[v.result]}: {v.reason}", f"  wearer {v.wearer or '?'}, protocol {v.protocol or '?'}, "
                                                 f"version {v.protocol_version or '?'}"]
    if v.screening_squeezes is not None:
        tasted = "tasted" if v.screening_tasted else "not tasted"
        lines.append(f"  screening: {tasted} in {v.screening_squeezes} squeezes"
                     + (f", level {v.level}" if v.level is not None else ""))
    if v.exercises:
        done = ", ".join(f"{name} {seconds} s" for name, _, seconds in v.exercises)
        lines.append(f"  run: {v.squeezes} squeezes; {done}")
    lines.extend(_finding(f) for f in v.findings)
    lines.extend(f"  next: {step.text}" for step in v.next)
    return "\n".join(lines)


def _finding(f: Finding) -> str:
    when = f" at {clock(f.at_s)}" if f.at_s is not None else ""
    return f"  {f.severity}{when}: {f.text} [{f.code}; {f.source}]"
