"""The fit factor as it comes, against a trace of known truth."""

from __future__ import annotations

from statistics import median
from typing import Any

import pytest

from sealwright.assess import decode
from sealwright.assess.live import live, running
from sealwright.demo.player import play
from sealwright.protocols import compile_score, get

FACE = {"id": "fp", "make": "Quillmoss", "model": "Sedgefold", "material": "felt", "size": "M", "kind": "half",
        "own": True}


def played(protocol: str, upto_s: float | None = None, **how: Any) -> list[Any]:
    made = play(get(protocol), test_id="t", wearer="w", facepiece=FACE, tester="u", start_at=1_790_000_000_000, **how)
    origin = next(e["at"] for e in made if e["kind"] == "run-started")
    kept = [e for e in made if upto_s is None or e["at"] <= origin + upto_s * 1000]
    return [decode(e["kind"], e["id"], e["at"], e["by"], e["data"]) for e in kept]


@pytest.mark.parametrize("protocol", ["us-counting", "us-counting-short"])
def test_the_running_factor_follows_the_truth_of_each_exercise(protocol: str) -> None:
    p = get(protocol)
    truth = {e.id: 150.0 * (n + 1) for n, e in enumerate(p.exercises)}
    coming = running(played(protocol, factors=truth), p)
    assert coming is not None and len(coming.times) == len(coming.factors)
    for act in compile_score(p).of("exercise"):
        seen = [v for t, v in zip(coming.times, coming.factors, strict=True)
                if v is not None and act.at < t <= act.at + act.lasts]
        assert seen and abs(median(seen) / truth[act.exercise] - 1) < 0.3, act.exercise


def test_before_any_sample_nothing_comes_and_each_exercise_lessens_what_is_to_come() -> None:
    p = get("us-counting-short")
    assert running(played("us-counting-short", upto_s=-1), p) is None
    left = [live(played("us-counting-short", upto_s=s)).remaining for s in (0, 60, 90, 400)]
    assert left[0] == 4 and left == sorted(left, reverse=True) and left[-1] == 0


def test_a_taste_test_has_none() -> None:
    assert running(played("us-bitter"), get("us-bitter")) is None
