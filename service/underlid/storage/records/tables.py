"""All tables of the records, as SQLAlchemy Core sees them.

A change here needs a new step in `migrations/versions/`; a test compares the two. Times are whole
milliseconds since 1970 UTC; nested values are JSON text (`columns.py`). A journal entry, an alert
and a message keep a bin's id without a foreign key: they outlive the bin.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

metadata = sa.MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _id() -> sa.Column[str]:
    return sa.Column("id", sa.String(64), primary_key=True)


def _number() -> sa.Column[int]:
    """Return a key that counts up; SQLite does that for its own INTEGER only."""
    kind = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
    return sa.Column("number", kind, primary_key=True, autoincrement=True)


def _text(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text, nullable=False)


def _word(name: str, **more: Any) -> sa.Column[str]:
    return sa.Column(name, sa.String(128), nullable=False, **more)


def _ms(name: str, *, needed: bool = True) -> sa.Column[int]:
    return sa.Column(name, sa.BigInteger, nullable=not needed)


def _float(name: str, *, needed: bool = True) -> sa.Column[float]:
    return sa.Column(name, sa.Double, nullable=not needed)


def _ref(name: str, target: str, *, needed: bool = True, ondelete: str = "CASCADE") -> Any:
    key = sa.ForeignKey(target, ondelete=ondelete)
    return sa.Column(name, sa.String(64), key, nullable=not needed)


revisions = sa.Table(
    "revisions",
    metadata,
    sa.Column("subject", sa.String(64), primary_key=True),
    sa.Column("revision", sa.BigInteger, nullable=False),
)

sheds = sa.Table(
    "sheds",
    metadata,
    _id(),
    _text("name"),
    sa.Column("air_probe", sa.String(64)),
    _text("timezone"),
)

bins = sa.Table(
    "bins",
    metadata,
    _id(),
    _ref("shed", "sheds.id", ondelete="RESTRICT"),
    _text("name"),
    _word("kind"),
    _text("species"),
    _float("herd_kg"),
    _float("volume_l"),
    _float("bed_kg"),
    _float("dry_density_kg_l"),
    _float("lid_area_m2"),
    _float("target_moisture_pct"),
    _word("bedding"),
    _text("limits"),
)

probe_places = sa.Table(
    "probe_places",
    metadata,
    sa.Column("probe", sa.String(64), primary_key=True),
    _ref("shed", "sheds.id", ondelete="RESTRICT"),
    _ref("bin", "bins.id", needed=False),
    _float("depth_cm", needed=False),
    _float("soil_dry_raw", needed=False),
    _float("soil_wet_raw", needed=False),
    _text("soil_points"),
    _text("calibrations"),
)

probe_statuses = sa.Table(
    "probe_statuses",
    metadata,
    sa.Column("probe", sa.String(64), primary_key=True),
    _word("shed"),
    sa.Column("online", sa.Boolean, nullable=False),
    _ms("received_at_ms"),
)

entry_versions = sa.Table(
    "entry_versions",
    metadata,
    _number(),
    _word("id"),
    sa.Column("version", sa.Integer, nullable=False),
    sa.Column("newest", sa.Boolean, nullable=False),
    _word("bin"),
    _ms("at_ms"),
    _ms("known_at_ms"),
    _word("kind"),
    _text("what"),
    _text("by"),
    _text("text"),
    sa.Column("withdrawn", sa.Boolean, nullable=False),
    sa.UniqueConstraint("id", "version"),
    sa.Index(None, "bin", "at_ms"),
    sa.Index(None, "newest", "at_ms"),
)

entry_keys = sa.Table(
    "entry_keys",
    metadata,
    sa.Column("key", sa.String(255), primary_key=True),
    _word("entry"),
)

alerts = sa.Table(
    "alerts",
    metadata,
    sa.Column("id", sa.String(255), primary_key=True),
    _word("bin"),
    _word("shed"),
    _word("condition"),
    _word("subject"),
    _word("state"),
    _word("priority"),
    _ms("since_ms"),
    _ms("state_at_ms"),
    _ms("raised_at_ms", needed=False),
    _ms("returned_at_ms", needed=False),
    _ms("acknowledged_at_ms", needed=False),
    _text("acknowledged_by"),
    _ms("shelved_until_ms", needed=False),
    _text("cause"),
    _text("grade"),
    _float("certainty"),
    _ms("forecast_for_ms", needed=False),
    _ms("feed_at_ms", needed=False),
    _text("evidence"),
    _text("advice"),
    _text("text"),
    _text("told_at_ms"),
    _word("told_priority", server_default=""),
    sa.Index(None, "bin", "since_ms"),
    sa.Index(None, "state"),
)

alert_acts = sa.Table(
    "alert_acts",
    metadata,
    _number(),
    sa.Column("alert", sa.String(255), sa.ForeignKey("alerts.id"), nullable=False, index=True),
    _word("act"),
    _text("by"),
    _ms("at_ms"),
    _ms("until_ms", needed=False),
)

transitions = sa.Table(
    "transitions",
    metadata,
    _number(),
    _word("bin"),
    _word("condition"),
    _word("kind"),
    _ms("at_ms"),
    sa.Column("alert", sa.String(255), nullable=False),
    _word("priority"),
    _text("reason"),
    sa.UniqueConstraint("bin", "condition", "kind", "at_ms", "alert"),
)

spells = sa.Table(
    "spells",
    metadata,
    sa.Column("bin", sa.String(64), primary_key=True),
    sa.Column("condition", sa.String(64), primary_key=True),
    sa.Column("began_ms", sa.BigInteger, primary_key=True, autoincrement=False),
    _ms("ended_ms", needed=False),
    _text("grade"),
    _float("peak", needed=False),
    _float("water_g_m2", needed=False),
    _ms("feed_at_ms", needed=False),
)

outbox = sa.Table(
    "outbox",
    metadata,
    _number(),
    sa.Column("message_key", sa.String(255), nullable=False),
    sa.Column("channel", sa.String(128), nullable=False),
    _text("message"),
    _word("state"),
    sa.Column("tries", sa.Integer, nullable=False),
    _ms("due_at_ms"),
    _ms("done_at_ms", needed=False),
    _text("error"),
    sa.UniqueConstraint("message_key", "channel"),
    sa.Index(None, "state", "due_at_ms"),
)

people = sa.Table(
    "people",
    metadata,
    sa.Column("name", sa.String(64), primary_key=True),
    _word("role"),
    _text("passphrase_hash"),
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
    _ms("opened_at_ms"),
    _ms("until_ms"),
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
    _text("label"),
    _text("hint"),
    _text("address"),
    _text("rules"),
    _ms("changed_at_ms"),
    _ms("digested_at_ms"),
)

tokens = sa.Table(
    "tokens",
    metadata,
    sa.Column("label", sa.String(64), primary_key=True),
    _word("role"),
    _word("token_sha256", unique=True),
)

door_secrets = sa.Table(
    "door_secrets",
    metadata,
    sa.Column("user", sa.String(64), primary_key=True),
    _word("secret_sha256"),
)

mappings = sa.Table(
    "mappings",
    metadata,
    sa.Column("name", sa.String(64), primary_key=True),
    _text("fields"),
)

past_filters = sa.Table(
    "past_filters",
    metadata,
    _number(),
    sa.Column("filter", sa.String(255), nullable=False, unique=True),
)

workers = sa.Table(
    "workers",
    metadata,
    sa.Column("name", sa.String(128), primary_key=True),
    sa.Column("kind", sa.String(64), primary_key=True),
    _ms("until_ms"),
)

leases = sa.Table(
    "leases",
    metadata,
    sa.Column("kind", sa.String(64), primary_key=True),
    sa.Column("name", sa.String(128), primary_key=True),
    _word("holder"),
    sa.Column("token", sa.BigInteger, nullable=False),
    _ms("until_ms"),
)

bin_states = sa.Table(
    "bin_states",
    metadata,
    sa.Column("bin", sa.String(64), primary_key=True),
    _word("shed"),
    _ms("judged_at_ms"),
    _text("state"),
    sa.Index(None, "judged_at_ms"),
)

weather = sa.Table(
    "weather",
    metadata,
    sa.Column("shed", sa.String(64), primary_key=True),
    sa.Column("at_ms", sa.BigInteger, primary_key=True, autoincrement=False),
    sa.Column("received_at_ms", sa.BigInteger, primary_key=True, autoincrement=False),
    _float("temp_c"),
)

photo_versions = sa.Table(
    "photo_versions",
    metadata,
    _number(),
    _word("id"),
    sa.Column("version", sa.Integer, nullable=False),
    sa.Column("newest", sa.Boolean, nullable=False),
    _word("entry", index=True),
    sa.Column("added", sa.Integer, nullable=False),
    _ms("known_at_ms"),
    _text("by"),
    _text("words"),
    _word("state"),
    _word("source_sha256"),
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
