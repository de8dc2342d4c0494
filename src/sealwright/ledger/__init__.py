"""Events in, projections out: an append-only, hash-chained record in SQLite, and personal details kept apart from it.

All access to the store goes through here. Stands on the pure core (assess, programme) alone.
"""

from sealwright.ledger.ledger import Ledger, Unavailable, open_ledger, restore
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

__all__ = [
    "Broken", "ChainReport", "FacepieceRow", "Head", "Ledger", "LotRow", "MarkRow", "PersonRow", "Receipt",
    "StoredEvent", "TestRow", "TesterRow", "Unavailable", "WearerRow", "open_ledger", "restore",
]
