from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.ledger.invented import NOW

from sealwright.ledger import Ledger, open_ledger


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "ledger.db"


@pytest.fixture
def ledger(file: Path) -> Iterator[Ledger]:
    with open_ledger(f"sqlite:///{file}", org="yard", chain="office", now=lambda: NOW) as opened:
        yield opened
