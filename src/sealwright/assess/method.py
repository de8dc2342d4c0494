"""A protocol made ready for judging: its times in ms, its scores, and the source each departure cites."""

from __future__ import annotations

from sealwright.assess.codes import DEPARTURES
from sealwright.protocols import Protocol, Score, compile_score
from sealwright.protocols.types import COMMON_PRACTICE, OURS

_MS = {"ms": 1, "s": 1000, "min": 60_000}
_KEPT: dict[int, Method] = {}
_MOST_KEPT = 64


class Method:
    """Read-only once made. Attributes ending in `_ms` are milliseconds."""

    __slots__ = (
        "abstention_ms", "away_note_ms", "clock_offset_ms", "clock_step_ms", "dose_early_note_ms", "dose_early_void_ms",
        "dose_late_note_ms", "dose_late_void_ms", "doses", "exercise_ids", "exercise_seconds", "life_ms",
        "pause_note_ms", "protocol", "scores", "screening_squeezes", "short_note_ms", "short_void_ms", "sources",
        "take_back_ms", "titles", "washout_ms", "wear_ms")

    def __init__(self, protocol: Protocol) -> None:
        self.protocol = protocol
        self.scores: dict[int, Score] = {d.level: compile_score(protocol, d.level) for d in protocol.doses}
        self.doses = {level: score.of("dose") for level, score in self.scores.items()}
        self.screening_squeezes = protocol.screening.round_squeezes * protocol.screening.rounds
        self.exercise_ids = tuple(e.id for e in protocol.exercises)
        self.exercise_seconds = {e.id: e.seconds for e in protocol.exercises}
        self.titles = {e.id: e.title for e in protocol.exercises}
        self.sources = {code: _source(protocol, d.source) for code, d in DEPARTURES.items()}
        self._times(protocol)

    def _times(self, p: Protocol) -> None:
        t = p.tolerances
        self.abstention_ms, self.washout_ms = _ms(p.abstention), _ms(p.washout)
        self.wear_ms, self.life_ms = _ms(p.wear), _ms(p.nebuliser_life)
        self.dose_early_note_ms, self.dose_early_void_ms = _ms(t.dose_early_note), _ms(t.dose_early_void)
        self.dose_late_note_ms, self.dose_late_void_ms = _ms(t.dose_late_note), _ms(t.dose_late_void)
        self.short_note_ms, self.short_void_ms = _ms(t.exercise_short_note), _ms(t.exercise_short_void)
        self.pause_note_ms, self.away_note_ms = _ms(t.pause_note), _ms(t.away_note)
        self.take_back_ms = _ms(t.take_back)
        self.clock_step_ms, self.clock_offset_ms = _ms(t.clock_step_note), _ms(t.clock_offset_note)


def method_of(protocol: Protocol) -> Method:
    """The method of a protocol, kept for the next test; a pure function of its argument."""
    kept = _KEPT.get(id(protocol))
    if kept is not None and kept.protocol is protocol:
        return kept
    if len(_KEPT) >= _MOST_KEPT:
        _KEPT.clear()
    made = _KEPT[id(protocol)] = Method(protocol)
    return made


def _ms(sourced: object) -> int:
    return sourced.value * _MS[sourced.unit]  # type: ignore[attr-defined,no-any-return]


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
