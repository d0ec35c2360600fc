"""Alerts in the records: what the judge made of them, what people did to them, and spells.

`save_judgement` stores a judgement's alerts, changes and messages in one transaction: after a
crash either all of them are there or none, and a judgement made again is stored once. Where sheds
are leased to workers, the same transaction checks the lease: who lost it writes nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Final

import sqlalchemy as sa

from underlid.alerts.alert import Alert, AlertState, Message, Spell, Transition, TransitionKind
from underlid.errors import UnderlidError
from underlid.rules.finding import Condition
from underlid.storage.records.alert_rows import alert_of, alert_values
from underlid.storage.records.columns import put
from underlid.storage.records.database import Subject
from underlid.storage.records.leases import Lease, require
from underlid.storage.records.posting import post_to_all
from underlid.storage.records.states import put_state
from underlid.storage.records.tables import alert_acts, alerts, spells, transitions

ALERTS_MOST: Final = 10_000
"""The largest page that may be asked for; a caller that wants more pages on."""

ACKNOWLEDGED: Final = "acknowledged"
SHELVED: Final = "shelved"


@dataclass(frozen=True, slots=True)
class AlertChange:
    """One line of an alert's history: what happened, when, why or by whom."""

    at_ms: int
    kind: str
    priority: str
    reason: str
    by: str


class AlertRecords(Subject):
    """Stores judgements and reads alerts and spells."""

    def save_judgement(
        self,
        alerts: Iterable[Alert],
        transitions: Iterable[Transition],
        messages: Iterable[Message],
        channels: Sequence[str],
        judged_at_ms: int | None = None,
        *,
        spells: Iterable[Spell] = (),
        lease: Lease | None = None,
        state: Mapping[str, object] | None = None,
    ) -> None:
        """Store a judgement in one transaction, with one outbox row per message and channel or address.

        What people did to an alert is kept, when *judged_at_ms* is given: only a worsening undoes
        an acknowledgement from before it. Raises `LeaseLostError` when *lease* is no longer held.
        *state* is the bin's verdicts for workers that did not judge it.
        """
        changes = list(transitions)
        worsened = {
            change.alert.id
            for change in changes
            if change.alert is not None and change.kind is TransitionKind.ALERT_WORSENED
        }
        with self._database.write(alone=False) as connection:
            if lease is not None:
                require(connection, lease)
            _save_alerts(connection, list(alerts), judged_at_ms, worsened)
            if state is not None:
                put_state(connection, state, judged_at_ms or 0)
            for transition in changes:
                if transition.alert is not None or transition.spell is None:
                    _save_transition(connection, transition)
            for spell in spells:
                _save_spell(connection, spell)
            for message in messages:
                post_to_all(connection, message, channels)

    def open_alerts(self, bin: str | None = None) -> list[Alert]:
        """Return the alerts that have not returned, oldest first: what a restart restores."""
        wanted = sa.select(alerts).where(alerts.c.state != AlertState.RETURNED.value)
        if bin is not None:
            wanted = wanted.where(alerts.c.bin == bin)
        with self._database.read() as connection:
            rows = connection.execute(wanted.order_by(alerts.c.since_ms, alerts.c.id)).all()
        return [alert_of(row) for row in rows]

    def alerts(
        self, bin: str | None = None, most: int = 100, before: str | None = None
    ) -> list[Alert]:
        """Return alerts, newest first; *before* is the id of the last one of the page before.

        What was over before it was raised is forgotten.
        """
        table = alerts.c
        forgotten = sa.and_(table.state == AlertState.RETURNED.value, table.raised_at_ms.is_(None))
        wanted = sa.select(alerts).where(sa.not_(forgotten))
        wanted = wanted.order_by(table.since_ms.desc(), table.id.desc())
        if bin is not None:
            wanted = wanted.where(table.bin == bin)
        with self._database.read() as connection:
            if before is not None:
                last = _require(connection, before)
                wanted = wanted.where(
                    sa.or_(
                        table.since_ms < last.since_ms,
                        sa.and_(table.since_ms == last.since_ms, table.id < last.id),
                    )
                )
            rows = connection.execute(wanted.limit(max(0, min(most, ALERTS_MOST)))).all()
        return [alert_of(row) for row in rows]

    def told_ms(self, bin: str, cause: str, from_ms: int) -> dict[str, int]:
        """Return, by subject, since when the last alert with *cause* raised since *from_ms* was."""
        table = alerts.c
        wanted = sa.select(table.subject, sa.func.max(table.since_ms)).group_by(table.subject)
        wanted = wanted.where(table.bin == bin, table.cause == cause, table.raised_at_ms >= from_ms)
        with self._database.read() as connection:
            return {row[0]: row[1] for row in connection.execute(wanted)}

    def alert(self, alert_id: str) -> Alert | None:
        """Return one alert."""
        with self._database.read() as connection:
            row = connection.execute(sa.select(alerts).where(alerts.c.id == alert_id)).first()
        return None if row is None else alert_of(row)

    def acknowledge(self, alert_id: str, by: str, at_ms: int) -> Alert:
        """Note that a person has seen an alert; the first acknowledgement stands."""
        with self._database.write() as connection:
            alert = _require(connection, alert_id, lock=True)
            if alert.acknowledged_at_ms is not None:
                return alert
            _note_act(connection, alert_id, ACKNOWLEDGED, by, at_ms, None)
            return _change(connection, replace(alert, acknowledged_at_ms=at_ms, acknowledged_by=by))

    def shelve(self, alert_id: str, until_ms: int | None, by: str, at_ms: int) -> Alert:
        """Keep an alert quiet until *until_ms*; None takes it off the shelf."""
        with self._database.write() as connection:
            alert = _require(connection, alert_id, lock=True)
            _note_act(connection, alert_id, SHELVED, by, at_ms, until_ms)
            return _change(connection, replace(alert, shelved_until_ms=until_ms))

    def alert_changes(self, alert_id: str) -> list[AlertChange]:
        """Return an alert's history: its own changes and what people did, in time order."""
        own = sa.select(transitions).where(transitions.c.alert == alert_id)
        acts = sa.select(alert_acts).where(alert_acts.c.alert == alert_id)
        with self._database.read() as connection:
            changes = [
                AlertChange(row.at_ms, row.kind, row.priority, row.reason, "")
                for row in connection.execute(own.order_by(transitions.c.number))
            ] + [
                AlertChange(row.at_ms, row.act, "", "", row.by)
                for row in connection.execute(acts.order_by(alert_acts.c.number))
            ]
        return sorted(changes, key=lambda change: change.at_ms)

    def spells(self, bin: str, from_ms: int, until_ms: int) -> list[Spell]:
        """Return the spells that touch [from_ms, until_ms), in time order."""
        table = spells.c
        wanted = (
            sa.select(spells)
            .where(
                table.bin == bin,
                table.began_ms < until_ms,
                sa.or_(table.ended_ms.is_(None), table.ended_ms >= from_ms),
            )
            .order_by(table.began_ms, table.condition)
        )
        with self._database.read() as connection:
            return [_spell(row) for row in connection.execute(wanted)]


def _save_alerts(
    connection: sa.Connection,
    given: Sequence[Alert],
    judged_at_ms: int | None,
    worsened: Collection[str],
) -> None:
    """Store alerts; those that have not changed cost no write."""
    ids = [alert.id for alert in given]
    here = sa.select(alerts).where(alerts.c.id.in_(ids)).order_by(alerts.c.id)
    rows = connection.execute(here.with_for_update())  # people may be at them at the same time
    stored = {row.id: alert_of(row) for row in rows}
    for alert in given:
        wanted = alert
        before = stored.get(alert.id)
        if judged_at_ms is not None and before is not None:
            wanted = replace(alert, shelved_until_ms=before.shelved_until_ms)
            if alert.id in worsened:
                wanted = _with_later_acknowledgement(connection, wanted, judged_at_ms)
            else:
                wanted = replace(
                    wanted,
                    acknowledged_at_ms=before.acknowledged_at_ms,
                    acknowledged_by=before.acknowledged_by,
                )
        if before != wanted:
            _change(connection, wanted)


def _with_later_acknowledgement(
    connection: sa.Connection, alert: Alert, judged_at_ms: int
) -> Alert:
    """Return an alert that got worse with what was acknowledged after that, if it was."""
    table = alert_acts.c
    later = sa.select(alert_acts).where(
        table.alert == alert.id, table.act == ACKNOWLEDGED, table.at_ms > judged_at_ms
    )
    row = connection.execute(later.order_by(table.number)).first()
    if row is None:
        return alert
    return replace(alert, acknowledged_at_ms=row.at_ms, acknowledged_by=row.by)


def _change(connection: sa.Connection, alert: Alert) -> Alert:
    put(connection, alerts, {"id": alert.id}, alert_values(alert))
    return alert


def _save_transition(connection: sa.Connection, transition: Transition) -> None:
    """Store one change, once."""
    alert = transition.alert
    key = {
        "bin": transition.bin,
        "condition": transition.condition.value,
        "kind": transition.kind.value,
        "at_ms": transition.at_ms,
        "alert": alert.id if alert else "",
    }
    values = {"reason": transition.reason, "priority": alert.priority.value if alert else ""}
    put(connection, transitions, key, values)


def _save_spell(connection: sa.Connection, spell: Spell) -> None:
    values = {field.name: getattr(spell, field.name) for field in fields(spell)}
    key = {name: values.pop(name) for name in ("bin", "condition", "began_ms")}
    put(connection, spells, key | {"condition": spell.condition.value}, values)


def _spell(row: sa.Row[tuple[object, ...]]) -> Spell:
    values = dict(row._mapping)
    values["condition"] = Condition(row.condition)
    return Spell(**values)


def _note_act(
    connection: sa.Connection, alert_id: str, act: str, by: str, at_ms: int, until_ms: int | None
) -> None:
    connection.execute(
        sa.insert(alert_acts).values(alert=alert_id, act=act, by=by, at_ms=at_ms, until_ms=until_ms)
    )


def _require(connection: sa.Connection, alert_id: str, *, lock: bool = False) -> Alert:
    wanted = sa.select(alerts).where(alerts.c.id == alert_id)
    row = connection.execute(wanted.with_for_update() if lock else wanted).first()
    if row is None:
        raise UnderlidError(
            "alert id",
            value=alert_id,
            expected="the id of an alert",
            next_step="List the bin's alerts to find it.",
        )
    return alert_of(row)
