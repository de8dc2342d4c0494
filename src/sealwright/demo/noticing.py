"""Plays a vapour or a smoke test: screened by a jar or a whiff, then exposed through the exercises."""

from __future__ import annotations

from typing import Any

from sealwright.demo.playing import DAY, MINUTE, SECOND, Beat, Stage, ask, check_kit, don, started
from sealwright.protocols import QualitativeProtocol, Score, VapourProtocol, compile_score

_FIRST_PASSES_S = 25
"""from the first smoke at the seal to the first exercise"""


def play_notice(stage: Stage, protocol: QualitativeProtocol, worn: dict[str, Any], *, screened: bool = True,
                notice_in_run_s: float | None = None, seal_break: bool = True) -> None:
    """`screened`: the wearer notices the agent without a facepiece. `seal_break`: and again at the end.

    `notice_in_run_s`: seconds from the first exercise at which the wearer notices it and the test ends.
    """
    check_kit(stage, protocol)
    if isinstance(protocol, VapourProtocol):
        for which, age in (("stock", 2 * DAY), ("odour", 2 * 60 * MINUTE)):
            stage.add("solution-made", 20, {"which": which, "made_at": stage.now - age,
                                            "lot": f"IAA-{stage.now // DAY % 1000:03d}"})
    ask(stage, worn["size"])
    stage.add("agent-screened", 90, {"noticed": screened})
    if screened:
        don(stage, protocol, worn["kind"], stage.now + 3 * MINUTE)
        _run(stage, compile_score(protocol), _lead(protocol), seal_break, notice_in_run_s)


def _lead(protocol: QualitativeProtocol) -> int:
    """Seconds from the exposure to the first exercise."""
    if not isinstance(protocol, VapourProtocol):
        return _FIRST_PASSES_S
    return protocol.settle.value * {"s": 1, "min": 60}[protocol.settle.unit] + 4


def _run(stage: Stage, score: Score, lead: int, seal_break: bool, notice_in_run_s: float | None) -> None:
    origin = stage.now + (stage.random.randint(20, 30) + lead) * SECOND
    beats: list[Beat] = [(origin - lead * SECOND, "exposure-begun", {}), (origin, "run-started", {})]
    beats += [started(stage, a.exercise, origin + a.at * SECOND, first=not a.at) for a in score.of("exercise")]
    end = origin + score.lasts * SECOND
    beats += [(end + 30, "exercises-ended", {}),
              (end + stage.random.randint(6000, 9000), "seal-broken", {"tasted": seal_break})]
    if notice_in_run_s is not None:
        at = origin + round(notice_in_run_s * SECOND)
        beats = [b for b in beats if b[0] < at] + [(at, "noticed", {})]
    stage.play(beats)
