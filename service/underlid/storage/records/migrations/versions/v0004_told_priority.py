"""The worst priority that somebody has been told of with an alert."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column; of older alerts nothing is known, so they may be told once more."""
    op.add_column(
        "alerts",
        sa.Column("told_priority", sa.String(length=128), nullable=False, server_default=""),
    )
