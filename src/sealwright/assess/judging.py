"""Events -> verdict. Pure: the same events give the same verdict, whatever the hour."""

from __future__ import annotations

from collections.abc import Sequence

from sealwright.assess import checks_before, checks_record, checks_run, checks_screening
from sealwright.assess.codes import DEPARTURES
from sealwright.assess.events import Dosed, Event, Opened, RunStarted
from sealwright.assess.facts import Facts, clock
from sealwright.assess.method import Method, method_of
from sealwright.assess.next_steps import next_steps, unjudged_step
from sealwright.assess.verdict import Finding, Result, Verdict
from sealwright.errors import NotFound
from sealwright.protocols import Protocol, get
from sealwright.protocols.types import OURS

CHECKS = (*checks_record.CHECKS, *checks_before.CHECKS, *checks_screening.CHECKS, *checks_run.CHECKS)


def judge(events: Sequence[Event], protocol: Protocol | None = None) -> Verdict:
    """The verdict on one test. `events` in recorded order; `protocol`: None takes the published one the record names.

    Never raises for what events may say: an unreadable story is a void or unfinished verdict with findings.
    """
    opened = next((e.data for e in events if type(e.data) is Opened), None)
    if opened is None:
        return _unopened(events)
    if protocol is None:
        try:
            protocol = get(opened.protocol)
        except NotFound as error:
            return _unjudged(opened, "protocol-unknown", str(error))
    method = method_of(protocol)
    facts = Facts(events, opened, method)
    for check in CHECKS:
        check(facts)
    return _verdict(facts, method)


def _verdict(f: Facts, m: Method) -> Verdict:
    findings = tuple(sorted(f.findings, key=_by_time)) if len(f.findings) > 1 else tuple(f.findings)
    result = _result(f, findings)
    origin = f.origin if f.origin is not None else 0
    return Verdict(
        result=result, reason=_reason(result, f, m, findings), protocol=f.p.id, protocol_version=f.p.version,
        wearer=f.opened.wearer, findings=findings, next=next_steps(result, f, findings),
        screening_squeezes=f.squeezes if f.squeezed else None,
        screening_tasted=None if not f.squeezed and not f.threshold else f.threshold is not None and not f.unsuited,
        screening_s=None if not f.threshold or f.screening_at is None else _rounded(f.threshold.at - f.screening_at),
        level=_level(f), squeezes=sum(d.data.squeezes for d in f.all(Dosed)),
        started_at=f.origin, tasted_at=f.taste.at if f.taste else None,
        tasted_s=f.second(f.taste.at) if f.taste else None, ended_at=f.end_at,
        exercises=tuple((e, _rounded(at - origin), _rounded(ms)) for e, at, ms in checks_run.segments(f)))


def _level(f: Facts) -> int | None:
    """The level the run was led by, else the one the screening gave."""
    if started := f.all(RunStarted):
        return int(started[-1].data.level)
    dose = f.p.dose_for(f.squeezes) if f.threshold and f.squeezed else None
    return dose.level if dose else None


def _rounded(ms: int) -> int:
    return (ms + 500) // 1000


def _by_time(finding: Finding) -> int:
    return finding.at if finding.at is not None else -1


def _result(f: Facts, findings: tuple[Finding, ...]) -> Result:
    """A taste in the run fails, whatever else; then unsuited, unless the screening is in doubt; then void, pass."""
    if f.taste:
        return "fail"
    void = [x for x in findings if x.severity == "void"]
    if f.unsuited and not any(DEPARTURES[x.code].doubts_screening for x in findings):
        return "unsuited"
    if not f.over:
        return "unfinished"
    return "void" if void or f.unsuited else "pass"


def _reason(result: Result, f: Facts, m: Method, findings: tuple[Finding, ...]) -> str:
    if result == "fail" and f.taste:
        return f"Tasted at {clock(f.second(f.taste.at))}{_during(f, m, f.taste.at)}"
    if result == "unsuited":
        return f"Not tasted in {f.squeezes} squeezes of screening: {f.p.agent_name} does not suit this wearer"
    if result == "unfinished":
        return "The test has no end on record yet"
    if result == "pass":
        return (f"Not tasted through {len(m.exercise_ids)} exercises; "
                "tasted when the seal was broken, so the mist was there")
    reasons = [x.text for x in findings if x.severity == "void"] or ["The screening is in doubt"]
    more = f" (and {len(reasons) - 1} more)" if len(reasons) > 1 else ""
    return f"No pass can be claimed: {reasons[0]}{more}"


def _during(f: Facts, m: Method, at: int) -> str:
    for exercise, start, ms in reversed(checks_run.segments(f)):
        if start <= at <= start + ms:
            return f", during {m.titles.get(exercise, exercise).lower()}"
    return ""


def _unopened(events: Sequence[Event]) -> Verdict:
    if not events:
        return Verdict(result="unfinished", reason="Nothing is on record", protocol="", protocol_version="", wearer="",
                       findings=(), next=())
    finding = Finding(code="not-opened", severity="void", text="The record has no opening", source=OURS,
                      at=events[0].at)
    return Verdict(result="void", reason="The record does not say who was tested, with what, by which protocol",
                   protocol="", protocol_version="", wearer="", findings=(finding,),
                   next=(unjudged_step("not-opened"),))


def _unjudged(opened: Opened, code: str, text: str) -> Verdict:
    finding = Finding(code=code, severity="void", text=text, source=OURS)
    return Verdict(result="void", reason=text, protocol=opened.protocol, protocol_version=opened.protocol_version,
                   wearer=opened.wearer, findings=(finding,), next=(unjudged_step(code),))
