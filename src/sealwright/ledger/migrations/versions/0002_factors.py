"""The overall fit factor of a quantitative test, with its interval and level. Earlier tests have none."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    for name in ("factor_milli", "low_milli", "high_milli", "pass_level"):
        op.add_column("test", sa.Column(name, sa.BigInteger, nullable=True))
