"""The calibrations and weighed samples of a probe: list, add, remove."""

from __future__ import annotations

from collections.abc import Callable

from fastapi import APIRouter, Request
from pydantic import BaseModel, ConfigDict, Field

from underlid.binmodel.bins import ProbePlace
from underlid.binmodel.probes.recalibrate import (
    by_readings,
    mark_of,
    with_calibration,
    with_sample,
    without,
)
from underlid.timeline import parse_time_ms
from underlid.web.api.schemas import ProblemBody, when
from underlid.web.context import context_of
from underlid.web.problem import Problem, not_found
from underlid.web.visitor import AnyCaller, LeadingCaller

router = APIRouter(
    prefix="/api/v1/probes/{probe}",
    tags=["probes"],
    responses={
        404: {"model": ProblemBody, "description": "No probe with a place, or no such mark"}
    },
)


class CalibrationBody(BaseModel):
    """One calibration: calibrated = gain · raw + offset, for readings taken from `from` until `until`."""

    model_config = ConfigDict(populate_by_name=True)

    mark: str
    channel: str
    gain: float
    offset: float
    start: str | None = Field(alias="from", description="Null: for all that it ever said.")
    until: str | None
    how: str


class SampleBody(BaseModel):
    """One weighed sample: the soil index when it was taken, and its moisture."""

    mark: str
    soil_index: float
    moisture_pct: float


class CalibrationsBody(BaseModel):
    """All that a probe's values are calibrated by."""

    calibrations: list[CalibrationBody]
    samples: list[SampleBody]


class ReferenceFields(BaseModel):
    """What the sensor read, and what the reference beside it said."""

    model_config = ConfigDict(extra="forbid")

    read: float
    true: float


class CalibrationFields(BaseModel):
    """A calibration by what was read, in one of three ways."""

    model_config = ConfigDict(extra="forbid")

    channel: str = Field(examples=["headspace_rh_pct"])
    salts: dict[str, float] | None = Field(None, examples=[{"NaCl": 73.0, "KCl": 82.1}])
    ice_c: float | None = Field(None, description="What it read in melting ice, °C.")
    reference: ReferenceFields | None = None
    since: str | None = Field(None, description="Counts from then; without it, for all the past.")


class SampleFields(BaseModel):
    """A weighed sample, with the index or the counts that the probe said then."""

    model_config = ConfigDict(extra="forbid")

    moisture_pct: float
    soil_index: float | None = None
    soil_raw: float | None = None


@router.get("/calibrations")
def list_calibrations(request: Request, probe: str, caller: AnyCaller) -> CalibrationsBody:
    """Return a probe's calibrations and weighed samples, oldest first."""
    del caller
    return _body(_place(request, probe))


@router.post("/calibrations", status_code=201)
def calibrate(
    request: Request, probe: str, caller: LeadingCaller, fields: CalibrationFields
) -> CalibrationsBody:
    """Add a calibration; those of the channel that it hides are gone."""
    del caller
    reference = (fields.reference.read, fields.reference.true) if fields.reference else None
    try:
        from_ms = 0 if fields.since is None else parse_time_ms(fields.since)
    except (ValueError, OverflowError):
        raise Problem(422, "since must be a time like 2026-05-01T18:30:00Z.") from None
    made = by_readings(fields.channel, fields.salts, fields.ice_c, reference, from_ms)
    return _changed(request, probe, lambda place: with_calibration(place, made))


@router.post("/samples", status_code=201)
def weigh(
    request: Request, probe: str, caller: LeadingCaller, fields: SampleFields
) -> CalibrationsBody:
    """Add a weighed sample to those that make the probe's line."""
    del caller
    moisture_pct, index, raw = fields.moisture_pct, fields.soil_index, fields.soil_raw
    return _changed(
        request, probe, lambda place: with_sample(place, moisture_pct, index=index, raw=raw)
    )


@router.delete("/calibrations/{mark}")
def uncalibrate(request: Request, probe: str, mark: str, caller: LeadingCaller) -> CalibrationsBody:
    """Remove a calibration or a weighed sample by its mark."""
    del caller
    if mark not in {one.mark for one in _marked(_body(_place(request, probe)))}:
        raise not_found("calibration", mark)
    return _changed(request, probe, lambda place: without(place, mark))


def _changed(
    request: Request, probe: str, change: Callable[[ProbePlace], ProbePlace]
) -> CalibrationsBody:
    place = change(_place(request, probe))
    context_of(request).records.place_probe(place)
    return _body(place)


def _place(request: Request, probe: str) -> ProbePlace:
    place = context_of(request).records.setup().probes.get(probe)
    if place is None:
        raise not_found("probe with a place", probe)
    return place


def _marked(body: CalibrationsBody) -> list[CalibrationBody | SampleBody]:
    return [*body.calibrations, *body.samples]


def _body(place: ProbePlace) -> CalibrationsBody:
    return CalibrationsBody(
        calibrations=[
            CalibrationBody.model_validate(
                {
                    "mark": mark_of(one),
                    "channel": one.channel,
                    "gain": one.gain,
                    "offset": one.offset,
                    "from": when(one.from_ms or None),
                    "until": when(one.until_ms),
                    "how": one.how,
                }
            )
            for one in place.calibrations
        ],
        samples=[
            SampleBody(mark=mark_of(one), soil_index=one[0], moisture_pct=one[1])
            for one in place.soil_points
        ],
    )
