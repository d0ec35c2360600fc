"""A whole set-up as one TOML file: sheds, bins, where each probe sits, mappings for other firmware.

`read_setup` turns the file into `binmodel.bins.Setup` and refuses it with one sentence;
`setup_text` writes a set-up as such a file. The format is on the files page. Loading a set-up into
the database is `storage.records`' business (`underlid serve --setup`, `underlid bins load`).
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any, Final
from zoneinfo import available_timezones

from pydantic import (
    AfterValidator,
    AwareDatetime,
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
)

from underlid.binmodel.bins import Bin, BinKind, Calibration, ProbePlace, Setup, Shed, Species
from underlid.binmodel.herd import LIMIT_NAMES
from underlid.errors import UnderlidError
from underlid.files.toml_text import table_text
from underlid.journal.feedstocks import FEEDSTOCKS, Group
from underlid.readings.channels import is_channel_name, is_id
from underlid.readings.mapping import POINTERS, PayloadMapping, check_together
from underlid.timeline import SECOND_MS, rfc3339

SETUP_MOST_BYTES: Final = 8 * 1024 * 1024
"""A set-up of ten thousand bins is about 4 MB."""


def _id(value: str) -> str:
    if not is_id(value):
        raise ValueError("an id of a-z, 0-9, - and _, at most 64, a letter or digit first")
    return value


def _channel(value: str) -> str:
    if not is_channel_name(value):
        raise ValueError("a channel name such as bed_temp_c")
    return value


def _timezone(value: str) -> str:
    if value not in available_timezones():
        raise ValueError("the name of a time zone such as Europe/London")
    return value


def _bedding(value: str) -> str:
    if value not in FEEDSTOCKS or FEEDSTOCKS[value].group is not Group.BEDDING:
        known = ", ".join(one.id for one in FEEDSTOCKS.values() if one.group is Group.BEDDING)
        raise ValueError(f"one of the beddings {known}")
    return value


def _limits(value: dict[str, float]) -> dict[str, float]:
    for name in value:
        if name not in LIMIT_NAMES:
            raise ValueError("limits out of " + ", ".join(LIMIT_NAMES))
    return value


Id = Annotated[str, AfterValidator(_id)]
Positive = Annotated[float, Field(gt=0, lt=1e6, allow_inf_nan=False)]
Finite = Annotated[float, Field(allow_inf_nan=False)]
Name = Annotated[str, Field(max_length=120)]


class _Table(BaseModel):
    """A table of the file: unknown keys are refused, a slip of the pen must not vanish."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class _Calibration(_Table):
    channel: Annotated[str, AfterValidator(_channel)]
    gain: Finite = 1.0
    offset: Finite = 0.0
    from_: Annotated[AwareDatetime | None, Field(alias="from")] = None
    until: AwareDatetime | None = None
    how: Name = ""

    def built(self) -> Calibration:
        until = None if self.until is None else _ms(self.until)
        start = 0 if self.from_ is None else _ms(self.from_)
        return Calibration(self.channel, self.gain, self.offset, start, until, self.how)


class _Probe(_Table):
    id: Id
    depth_cm: Annotated[float | None, Field(ge=0, le=300)] = None
    soil_dry_raw: Finite | None = None
    soil_wet_raw: Finite | None = None
    soil_points: tuple[tuple[Finite, Annotated[float, Field(gt=0, lt=100)]], ...] = ()
    calibration: tuple[_Calibration, ...] = ()

    def built(self, shed: str, bin_id: str | None) -> ProbePlace:
        return ProbePlace(
            self.id,
            shed,
            bin_id,
            self.depth_cm,
            self.soil_dry_raw,
            self.soil_wet_raw,
            self.soil_points,
            tuple(one.built() for one in self.calibration),
        )


class _Shed(_Table):
    name: Name = ""
    air_probe: Id | None = None
    timezone: Annotated[str, AfterValidator(_timezone)] = "UTC"
    probe: tuple[_Probe, ...] = ()


class _Bin(_Table):
    shed: Id
    name: Name = ""
    kind: BinKind = BinKind.PLASTIC_TOTE
    species: Annotated[tuple[Species, ...], Field(min_length=1)] = (Species.EISENIA_FETIDA,)
    herd_kg: Annotated[float, Field(ge=0, lt=1e6, allow_inf_nan=False)] = 1.0
    volume_l: Positive = 60.0
    bed_kg: Positive = 22.0
    dry_density_kg_l: Annotated[float, Field(gt=0, lt=1.5)] = 0.15
    lid_area_m2: Positive = 0.18
    target_moisture_pct: Annotated[float, Field(ge=40, le=95)] = 75.0
    bedding: Annotated[str, AfterValidator(_bedding)] = "newspaper"
    limits: Annotated[dict[str, Finite], AfterValidator(_limits)] = {}
    probe: tuple[_Probe, ...] = ()

    def built(self, bin_id: str) -> Bin:
        given = {name: getattr(self, name) for name in type(self).model_fields if name != "probe"}
        return Bin(id=bin_id, **given)


class _File(_Table):
    shed: dict[Id, _Shed] = {}
    bin: dict[Id, _Bin] = {}
    mapping: dict[Id, PayloadMapping] = {}


def read_setup(path: Path) -> Setup:
    """Return the set-up in the file at *path*, or raise `UnderlidError`."""
    try:
        with path.open("rb") as file:
            data = file.read(SETUP_MOST_BYTES + 1)
    except OSError as error:
        raise UnderlidError(
            "set-up file",
            value=str(path),
            expected=f"a file that can be read ({error.strerror})",
            next_step="Correct its name.",
        ) from None
    return parse_setup(data, path.name)


def parse_setup(data: bytes, name: str = "set-up file") -> Setup:
    """Return the set-up that *data* (TOML) describes, or raise `UnderlidError`."""
    if len(data) > SETUP_MOST_BYTES:
        raise _refused(name, f"{len(data)} bytes", f"at most {SETUP_MOST_BYTES} bytes")
    try:
        tables = tomllib.loads(data.decode("utf-8-sig"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
        raise _refused(name, "(not TOML)", f"TOML, but: {str(error)[:120]}") from None
    try:
        file = _File.model_validate(tables)
    except ValidationError as error:
        raise _first_trouble(name, error) from None
    return _setup(name, file)


def setup_text(setup: Setup) -> str:
    """Return *setup* as a file that `read_setup` reads back to the same set-up."""
    parts = []
    for shed in setup.sheds.values():
        own = [
            _probe_table(place)
            for place in setup.probes.values()
            if place.bin is None
            and place.shed == shed.id
            and place != ProbePlace(shed.air_probe or "", shed.id, None)
        ]
        values = {"name": shed.name, "air_probe": shed.air_probe, "timezone": shed.timezone}
        parts.append(table_text(f"shed.{shed.id}", values, {"probe": own}))
    for bin_ in setup.bins.values():
        values = {name: getattr(bin_, name) for name in _Bin.model_fields if name not in ("probe",)}
        own = [_probe_table(place) for place in setup.probes.values() if place.bin == bin_.id]
        parts.append(table_text(f"bin.{bin_.id}", values, {"probe": own}))
    for name, mapping in setup.mappings.items():
        values = mapping.model_dump(exclude_defaults=True, exclude={"values"})
        own = [one.model_dump(exclude_defaults=True) for one in mapping.values]
        parts.append(table_text(f"mapping.{name}", values, {"values": own}, POINTERS))
    return "\n".join(parts)


def _setup(name: str, file: _File) -> Setup:
    """Build the values, checking what stands in more than one table."""
    sheds: dict[str, Shed] = {}
    bins: dict[str, Bin] = {}
    probes: dict[str, ProbePlace] = {}

    def place(probe: ProbePlace) -> None:
        if probe.probe in probes:
            raise _refused(f"probe in {name}", probe.probe, "a probe that sits in one place")
        probes[probe.probe] = probe

    for shed_id, shed in file.shed.items():
        sheds[shed_id] = Shed(shed_id, shed.name, shed.air_probe, shed.timezone)
        for one in shed.probe:
            place(one.built(shed_id, None))
    for bin_id, table in file.bin.items():
        if table.shed not in sheds:
            raise _refused(
                f"bin.{bin_id}.shed in {name}", table.shed, "the id of a [shed.…] of this file"
            )
        bins[bin_id] = table.built(bin_id)
        for one in table.probe:
            place(one.built(table.shed, bin_id))
    for shed_id, own in sheds.items():
        if own.air_probe is not None and own.air_probe not in probes:
            place(ProbePlace(own.air_probe, shed_id, None))
    for mapping_name, mapping in file.mapping.items():
        if mapping.shed not in sheds:
            where = f"mapping.{mapping_name}.shed in {name}"
            raise _refused(where, mapping.shed, "the id of a [shed.…] of this file")
    check_together(file.mapping)
    return Setup(sheds, bins, probes, dict(file.mapping))


def _probe_table(place: ProbePlace) -> Mapping[str, Any]:
    """Return a probe's place as the keys of the file."""
    return {
        "id": place.probe,
        "depth_cm": place.depth_cm,
        "soil_dry_raw": place.soil_dry_raw,
        "soil_wet_raw": place.soil_wet_raw,
        "soil_points": [list(point) for point in place.soil_points],
        "calibration": [calibration_table(one) for one in place.calibrations],
    }


def calibration_table(one: Calibration) -> dict[str, object]:
    """Return a calibration as the keys of the file; `from` is None where it counts for all the past."""
    return {
        "channel": one.channel,
        "gain": one.gain,
        "offset": one.offset,
        "from": rfc3339(one.from_ms) if one.from_ms else None,
        "until": None if one.until_ms is None else rfc3339(one.until_ms),
        "how": one.how,
    }


def _ms(at: datetime) -> int:
    return round(at.timestamp() * SECOND_MS)


def _first_trouble(name: str, error: ValidationError) -> UnderlidError:
    """Return the first thing that is wrong, as a sentence."""
    first = error.errors()[0]
    where = ".".join(str(part) for part in first["loc"] if part != "[key]")
    if first["type"] == "extra_forbidden":
        return _refused(f"key {where} in {name}", first["input"], "a key that the files page lists")
    expected = str(first["msg"]).removeprefix("Value error, ").removeprefix("Input should be ")
    if first["type"] == "missing":
        return _refused(f"{where} in {name}", "", "a value")
    return _refused(f"{where} in {name}", first["input"], expected)


def _refused(what: str, value: object, expected: str) -> UnderlidError:
    return UnderlidError(
        what, value=value, expected=expected, next_step="Correct the set-up file (see files.md)."
    )
