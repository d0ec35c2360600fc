"""People, their sessions, and tokens for programs.

Passphrases are kept as Argon2id hashes; session and API tokens are random (256 bits) and kept as
SHA-256, for a slow hash protects only what can be guessed. Who may do what is `web`'s business.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
import threading
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import sqlalchemy as sa
from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerifyMismatchError

from underlid.errors import UnderlidError, Words
from underlid.journal.numbers import line_of_text
from underlid.storage.records.database import Subject
from underlid.storage.records.routes import forget_routes
from underlid.storage.records.tables import people, routes, sessions, tokens
from underlid.timeline import DAY_MS

PASSPHRASE_LEAST_CHARS: Final = 8
"""The least that guidance for passwords allows (NIST SP 800-63B, from memory)."""

PASSPHRASE_MOST_CHARS: Final = 256
NAME_MOST_CHARS: Final = 64
SESSION_MS: Final = 30 * DAY_MS
"""A phone in the shed logs in once a month; our judgement."""

TOKEN_BYTES: Final = 32

HASHER: Final = PasswordHasher(time_cost=2, memory_cost=19_456, parallelism=1)
"""19 MiB, two passes: what OWASP lists for Argon2id (from memory), bearable on a small computer."""

_ONE_AT_A_TIME: Final = threading.Lock()
"""Hashing takes 19 MiB each time; a burst of log-ins must not add them up."""


class Role(StrEnum):
    """What a person or a program may do, from all to looking only."""

    KEEPER = "keeper"
    LEAD = "lead"
    READER = "reader"


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who may log in."""

    name: str
    role: Role


class AccountRecords(Subject):
    """Adds people and checks who is asking."""

    def people(self) -> list[Person]:
        """Return everybody, by name."""
        with self._database.read() as connection:
            rows = connection.execute(sa.select(people).order_by(people.c.name)).all()
        return [Person(row.name, Role(row.role)) for row in rows]

    def add_person(self, name: str, role: Role | str, passphrase: str) -> Person:
        """Add somebody; refuses a name that is taken and a passphrase that is too short."""
        person = Person(_checked_name(name), _role(role))
        hashed = _hash(passphrase)
        with self._database.write() as connection:
            if connection.execute(sa.select(people).where(people.c.name == person.name)).first():
                raise UnderlidError(
                    "name",
                    value=person.name,
                    expected="a name nobody here has",
                    next_step="Choose another name, or set this person's passphrase.",
                )
            connection.execute(
                sa.insert(people).values(
                    name=person.name, role=person.role.value, passphrase_hash=hashed
                )
            )
        return person

    def remove_person(self, name: str) -> None:
        """Remove somebody with their sessions and addresses; what they wrote keeps their name."""
        with self._database.write() as connection:
            forget_routes(connection, routes.c.person == name)
            connection.execute(sa.delete(people).where(people.c.name == name))

    def set_passphrase(self, name: str, passphrase: str) -> None:
        """Change somebody's passphrase and close their sessions."""
        hashed = _hash(passphrase)
        here = sa.update(people).where(people.c.name == name)
        with self._database.write() as connection:
            if not connection.execute(here.values(passphrase_hash=hashed)).rowcount:
                raise UnderlidError(
                    "name",
                    value=name,
                    expected="somebody who was added",
                    next_step="Add the person first, or correct the name.",
                )
            connection.execute(sa.delete(sessions).where(sessions.c.person == name))

    def check_passphrase(self, name: str, passphrase: str) -> Person | None:
        """Return the person when the passphrase is theirs; as slow for a name nobody has."""
        with self._database.read() as connection:
            row = connection.execute(sa.select(people).where(people.c.name == name)).first()
        hashed = _NOBODY if row is None else row.passphrase_hash
        if len(passphrase) > PASSPHRASE_MOST_CHARS or not _fits(hashed, passphrase):
            return None
        if row is None:
            return None
        if HASHER.check_needs_rehash(hashed):
            again = sa.update(people).where(people.c.name == name)
            with self._database.write() as connection:
                connection.execute(again.values(passphrase_hash=_hash(passphrase)))
        return Person(row.name, Role(row.role))

    def open_session(self, person: Person, now_ms: int) -> str:
        """Return the token of a new session; sessions that have run out are swept away."""
        token = secrets.token_urlsafe(TOKEN_BYTES)
        with self._database.write() as connection:
            connection.execute(sa.delete(sessions).where(sessions.c.until_ms <= now_ms))
            connection.execute(
                sa.insert(sessions).values(
                    token_sha256=_sha256(token),
                    person=person.name,
                    opened_at_ms=now_ms,
                    until_ms=now_ms + SESSION_MS,
                )
            )
        return token

    def session(self, token: str, now_ms: int) -> Person | None:
        """Return who opened the session, with the role they have now."""
        hashed = _sha256(token)
        wanted = (
            sa.select(sessions.c.token_sha256, people.c.name, people.c.role)
            .join(people, people.c.name == sessions.c.person)
            .where(sessions.c.token_sha256 == hashed, sessions.c.until_ms > now_ms)
        )
        with self._database.read() as connection:
            row = connection.execute(wanted).first()
        if row is None or not hmac.compare_digest(row.token_sha256, hashed):
            return None
        return Person(row.name, Role(row.role))

    def close_session(self, token: str) -> None:
        """Forget a session."""
        gone = sa.delete(sessions).where(sessions.c.token_sha256 == _sha256(token))
        with self._database.write() as connection:
            connection.execute(gone)

    def make_token(self, label: str, role: Role | str) -> str:
        """Return a new token for a program, shown this once; the label's old token ends."""
        name, wanted = _checked_name(label), _role(role)
        token = secrets.token_urlsafe(TOKEN_BYTES)
        with self._database.write() as connection:
            connection.execute(sa.delete(tokens).where(tokens.c.label == name))
            connection.execute(
                sa.insert(tokens).values(label=name, role=wanted.value, token_sha256=_sha256(token))
            )
        return token

    def token_role(self, token: str) -> Role | None:
        """Return what the program with this token may do, None for no such token."""
        hashed = _sha256(token)
        with self._database.read() as connection:
            row = connection.execute(
                sa.select(tokens).where(tokens.c.token_sha256 == hashed)
            ).first()
        if row is None or not hmac.compare_digest(row.token_sha256, hashed):
            return None
        return Role(row.role)

    def tokens(self) -> dict[str, Role]:
        """Return the labels of all tokens with their roles."""
        with self._database.read() as connection:
            rows = connection.execute(sa.select(tokens).order_by(tokens.c.label)).all()
        return {row.label: Role(row.role) for row in rows}

    def remove_token(self, label: str) -> None:
        """End a token."""
        with self._database.write() as connection:
            connection.execute(sa.delete(tokens).where(tokens.c.label == label))


def _sha256(token: str) -> str:
    return hashlib.sha256(token.encode(errors="replace")).hexdigest()


def _fits(hashed: str, passphrase: str) -> bool:
    with _ONE_AT_A_TIME:
        try:
            return HASHER.verify(hashed, passphrase.encode(errors="replace"))
        except (VerifyMismatchError, InvalidHashError):
            return False


def _hash(passphrase: str) -> str:
    if not PASSPHRASE_LEAST_CHARS <= len(passphrase) <= PASSPHRASE_MOST_CHARS:
        raise UnderlidError(
            "passphrase",
            value=Words(f"{len(passphrase)} characters long"),
            expected=f"{PASSPHRASE_LEAST_CHARS} to {PASSPHRASE_MOST_CHARS} characters",
            next_step="Choose several words.",
        )
    with _ONE_AT_A_TIME:
        return HASHER.hash(passphrase.encode(errors="replace"))


def _checked_name(name: str) -> str:
    text = line_of_text("name", name, NAME_MOST_CHARS)
    if not text or not text.isprintable():
        raise UnderlidError(
            "name", value=name, expected="a name that can be read", next_step="Type a name."
        )
    return text


def _role(role: Role | str) -> Role:
    try:
        return Role(role)
    except ValueError:
        raise UnderlidError(
            "role", value=role, expected=" or ".join(Role), next_step="Choose one of these."
        ) from None


_NOBODY: Final = _hash(secrets.token_urlsafe(TOKEN_BYTES))
"""Checked when nobody has the name, so that the answer takes as long."""
