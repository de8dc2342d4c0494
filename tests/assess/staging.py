"""Played tests made ready for judging. All names and dates are invented."""

from __future__ import annotations

from typing import Any

import pytest

from sealwright.assess import DEPARTURES, Event, Verdict, decode, judge
from sealwright.demo.player import Tweak, play
from sealwright.protocols import get

START = 1_790_000_000_000
FACEPIECE: dict[str, Any] = {"id": "fp-1", "make": "Larkwell", "model": "Tern 2", "material": "silicone", "size": "M",
                             "kind": "half", "own": True}


def played(*tweaks: Tweak, protocol: str = "us-bitter", kind: str = "half", **options: Any) -> list[dict[str, Any]]:
    """Event dicts of one test."""
    given = {"test_id": "t-1", "wearer": "w-1", "facepiece": {**FACEPIECE, "kind": kind}, "tester": "u-1",
             "start_at": START, "seed": 1, **options}
    return play(get(protocol), tweaks=tweaks, **given)


def events_of(dicts: list[dict[str, Any]]) -> list[Event]:
    return [decode(e["kind"], e["id"], e["at"], e["by"], e["data"]) for e in dicts]


def judged(*tweaks: Tweak, **options: Any) -> Verdict:
    return judge(events_of(played(*tweaks, **options)))


def case(code: str, severity: str, result: str, *tweaks: Any, only: bool = True, **options: Any) -> Any:
    """One departure with what must come of it. `only`: the finding must be the only one."""
    return pytest.param(code, severity, result, tweaks, options, only, id=f"{code}-{severity}-{result}")


def found_as_told(code: str, severity: str, result: str, tweaks: Any, options: Any, only: bool) -> None:
    """A bent test has the finding, and the table allows it."""
    verdict = judged(*tweaks, **options)
    found = codes(verdict)
    assert found.get(code) == severity
    assert verdict.result == result
    if only:
        assert set(found) == {code}
    for finding in verdict.findings:
        assert finding.severity in DEPARTURES[finding.code].severities
        assert finding.source and finding.text
    assert severity in DEPARTURES[code].severities


def codes(verdict: Verdict) -> dict[str, str]:
    """Code -> severity."""
    return {f.code: f.severity for f in verdict.findings}
