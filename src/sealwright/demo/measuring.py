"""Plays a quantitative test: counting of particles (or of a generated aerosol) and controlled negative pressure.

The air is simulated from the true fit factors; how strong and how even it is, is invented.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Literal

from sealwright.demo.particles import Air
from sealwright.demo.playing import DAY, MINUTE, SECOND, Beat, Stage, ask, check_kit, don, started
from sealwright.protocols import CountingProtocol, MeasuredProtocol, PressureProtocol, Score, compile_score

Way = Literal["samples", "counts", "concentrations", "factors"]
"""How the numbers come in: as samples, or typed after the exercises."""

_AMBIENT = {"counting": 3000.0, "aerosol": 40_000.0}
"""particles per cm3 outside"""
_FLOW_MM3_S = 1667


def play_counting(stage: Stage, protocol: CountingProtocol, worn: dict[str, Any], *,
                  factors: Mapping[str, float] | None = None, way: Way = "samples",
                  ambient: float | None = None, instrument: Mapping[str, Any] | None = None) -> None:
    """`factors`: true fit factor of exercises, by id; the others fit well.

    `ambient`: particles per cm3 outside. `instrument`: fields of `instrument-named` to set (None: left out).
    """
    truth = {**_good(stage, protocol, worn["kind"]), **(factors or {})}
    _prepare(stage, protocol, worn, {"instrument": "Counter 1", "flow_mm3_s": _FLOW_MM3_S, **(instrument or {})})
    score, origin = compile_score(protocol), stage.now + 30 * SECOND
    air = Air(stage.random, ambient or _AMBIENT[protocol.method], truth)
    beats = _exercises(stage, score, origin)
    end = max(b[0] for b in beats)
    if way == "samples":
        stretches = air.stretches(score.of("sample"), _FLOW_MM3_S / 1000)
        beats += [(origin + (at + len(values)) * SECOND + 60, "samples-taken",
                   {"air": side, "started_at": origin + at * SECOND, "step_ms": SECOND, "unit": "count",
                    "values": values, "source": "Counter 1"}) for at, side, values in stretches]
        end = max(b[0] for b in beats)
    else:
        beats += [(end + (n + 2) * 4 * SECOND, "exercise-read", {"exercise": e.id, **air.reading(e, way)})
                  for n, e in enumerate(protocol.exercises)]
        end = max(b[0] for b in beats)
    stage.play([*beats, (end + 9 * SECOND, "readings-complete", {})])


def play_pressure(stage: Stage, protocol: PressureProtocol, worn: dict[str, Any], *,
                  leaks: Mapping[str, float] | None = None, instrument: Mapping[str, Any] | None = None) -> None:
    """`leaks`: ml/min read in exercises, by id; the others fit well. Read to a tenth of a ml/min."""
    flow = protocol.inspiratory_flow.value
    read = {**{e: flow / f for e, f in _good(stage, protocol, worn["kind"]).items()}, **(leaks or {})}
    _prepare(stage, protocol, worn, {"instrument": "Pressure 1", "accuracy_per_mille": 50, **(instrument or {})})
    score, origin = compile_score(protocol), stage.now + 30 * SECOND
    beats = _exercises(stage, score, origin)
    for act in score.of("sample"):
        at = origin + (act.at + act.lasts) * SECOND - 400
        beats.append((at, "leak-read", {"exercise": act.exercise, "leak_ul_min": round(read[act.exercise] * 10) * 100,
                                        "pressure": protocol.pressure.value + stage.random.randint(-2, 2)}))
    donned = next(e["data"] for e in reversed(stage.events) if e["kind"] == "donned")
    for act in score.of("exercise"):
        if act.figure == "redon":
            beats.append((origin + (act.at + 42) * SECOND, "donned", {"checks": dict(donned["checks"])}))
    end = max(b[0] for b in beats)
    stage.play([*beats, (end + 9 * SECOND, "readings-complete", {})])


def _good(stage: Stage, protocol: MeasuredProtocol, kind: str) -> dict[str, float]:
    """True factors well above the level: three to six times."""
    level = protocol.level_for(kind)
    least = level.value if level else 100
    return {e.id: least * math.exp(stage.random.uniform(math.log(3), math.log(6))) for e in protocol.exercises}


def _prepare(stage: Stage, protocol: MeasuredProtocol, worn: dict[str, Any], instrument: dict[str, Any]) -> None:
    check_kit(stage, protocol)
    named = {"due_at": (stage.now // DAY + 200) * DAY, **instrument}
    stage.add("instrument-named", 20, {k: v for k, v in named.items() if v is not None})
    ask(stage, worn["size"])
    don(stage, protocol, worn["kind"], stage.now + 2 * MINUTE)


def _exercises(stage: Stage, score: Score, origin: int) -> list[Beat]:
    beats: list[Beat] = [(origin, "run-started", {})]
    beats += [started(stage, a.exercise, origin + a.at * SECOND, first=not a.at) for a in score.of("exercise")]
    return [*beats, (origin + score.lasts * SECOND + 30, "exercises-ended", {})]
