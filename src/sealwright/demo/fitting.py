"""How a test of the yard's year goes: taste or numbers as luck or its story has them, and what bends it."""

from __future__ import annotations

import math
import random
from typing import Any

from sealwright.demo.playing import Draft, Tweak
from sealwright.demo.tweaks import ate, change, entered_later, late, room_away, smoked
from sealwright.protocols import MeasuredProtocol, PressureProtocol, Protocol, rule_set

SLIPS: tuple[Tweak, ...] = (late("dose-240", 7.5), late("dose-90", 6.2), ate(34), ate(28), room_away(130, 18),
                            entered_later("dose-180", 11))
SLIP_SHARE = 0.15
NUMBER_STORIES = {"lapsed": "counting", "shifted": "uk-counting", "breath": "pressure", "smoked": "uk-counting"}
"""What goes amiss in tests by number, and by which protocols: calibration run out, mask touched, breath not held."""


def how(protocol: Protocol, kind: str, story: str, fails: bool, threshold: int, luck: random.Random) -> dict[str, Any]:
    """What `play` is told of the wearer and the fit."""
    if isinstance(protocol, MeasuredProtocol):
        return _numbers(protocol, kind, fails, luck)
    return {"taste_at_squeeze": None if story == "unsuited" else threshold,
            "taste_in_run_s": luck.choice((luck.uniform(4, 60), luck.uniform(60, 414))) if fails else None,
            "seal_break_tasted": story != "silent-seal-break"}


def _numbers(protocol: MeasuredProtocol, kind: str, fails: bool, luck: random.Random) -> dict[str, Any]:
    """True factors around a level of this wearer's own; where it fails, one or two movements open the seal."""
    level = rule_set("uk").level_for(kind)
    assert level is not None
    usual = level.value * math.exp(luck.uniform(math.log(2.4), math.log(5)))
    true = {e.id: usual * luck.uniform(0.8, 1.4) for e in protocol.exercises}
    if fails:
        counting = [e.id for e in protocol.exercises if e.counts]
        true |= {e: level.value * luck.uniform(0.15, 0.6) for e in luck.sample(counting, luck.randint(1, 2))}
    if isinstance(protocol, PressureProtocol):
        return {"leaks": {e: protocol.inspiratory_flow.value / factor for e, factor in true.items()}}
    return {"factors": true, "ambient": luck.uniform(1900, 5200)}


def bends(protocol: Protocol, story: str, fails: bool, luck: random.Random) -> tuple[Tweak, ...]:
    """What goes otherwise than by the protocol: as the story has it, or a tester's slip now and then."""
    told = {"unwell": _unwell, "touched": _touched, "shifted": _shifted, "smoked": smoked(25),
            "breath": change("leak-read", {"exercise": "talk"}, steady=False)}
    if story or fails:
        return (told[story],) if story in told else ()
    return (luck.choice(SLIPS),) if not protocol.quantitative and luck.random() < SLIP_SHARE else ()


def _unwell(draft: Draft) -> Draft:
    """The wearer feels unwell under the hood in the third exercise."""
    return _cut(draft, 2, 23_400, [(0, "stopped", {"reason": "unwell"}), (3_100, "hood-removed", {})])


def _touched(draft: Draft) -> Draft:
    """The wearer pushes the facepiece up in the fifth exercise; the tester stops the test."""
    return _cut(draft, 4, 31_800, [(0, "facepiece-touched", {}), (6_000, "stopped", {"reason": "tester"}),
                                   (9_000, "hood-removed", {})])


def _shifted(draft: Draft) -> Draft:
    """The mask is pushed back into place in the third exercise, and the tester stops the test."""
    return _cut(draft, 2, 20_000, [(0, "facepiece-touched", {}), (5_000, "stopped", {"reason": "tester"})])


def _cut(draft: Draft, exercise: int, into_ms: int, happenings: list[tuple[int, str, dict[str, Any]]]) -> Draft:
    """Ends the run `into_ms` into an exercise with what happens then (ms later, kind, data), signed and closed."""
    begun = [e for e in draft if e["kind"] == "exercise-started"][exercise]
    at = begun["at"] + into_ms
    then = [begun | {"id": f"cut-{ms}", "kind": kind, "at": at + ms, "data": data} for ms, kind, data in happenings]
    last = [e for e in draft if e["kind"] in ("signed", "closed")]
    shift = then[-1]["at"] + 15_000 - last[0]["at"]
    return [*(e for e in draft if e["at"] < at), *then, *(e | {"at": e["at"] + shift} for e in last)]
