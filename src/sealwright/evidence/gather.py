"""The record of a test, out of a ledger and onto a certificate."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, tzinfo
from typing import Any, Protocol

from sealwright.assess import event, judge
from sealwright.assess.events import Signed
from sealwright.evidence.record import CertificateData, certificate_data
from sealwright.protocols import get


class Book(Protocol):
    """What is asked of a ledger."""

    def test(self, id: str) -> Any: ...
    def events(self, stream: str) -> Sequence[Any]: ...
    def mark(self, mark_id: str) -> Any: ...


def gather(ledger: Book, test: str, *, org_name: str, zone: tzinfo = UTC) -> CertificateData:
    """The certificate's data of one test. Raises NotFound for a test that is not in the ledger."""
    row = ledger.test(test)
    stored = ledger.events(f"test:{test}")
    events = [event(e.kind, e.at, e.by, e.id, **e.data) for e in stored]
    protocol = get(row.protocol)
    ids = [e.data.mark for e in events if isinstance(e.data, Signed)]
    marks = {m.mark: m.path for m in map(ledger.mark, ids) if m is not None}
    names = {row.wearer: row.wearer_name, row.tester: row.tester_name}
    return certificate_data(
        events, judge(events, protocol), protocol, names={id: name for id, name in names.items() if name},
        org_name=org_name, marks=marks, ledger_n=stored[-1].n, ledger_hash=stored[-1].hash, test_id=test, zone=zone)
