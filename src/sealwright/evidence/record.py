"""What a certificate says: the record of one test put into words, ready for the press."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, tzinfo
from typing import Any, TypeVar

import msgspec

from sealwright.assess.events import (
    Data,
    Event,
    NebuliserLoaded,
    Opened,
    QuestionsAnswered,
    Signed,
    SolutionMade,
    Tester,
)
from sealwright.assess.verdict import Result, Verdict
from sealwright.errors import BadInput
from sealwright.evidence.numbers import Numbers, level_of, numbers
from sealwright.pictures import performed_from
from sealwright.pictures.performed import Performed
from sealwright.protocols import Protocol, Score, TasteProtocol, compile_score

D = TypeVar("D", bound=Data)
KINDS = {"filtering": "filtering facepiece", "half": "half mask", "full": "full face mask"}
RESULTS: dict[str, str] = {"pass": "Passed", "fail": "Failed", "void": "Void", "unsuited": "Unsuited to this agent",
                           "unfinished": "Unfinished"}
NO_LEDGER = "not on a ledger"


class Movement(msgspec.Struct, frozen=True, kw_only=True):
    """An exercise of the protocol and the whole seconds of it that were done (0: not done)."""

    exercise: str
    title: str
    due: int
    done: int


class Solution(msgspec.Struct, frozen=True, kw_only=True):
    """A solution in words: lot, and its dates (use by and loaded, or made)."""

    which: str
    lot: str
    dates: str


class Remark(msgspec.Struct, frozen=True, kw_only=True):
    """A finding: severity, when ("2:14" from the first exercise, or empty), text and source."""

    severity: str
    when: str
    text: str
    source: str


class Signature(msgspec.Struct, frozen=True, kw_only=True):
    """`path`: SVG path data; empty when there is no drawing that agrees with the record, and `why` then says why."""

    role: str
    name: str
    when: str
    path: str = ""
    why: str = ""


class CertificateData(msgspec.Struct, frozen=True, kw_only=True):
    """One test as a page shows it. Instants in ms since 1970 end in `_at`; all other times are words, in `zone`."""

    test_id: str
    result: Result
    reason: str
    next: tuple[str, ...]
    org: str
    zone: str
    tested_at: int
    date: str
    time: str
    wearer: str
    wearer_id: str
    make: str
    model: str
    material: str
    size: str
    kind: str
    own: bool
    facepiece_lot: str
    worn: tuple[str, ...]
    used: tuple[str, ...]
    protocol: str
    protocol_title: str
    method: str
    agent: str
    cautions: tuple[str, ...]
    required_factor: int
    required_source: str
    conduct: tuple[tuple[str, str], ...]
    numbers: Numbers | None
    movements: tuple[Movement, ...]
    solutions: tuple[Solution, ...]
    tester: str
    tester_id: str
    competence: str
    remarks: tuple[Remark, ...]
    signatures: tuple[Signature, ...]
    ledger_n: int | None
    ledger_hash: str
    score: Score | None
    performed: Performed | None

    @property
    def passed(self) -> bool:
        return self.result == "pass"

    @property
    def quantitative(self) -> bool:
        return self.numbers is not None

    @property
    def code(self) -> str:
        """What the QR holds: test, result and the hash of the record's last event in the ledger ("-": none)."""
        return f"SEALWRIGHT/1 {self.test_id} {self.result} {self.ledger_hash or '-'}"


def certificate_data(events: Sequence[Event], verdict: Verdict, protocol: Protocol, *, names: Mapping[str, str],
                     org_name: str, marks: Mapping[str, str] | None = None, ledger_n: int | None = None,
                     ledger_hash: str = "", test_id: str = "", zone: tzinfo = UTC) -> CertificateData:
    """The record of one test in words.

    `names`: account or wearer id -> name, as far as they are still on record. `marks`: id of a signature drawing -> SVG
    path data; a drawing whose SHA-256 differs from the signed event is left out and the page says so. `ledger_n`,
    `ledger_hash`: position and hash of the test's last event. Raises BadInput for a record without an opening.
    """
    opened = _last(events, Opened)
    if opened is None:
        raise BadInput("the record has no opening", place="events", mend="Begin it with an `opened` event")
    say = _Words(zone)
    face, at = opened.facepiece, verdict.started_at or events[0].at
    asked = _last(events, QuestionsAnswered)
    level, level_source, rule = level_of(protocol, opened)
    return CertificateData(
        test_id=test_id, result=verdict.result, reason=verdict.reason, next=tuple(n.text for n in verdict.next),
        org=org_name, zone=say.zone_at(at), tested_at=at, date=say.day(at), time=say.time(at),
        wearer=names.get(opened.wearer, ""), wearer_id=opened.wearer, make=face.make, model=face.model,
        material=face.material, size=face.size, kind=KINDS[face.kind], own=face.own, facepiece_lot=face.lot,
        worn=asked.equipment_worn if asked else (), used=asked.equipment_used if asked else (),
        protocol=f"{opened.protocol} version {opened.protocol_version}", protocol_title=protocol.title,
        method=protocol.method, agent=protocol.agent_name, cautions=tuple(c.rule for c in protocol.cautions),
        required_factor=level, required_source=level_source, conduct=_conduct(protocol, verdict),
        numbers=numbers(events, verdict.measured, rule, say.day, at) if protocol.quantitative else None,
        movements=_movements(protocol, verdict), solutions=_solutions(events, say),
        tester=names.get(opened.tester.id, ""), tester_id=opened.tester.id,
        competence=_competence(opened.tester, at, say), remarks=_remarks(verdict),
        signatures=_signatures(events, opened, names, marks or {}, say), ledger_n=ledger_n, ledger_hash=ledger_hash,
        score=_score(protocol, verdict), performed=performed_from(events, verdict))


class _Words:
    """Instants in words, in one zone; months are written out so that no reader mixes up day and month."""

    def __init__(self, zone: tzinfo) -> None:
        self.zone = zone

    def _at(self, ms: int) -> datetime:
        return datetime.fromtimestamp(ms / 1000, self.zone)

    def day(self, ms: int) -> str:
        at = self._at(ms)
        return f"{at.day} {_MONTHS[at.month - 1]} {at.year}"

    def time(self, ms: int) -> str:
        return f"{self._at(ms):%H:%M}"

    def zone_at(self, ms: int) -> str:
        at = self._at(ms)
        return "UTC" if not at.utcoffset() else f"UTC{at:%z}"


_MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
           "November", "December")


def _last(events: Sequence[Event], kind: type[D]) -> D | None:
    return next((e.data for e in reversed(events) if isinstance(e.data, kind)), None)


def _score(protocol: Protocol, verdict: Verdict) -> Score | None:
    if verdict.started_at is None:
        return None
    if not isinstance(protocol, TasteProtocol):
        return compile_score(protocol)
    level = verdict.level
    return compile_score(protocol, level) if level in {d.level for d in protocol.doses} and level else None


def _conduct(protocol: Protocol, v: Verdict) -> tuple[tuple[str, str], ...]:
    """What the method adds before and beside the exercises, as label and words."""
    if isinstance(protocol, TasteProtocol):
        return ("Sensitivity", _screening(v)), ("Doses", _dosing(v))
    if protocol.quantitative:
        return ()
    said = {None: "not on record", True: "noticed without a facepiece", False: "not noticed without a facepiece"}
    return (("Screening", said[v.screening_tasted]),)


def _screening(v: Verdict) -> str:
    if v.screening_squeezes is None:
        return "not on record"
    tasted = "tasted within" if v.screening_tasted else "not tasted in"
    after = f" and {v.screening_s} s" if v.screening_tasted and v.screening_s is not None else ""
    return f"{tasted} {v.screening_squeezes} squeezes{after}" + (f": level {v.level}" if v.level else "")


def _dosing(v: Verdict) -> str:
    return f"{v.squeezes} squeezes of the test solution" if v.squeezes else "none given"


def _movements(protocol: Protocol, verdict: Verdict) -> tuple[Movement, ...]:
    done: dict[str, int] = {}
    for name, _, seconds in verdict.exercises:
        done[name] = done.get(name, 0) + seconds
    return tuple(Movement(exercise=e.id, title=e.title, due=e.seconds, done=done.get(e.id, 0))
                 for e in protocol.exercises)


def _solutions(events: Sequence[Event], say: _Words) -> tuple[Solution, ...]:
    """The last filling of either nebuliser, or the solutions made; a day only where it is another than the test's."""
    today = say.day(next((e.at for e in events), 0))

    def moment(at: int) -> str:
        return say.time(at) if say.day(at) == today else f"{say.day(at)}, {say.time(at)}"
    last: dict[str, Any] = {e.data.which: e.data for e in events if isinstance(e.data, NebuliserLoaded | SolutionMade)}
    return tuple(Solution(which=which, lot=x.lot or "not named",
                          dates=f"made {moment(x.made_at)}" if isinstance(x, SolutionMade)
                          else f"use by {say.day(x.expires_at)}; loaded {moment(x.loaded_at)}")
                 for which in ("screening", "test", "stock", "odour") if (x := last.get(which)))


def _competence(tester: Tester, at: int, say: _Words) -> str:
    until = tester.competent_until_at
    if until is None:
        return "not on record"
    return f"{'in date until' if until >= at else 'out of date since'} {say.day(until)}"


def _remarks(verdict: Verdict) -> tuple[Remark, ...]:
    """Worst first; within a severity in the order of time."""
    order = ("void", "major", "minor", "note")
    found = sorted(verdict.findings, key=lambda f: order.index(f.severity))
    return tuple(Remark(severity=f.severity, when="" if f.at_s is None else _second(f.at_s), text=f.text,
                        source=f.source) for f in found)


def _second(s: int) -> str:
    return f"{'−' if s < 0 else ''}{abs(s) // 60}:{abs(s) % 60:02d}"


def _signatures(events: Sequence[Event], opened: Opened, names: Mapping[str, str], marks: Mapping[str, str],
                say: _Words) -> tuple[Signature, ...]:
    signed: dict[str, Event] = {e.data.role: e for e in events if isinstance(e.data, Signed)}
    who = {"wearer": opened.wearer, "tester": opened.tester.id}
    return tuple(_signature(role, names.get(id) or id, signed.get(role), marks, say) for role, id in who.items())


def _signature(role: str, name: str, event: Any, marks: Mapping[str, str], say: _Words) -> Signature:
    if event is None:
        return Signature(role=role, name=name, when="", why="not signed")
    path, when = marks.get(event.data.mark, ""), f"{say.day(event.at)}, {say.time(event.at)}"
    if not path:
        return Signature(role=role, name=name, when=when, why="signed; the drawing is not at hand")
    if hashlib.sha256(path.encode()).hexdigest() != event.data.sha256:
        return Signature(role=role, name=name, when=when, why="the drawing differs from the one signed")
    if drawn_box(path) is None:
        return Signature(role=role, name=name, when=when, why="signed; the drawing cannot be shown")
    return Signature(role=role, name=name, when=when, path=path)


_STROKES = re.compile(r"[MLQCZ\d\s.,+eE-]*")
_TOKENS = re.compile(r"[MLQCZ]|[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")


def drawn_box(path: str) -> tuple[float, float, float, float] | None:
    """(x, y, width, height) around a drawing, with a margin; None unless it is made of absolute moves, lines and
    curves alone (which lie within their points)."""
    if not _STROKES.fullmatch(path):
        return None
    numbers = [float(t) for t in _TOKENS.findall(path) if t not in "MLQCZ"]
    xs, ys = numbers[0::2], numbers[1::2]
    if len(xs) < 2 or len(xs) != len(ys) or max(map(abs, numbers)) > 1e6:
        return None
    wide, high = max(xs) - min(xs), max(ys) - min(ys)
    margin = 0.05 * max(wide, high, 10.0)
    return min(xs) - margin, min(ys) - margin, wide + 2 * margin, high + 2 * margin
