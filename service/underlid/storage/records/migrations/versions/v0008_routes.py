"""People's own addresses. An earlier version refuses the records from then on: back up before."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "routes",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("person", sa.String(length=64), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("hint", sa.Text(), nullable=False),
        sa.Column("address", sa.Text(), nullable=False),
        sa.Column("rules", sa.Text(), nullable=False),
        sa.Column("changed_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("digested_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["person"], ["people.name"], name="fk_routes_person", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_routes"),
    )
    op.create_index("ix_routes_person", "routes", ["person"], unique=False)
