"""The service's own keys. An earlier version refuses the records from then on: back up before."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "own_keys",
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_own_keys"),
    )
