"""The table of bins that are out of service."""

from __future__ import annotations

import sqlalchemy as sa

from underlid.storage.records.table_columns import metadata, ms, text

out_of_service = sa.Table(
    "out_of_service",
    metadata,
    sa.Column("bin", sa.String(64), sa.ForeignKey("bins.id", ondelete="CASCADE"), primary_key=True),
    ms("since_ms"),
    ms("until_ms", needed=False),
    text("by"),
    text("why"),
)
