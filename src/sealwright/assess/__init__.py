"""What happened -> verdict and findings. Pure: events and protocol in, verdict out."""

from sealwright.assess.codes import DEPARTURES, PARTS, Departure
from sealwright.assess.events import ENVELOPES, EVENT_UNION, KINDS, Event, TestRecord, event
from sealwright.assess.judging import judge
from sealwright.assess.record import decode, read_record, record_bytes, record_schema
from sealwright.assess.summary import summary
from sealwright.assess.verdict import Finding, Next, Verdict

__all__ = [
    "DEPARTURES", "ENVELOPES", "EVENT_UNION", "KINDS", "PARTS", "Departure", "Event", "Finding", "Next", "TestRecord",
    "Verdict", "decode", "event", "judge", "read_record", "record_bytes", "record_schema", "summary",
]
