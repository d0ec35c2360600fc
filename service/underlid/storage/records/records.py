"""The facade of the records: everything that is not a reading, behind one object.

Each subject has a file with its methods: `setup.py`, `entries.py`, `alerts.py`, `outbox.py`,
`photos.py`, `routes.py`, `ended.py`, `trials.py`, `digests.py`, `out_of_service.py`, `accounts.py`,
`credentials.py`, `own_keys.py`, `leases.py`, `states.py`, `weather.py`, `mappings.py`. All calls
block, may come from any thread, and are on disk when they return. The tables are in `tables.py`.
"""

from __future__ import annotations

from underlid.storage.records.accounts import AccountRecords
from underlid.storage.records.alerts import AlertRecords
from underlid.storage.records.credentials import CredentialRecords
from underlid.storage.records.database import Database
from underlid.storage.records.digests import DigestRecords
from underlid.storage.records.ended import EndedRecords
from underlid.storage.records.entries import EntryRecords
from underlid.storage.records.leases import LeaseRecords
from underlid.storage.records.mappings import MappingRecords
from underlid.storage.records.out_of_service import ServiceRecords
from underlid.storage.records.outbox import OutboxRecords
from underlid.storage.records.own_keys import OwnKeyRecords
from underlid.storage.records.photos import PhotoRecords
from underlid.storage.records.routes import RouteRecords
from underlid.storage.records.setup import SetupRecords
from underlid.storage.records.states import StateRecords
from underlid.storage.records.trials import TrialRecords
from underlid.storage.records.weather import WeatherRecords


class Records(
    SetupRecords,
    MappingRecords,
    EntryRecords,
    PhotoRecords,
    AlertRecords,
    OutboxRecords,
    RouteRecords,
    EndedRecords,
    TrialRecords,
    DigestRecords,
    ServiceRecords,
    AccountRecords,
    CredentialRecords,
    OwnKeyRecords,
    LeaseRecords,
    StateRecords,
    WeatherRecords,
):
    """Set-up, journal, alerts, outbox, people and secrets of one installation."""

    @classmethod
    def open(cls, url: str) -> Records:
        """Open `sqlite:///…` or a PostgreSQL address, bringing its tables up to date."""
        return cls(Database(url))

    def close(self) -> None:
        """Let go of the database."""
        self._database.close()
