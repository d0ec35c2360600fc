"""The door's users: two made at the first start, and one for each probe given a secret of its own."""

from __future__ import annotations

import secrets
from pathlib import Path
from typing import Final

from underlid.mqtt.grants import HOUSEHOLD, KEEPER, Grants
from underlid.readings.mapped import NO_MAPPINGS, Mappings
from underlid.storage.records import Records

SECRET_BYTES: Final = 16
"""128 bits: nobody guesses it, and a plain hash of it is enough."""

USERS_FILE: Final = "door-users.txt"
"""Beside the databases, readable by the owner only, so that the keeper can look a password up."""


class DoorUsers:
    """The users of the door: two made at the first start, one for each probe given its own."""

    def __init__(self, records: Records, folder: Path) -> None:
        self._records = records
        self._file = folder / USERS_FILE
        known = records.door_secrets()
        missing = [user for user in (HOUSEHOLD, KEEPER) if user not in known]
        for user in missing:
            secret = secrets.token_urlsafe(SECRET_BYTES)
            if records.add_door_secret(user, secret):
                self._write(user, secret)
        self._hashes = records.door_secrets()

    @property
    def shown(self) -> str:
        """Return the household's password, or where it was."""
        return self._read().get(HOUSEHOLD, f"(not shown: {self._file.name} was removed)")

    def grants(self, mappings: Mappings = NO_MAPPINGS) -> Grants:
        """Return who may do what at the door, and send what *mappings* read."""
        return Grants(self._hashes, mappings)

    def changed(self) -> bool:
        """Look again; tell whether a user was added or changed on the page."""
        hashes = self._records.door_secrets()
        if hashes == self._hashes:
            return False
        self._hashes = hashes
        return True

    def _read(self) -> dict[str, str]:
        if not self._file.exists():
            return {}
        lines = self._file.read_text(encoding="utf-8").splitlines()
        return dict(line.split(" ", 1) for line in lines if " " in line)

    def _write(self, user: str, secret: str) -> None:
        users = self._read() | {user: secret}
        self._file.touch(mode=0o600)
        self._file.write_text(
            "".join(f"{name} {word}\n" for name, word in users.items()), encoding="utf-8"
        )
