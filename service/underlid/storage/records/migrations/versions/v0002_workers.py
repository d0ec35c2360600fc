"""Several workers: who is alive, who holds which shed and channel, and each bin's last state."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "workers",
        sa.Column("name", sa.String(length=128), nullable=False),
        sa.Column("kind", sa.String(length=64), nullable=False),
        sa.Column("until_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("name", "kind", name="pk_workers"),
    )
    op.create_table(
        "leases",
        sa.Column("kind", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=128), nullable=False),
        sa.Column("holder", sa.String(length=128), nullable=False),
        sa.Column("token", sa.BigInteger(), nullable=False),
        sa.Column("until_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("kind", "name", name="pk_leases"),
    )
    op.create_table(
        "bin_states",
        sa.Column("bin", sa.String(length=64), nullable=False),
        sa.Column("shed", sa.String(length=128), nullable=False),
        sa.Column("judged_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("bin", name="pk_bin_states"),
    )
    op.create_index("ix_bin_states_judged_at_ms", "bin_states", ["judged_at_ms"])
