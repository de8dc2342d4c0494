"""Plays one whole test from opening to closing as event dicts: something for demos, tests and benches to judge.

`play` follows the protocol, of whatever method; a tweak (see `sealwright.demo.tweaks`) then bends the finished test in
one way. Same arguments, same events.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sealwright.assess.events import Facepiece, Tester
from sealwright.demo import measuring, noticing
from sealwright.demo.playing import (
    DAY,
    MINUTE,
    SECOND,
    Beat,
    Draft,
    Stage,
    Tweak,
    ask,
    check_kit,
    close,
    don,
    numbered,
    plain,
    started,
    tester_of,
)
from sealwright.protocols import CountingProtocol, PressureProtocol, Protocol, Score, TasteProtocol, compile_score

__all__ = ["DAY", "MINUTE", "SECOND", "Draft", "Tweak", "play"]


def play(protocol: Protocol, *, test_id: str, wearer: str, facepiece: Facepiece | dict[str, Any],
         tester: Tester | dict[str, Any] | str, start_at: int, seed: int = 0, tweaks: Sequence[Tweak] = (),
         room: str = "room-1", try_no: int = 1, previous: str | None = None, previous_tasted_at: int | None = None,
         rule_set: str | None = None, pass_level: int | None = None, **how: Any) -> Draft:
    """One whole test as event dicts in recorded order; by default valid, passed and without a finding.

    `start_at`: ms since 1970. Ids are `<test_id>-001` and so on. `how` it goes is the method's own: for taste
    `taste_at_squeeze` (None: never), `taste_in_run_s` (seconds from the first exercise), `seal_break_tasted`; for
    vapour and smoke see `noticing.play_notice`, for numbers `measuring.play_counting` and `measuring.play_pressure`.
    """
    stage = Stage(test_id, tester if isinstance(tester, str) else plain(tester)["id"], start_at, seed)
    worn = plain(facepiece)
    opened = {"protocol": protocol.id, "protocol_version": protocol.version, "wearer": wearer,
              "facepiece": worn, "tester": tester_of(tester, start_at), "try_no": try_no, "room": room,
              "previous": previous, "tasted_at": previous_tasted_at, "rule_set": rule_set, "pass_level": pass_level}
    stage.add("opened", 0, {k: v for k, v in opened.items() if v is not None})
    _player(protocol)(stage, protocol, worn, **how)
    close(stage)
    events = stage.events
    for tweak in tweaks:
        events = tweak(events)
    return numbered(events, test_id)


def _player(protocol: Protocol) -> Any:
    if isinstance(protocol, TasteProtocol):
        return _play_taste
    if isinstance(protocol, CountingProtocol):
        return measuring.play_counting
    return measuring.play_pressure if isinstance(protocol, PressureProtocol) else noticing.play_notice


def _play_taste(stage: Stage, protocol: TasteProtocol, worn: dict[str, Any], *, taste_at_squeeze: int | None = 7,
                taste_in_run_s: float | None = None, seal_break_tasted: bool = True) -> None:
    check_kit(stage, protocol)
    _load(stage, "screening", 45)
    ask(stage, worn["size"], last_taken_at=stage.now - 75 * MINUTE)
    if not _screen(stage, protocol, taste_at_squeeze):
        return
    _don_after_washout(stage, protocol, worn["kind"])
    dose = protocol.dose_for(taste_at_squeeze or 0)
    assert dose is not None
    _run(stage, compile_score(protocol, dose.level), seal_break_tasted, taste_in_run_s)


def _load(stage: Stage, which: str, after_s: float) -> None:
    at = stage.now
    stage.add("nebuliser-loaded", after_s, {
        "which": which, "lot": f"LOT-{which[0].upper()}-{at // DAY % 1000:03d}",
        "expires_at": (at // DAY + 120) * DAY - 1, "loaded_at": at})


def _screen(stage: Stage, protocol: TasteProtocol, taste_at: int | None) -> bool:
    """Rounds of squeezes until tasted; False when never."""
    stage.add("screening-started", 30)
    each, rounds = protocol.screening.round_squeezes, protocol.screening.rounds
    left = taste_at if taste_at is not None and taste_at <= each * rounds else None
    for _ in range(rounds):
        n = min(each, left) if left is not None else each
        stage.add("squeezed", n * protocol.squeeze_pace.value / SECOND + 1, {"n": n})
        left = None if left is None else left - n
        if left == 0:
            break
        stage.add("not-tasted", 3)
    if left == 0:
        stage.add("tasted", 1.5)
    stage.add("hood-removed", 5)
    return left == 0


def _don_after_washout(stage: Stage, protocol: TasteProtocol, kind: str) -> None:
    """Worn within the washout, so that both are over just before the first dose."""
    tasted_at = next(e["at"] for e in stage.events if e["kind"] == "tasted")
    _load(stage, "test", 60)
    donned_at = tasted_at + (protocol.washout.value - protocol.wear.value) * MINUTE
    stage.put("taste-gone", donned_at - round(stage.random.uniform(35, 50) * SECOND), {"gone": True})
    don(stage, protocol, kind, donned_at)


def _run(stage: Stage, score: Score, seal_break_tasted: bool, taste_in_run_s: float | None) -> None:
    """The acts of the score; the tester taps a dose when it has been given."""
    origin = stage.now + (stage.random.randint(32, 40) - score.acts[0].at) * SECOND
    beats: list[Beat] = [(origin, "run-started", {"level": score.level})]
    beats.append((origin + score.acts[0].at * SECOND, "first-dose-begun", {}))
    for act in score.acts:
        at = origin + act.at * SECOND
        if act.kind == "exercise":
            beats.append(started(stage, act.exercise, at, first=not act.at))
        elif act.kind == "dose":
            late = stage.random.randint(-400, 1200) if act.at >= 0 else -stage.random.randint(500, 900)
            beats.append((at + act.lasts * SECOND + late, "dosed", {"squeezes": act.squeezes, "act": act.id}))
        elif act.kind == "mist":
            beats.append((at + stage.random.randint(2000, 3000), "mist-checked", {"seen": True}))
    end = origin + score.lasts * SECOND
    beats.append((end + 30, "exercises-ended", {}))
    beats.append((end + stage.random.randint(6000, 9000), "seal-broken", {"tasted": seal_break_tasted}))
    if taste_in_run_s is not None:
        at = origin + round(taste_in_run_s * SECOND)
        beats = [b for b in beats if b[0] < at] + [(at, "tasted", {}), (at + 4200, "hood-removed", {})]
    stage.play(beats)
