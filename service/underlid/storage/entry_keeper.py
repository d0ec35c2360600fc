"""Journal entries that come over MQTT: on disk before they are acknowledged, once each."""

from __future__ import annotations

import hashlib
from uuid import uuid4

import msgspec

from underlid.errors import UnderlidError
from underlid.journal.parse import entry_from_fields
from underlid.readings.values import RawEntry
from underlid.storage.records import Records


class EntryKeeper:
    """Puts them into the records; the recorder calls it on its writer thread."""

    def __init__(self, records: Records) -> None:
        self._records = records

    def __call__(self, raw: RawEntry) -> str | None:
        """Store one entry; return the sentence why it cannot be, or None."""
        try:
            entry = entry_from_fields(
                raw.fields, known_at_ms=raw.received_at_ms, new_id=uuid4().hex
            )
            self._records.add_entry(entry, self._key(raw))
        except UnderlidError as error:
            return str(error)
        return None

    @staticmethod
    def _key(raw: RawEntry) -> str:
        """Return what makes a resend recognisable; nothing for an entry without a time."""
        if not raw.fields.get("time"):
            return ""
        body = msgspec.json.encode(raw.fields, order="sorted")
        return "mqtt " + hashlib.blake2b(body, digest_size=16).hexdigest()
