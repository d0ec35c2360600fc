"""What a worker's role asks of the settings, looked at before anything is opened."""

from __future__ import annotations

from underlid.config import Settings
from underlid.errors import UnderlidError


def check_role(settings: Settings) -> None:
    """Refuse a part of the work where there is nobody to share it with, and keys that differ."""
    if settings.role != "all" and not settings.several:
        raise UnderlidError(
            "setting role",
            value=settings.role,
            expected="all, unless records are in PostgreSQL and readings in InfluxDB",
            next_step="Set records_url and readings_store, or leave role out.",
        )
    tells = settings.role in ("all", "judge") and settings.several
    if tells and settings.webhook_url and not settings.webhook_secret.get_secret_value():
        raise UnderlidError(
            "setting webhook_secret",
            value="(empty)",
            expected="one key for all workers that tell",
            next_step="Make one, such as with `openssl rand -hex 32`, and give it to each.",
        )
