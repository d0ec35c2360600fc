"""The weather outside each shed, as the keeper supplies it."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "weather",
        sa.Column("shed", sa.String(length=64), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("received_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("temp_c", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("shed", "at_ms", "received_at_ms", name="pk_weather"),
    )
