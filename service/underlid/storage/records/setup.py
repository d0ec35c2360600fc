"""The place itself in the records: sheds, bins, where each probe sits, and the revision number."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import sqlalchemy as sa

from underlid.alerts.alert import AlertState
from underlid.binmodel.bins import (
    Bin,
    BinKind,
    Calibration,
    ProbePlace,
    Setup,
    Shed,
    Species,
)
from underlid.errors import UnderlidError, Words
from underlid.readings.channels import is_id
from underlid.readings.values import ProbeStatus
from underlid.storage.records.columns import json_text, json_value, packed, put, unpacked
from underlid.storage.records.database import Subject
from underlid.storage.records.mapping_rows import read_mappings, write_mappings
from underlid.storage.records.tables import (
    alerts,
    bin_states,
    bins,
    probe_places,
    probe_statuses,
    revisions,
    sheds,
)

REVISION: Final = "setup and journal"


def bump_revision(connection: sa.Connection) -> None:
    """Make the change of this transaction visible to whoever compares revisions."""
    row = revisions.c.subject == REVISION
    changed = connection.execute(
        sa.update(revisions).where(row).values(revision=revisions.c.revision + 1)
    )
    if not changed.rowcount:
        connection.execute(sa.insert(revisions).values(subject=REVISION, revision=1))


def require_bin(connection: sa.Connection, bin_id: str) -> None:
    """Refuse a bin that is not set up."""
    if connection.execute(sa.select(bins.c.id).where(bins.c.id == bin_id)).first() is None:
        raise UnderlidError(
            "bin",
            value=bin_id,
            expected="the id of a bin that is set up",
            next_step="Set the bin up first, or correct the id.",
        )


class SetupRecords(Subject):
    """Reads and changes the set-up."""

    def revision(self) -> int:
        """Return a number that grows with every change of set-up or journal."""
        wanted = sa.select(revisions.c.revision).where(revisions.c.subject == REVISION)
        with self._database.read() as connection:
            return connection.execute(wanted).scalar() or 0

    def setup(self) -> Setup:
        """Return all sheds, bins and probe places."""
        with self._database.read() as connection:
            shed_rows = connection.execute(sa.select(sheds).order_by(sheds.c.id)).all()
            bin_rows = connection.execute(sa.select(bins).order_by(bins.c.id)).all()
            place_rows = connection.execute(
                sa.select(probe_places).order_by(probe_places.c.probe)
            ).all()
            known = read_mappings(connection)[0]
        return Setup(
            sheds={
                row.id: Shed(row.id, row.name, row.air_probe, row.timezone) for row in shed_rows
            },
            bins={row.id: _bin(row) for row in bin_rows},
            probes={row.probe: _place(row) for row in place_rows},
            mappings=known,
        )

    def save_setup(self, setup: Setup) -> None:
        """Add or change everything that *setup* holds; what it does not name stays."""
        with self._database.write() as connection:
            for shed in setup.sheds.values():
                _save_shed(connection, shed)
            for bin_ in setup.bins.values():
                _save_bin(connection, bin_)
            for place in setup.probes.values():
                _save_place(connection, place)
            write_mappings(connection, setup.mappings)
            bump_revision(connection)

    def save_shed(self, shed: Shed) -> None:
        """Add or change one shed."""
        with self._database.write() as connection:
            _save_shed(connection, shed)
            bump_revision(connection)

    def save_bin(self, bin_: Bin) -> None:
        """Add or change one bin."""
        with self._database.write() as connection:
            _save_bin(connection, bin_)
            bump_revision(connection)

    def remove_bin(self, bin_id: str, at_ms: int | None = None) -> None:
        """Remove a bin: its probes become unclaimed, its open alerts return, its journal stays."""
        open_here = sa.and_(alerts.c.bin == bin_id, alerts.c.state != AlertState.RETURNED.value)
        ended = alerts.c.state_at_ms if at_ms is None else at_ms
        with self._database.write() as connection:
            connection.execute(sa.delete(probe_places).where(probe_places.c.bin == bin_id))
            connection.execute(sa.delete(bin_states).where(bin_states.c.bin == bin_id))
            connection.execute(sa.delete(bins).where(bins.c.id == bin_id))
            connection.execute(
                sa.update(alerts)
                .where(open_here)
                .values(state=AlertState.RETURNED.value, state_at_ms=ended, returned_at_ms=ended)
            )
            bump_revision(connection)

    def place_probe(self, place: ProbePlace) -> None:
        """Say where a probe sits; a probe sits in one place."""
        with self._database.write() as connection:
            _save_place(connection, place)
            bump_revision(connection)

    def unplace_probe(self, probe: str) -> None:
        """Make a probe unclaimed again; its readings stay."""
        with self._database.write() as connection:
            connection.execute(sa.delete(probe_places).where(probe_places.c.probe == probe))
            bump_revision(connection)

    def set_probe_statuses(self, statuses: Sequence[ProbeStatus]) -> None:
        """Keep what probes last said of themselves; an older word does not replace a newer one."""
        ordered = sorted(statuses, key=lambda one: (one.probe, one.received_at_ms))
        with self._database.write(alone=False) as connection:
            for status in ordered:  # in one order, so that two workers do not wait for each other
                put(
                    connection,
                    probe_statuses,
                    {"probe": status.probe},
                    {
                        "shed": status.shed,
                        "online": status.online,
                        "received_at_ms": status.received_at_ms,
                    },
                    unless=probe_statuses.c.received_at_ms > status.received_at_ms,
                )

    def probe_statuses(self) -> dict[str, ProbeStatus]:
        """Return what each probe last said of itself."""
        with self._database.read() as connection:
            rows = connection.execute(sa.select(probe_statuses)).all()
        return {
            row.probe: ProbeStatus(row.probe, row.shed, row.online, row.received_at_ms)
            for row in rows
        }


def _save_shed(connection: sa.Connection, shed: Shed) -> None:
    check_id("shed", shed.id)
    put(
        connection,
        sheds,
        {"id": shed.id},
        {"name": shed.name, "air_probe": shed.air_probe, "timezone": shed.timezone},
    )


def _save_bin(connection: sa.Connection, bin_: Bin) -> None:
    check_id("bin", bin_.id)
    require_shed(connection, bin_.shed)
    put(
        connection,
        bins,
        {"id": bin_.id},
        {
            "shed": bin_.shed,
            "name": bin_.name,
            "kind": bin_.kind.value,
            "species": json_text([species.value for species in bin_.species]),
            "herd_kg": bin_.herd_kg,
            "volume_l": bin_.volume_l,
            "bed_kg": bin_.bed_kg,
            "dry_density_kg_l": bin_.dry_density_kg_l,
            "lid_area_m2": bin_.lid_area_m2,
            "target_moisture_pct": bin_.target_moisture_pct,
            "bedding": bin_.bedding,
            "limits": json_text(bin_.limits),
        },
    )


def _save_place(connection: sa.Connection, place: ProbePlace) -> None:
    check_id("probe", place.probe)
    require_shed(connection, place.shed)
    if place.bin is not None:
        require_bin(connection, place.bin)
    _check_numbers(place)
    put(
        connection,
        probe_places,
        {"probe": place.probe},
        {
            "shed": place.shed,
            "bin": place.bin,
            "depth_cm": place.depth_cm,
            "soil_dry_raw": place.soil_dry_raw,
            "soil_wet_raw": place.soil_wet_raw,
            "soil_points": json_text(place.soil_points),
            "calibrations": packed(place.calibrations),
        },
    )


def _check_numbers(place: ProbePlace) -> None:
    """Refuse what is no number: JSON has none such, so that no set-up could be read any more."""
    lines = [(one.gain, one.offset) for one in place.calibrations]
    if not all(math.isfinite(number) for pair in (*lines, *place.soil_points) for number in pair):
        raise UnderlidError(
            f"calibration of {place.probe}",
            value=Words("without a number"),
            expected="numbers such as 1.5",
            next_step="Correct what was read.",
        )


def _bin(row: sa.Row[tuple[object, ...]]) -> Bin:
    values = dict(row._mapping)
    values["kind"] = BinKind(row.kind)
    values["species"] = tuple(Species(word) for word in json_value(row.species))
    values["limits"] = json_value(row.limits)
    return Bin(**values)


def _place(row: sa.Row[tuple[object, ...]]) -> ProbePlace:
    values = dict(row._mapping)
    values["soil_points"] = tuple((index, pct) for index, pct in json_value(row.soil_points))
    values["calibrations"] = unpacked(row.calibrations, tuple[Calibration, ...])
    return ProbePlace(**values)


def check_id(what: str, id_: str) -> None:
    """Refuse an id that could not stand in a topic or a file name."""
    if not is_id(id_):
        raise UnderlidError(
            f"{what} id",
            value=id_,
            expected="a-z, 0-9, - and _, at most 64, a letter or digit first",
            next_step="Choose another id.",
        )


def require_shed(connection: sa.Connection, shed: str) -> None:
    """Refuse a shed that is not set up."""
    if connection.execute(sa.select(sheds.c.id).where(sheds.c.id == shed)).first() is None:
        raise UnderlidError(
            "shed",
            value=shed,
            expected="the id of a shed that is set up",
            next_step="Set the shed up first, or correct the id.",
        )
