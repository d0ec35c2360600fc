"""A probe's calibration: what puts its values right, and a form for each way of reading it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from underlid.binmodel.bins import Calibration, ProbePlace
from underlid.binmodel.probes.recalibrate import (
    by_ice,
    by_reference,
    by_salts,
    mark_of,
    with_calibration,
    with_sample,
    without,
)
from underlid.errors import UnderlidError
from underlid.journal.units import FAHRENHEIT_PER_KELVIN, TempUnit, Units, celsius
from underlid.readings.calibration import sample_moisture_pct
from underlid.readings.channels import CHANNELS
from underlid.web.context import context_of
from underlid.web.forms import choice, needed_number, number
from underlid.web.problem import not_found
from underlid.web.templating import render, units_of
from underlid.web.visitor import Form, Lead
from underlid.web.wording import channel_label

SALTS: Final = {
    "NaCl": "table salt (NaCl), 75.3 %",
    "KCl": "potassium chloride (KCl), 84.3 %",
    "K2SO4": "potassium sulfate (K₂SO₄), 97.3 %",
    "MgCl2": "magnesium chloride (MgCl₂), 32.8 %",
    "K2CO3": "potassium carbonate (K₂CO₃), 43.2 %",
    "NaBr": "sodium bromide (NaBr), 57.6 %",
    "LiCl": "lithium chloride (LiCl), 11.3 %",
}
"""Those that serve a bin best come first."""

SINCE: Final = {"always": "all that it ever said", "now": "what it says from now on"}
TEMP_SPAN: Final = (-50.0, 150.0)
GRAMS_MOST: Final = 5000.0

router = APIRouter(include_in_schema=False)


@router.get("/probes/{probe}/calibration")
def calibration_page(request: Request, probe: str, person: Lead) -> Response:
    """Show what puts a probe's values right, and how to do it anew."""
    del person
    return _page(request, _place(request, probe), {}, None)


@router.post("/probes/{probe}/calibration")
def calibrate(request: Request, probe: str, form: Form, person: Lead) -> Response:
    """Add a calibration or a weighed sample."""
    del person
    place = _place(request, probe)
    try:
        if form.get("way") == "sample":
            made = _with_sample(form, place)
        else:
            since = choice(form, f"{form.get('way')}_since", "what it counts for", SINCE)
            from_ms = 0 if since == "always" else context_of(request).clock.now_ms()
            made = with_calibration(place, _calibration(form, from_ms, units_of(request)))
    except UnderlidError as error:
        return _page(request, place, form, error)
    context_of(request).records.place_probe(made)
    return RedirectResponse(f"/probes/{probe}/calibration?said=calibrated", 303)


@router.post("/probes/{probe}/calibration/remove")
def remove(request: Request, probe: str, form: Form, person: Lead) -> Response:
    """Remove a calibration or a weighed sample; raw values were kept, so nothing is lost."""
    del person
    made = without(_place(request, probe), form.get("mark", ""))
    context_of(request).records.place_probe(made)
    return RedirectResponse(f"/probes/{probe}/calibration?said=gone", 303)


def _calibration(form: Mapping[str, str], from_ms: int, units: Units) -> Calibration:
    """Return the calibration that the form describes."""
    way = form.get("way", "")
    channel = form.get(f"{way}_channel", "")
    if way == "salts":
        readings = [
            (
                choice(form, f"salt_{one}", f"{which} salt", SALTS),
                needed_number(form, f"read_{one}", f"humidity over the {which} salt", 0, 110),
            )
            for one, which in ((1, "first"), (2, "second"))
        ]
        return by_salts(channel, readings[0], readings[1], from_ms)
    if way == "ice":
        return by_ice(channel, _read(form, "read_ice", "reading in ice", channel, units), from_ms)
    read = _read(form, "read", "what it read", channel, units)
    true = _read(form, "true", "what the reference said", channel, units)
    return by_reference(channel, read, true, from_ms)


def _read(form: Mapping[str, str], name: str, label: str, channel: str, units: Units) -> float:
    """Return a reading in the channel's own unit, as it was read in the keeper's."""
    value = needed_number(form, name, label, *TEMP_SPAN)
    if channel.endswith("_c") and units.temp is TempUnit.FAHRENHEIT:
        return round(celsius(value, "f"), 3)
    return value


def _line(one: Calibration, units: Units) -> str:
    """Return what a calibration does to a raw value; a mere shift in the keeper's units.

    >>> from underlid.journal.units import SI, US
    >>> ice = Calibration("bed_temp_c", 1.0, -0.5, 0, None, "")
    >>> _line(ice, SI), _line(ice, US), _line(Calibration("shed_rh_pct", 1.152, 8.8, 0, None, ""), US)
    ('1 · raw − 0.5 °C', '1 · raw − 0.9 °F', '1.15 · raw + 8.8')
    """
    offset, unit = abs(one.offset), " °C" if one.channel.endswith("_c") else ""
    if unit and one.gain == 1.0 and units.temp is TempUnit.FAHRENHEIT:
        offset, unit = offset * FAHRENHEIT_PER_KELVIN, " °F"
    return f"{one.gain:.3g} · raw {'+' if one.offset >= 0 else '−'} {offset:.3g}{unit}"


def _with_sample(form: Mapping[str, str], place: ProbePlace) -> ProbePlace:
    raw = number(form, "sample_raw", "counts when it was taken", 0, 65_535)
    index = number(form, "sample_index", "soil index when it was taken", -1, 2)
    wet = needed_number(form, "wet_g", "weight of the sample, g", 0, GRAMS_MOST)
    dry = needed_number(form, "dry_g", "weight when dry, g", 0, GRAMS_MOST)
    return with_sample(place, round(sample_moisture_pct(wet, dry), 1), index=index, raw=raw)


def _place(request: Request, probe: str) -> ProbePlace:
    place = context_of(request).records.setup().probes.get(probe)
    if place is None:
        raise not_found("probe with a place", probe)
    return place


def _page(
    request: Request, place: ProbePlace, fields: Mapping[str, str], error: UnderlidError | None
) -> Response:
    context = context_of(request)
    seen = context.readings.probe_seen(place.probe)
    raw = dict(seen.last_values) if seen else {}
    known = {
        channel: channel_label(channel)
        for channel in CHANNELS
        if not raw or channel in raw or any(one.channel == channel for one in place.calibrations)
    }
    values = {
        "place": place,
        "raw": raw,
        "heard_ms": seen.last_received_at_ms if seen else None,
        "humidities": {name: word for name, word in known.items() if name.endswith("_rh_pct")},
        "thermometers": {name: word for name, word in known.items() if name.endswith("_temp_c")},
        "has_soil": bool(known.keys() & {"soil_raw", "soil_index"} or place.soil_points),
        "calibrations": [
            (mark_of(one), one, _line(one, units_of(request))) for one in place.calibrations
        ],
        "samples": [(mark_of(one), *one) for one in place.soil_points],
        "salts": SALTS,
        "since": SINCE,
        "fields": dict(fields),
        "error": error,
        "now_ms": context.clock.now_ms(),
    }
    return render(request, "calibration.html", values, 422 if error else 200)
