"""What happened -> verdict and findings. Pure: events and protocol in, verdict out."""

from sealwright.assess.events import ENVELOPES, EVENT_UNION, KINDS, Event, TestRecord, event
from sealwright.assess.judge import judge
from sealwright.assess.verdict import Finding, Next, Verdict

__all__ = ["ENVELOPES", "EVENT_UNION", "KINDS", "Event", "Finding", "Next", "TestRecord", "Verdict", "event",
           "judge"]
