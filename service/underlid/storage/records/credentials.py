"""Secrets of the MQTT door, by user name, kept as SHA-256; `mqtt.grants` says what a user may do.

The secrets are random, so a fast hash protects them; they are shown once, when they are made.
"""

from __future__ import annotations

import hashlib
import secrets
from typing import Final

import sqlalchemy as sa

from underlid.storage.records.columns import put
from underlid.storage.records.database import Subject
from underlid.storage.records.setup import check_id
from underlid.storage.records.tables import door_secrets

SECRET_BYTES: Final = 18
"""144 bits: 24 characters that a person can copy into a probe's settings."""


class CredentialRecords(Subject):
    """Makes, sets and lists the secrets of the door."""

    def door_secrets(self) -> dict[str, str]:
        """Return the SHA-256 (hexadecimal) of each user's secret."""
        with self._database.read() as connection:
            rows = connection.execute(sa.select(door_secrets)).all()
        return {row.user: row.secret_sha256 for row in rows}

    def make_probe_secret(self, probe: str) -> str:
        """Return a new secret for one probe, shown this once; the old one ends."""
        check_id("probe", probe)
        secret = secrets.token_urlsafe(SECRET_BYTES)
        self.set_door_secret(probe, secret)
        return secret

    def set_door_secret(self, user: str, secret: str) -> None:
        """Set the secret of a user of the door."""
        hashed = hashlib.sha256(secret.encode()).hexdigest()
        with self._database.write() as connection:
            put(connection, door_secrets, {"user": user}, {"secret_sha256": hashed})

    def add_door_secret(self, user: str, secret: str) -> bool:
        """Set the secret of a user who has none yet; False when there is one."""
        hashed = hashlib.sha256(secret.encode()).hexdigest()
        there = sa.select(door_secrets.c.user).where(door_secrets.c.user == user)
        with self._database.write() as connection:
            if connection.execute(there).first() is not None:
                return False
            put(connection, door_secrets, {"user": user}, {"secret_sha256": hashed})
        return True

    def end_probe_secret(self, probe: str) -> bool:
        """End a probe's own secret: the household's does for it again. False when it had none."""
        check_id("probe", probe)
        with self._database.write() as connection:
            ended = connection.execute(
                sa.delete(door_secrets).where(door_secrets.c.user == probe)
            ).rowcount
        return ended > 0
