"""What every played test has: a hand of the clock, the opening, the checks before, donning, signatures.

The players of the methods (`player` for taste, `noticing` for vapour and smoke, `measuring` for numbers) share it.
"""

from __future__ import annotations

import hashlib
import random
from collections.abc import Callable, Iterable
from typing import Any, TypeAlias

import msgspec

from sealwright.protocols import Protocol, donning_checks, kit

Draft: TypeAlias = list[dict[str, Any]]
"""Events in recorded order, each {"stream", "id", "kind", "at", "by", "data"}; ids are settled at the end."""
Tweak: TypeAlias = Callable[[Draft], Draft]
"""Takes the whole test and hands back another; see `sealwright.demo.tweaks`."""
Beat: TypeAlias = tuple[int, str, dict[str, Any]]
"""Something that happens at an instant (ms): kind and data."""

SECOND, MINUTE, DAY = 1000, 60_000, 86_400_000


class Stage:
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

    def play(self, beats: Iterable[Beat]) -> None:
        """Put what happens in the order of time."""
        for at, kind, data in sorted(beats, key=lambda b: b[0]):
            self.put(kind, at, data)


def plain(value: Any) -> dict[str, Any]:
    return dict(value) if isinstance(value, dict) else msgspec.to_builtins(value)


def tester_of(tester: Any, start_at: int) -> dict[str, Any]:
    """A tester with competence in date, where only an id is given."""
    if isinstance(tester, str):
        return {"id": tester, "competent_until_at": (start_at // DAY + 400) * DAY}
    return plain(tester)


def check_kit(stage: Stage, protocol: Protocol) -> None:
    stage.add("kit-checked", 40, {"checks": {item.id: True for item in kit(protocol)}})


def ask(stage: Stage, size: str, **more: Any) -> None:
    """Questions before the test, and the facepiece in the hand."""
    worn = ["safety glasses"]
    stage.add("questions-answered", 50, {"cleared": True, "trained": True, "feels_well": True, "seal_hair": "none",
                                         "equipment_used": worn, "equipment_worn": worn, **more})
    stage.add("identity-confirmed", 20, {"wearer_named": True, "model_read": True, "size_read": size})


def don(stage: Stage, protocol: Protocol, kind: str, donned_at: int) -> None:
    """Donned, the seal checked by the wearer, worn as long as the protocol asks."""
    stage.put("donned", donned_at, {"checks": {item.id: True for item in donning_checks(kind)}})
    stage.add("seal-checked", 25, {"passed": True})
    stage.put("comfort-judged", donned_at + protocol.wear.value * MINUTE + stage.random.randint(1000, 4000),
              {"comfortable": True})


def started(stage: Stage, exercise: str, at: int, first: bool) -> Beat:
    """The start of an exercise; the first one is second 0."""
    return at + (0 if first else stage.random.randint(0, 40)), "exercise-started", {"exercise": exercise}


def close(stage: Stage) -> None:
    for role in ("tester", "wearer"):
        mark = f"{stage.test_id}-{role}"[-64:]
        stage.add("signed", 12, {"role": role, "mark": mark, "sha256": hashlib.sha256(mark.encode()).hexdigest()})
    stage.add("closed", 3)


def numbered(events: Draft, test_id: str) -> Draft:
    """Ids by place; an event named by a take-back is followed to its new id."""
    new = {e["id"]: f"{test_id}-{n:03d}" for n, e in enumerate(events, 1)}
    for e in events:
        e["id"] = new[e["id"]]
        if e["kind"] == "taken-back":
            e["data"] = {"event": new.get(e["data"]["event"], e["data"]["event"])}
    return events
