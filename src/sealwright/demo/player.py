"""Plays one taste test from opening to closing as event dicts: something for demos, tests and benches to judge.

`play` follows the protocol; a tweak (see `sealwright.demo.tweaks`) then bends the finished test in one way. Same
arguments, same events.
"""

from __future__ import annotations

import hashlib
import random
from collections.abc import Callable, Sequence
from typing import Any, TypeAlias

import msgspec

from sealwright.assess.events import Facepiece, Tester
from sealwright.protocols import Protocol, Score, compile_score, donning_checks

Draft: TypeAlias = list[dict[str, Any]]
"""Events in recorded order, each {"stream", "id", "kind", "at", "by", "data"}; ids are settled at the end."""
Tweak: TypeAlias = Callable[[Draft], Draft]
"""Takes the whole test and hands back another; see `sealwright.demo.tweaks`."""

SECOND, MINUTE, DAY = 1000, 60_000, 86_400_000
KIT = ("o_ring", "hood", "mist_screening", "mist_test", "marked")


def play(protocol: Protocol, *, test_id: str, wearer: str, facepiece: Facepiece | dict[str, Any],
         tester: Tester | dict[str, Any] | str, start_at: int, seed: int = 0, taste_at_squeeze: int | None = 7,
         taste_in_run_s: float | None = None, seal_break_tasted: bool = True, tweaks: Sequence[Tweak] = (),
         room: str = "room-1", try_no: int = 1, previous: str | None = None,
         previous_tasted_at: int | None = None) -> Draft:
    """One whole test as event dicts in recorded order.

    `start_at`: ms since 1970. `taste_at_squeeze`: screening squeeze at which the wearer tastes; None: never.
    `taste_in_run_s`: seconds from the first exercise at which the wearer tastes and the test ends. Ids are
    `<test_id>-001` and so on.
    """
    stage = _Stage(test_id, tester if isinstance(tester, str) else _plain(tester)["id"], start_at, seed)
    worn = _plain(facepiece)
    opened = {"protocol": protocol.id, "protocol_version": protocol.version, "wearer": wearer,
              "facepiece": worn, "tester": _tester(tester, start_at), "try_no": try_no, "room": room,
              "previous": previous, "tasted_at": previous_tasted_at}
    stage.add("opened", 0, {k: v for k, v in opened.items() if v is not None})
    _prepare(stage, worn["size"])
    if _screen(stage, protocol, taste_at_squeeze):
        _don(stage, protocol, worn["kind"])
        dose = protocol.dose_for(taste_at_squeeze or 0)
        assert dose is not None
        _run(stage, compile_score(protocol, dose.level), seal_break_tasted, taste_in_run_s)
    _close(stage)
    events = stage.events
    for tweak in tweaks:
        events = tweak(events)
    return _numbered(events, test_id)


class _Stage:
    """The events so far and the hand of the clock, in ms."""

    def __init__(self, test_id: str, by: str, start_at: int, seed: int) -> None:
        self.test_id, self.by, self.now = test_id, by, start_at
        self.random = random.Random(f"{seed}:{test_id}")
        self.events: Draft = []

    def add(self, kind: str, after_s: float, data: dict[str, Any] | None = None) -> int:
        """An event `after_s` seconds, give or take a tenth, after the one before."""
        self.now += round(after_s * SECOND * self.random.uniform(0.95, 1.1))
        return self.put(kind, self.now, data)

    def put(self, kind: str, at: int, data: dict[str, Any] | None = None) -> int:
        self.now = max(self.now, at)
        self.events.append({"stream": f"test:{self.test_id}", "id": f"draft-{len(self.events)}", "kind": kind,
                            "at": at, "by": self.by, "data": data or {}})
        return at


def _plain(value: Any) -> dict[str, Any]:
    return dict(value) if isinstance(value, dict) else msgspec.to_builtins(value)


def _tester(tester: Tester | dict[str, Any] | str, start_at: int) -> dict[str, Any]:
    if isinstance(tester, str):
        return {"id": tester, "competent_until_at": (start_at // DAY + 400) * DAY}
    return _plain(tester)


def _load(stage: _Stage, which: str, after_s: float) -> None:
    at = stage.now
    stage.add("nebuliser-loaded", after_s, {
        "which": which, "lot": f"LOT-{which[0].upper()}-{at // DAY % 1000:03d}",
        "expires_at": (at // DAY + 120) * DAY - 1, "loaded_at": at})


def _prepare(stage: _Stage, size: str) -> None:
    stage.add("kit-checked", 40, {"checks": dict.fromkeys(KIT, True)})
    _load(stage, "screening", 45)
    stage.add("questions-answered", 50, {
        "cleared": True, "trained": True, "feels_well": True, "last_taken_at": stage.now - 75 * MINUTE,
        "seal_hair": "none", "equipment_used": ["safety glasses"], "equipment_worn": ["safety glasses"]})
    stage.add("identity-confirmed", 20, {"wearer_named": True, "model_read": True, "size_read": size})


def _screen(stage: _Stage, protocol: Protocol, taste_at: int | None) -> bool:
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


def _don(stage: _Stage, protocol: Protocol, kind: str) -> None:
    """Worn within the washout, so that both are over just before the first dose."""
    tasted_at = next(e["at"] for e in stage.events if e["kind"] == "tasted")
    _load(stage, "test", 60)
    donned_at = tasted_at + (protocol.washout.value - protocol.wear.value) * MINUTE
    stage.put("taste-gone", donned_at - round(stage.random.uniform(35, 50) * SECOND), {"gone": True})
    stage.put("donned", donned_at, {"checks": {item.id: True for item in donning_checks(kind)}})
    stage.add("seal-checked", 25, {"passed": True})
    stage.put("comfort-judged", donned_at + protocol.wear.value * MINUTE + stage.random.randint(1000, 4000),
              {"comfortable": True})


def _run(stage: _Stage, score: Score, seal_break_tasted: bool, taste_in_run_s: float | None) -> None:
    """The acts of the score; the tester taps a dose when it has been given."""
    origin = stage.now + (stage.random.randint(32, 40) - score.acts[0].at) * SECOND
    beats: list[tuple[int, str, dict[str, Any]]] = [(origin, "run-started", {"level": score.level})]
    beats.append((origin + score.acts[0].at * SECOND, "first-dose-begun", {}))
    for act in score.acts:
        at = origin + act.at * SECOND
        if act.kind == "exercise":
            jitter = stage.random.randint(0, 40) if act.at else 0
            beats.append((at + jitter, "exercise-started", {"exercise": act.exercise}))
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
    for at, kind, data in sorted(beats, key=lambda b: b[0]):
        stage.put(kind, at, data)


def _close(stage: _Stage) -> None:
    for role in ("tester", "wearer"):
        mark = f"{stage.test_id}-{role}"[-64:]
        stage.add("signed", 12, {"role": role, "mark": mark, "sha256": hashlib.sha256(mark.encode()).hexdigest()})
    stage.add("closed", 3)


def _numbered(events: Draft, test_id: str) -> Draft:
    """Ids by place; an event named by a take-back is followed to its new id."""
    new = {e["id"]: f"{test_id}-{n:03d}" for n, e in enumerate(events, 1)}
    for e in events:
        e["id"] = new[e["id"]]
        if e["kind"] == "taken-back":
            e["data"] = {"event": new.get(e["data"]["event"], e["data"]["event"])}
    return events
