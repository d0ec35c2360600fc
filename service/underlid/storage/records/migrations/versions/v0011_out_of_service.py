"""Bins that are out of service. An earlier version refuses the records from then on: back up before."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "out_of_service",
        sa.Column("bin", sa.String(length=64), nullable=False),
        sa.Column("since_ms", sa.BigInteger(), nullable=False),
        sa.Column("until_ms", sa.BigInteger(), nullable=True),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["bin"], ["bins.id"], name="fk_out_of_service_bin", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("bin", name="pk_out_of_service"),
    )
