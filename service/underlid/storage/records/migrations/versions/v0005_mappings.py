"""How messages of other firmware are read; an earlier version refuses the records then."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "mappings",
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("fields", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_mappings")),
    )
    op.create_table(
        "past_filters",
        sa.Column(
            "number",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("filter", sa.String(length=255), nullable=False),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_past_filters")),
        sa.UniqueConstraint("filter", name=op.f("uq_past_filters_filter")),
    )
