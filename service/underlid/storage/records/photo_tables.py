"""The tables of photos: what is known of each, a row a version, and the pictures themselves.

All others are in `tables.py`. Read and written in `photos.py`.
"""

from __future__ import annotations

import sqlalchemy as sa

from underlid.storage.records.table_columns import metadata, ms, number, text, word

photo_versions = sa.Table(
    "photo_versions",
    metadata,
    number(),
    word("id"),
    sa.Column("version", sa.Integer, nullable=False),
    sa.Column("newest", sa.Boolean, nullable=False),
    word("entry", index=True),
    sa.Column("added", sa.Integer, nullable=False),
    ms("known_at_ms"),
    text("by"),
    text("words"),
    word("state"),
    word("source_sha256"),
    sa.Column("width_px", sa.Integer, nullable=False),
    sa.Column("height_px", sa.Integer, nullable=False),
    sa.Column("size_bytes", sa.BigInteger, nullable=False),
    sa.UniqueConstraint("id", "version"),
)

photo_pictures = sa.Table(
    "photo_pictures",
    metadata,
    sa.Column("photo", sa.String(128), primary_key=True),
    sa.Column("size", sa.String(64), primary_key=True),
    sa.Column("data", sa.LargeBinary, nullable=False),
)
