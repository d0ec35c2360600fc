"""A message to tell, and records that hold it."""

from __future__ import annotations

from dataclasses import replace

from underlid.alerts.alert import Message, Occasion
from underlid.rules.finding import Priority
from underlid.storage.records import Records

AT_MS = 1_777_660_200_000  # 2026-05-01T18:30:00Z

TOLD = Message(
    "tansy:condensation:1777658000000:raised",
    "tansy:condensation:1777658000000",
    "tansy",
    "potting",
    AT_MS,
    Priority.MEDIUM,
    "Tansy: drops on the lid",
    "The lid is 0.8 °C below the dew point. Put 400 g of shredded newspaper on top.",
    Occasion.ALERT_RAISED,
)


def post(records: Records, channels: list[str], count: int = 1) -> None:
    """Put *count* messages for each channel into the outbox."""
    told = [
        replace(TOLD, key=f"{TOLD.key}:{number}" if number else TOLD.key) for number in range(count)
    ]
    records.save_judgement([], [], told, channels)
