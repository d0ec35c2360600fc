"""People's own addresses: kept here, handed out only to the courier, and their messages in the outbox.

An address lets whoever has it send in somebody's name, so it is never part of a `Route`. It stands in
the database as it was typed, since the courier needs it; see the telling page for what that means.
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass, replace
from typing import Final

import sqlalchemy as sa

from underlid.alerts.alert import AlertState, Message, Occasion
from underlid.alerts.routes import NO_WAIT, PUSH_SCHEME, Route, RouteRules, reaches, worded_for
from underlid.errors import UnderlidError, Words
from underlid.journal.numbers import line_of_text
from underlid.storage.records.columns import packed, unpacked
from underlid.storage.records.database import Subject
from underlid.storage.records.leases import CHANNEL
from underlid.storage.records.outbox import DEAD, SENT, SPARED, WAITING, post
from underlid.storage.records.tables import alert_acts, alerts, leases, outbox, people, routes

ID_BYTES: Final = 4
ADDRESS_MOST_CHARS: Final = 2000
LABEL_MOST_CHARS: Final = 40

REMOVED: Final = "the address was removed"

A_PERSON_MOST: Final = 8
ROUTES_MOST: Final = 200
"""Addresses of a person, and of a place: each is served on its own, and asked for at every message."""


@dataclass(frozen=True, slots=True)
class RouteNews:
    """What became of a message for an address."""

    state: str
    said: str
    done_at_ms: int | None
    tries: int


class RouteRecords(Subject):
    """Keeps people's addresses and says which messages wait for them."""

    def routes(self, person: str | None = None) -> list[Route]:
        """Return the addresses (of one person), by person and age, without what is secret."""
        wanted = sa.select(routes).order_by(routes.c.person, routes.c.label, routes.c.id)
        if person is not None:
            wanted = wanted.where(routes.c.person == person)
        with self._database.read() as connection:
            return [_route(row) for row in connection.execute(wanted)]

    def route(self, route_id: str) -> Route:
        """Return one address, without what is secret."""
        with self._database.read() as connection:
            return _require(connection, route_id)

    def route_addresses(self) -> dict[str, str]:
        """Return the addresses themselves, by route: for the courier, and for nobody to see."""
        with self._database.read() as connection:
            rows = connection.execute(sa.select(routes.c.id, routes.c.address))
            return {row.id: row.address for row in rows}

    def browser_marks(self, person: str) -> dict[str, str]:
        """Return, by route, the SHA-256 of a person's browsers, by which a browser knows itself.

        An address of a browser holds 128 random bits, so nothing is learnt from that.
        """
        theirs = sa.and_(routes.c.person == person, routes.c.address.startswith(PUSH_SCHEME))
        with self._database.read() as connection:
            rows = connection.execute(sa.select(routes.c.id, routes.c.address).where(theirs))
            return {row.id: hashlib.sha256(row.address.encode()).hexdigest() for row in rows}

    def add_route(
        self, person: str, address: str, hint: str, label: str, rules: RouteRules, now_ms: int
    ) -> Route:
        """Keep one more address of a person; *hint* says of it what may be shown."""
        mark = secrets.token_hex(ID_BYTES)
        made = Route(mark, person, _label(label), hint, rules, now_ms, now_ms)
        with self._database.write() as connection:
            if not connection.execute(sa.select(people).where(people.c.name == person)).first():
                raise UnderlidError(
                    "name",
                    value=person,
                    expected="somebody who was added",
                    next_step="Add the person first, or correct the name.",
                )
            _require_room(connection, person)
            values = _values(made) | {"address": _address(address)}
            connection.execute(sa.insert(routes).values(id=made.id, person=person, **values))
        return made

    def change_route(
        self,
        route_id: str,
        label: str,
        rules: RouteRules,
        now_ms: int,
        address: str = "",
        hint: str = "",
    ) -> Route:
        """Change what an address is told, and where it leads when *address* is given.

        A new hour for the digest begins with the next time that it comes.
        """
        with self._database.write() as connection:
            old = _require(connection, route_id)
            same_hour = rules.digest_hour == old.rules.digest_hour
            made = replace(
                old,
                label=_label(label),
                hint=hint or old.hint,
                rules=rules,
                changed_at_ms=now_ms,
                digested_at_ms=old.digested_at_ms if same_hour else now_ms,
            )
            values = _values(made) | ({"address": _address(address)} if address else {})
            connection.execute(sa.update(routes).where(routes.c.id == route_id).values(**values))
        return made

    def remove_route(self, route_id: str) -> None:
        """Forget an address; what still waits for it is not sent."""
        with self._database.write() as connection:
            forget_routes(connection, routes.c.id == route_id)

    def last_delivery(self, route: Route, event: Occasion | None = None) -> RouteNews | None:
        """Return what became of the newest message for an address (of one kind)."""
        wanted = sa.select(outbox).where(outbox.c.channel == route.channel)
        if event is not None:
            wanted = wanted.where(outbox.c.message_key.startswith(f"{event.value}:"))
        with self._database.read() as connection:
            row = connection.execute(wanted.order_by(outbox.c.number.desc()).limit(1)).first()
        if row is None:
            return None
        return RouteNews(row.state, row.error, row.done_at_ms, row.tries)

    def needs_somebody(self, alert_id: str, since_ms: int, now_ms: int) -> bool:
        """Tell whether an alert is open, not shelved, and nobody acknowledged it since a time."""
        acted = alert_acts.c
        seen = sa.select(acted.number).where(
            acted.alert == alert_id, acted.act == "acknowledged", acted.at_ms >= since_ms
        )
        with self._database.read() as connection:
            row = connection.execute(sa.select(alerts).where(alerts.c.id == alert_id)).first()
            if row is None or row.state == AlertState.RETURNED.value:
                return False
            if row.acknowledged_at_ms is not None:
                return False
            if row.shelved_until_ms is not None and now_ms < row.shelved_until_ms:
                return False
            return connection.execute(seen.limit(1)).first() is None

    def was_told(self, alert_id: str, channel: str) -> bool:
        """Tell whether a channel took a message about an alert."""
        with self._database.read() as connection:
            return channel in _posted(connection, alert_id, SENT)


def post_to_routes(connection: sa.Connection, message: Message) -> None:
    """Put a message into the outbox for every address that it reaches, in the caller's transaction."""
    at_once = message.event in NO_WAIT
    states = (SENT, WAITING) if message.event == Occasion.ALERT_RETURNED else (SENT,)
    kept = [_route(row) for row in connection.execute(sa.select(routes).order_by(routes.c.id))]
    asked = at_once and message.alert_id and kept
    told = _posted(connection, message.alert_id, *states) if asked else set()
    for route in kept:
        if reaches(route.rules, message, told_before=route.channel in told):
            due_ms = message.at_ms + (0 if at_once else route.rules.wait_ms)
            post(connection, worded_for(route.rules, message), route.channel, due_ms)


def forget_routes(connection: sa.Connection, which: sa.ColumnElement[bool]) -> None:
    """Forget addresses, with what waits for them and who serves them, in the caller's transaction.

    What could not be delivered before stays to be seen, and says so. Test messages stay to be counted.
    """
    gone = [_route(row) for row in connection.execute(sa.select(routes).where(which)).all()]
    for route in gone:
        theirs = outbox.c.channel == route.channel
        dead = sa.update(outbox).where(theirs, outbox.c.state == DEAD)
        not_sent = outbox.c.state.in_((WAITING, SPARED))  # what is spared may be sent later
        trial = outbox.c.message_key.startswith(f"{Occasion.TRIAL.value}:")
        on_its_way = sa.update(outbox).where(theirs, trial, outbox.c.state == WAITING)
        stopped = {"state": SPARED, "error": REMOVED, "done_at_ms": outbox.c.due_at_ms}
        connection.execute(on_its_way.values(**stopped))
        connection.execute(sa.delete(outbox).where(theirs, not_sent, sa.not_(trial)))
        said = f"; the address of {route.person} was removed"
        connection.execute(dead.values(error=outbox.c.error + said))
        served = sa.and_(leases.c.kind == CHANNEL, leases.c.name == route.channel)
        connection.execute(sa.delete(leases).where(served))
        connection.execute(sa.delete(routes).where(routes.c.id == route.id))


def _posted(connection: sa.Connection, alert_id: str, *states: str) -> set[str]:
    """Return the channels for which messages about an alert stand in the outbox, in one of *states*.

    All at once, since that reads the whole outbox.
    """
    key = outbox.c.message_key.startswith(f"{alert_id}:", autoescape=True)
    wanted = sa.select(outbox.c.channel).where(key, outbox.c.state.in_(states)).distinct()
    return set(connection.execute(wanted).scalars())


def _require_room(connection: sa.Connection, person: str) -> None:
    """Refuse more addresses than can be served."""
    count = sa.select(sa.func.count()).select_from(routes)
    theirs = connection.execute(count.where(routes.c.person == person)).scalar_one()
    if theirs >= A_PERSON_MOST or connection.execute(count).scalar_one() >= ROUTES_MOST:
        raise UnderlidError(
            "number of addresses",
            value=theirs + 1,
            expected=f"at most {A_PERSON_MOST} a person and {ROUTES_MOST} in all",
            next_step="Remove one that is not needed.",
        )


def _require(connection: sa.Connection, route_id: str) -> Route:
    row = connection.execute(sa.select(routes).where(routes.c.id == route_id)).first()
    if row is None:
        raise UnderlidError(
            "address",
            value=route_id,
            expected="the mark of an address that is kept",
            next_step="List them with: underlid user routes.",
        )
    return _route(row)


def _values(route: Route) -> dict[str, object]:
    return {
        "label": route.label,
        "hint": route.hint,
        "rules": packed(route.rules),
        "changed_at_ms": route.changed_at_ms,
        "digested_at_ms": route.digested_at_ms,
    }


def _route(row: sa.Row[tuple[object, ...]]) -> Route:
    values = {name: value for name, value in row._mapping.items() if name != "address"}
    return Route(**values | {"rules": unpacked(row.rules, RouteRules)})


def _label(given: str) -> str:
    return line_of_text("name of the address", given, LABEL_MOST_CHARS)


def _address(given: str) -> str:
    """Refuse what no database keeps, without showing it."""
    try:
        return line_of_text("address", given, ADDRESS_MOST_CHARS)
    except UnderlidError as error:
        raise UnderlidError(
            "address",
            value=Words("something else"),
            expected=error.expected,
            next_step=error.next_step,
        ) from None
