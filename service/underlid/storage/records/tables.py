"""The tables of the records, as SQLAlchemy Core sees them; those of photos are in `photo_tables.py`.

A change here needs a new step in `migrations/versions/`; a test compares the two. Times are whole
milliseconds since 1970 UTC; nested values are JSON text (`columns.py`). A journal entry, an alert
and a message keep a bin's id without a foreign key: they outlive the bin.
"""

from __future__ import annotations

import sqlalchemy as sa

from underlid.storage.records.table_columns import (
    double,
    metadata,
    ms,
    number,
    own_id,
    ref,
    text,
    word,
)

revisions = sa.Table(
    "revisions",
    metadata,
    sa.Column("subject", sa.String(64), primary_key=True),
    sa.Column("revision", sa.BigInteger, nullable=False),
)

sheds = sa.Table(
    "sheds",
    metadata,
    own_id(),
    text("name"),
    sa.Column("air_probe", sa.String(64)),
    text("timezone"),
)

bins = sa.Table(
    "bins",
    metadata,
    own_id(),
    ref("shed", "sheds.id", ondelete="RESTRICT"),
    text("name"),
    word("kind"),
    text("species"),
    double("herd_kg"),
    double("volume_l"),
    double("bed_kg"),
    double("dry_density_kg_l"),
    double("lid_area_m2"),
    double("target_moisture_pct"),
    word("bedding"),
    text("limits"),
)

probe_places = sa.Table(
    "probe_places",
    metadata,
    sa.Column("probe", sa.String(64), primary_key=True),
    ref("shed", "sheds.id", ondelete="RESTRICT"),
    ref("bin", "bins.id", needed=False),
    double("depth_cm", needed=False),
    double("soil_dry_raw", needed=False),
    double("soil_wet_raw", needed=False),
    text("soil_points"),
    text("calibrations"),
)

probe_statuses = sa.Table(
    "probe_statuses",
    metadata,
    sa.Column("probe", sa.String(64), primary_key=True),
    word("shed"),
    sa.Column("online", sa.Boolean, nullable=False),
    ms("received_at_ms"),
)

entry_versions = sa.Table(
    "entry_versions",
    metadata,
    number(),
    word("id"),
    sa.Column("version", sa.Integer, nullable=False),
    sa.Column("newest", sa.Boolean, nullable=False),
    word("bin"),
    ms("at_ms"),
    ms("known_at_ms"),
    word("kind"),
    text("what"),
    text("by"),
    text("text"),
    sa.Column("withdrawn", sa.Boolean, nullable=False),
    sa.UniqueConstraint("id", "version"),
    sa.Index(None, "bin", "at_ms"),
    sa.Index(None, "newest", "at_ms"),
)

entry_keys = sa.Table(
    "entry_keys",
    metadata,
    sa.Column("key", sa.String(255), primary_key=True),
    word("entry"),
)

alerts = sa.Table(
    "alerts",
    metadata,
    sa.Column("id", sa.String(255), primary_key=True),
    word("bin"),
    word("shed"),
    word("condition"),
    word("subject"),
    word("state"),
    word("priority"),
    ms("since_ms"),
    ms("state_at_ms"),
    ms("raised_at_ms", needed=False),
    ms("returned_at_ms", needed=False),
    ms("acknowledged_at_ms", needed=False),
    text("acknowledged_by"),
    ms("shelved_until_ms", needed=False),
    text("cause"),
    text("grade"),
    double("certainty"),
    ms("forecast_for_ms", needed=False),
    ms("feed_at_ms", needed=False),
    text("evidence"),
    text("advice"),
    text("text"),
    text("told_at_ms"),
    word("told_priority", server_default=""),
    sa.Column("said", sa.Text, nullable=False, server_default=""),
    sa.Index(None, "bin", "since_ms"),
    sa.Index(None, "state"),
)

alert_acts = sa.Table(
    "alert_acts",
    metadata,
    number(),
    sa.Column("alert", sa.String(255), sa.ForeignKey("alerts.id"), nullable=False, index=True),
    word("act"),
    text("by"),
    ms("at_ms"),
    ms("until_ms", needed=False),
)

transitions = sa.Table(
    "transitions",
    metadata,
    number(),
    word("bin"),
    word("condition"),
    word("kind"),
    ms("at_ms"),
    sa.Column("alert", sa.String(255), nullable=False),
    word("priority"),
    text("reason"),
    sa.UniqueConstraint("bin", "condition", "kind", "at_ms", "alert"),
)

spells = sa.Table(
    "spells",
    metadata,
    sa.Column("bin", sa.String(64), primary_key=True),
    sa.Column("condition", sa.String(64), primary_key=True),
    sa.Column("began_ms", sa.BigInteger, primary_key=True, autoincrement=False),
    ms("ended_ms", needed=False),
    text("grade"),
    double("peak", needed=False),
    double("water_g_m2", needed=False),
    ms("feed_at_ms", needed=False),
)

outbox = sa.Table(
    "outbox",
    metadata,
    number(),
    sa.Column("message_key", sa.String(255), nullable=False),
    sa.Column("channel", sa.String(128), nullable=False),
    text("message"),
    word("state"),
    sa.Column("tries", sa.Integer, nullable=False),
    ms("due_at_ms"),
    ms("done_at_ms", needed=False),
    text("error"),
    sa.UniqueConstraint("message_key", "channel"),
    sa.Index(None, "state", "due_at_ms"),
)

people = sa.Table(
    "people",
    metadata,
    sa.Column("name", sa.String(64), primary_key=True),
    word("role"),
    text("passphrase_hash"),
)

sessions = sa.Table(
    "sessions",
    metadata,
    sa.Column("token_sha256", sa.String(64), primary_key=True),
    sa.Column(
        "person",
        sa.String(64),
        sa.ForeignKey("people.name", ondelete="CASCADE"),
        nullable=False,
        index=True,
    ),
    ms("opened_at_ms"),
    ms("until_ms"),
)

routes = sa.Table(
    "routes",
    metadata,
    sa.Column("id", sa.String(64), primary_key=True),
    sa.Column(
        "person",
        sa.String(64),
        sa.ForeignKey("people.name", ondelete="CASCADE"),
        nullable=False,
        index=True,
    ),
    text("label"),
    text("hint"),
    text("address"),
    text("rules"),
    ms("changed_at_ms"),
    ms("digested_at_ms"),
)

tokens = sa.Table(
    "tokens",
    metadata,
    sa.Column("label", sa.String(64), primary_key=True),
    word("role"),
    word("token_sha256", unique=True),
)

door_secrets = sa.Table(
    "door_secrets",
    metadata,
    sa.Column("user", sa.String(64), primary_key=True),
    word("secret_sha256"),
)

mappings = sa.Table(
    "mappings",
    metadata,
    sa.Column("name", sa.String(64), primary_key=True),
    text("fields"),
)

past_filters = sa.Table(
    "past_filters",
    metadata,
    number(),
    sa.Column("filter", sa.String(255), nullable=False, unique=True),
)

workers = sa.Table(
    "workers",
    metadata,
    sa.Column("name", sa.String(128), primary_key=True),
    sa.Column("kind", sa.String(64), primary_key=True),
    ms("until_ms"),
)

leases = sa.Table(
    "leases",
    metadata,
    sa.Column("kind", sa.String(64), primary_key=True),
    sa.Column("name", sa.String(128), primary_key=True),
    word("holder"),
    sa.Column("token", sa.BigInteger, nullable=False),
    ms("until_ms"),
)

bin_states = sa.Table(
    "bin_states",
    metadata,
    sa.Column("bin", sa.String(64), primary_key=True),
    word("shed"),
    ms("judged_at_ms"),
    text("state"),
    sa.Index(None, "judged_at_ms"),
)

weather = sa.Table(
    "weather",
    metadata,
    sa.Column("shed", sa.String(64), primary_key=True),
    sa.Column("at_ms", sa.BigInteger, primary_key=True, autoincrement=False),
    sa.Column("received_at_ms", sa.BigInteger, primary_key=True, autoincrement=False),
    double("temp_c"),
)
