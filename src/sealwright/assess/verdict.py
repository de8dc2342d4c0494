"""What judging a test yields."""

from __future__ import annotations

from typing import Literal

import msgspec

from sealwright.assess.measured import Measured

Severity = Literal["note", "minor", "major", "void"]
"""note: for the record; minor: a departure that leaves the test standing; major: stands, but a lead should look;
void: no pass can be claimed."""

Result = Literal["pass", "fail", "void", "unsuited", "unfinished"]
"""unsuited: the wearer cannot be tested with this agent; unfinished: the record has no end yet."""

Step = Literal["wait", "re-don", "other-facepiece", "other-agent", "quantitative", "repeat", "mend-kit", "shave",
               "clearance", "train", "rest", "other-device", "finish", "none"]


class Finding(msgspec.Struct, frozen=True, kw_only=True):
    """A departure from the protocol. `at` and `until` are instants (ms); `at_s` is seconds from the first exercise."""

    code: str
    severity: Severity
    text: str
    source: str
    at: int | None = None
    until: int | None = None
    at_s: int | None = None


class Next(msgspec.Struct, frozen=True, kw_only=True):
    """What to do now, in plain words."""

    step: Step
    text: str


class Verdict(msgspec.Struct, frozen=True, kw_only=True):
    """The judgement of one test."""

    result: Result
    reason: str
    protocol: str
    protocol_version: str
    wearer: str
    findings: tuple[Finding, ...]
    next: tuple[Next, ...]
    screening_squeezes: int | None = None
    screening_tasted: bool | None = None
    screening_s: int | None = None
    """seconds from the hood on to the taste of the screening"""
    level: int | None = None
    squeezes: int = 0
    started_at: int | None = None
    tasted_at: int | None = None
    tasted_s: int | None = None
    ended_at: int | None = None
    exercises: tuple[tuple[str, int, int], ...] = ()
    """(exercise id, start in s from the first exercise, seconds done)"""
    measured: Measured | None = None
    """the numbers of a quantitative test"""

    @property
    def worst(self) -> Severity | None:
        order = ("void", "major", "minor", "note")
        return next((s for s in order if any(f.severity == s for f in self.findings)), None)  # type: ignore[misc]
