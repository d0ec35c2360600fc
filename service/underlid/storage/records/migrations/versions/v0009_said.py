"""What an alert's sentence was made of."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column; older alerts keep their sentence as it was written."""
    op.add_column("alerts", sa.Column("said", sa.Text(), nullable=False, server_default=""))
