"""A tablet that woke up in 1970, or in the year 3000, still has a page for its test."""

from __future__ import annotations

import msgspec
import pytest
from tests.assess.staging import events_of, played

from sealwright.assess import judge
from sealwright.insight.hood import explanations
from sealwright.pictures.hood import predicted
from sealwright.pictures.performed import performed_from
from sealwright.pictures.score import score_svg
from sealwright.protocols import TasteProtocol, compile_score, get

FAR = 32_503_680_000_000


@pytest.mark.parametrize("at", [0, FAR])
@pytest.mark.parametrize("kind", ["dosed", "exercise-started", "exercises-ended", "samples-taken", "room-returned"])
@pytest.mark.parametrize("protocol", ["us-bitter", "us-counting"])
def test_one_event_at_the_end_of_time_makes_no_paper_of_years(protocol: str, kind: str, at: int) -> None:
    """Once a line of paper for each five minutes, and a point of the curve for each second, of a thousand years."""
    p = get(protocol)
    made = played(protocol=protocol)
    found = [e for e in made if e["kind"] == kind]
    for e in found[-1:]:
        e["at"] = at
        if kind == "dosed":
            e["data"]["given_at"] = at
        if kind == "samples-taken":
            e["data"]["started_at"] = min(at, FAR - 1)
    events = events_of(made)
    verdict = judge(events)
    performed = performed_from(events, verdict)
    score = compile_score(p, verdict.level or 0) if isinstance(p, TasteProtocol) else compile_score(p)
    air = predicted(score, performed)
    svg = score_svg(score, title="Far", performed=performed, width=900, standalone=False, beneath=air)
    assert len(svg) < 1_000_000
    assert air is None or (len(air.times) < 10_000 and isinstance(explanations(air), tuple))


def test_a_test_that_ended_before_its_first_dose_has_a_page() -> None:
    score = compile_score(get("us-bitter"), 10)
    events = events_of(played())
    performed = performed_from(events, judge(events))
    assert performed is not None
    early = predicted(score, msgspec.structs.replace(performed, ends_s=-500.0))
    assert early is not None and explanations(early) == () and len(early.times) == 1
