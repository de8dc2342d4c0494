"""Events in, projections out: an append-only, hash-chained record in SQLite, and personal details kept apart from it.

All access to the store goes through here. Stands on the pure core (assess, programme) alone.
"""

from sealwright.ledger.ledger import Ledger, open_ledger, restore
from sealwright.ledger.rows import (
    Broken,
    ChainReport,
    FacepieceRow,
    Head,
    LotRow,
    MarkRow,
    PersonRow,
    Receipt,
    StoredEvent,
    TesterRow,
    TestRow,
    WearerRow,
)
from sealwright.ledger.troubles import Damaged, Unavailable

__all__ = [
    "Broken", "ChainReport", "Damaged", "FacepieceRow", "Head", "Ledger", "LotRow", "MarkRow", "PersonRow", "Receipt",
    "StoredEvent", "TestRow", "TesterRow", "Unavailable", "WearerRow", "open_ledger", "restore",
]
