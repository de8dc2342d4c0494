"""A protocol made ready for judging: its times in ms, its scores, and the source each departure cites."""

from __future__ import annotations

from sealwright.assess.codes import DEPARTURES
from sealwright.protocols import Protocol, Score, TasteProtocol, compile_score, kit
from sealwright.protocols.types import COMMON_PRACTICE, OURS, Sourced

_MS = {"ms": 1, "s": 1000, "min": 60_000, "h": 3_600_000, "day": 86_400_000}
_KEPT: dict[int, Method] = {}
_MOST_KEPT = 64


class _Sources(dict[str, str]):
    """Code of a departure -> what it cites, worked out when first asked for: no protocol has what all of them cite."""

    def __init__(self, protocol: Protocol) -> None:
        self.protocol = protocol

    def __missing__(self, code: str) -> str:
        found = self[code] = _source(self.protocol, DEPARTURES[code].source)
        return found


class Method:
    """Read-only once made. Attributes ending in `_ms` are milliseconds."""

    def __init__(self, protocol: Protocol) -> None:
        self.protocol = protocol
        self.exercise_ids = tuple(e.id for e in protocol.exercises)
        self.exercise_seconds = {e.id: e.seconds for e in protocol.exercises}
        self.redonnings = frozenset(e.id for e in protocol.exercises if e.kind == "redon")
        self.titles = {e.id: e.title for e in protocol.exercises}
        self.sources = _Sources(protocol)
        self.begins = _BEGINS[protocol.method]
        self.kit = {item.id: item.name or item.text for item in kit(protocol)}
        t = protocol.tolerances
        self.wear_ms = ms_of(protocol.wear)
        self.short_note_ms, self.short_void_ms = ms_of(t.exercise_short_note), ms_of(t.exercise_short_void)
        self.pause_note_ms, self.away_note_ms = ms_of(t.pause_note), ms_of(t.away_note)
        self.take_back_ms = ms_of(t.take_back)
        self.clock_step_ms, self.clock_offset_ms = ms_of(t.clock_step_note), ms_of(t.clock_offset_note)


class ScoredMethod(Method):
    """A method without levels: one score."""

    def __init__(self, protocol: Protocol) -> None:
        super().__init__(protocol)
        self.score: Score = compile_score(protocol)


class TasteMethod(Method):
    """A method with doses: a score for each level."""

    protocol: TasteProtocol

    def __init__(self, protocol: TasteProtocol) -> None:
        super().__init__(protocol)
        self.scores: dict[int, Score] = {d.level: compile_score(protocol, d.level) for d in protocol.doses}
        self.doses = {level: score.of("dose") for level, score in self.scores.items()}
        self.screening_squeezes = protocol.screening.round_squeezes * protocol.screening.rounds
        t = protocol.tolerances
        self.abstention_ms, self.washout_ms = ms_of(protocol.abstention), ms_of(protocol.washout)
        self.life_ms = ms_of(protocol.nebuliser_life)
        self.dose_early_note_ms, self.dose_early_void_ms = ms_of(t.dose_early_note), ms_of(t.dose_early_void)
        self.dose_late_note_ms, self.dose_late_void_ms = ms_of(t.dose_late_note), ms_of(t.dose_late_void)


_BEGINS = {"taste": "first dose", "vapour": "entry into the chamber", "smoke": "smoke", "aerosol": "first exercise",
           "counting": "first exercise", "pressure": "first exercise"}


def method_of(protocol: Protocol) -> Method:
    """The method of a protocol, kept for the next test; a pure function of its argument."""
    kept = _KEPT.get(id(protocol))
    if kept is not None and kept.protocol is protocol:
        return kept
    if len(_KEPT) >= _MOST_KEPT:
        _KEPT.clear()
    made = TasteMethod(protocol) if isinstance(protocol, TasteProtocol) else ScoredMethod(protocol)
    _KEPT[id(protocol)] = made
    return made


def ms_of(time: Sourced) -> int:
    """A time of the protocol in ms."""
    return time.value * _MS[time.unit]


def _source(p: Protocol, keys: tuple[str, ...]) -> str:
    """The sources of the keys, each once; a second one is the source of the limit."""
    found = [_cited(p, key) for key in keys]
    if len(found) > 1 and found[1] != found[0]:
        return f"{found[0]}; limit: {found[1]}"
    return found[0]


def _cited(p: Protocol, key: str) -> str:
    if key == "ours":
        return OURS
    if key == "common":
        return COMMON_PRACTICE
    group, _, name = key.partition(".")
    if group == "rules":
        return p.rules[name].source
    if group == "tolerances":
        return str(getattr(p.tolerances, name).source)
    value = getattr(p, group)
    return str((value[0] if isinstance(value, tuple) else value).source)
