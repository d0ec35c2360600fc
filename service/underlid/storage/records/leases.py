"""Who does what, among several workers: leases on sheds and channels, in the database they share.

A lease is a row: its holder, a random token, and until when. A worker takes what nobody holds, or
what was not renewed, up to its fair share, and gives up what is above it. Whoever writes on behalf
of a lease checks its token in the same transaction (`require`), so a worker that lost it, however
late it notices, writes nothing. Times are the database's own: the workers' clocks do not matter.
`underlid.workers.sharing` drives this.
"""

from __future__ import annotations

import secrets
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Final

import sqlalchemy as sa

from underlid.storage.records.columns import put
from underlid.storage.records.database import Subject
from underlid.storage.records.tables import leases, workers
from underlid.timeline import DAY_MS

TOKEN_BITS: Final = 62
"""Random, so that a token is never given twice, not even after a row was deleted."""

CHANNEL: Final = "channel"
"""The kind of leases on channels, which end with a person's address."""

NOBODY: Final = ""

FORGOTTEN_MS: Final = 7 * DAY_MS
"""A worker that has given no sign of life for so long will not come back under its name."""

_SQLITE_NOW: Final = "CAST((julianday('now') - 2440587.5) * 86400000.0 AS INTEGER)"
_POSTGRESQL_NOW: Final = "CAST(extract(epoch FROM clock_timestamp()) * 1000 AS BIGINT)"


class LeaseLostError(Exception):
    """Another worker holds the lease now; what was to be written is its business."""


@dataclass(frozen=True, slots=True)
class Lease:
    """The right to do one thing (a shed, a channel) until it is lost."""

    kind: str
    name: str
    token: int


class LeaseRecords(Subject):
    """Shares things out among workers."""

    @property
    def shared(self) -> bool:
        """Tell whether several workers may use these records at the same time."""
        return self._database.shared

    def share(
        self,
        worker: str,
        kind: str,
        names: Collection[str],
        held: Collection[Lease],
        lease_ms: int,
    ) -> list[Lease]:
        """Return the leases on *names* that *worker* holds from now on: its fair share.

        *held* are those it knows of. What its row holds beyond them was taken by an earlier process
        of the same name; it is taken over at once, and that process can no longer write.
        """
        tokens = [lease.token for lease in held if lease.kind == kind]
        with self._database.write(alone=False) as connection:
            now_ms = database_now_ms(connection)
            until_ms = now_ms + lease_ms
            put(connection, workers, {"name": worker, "kind": kind}, {"until_ms": until_ms})
            long_gone = workers.c.until_ms <= now_ms - FORGOTTEN_MS
            connection.execute(sa.delete(workers).where(workers.c.kind == kind, long_gone))
            _make_rows(connection, kind, names)
            mine = _kept(connection, worker, kind, names, tokens, until_ms)
            fair = _fair_share(connection, worker, kind, len(names), now_ms)
            _release(connection, mine[fair:])
            free = sa.or_(
                leases.c.until_ms <= now_ms,
                sa.and_(leases.c.holder == worker, leases.c.token.not_in(tokens)),
            )
            taken = _take(connection, worker, kind, names, free, fair - len(mine), until_ms)
        return [*mine[:fair], *taken]

    def renew(self, worker: str, held: Collection[Lease], lease_ms: int) -> None:
        """Give a sign of life: the worker and what it holds stay for another *lease_ms*."""
        tokens = [lease.token for lease in held]
        with self._database.write(alone=False) as connection:
            until_ms = database_now_ms(connection) + lease_ms
            connection.execute(
                sa.update(workers).where(workers.c.name == worker).values(until_ms=until_ms)
            )
            if tokens:
                mine = sa.and_(leases.c.holder == worker, leases.c.token.in_(tokens))
                connection.execute(sa.update(leases).where(mine).values(until_ms=until_ms))

    def leave(self, worker: str, held: Collection[Lease], staying: Collection[str] = ()) -> None:
        """Give everything back, so that others need not wait until it runs out.

        Of the kinds in *staying* it counts as a worker until its last sign of life runs out.
        """
        here = sa.and_(workers.c.name == worker, workers.c.kind.not_in(staying))
        with self._database.write(alone=False) as connection:
            connection.execute(sa.delete(workers).where(here))
            _release(connection, held)

    def gone(self, kind: str) -> list[str]:
        """Return the workers of a kind that give no sign of life any more."""
        with self._database.read() as connection:
            now_ms = database_now_ms(connection)
            wanted = sa.select(workers.c.name).where(
                workers.c.kind == kind, workers.c.until_ms <= now_ms
            )
            return sorted(connection.execute(wanted).scalars())

    def forget_gone(self, kind: str, worker: str) -> None:
        """Forget a worker that is gone, unless it has come back."""
        with self._database.write(alone=False) as connection:
            here = sa.and_(workers.c.name == worker, workers.c.kind == kind)
            gone = workers.c.until_ms <= database_now_ms(connection)
            connection.execute(sa.delete(workers).where(here, gone))

    def holders(self, kind: str) -> dict[str, str]:
        """Return who holds what of one kind at this moment; what nobody holds is left out."""
        with self._database.read() as connection:
            now_ms = database_now_ms(connection)
            rows = connection.execute(
                sa.select(leases.c.name, leases.c.holder).where(
                    leases.c.kind == kind, leases.c.until_ms > now_ms
                )
            ).all()
        return {row.name: row.holder for row in rows}


def require(connection: sa.Connection, lease: Lease) -> None:
    """Go on only while *lease* holds; nobody can take it before this transaction has ended."""
    here = _row(lease.kind, lease.name)
    wanted = sa.select(leases.c.token).where(here).with_for_update(read=True)
    if connection.execute(wanted).scalar() != lease.token:
        raise LeaseLostError(f"{lease.kind} {lease.name}")


def database_now_ms(connection: sa.Connection) -> int:
    """Return the time by the database's clock, which all workers share."""
    text = _POSTGRESQL_NOW if connection.dialect.name == "postgresql" else _SQLITE_NOW
    now_ms: int = connection.execute(sa.select(sa.literal_column(text))).scalar_one()
    return now_ms


def _row(kind: str, name: str) -> sa.ColumnElement[bool]:
    return sa.and_(leases.c.kind == kind, leases.c.name == name)


def _make_rows(connection: sa.Connection, kind: str, names: Iterable[str]) -> None:
    """Make the rows of what is new; whoever comes second finds them."""
    known = set(connection.execute(sa.select(leases.c.name).where(leases.c.kind == kind)).scalars())
    for name in sorted(set(names) - known):
        values = {"holder": NOBODY, "token": 0, "until_ms": 0}
        put(connection, leases, {"kind": kind, "name": name}, values, unless=sa.true())


def _kept(
    connection: sa.Connection,
    worker: str,
    kind: str,
    names: Collection[str],
    tokens: Collection[int],
    until_ms: int,
) -> list[Lease]:
    """Renew what the worker holds, and return it."""
    mine = sa.and_(leases.c.kind == kind, leases.c.holder == worker, leases.c.token.in_(tokens))
    rows = connection.execute(
        sa.update(leases)
        .where(mine)
        .values(until_ms=until_ms)
        .returning(leases.c.name, leases.c.token)
    ).all()
    kept = [Lease(kind, row.name, row.token) for row in sorted(rows, key=lambda row: row.name)]
    _release(connection, [lease for lease in kept if lease.name not in names])
    return [lease for lease in kept if lease.name in names]


def _fair_share(connection: sa.Connection, worker: str, kind: str, count: int, now_ms: int) -> int:
    """Return how many of *count* things are this worker's part: equal parts, rests by name."""
    alive = sa.select(workers.c.name).where(workers.c.kind == kind, workers.c.until_ms > now_ms)
    names = sorted({*connection.execute(alive).scalars(), worker})
    part, rest = divmod(count, len(names))
    return part + (names.index(worker) < rest)


def _take(
    connection: sa.Connection,
    worker: str,
    kind: str,
    names: Collection[str],
    free: sa.ColumnElement[bool],
    most: int,
    until_ms: int,
) -> list[Lease]:
    """Take up to *most* of what is free; what another worker is just taking is passed over."""
    if most <= 0 or not names:
        return []
    wanted = (
        sa.select(leases.c.name)
        .where(leases.c.kind == kind, leases.c.name.in_(names), free)
        .order_by(leases.c.name)
        .limit(most)
        .with_for_update(skip_locked=True)
    )
    taken = [
        Lease(kind, name, secrets.randbits(TOKEN_BITS))
        for name in connection.execute(wanted).scalars().all()
    ]
    for lease in taken:
        connection.execute(
            sa.update(leases)
            .where(_row(kind, lease.name))
            .values(holder=worker, token=lease.token, until_ms=until_ms)
        )
    return taken


def _release(connection: sa.Connection, given_up: Iterable[Lease]) -> None:
    for lease in given_up:
        connection.execute(
            sa.update(leases)
            .where(_row(lease.kind, lease.name), leases.c.token == lease.token)
            .values(holder=NOBODY, until_ms=0)
        )
