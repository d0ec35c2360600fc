"""The first tables: set-up, journal, alerts, outbox, people and secrets.

A step never imports `tables.py`: it says what the tables were when it was written.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make all tables."""
    _make_setup()
    _make_journal()
    _make_alerts()
    _make_changes()
    _make_outbox()
    _make_accounts()


def _make_setup() -> None:
    op.create_table(
        "sheds",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("air_probe", sa.String(length=64), nullable=True),
        sa.Column("timezone", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_sheds"),
    )
    op.create_table(
        "bins",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("shed", sa.String(length=64), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("kind", sa.String(length=128), nullable=False),
        sa.Column("species", sa.Text(), nullable=False),
        sa.Column("herd_kg", sa.Double(), nullable=False),
        sa.Column("volume_l", sa.Double(), nullable=False),
        sa.Column("bed_kg", sa.Double(), nullable=False),
        sa.Column("dry_density_kg_l", sa.Double(), nullable=False),
        sa.Column("lid_area_m2", sa.Double(), nullable=False),
        sa.Column("target_moisture_pct", sa.Double(), nullable=False),
        sa.Column("bedding", sa.String(length=128), nullable=False),
        sa.Column("limits", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["shed"], ["sheds.id"], name="fk_bins_shed", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name="pk_bins"),
    )
    op.create_table(
        "probe_places",
        sa.Column("probe", sa.String(length=64), nullable=False),
        sa.Column("shed", sa.String(length=64), nullable=False),
        sa.Column("bin", sa.String(length=64), nullable=True),
        sa.Column("depth_cm", sa.Double(), nullable=True),
        sa.Column("soil_dry_raw", sa.Double(), nullable=True),
        sa.Column("soil_wet_raw", sa.Double(), nullable=True),
        sa.Column("soil_points", sa.Text(), nullable=False),
        sa.Column("calibrations", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["bin"], ["bins.id"], name="fk_probe_places_bin", ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["shed"], ["sheds.id"], name="fk_probe_places_shed", ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("probe", name="pk_probe_places"),
    )
    op.create_table(
        "probe_statuses",
        sa.Column("probe", sa.String(length=64), nullable=False),
        sa.Column("shed", sa.String(length=128), nullable=False),
        sa.Column("online", sa.Boolean(), nullable=False),
        sa.Column("received_at_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("probe", name="pk_probe_statuses"),
    )
    op.create_table(
        "revisions",
        sa.Column("subject", sa.String(length=64), nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("subject", name="pk_revisions"),
    )


def _make_journal() -> None:
    op.create_table(
        "entry_versions",
        sa.Column(
            "number",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("id", sa.String(length=128), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("newest", sa.Boolean(), nullable=False),
        sa.Column("bin", sa.String(length=128), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("known_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("kind", sa.String(length=128), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_entry_versions"),
        sa.UniqueConstraint("id", "version", name="uq_entry_versions_id_version"),
    )
    op.create_index("ix_entry_versions_bin_at_ms", "entry_versions", ["bin", "at_ms"], unique=False)
    op.create_index(
        "ix_entry_versions_newest_at_ms", "entry_versions", ["newest", "at_ms"], unique=False
    )
    op.create_table(
        "entry_keys",
        sa.Column("key", sa.String(length=255), nullable=False),
        sa.Column("entry", sa.String(length=128), nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_entry_keys"),
    )


def _make_alerts() -> None:
    op.create_table(
        "alerts",
        sa.Column("id", sa.String(length=255), nullable=False),
        sa.Column("bin", sa.String(length=128), nullable=False),
        sa.Column("shed", sa.String(length=128), nullable=False),
        sa.Column("condition", sa.String(length=128), nullable=False),
        sa.Column("subject", sa.String(length=128), nullable=False),
        sa.Column("state", sa.String(length=128), nullable=False),
        sa.Column("priority", sa.String(length=128), nullable=False),
        sa.Column("since_ms", sa.BigInteger(), nullable=False),
        sa.Column("state_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("raised_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("returned_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("acknowledged_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("acknowledged_by", sa.Text(), nullable=False),
        sa.Column("shelved_until_ms", sa.BigInteger(), nullable=True),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("grade", sa.Text(), nullable=False),
        sa.Column("certainty", sa.Double(), nullable=False),
        sa.Column("forecast_for_ms", sa.BigInteger(), nullable=True),
        sa.Column("feed_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("evidence", sa.Text(), nullable=False),
        sa.Column("advice", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("told_at_ms", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_alerts"),
    )
    op.create_index("ix_alerts_bin_since_ms", "alerts", ["bin", "since_ms"], unique=False)
    op.create_index("ix_alerts_state", "alerts", ["state"], unique=False)
    op.create_table(
        "alert_acts",
        sa.Column(
            "number",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("alert", sa.String(length=255), nullable=False),
        sa.Column("act", sa.String(length=128), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("until_ms", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["alert"], ["alerts.id"], name="fk_alert_acts_alert"),
        sa.PrimaryKeyConstraint("number", name="pk_alert_acts"),
    )
    op.create_index("ix_alert_acts_alert", "alert_acts", ["alert"], unique=False)


def _make_changes() -> None:
    op.create_table(
        "transitions",
        sa.Column(
            "number",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("bin", sa.String(length=128), nullable=False),
        sa.Column("condition", sa.String(length=128), nullable=False),
        sa.Column("kind", sa.String(length=128), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("alert", sa.String(length=255), nullable=False),
        sa.Column("priority", sa.String(length=128), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_transitions"),
        sa.UniqueConstraint(
            "bin",
            "condition",
            "kind",
            "at_ms",
            "alert",
            name="uq_transitions_bin_condition_kind_at_ms_alert",
        ),
    )
    op.create_table(
        "spells",
        sa.Column("bin", sa.String(length=64), nullable=False),
        sa.Column("condition", sa.String(length=64), nullable=False),
        sa.Column("began_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("ended_ms", sa.BigInteger(), nullable=True),
        sa.Column("grade", sa.Text(), nullable=False),
        sa.Column("peak", sa.Double(), nullable=True),
        sa.Column("water_g_m2", sa.Double(), nullable=True),
        sa.Column("feed_at_ms", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("bin", "condition", "began_ms", name="pk_spells"),
    )


def _make_outbox() -> None:
    op.create_table(
        "outbox",
        sa.Column(
            "number",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("message_key", sa.String(length=255), nullable=False),
        sa.Column("channel", sa.String(length=128), nullable=False),
        sa.Column("message", sa.Text(), nullable=False),
        sa.Column("state", sa.String(length=128), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("due_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("done_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("error", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_outbox"),
        sa.UniqueConstraint("message_key", "channel", name="uq_outbox_message_key_channel"),
    )
    op.create_index("ix_outbox_state_due_at_ms", "outbox", ["state", "due_at_ms"], unique=False)


def _make_accounts() -> None:
    op.create_table(
        "people",
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("role", sa.String(length=128), nullable=False),
        sa.Column("passphrase_hash", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_people"),
    )
    op.create_table(
        "sessions",
        sa.Column("token_sha256", sa.String(length=64), nullable=False),
        sa.Column("person", sa.String(length=64), nullable=False),
        sa.Column("opened_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("until_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["person"], ["people.name"], name="fk_sessions_person", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("token_sha256", name="pk_sessions"),
    )
    op.create_index("ix_sessions_person", "sessions", ["person"], unique=False)
    op.create_table(
        "tokens",
        sa.Column("label", sa.String(length=64), nullable=False),
        sa.Column("role", sa.String(length=128), nullable=False),
        sa.Column("token_sha256", sa.String(length=128), nullable=False),
        sa.PrimaryKeyConstraint("label", name="pk_tokens"),
        sa.UniqueConstraint("token_sha256", name="uq_tokens_token_sha256"),
    )
    op.create_table(
        "door_secrets",
        sa.Column("user", sa.String(length=64), nullable=False),
        sa.Column("secret_sha256", sa.String(length=128), nullable=False),
        sa.PrimaryKeyConstraint("user", name="pk_door_secrets"),
    )
