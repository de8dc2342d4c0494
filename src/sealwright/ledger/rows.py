"""What the ledger hands out: small frozen rows. Instants are whole milliseconds since 1970 UTC."""

from __future__ import annotations

from typing import Any

import msgspec

from sealwright.assess.events import Facepiece


class Row(msgspec.Struct, frozen=True, kw_only=True):
    """A row; fields are its columns."""


class Receipt(Row, frozen=True, kw_only=True):
    """Proof that an event is on record. `known`: it already was, with the same content."""

    id: str
    stream: str
    seq: int
    n: int
    hash: str
    known: bool


class StoredEvent(Row, frozen=True, kw_only=True):
    """An event as it lies in the ledger; `at` by the recorder's clock, `recorded_at` by the server's."""

    n: int
    id: str
    stream: str
    seq: int
    kind: str
    at: int
    by: str
    data: dict[str, Any]
    recorded_at: int
    hash: str
    chain: str


class Head(Row, frozen=True, kw_only=True):
    """The end of a chain: its last event's number and hash. Noted elsewhere, it proves later that nothing changed."""

    chain: str
    n: int
    hash: str


class Broken(Row, frozen=True, kw_only=True):
    """The first link of a chain that does not hold. `id` is empty when there is no event to name."""

    chain: str
    n: int
    id: str
    why: str


class ChainReport(Row, frozen=True, kw_only=True):
    """What a check found. `drift` names streams whose rows differ from their events; a rebuild mends that."""

    ok: bool
    events: int
    chains: int
    broken: Broken | None = None
    drift: tuple[str, ...] = ()


class PersonRow(Row, frozen=True, kw_only=True):
    """Personal details, kept apart from the events and erased on request."""

    id: str
    name: str
    staff_no: str
    contact: str


class MarkRow(Row, frozen=True, kw_only=True):
    """The drawing of a signature, as SVG path data."""

    mark: str
    person: str
    role: str
    path: str
    sha256: str


class WearerRow(Row, frozen=True, kw_only=True):
    """A wearer; name, staff number and contact are None when not on record or erased."""

    id: str
    language: str
    site: str
    role: str
    joined_at: int
    erased: bool
    name: str | None
    staff_no: str | None
    contact: str | None

    @property
    def shown(self) -> str:
        """The name, or the pseudonym where there is none."""
        return self.name or self.id


class TesterRow(Row, frozen=True, kw_only=True):
    """A fit tester; `competent_until_at` None: not on record."""

    id: str
    competent_until_at: int | None
    erased: bool
    name: str | None

    @property
    def shown(self) -> str:
        """The name, or the pseudonym where there is none."""
        return self.name or self.id


class FacepieceRow(Row, frozen=True, kw_only=True):
    """A facepiece in stock."""

    id: str
    make: str
    model: str
    material: str
    size: str
    kind: str


class LotRow(Row, frozen=True, kw_only=True):
    """A lot of solution."""

    id: str
    agent: str
    use: str
    lot: str
    expires_at: int


class TestRow(Row, frozen=True, kw_only=True):
    """One test. `result` is "unfinished" until it is closed; `notes` ... `voids` count its findings by severity."""

    __test__ = False

    id: str
    wearer: str
    wearer_name: str | None
    facepiece: Facepiece
    protocol: str
    protocol_version: str
    tester: str
    tester_name: str | None
    try_no: int
    previous: str | None
    opened_at: int
    last_at: int
    level: int | None
    closed: bool
    closed_at: int | None
    result: str
    reason: str
    tasted_at: int | None
    factor_milli: int | None
    """overall fit factor of a quantitative test, thousandths; None beside a `low_milli`: nothing counted in the mask"""
    low_milli: int | None
    high_milli: int | None
    pass_level: int | None
    notes: int
    minors: int
    majors: int
    voids: int
