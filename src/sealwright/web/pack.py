"""What a room takes with it so that it can go on alone: the protocols compiled, and the words each method needs."""

from __future__ import annotations

from functools import cache
from typing import Any

import msgspec

from sealwright.pictures.figures import dress_of, figure_svg
from sealwright.pictures.score import strip_svg
from sealwright.protocols import (
    CountingProtocol,
    MeasuredProtocol,
    PressureProtocol,
    Protocol,
    QualitativeProtocol,
    Score,
    TasteProtocol,
    VapourProtocol,
    compile_conduct,
    compile_score,
    published,
    rule_sets,
)
from sealwright.protocols.types import MethodName, Sourced

PX_PER_S = 12
ROOM_FIGURES = ("normal", "deep", "side", "nod", "talk", "bend", "grimace", "jog", "shake", "redon", "hold-breath",
                "taste", "hood", "hood-mask", "hold", "break-seal")
_MINUTES = {"s": 1 / 60, "min": 1, "h": 60, "day": 1440}


class Notice(msgspec.Struct, frozen=True, kw_only=True):
    """The wearer notices the agent: the kind of event, and what is said of it."""

    kind: str
    done: str
    asked: str
    before_break: str
    ended: str


METHOD_WORDS: dict[MethodName, str] = {
    "taste": "Taste", "vapour": "Vapour, by smell", "smoke": "Irritant smoke", "aerosol": "Generated aerosol",
    "counting": "Particle counting", "pressure": "Controlled negative pressure",
}
NOTICES: dict[MethodName, Notice] = {
    "taste": Notice(kind="tasted", done="Tasted", asked="Who tasted it?", ended="Tasted: not passed",
                    before_break="Tasted before the seal was broken"),
    "vapour": Notice(kind="noticed", done="Smelled", asked="Who smelled it?", ended="Smelled: not passed",
                     before_break="Smelled before the seal was broken"),
    "smoke": Notice(kind="noticed", done="Reacted", asked="Who reacted?", ended="Reacted: not passed",
                    before_break="Reacted before the facepiece came off"),
}
"""A method that measures has none: nothing the wearer notices ends it."""
RELIEF: dict[MethodName, tuple[str, str, str]] = {
    "taste": ("Hood off", "Hood off, facepiece off, fresh air, water", "Hood is off"),
    "vapour": ("Out of the chamber", "Out of the chamber, facepiece off, fresh air", "Wearer is out"),
    "smoke": ("Smoke away", "Away from the smoke, facepiece off, fresh air, water for the eyes", "Wearer is clear"),
    "aerosol": ("Facepiece off", "Out of the chamber, facepiece off, fresh air", "Facepiece is off"),
    "counting": ("Facepiece off", "Line off, facepiece off, fresh air, water", "Facepiece is off"),
    "pressure": ("Facepiece off", "Breathe in, facepiece open and off, fresh air", "Facepiece is off"),
}
"""method -> title, what to do at once, and the answer, when a test ends before its time"""


@cache
def protocols() -> dict[str, Any]:
    """All protocols by id, as the room reads them."""
    return {p.id: protocol_pack(p) for p in published().values()}


@cache
def figures() -> dict[str, dict[str, str]]:
    """Figures by dress (the first method whose wearer is dressed so), then by kind."""
    return {dressed: {kind: figure_svg(kind, **dress_of(dressed)._asdict()) for kind in ROOM_FIGURES}
            for dressed in dict.fromkeys(map(dress, METHOD_WORDS))}


def dress(method: MethodName) -> MethodName:
    """The first method whose wearer has the same on."""
    return next(m for m in METHOD_WORDS if dress_of(m) == dress_of(method))


def rules() -> dict[str, Any]:
    """Whose pass level may be taken instead of the protocol's: levels, and kinds of facepiece by method."""
    return {r.id: {"title": r.title, "levels": {level.kind: level.value for level in r.levels},
                   "methods": {m.method: m.kinds for m in r.methods if m.accepted}} for r in rule_sets().values()}


def protocol_pack(p: Protocol) -> dict[str, Any]:
    """One protocol with its conduct for each kind of facepiece it suits, and its scores (by level; "0" without)."""
    scores = _scores(p)
    return {
        "id": p.id, "version": p.version, "title": p.title, "method": p.method, "method_word": METHOD_WORDS[p.method],
        "agent": getattr(p, "agent", p.method), "agent_name": p.agent_name,
        "dress": dress(p.method), "rule_set": p.rule_set,
        "summary": p.summary, "kinds": p.suits.kinds, "quantitative": p.quantitative,
        "cautions": p.cautions, "notice": NOTICES.get(p.method), "relief": RELIEF[p.method],
        "take_back_s": p.tolerances.take_back.value, "away_s": p.tolerances.away_note.value,
        "after_fail": p.rules["other-facepiece-after-fail"].rule,
        "conduct": {kind: compile_conduct(p, kind) for kind in p.suits.kinds},
        "scores": {str(level): score for level, score in scores.items()},
        "strips": {str(level): strip_svg(score, px_per_s=PX_PER_S) for level, score in scores.items()},
        "px_per_s": PX_PER_S, **_own(p),
    }


def _scores(p: Protocol) -> dict[int, Score]:
    if isinstance(p, TasteProtocol):
        return {d.level: compile_score(p, d.level) for d in p.doses}
    return {0: compile_score(p)}


def _own(p: Protocol) -> dict[str, Any]:
    """What only this method has."""
    found: dict[str, Any] = {}
    if isinstance(p, QualitativeProtocol):
        found |= {"not_full": p.rules["not-full-face"].rule, "unsuited": p.rules["not-tasted-unsuited"].rule}
    if isinstance(p, TasteProtocol):
        found |= {
            "abstention_min": p.abstention.value, "washout_min": p.washout.value, "life_min": p.nebuliser_life.value,
            "round": p.screening.round_squeezes, "rounds": p.screening.rounds, "doses": p.doses,
            "pace_ms": p.squeeze_pace.value}
    if isinstance(p, VapourProtocol):
        found["lives_min"] = {"stock": minutes(p.stock_life), "odour": minutes(p.odour_life)}
    if isinstance(p, MeasuredProtocol):
        found |= {"levels": {level.kind: level.value for level in p.pass_levels}, "pass_rule": p.pass_rule.value,
                  "exercises": [{"id": e.id, "title": e.title, "how": e.how, "counts": e.counts,
                                 "sampled": any(s.exercise == e.id for s in p.samples)} for e in p.exercises]}
    if isinstance(p, CountingProtocol):
        found |= {"smoke_free_min": minutes(p.smoke_free), "peaks": {x.kind: x.per_mille for x in p.peaks}}
    if isinstance(p, PressureProtocol):
        found |= {"pressure": p.pressure.value, "inspiratory": p.inspiratory_flow.value}
    return found


def minutes(time: Sourced) -> int:
    """A time of a protocol in whole minutes, rounded up."""
    return -int(-time.value * _MINUTES[time.unit] // 1)
