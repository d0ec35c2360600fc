"""Photos of journal entries, and their pictures; an earlier version refuses the records then."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "photo_versions",
        sa.Column(
            "number",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("id", sa.String(length=128), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("newest", sa.Boolean(), nullable=False),
        sa.Column("entry", sa.String(length=128), nullable=False),
        sa.Column("added", sa.Integer(), nullable=False),
        sa.Column("known_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("state", sa.String(length=128), nullable=False),
        sa.Column("source_sha256", sa.String(length=128), nullable=False),
        sa.Column("width_px", sa.Integer(), nullable=False),
        sa.Column("height_px", sa.Integer(), nullable=False),
        sa.Column("size_bytes", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_photo_versions"),
        sa.UniqueConstraint("id", "version", name="uq_photo_versions_id_version"),
    )
    op.create_index("ix_photo_versions_entry", "photo_versions", ["entry"])
    op.create_table(
        "photo_pictures",
        sa.Column("photo", sa.String(length=128), nullable=False),
        sa.Column("size", sa.String(length=64), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("photo", "size", name="pk_photo_pictures"),
    )
