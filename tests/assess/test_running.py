"""The fit factor as it comes, against a trace of known truth."""

from __future__ import annotations

from statistics import median
from typing import Any

import pytest

from sealwright.assess import decode
from sealwright.assess.events import RunStarted, SamplesTaken
from sealwright.assess.live import MOST_POINTS, live, running
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


def test_a_long_record_is_told_in_so_many_points_and_at_once() -> None:
    """100,000 samples of two airs; each point was once a look at all of them."""
    made = played("us-counting")
    origin = next(e.at for e in made if type(e.data) is RunStarted)
    rest = [e for e in made if type(e.data) is not SamplesTaken]
    taken = [decode("samples-taken", f"{air}-{k}", origin, "u",
                    {"air": air, "started_at": origin + k * 20_000, "step_ms": 10, "unit": "count",
                     "values": [3 if air == "mask" else 600] * 2000}) for k in range(25) for air in ("mask", "ambient")]
    coming = running([rest[0], *taken, *rest[1:]], get("us-counting"))
    assert coming is not None and 1000 < len(coming.times) <= 2 * MOST_POINTS
    assert {v for v in coming.factors if v is not None} == {200.0}
