"""Sheds and bins: adding and changing them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from typing import Final
from zoneinfo import available_timezones

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from underlid.binmodel.bins import Bin, BinKind, Setup, Shed, Species
from underlid.errors import UnderlidError
from underlid.journal.feedstocks import FEEDSTOCKS, Group
from underlid.journal.units import Units, units_named
from underlid.web.bin_form import (
    is_us,
    limits_from,
    number_fields,
    number_units,
    numbers_from,
    usual_limits,
)
from underlid.web.context import context_of
from underlid.web.forms import FieldError, choice, new_id, text
from underlid.web.problem import not_found
from underlid.web.templating import render, units_of
from underlid.web.visitor import AnyPerson, Form, Lead
from underlid.web.wording import BIN_KINDS

SPECIES: Final = {
    Species.EISENIA_FETIDA.value: "Eisenia fetida",
    Species.EISENIA_ANDREI.value: "Eisenia andrei",
    Species.EISENIA_HORTENSIS.value: "Eisenia hortensis",
    Species.PERIONYX_EXCAVATUS.value: "Perionyx excavatus",
    Species.EUDRILUS_EUGENIAE.value: "Eudrilus eugeniae",
}
COMMON_NAMES: Final = {
    Species.EISENIA_FETIDA.value: "tiger worm, red wiggler",
    Species.EISENIA_ANDREI.value: "red tiger worm",
    Species.EISENIA_HORTENSIS.value: "European nightcrawler",
    Species.PERIONYX_EXCAVATUS.value: "Indian blue",
    Species.EUDRILUS_EUGENIAE.value: "African nightcrawler",
}
"""What breeders call them (common practice); few keepers know the Latin name of theirs."""

BEDDINGS: Final = {
    stock.id: stock.label for stock in FEEDSTOCKS.values() if stock.group is Group.BEDDING
}

router = APIRouter(include_in_schema=False)


@cache
def timezones() -> dict[str, str]:
    """Return the time zones by name."""
    return {name: name for name in sorted(available_timezones()) if "/" in name or name == "UTC"}


@router.get("/places")
def places_page(request: Request, person: AnyPerson) -> Response:
    """Show sheds and their bins."""
    del person
    setup = context_of(request).records.setup()
    return render(request, "places.html", {"setup": setup, "species": SPECIES})


@router.get("/places/shed")
def new_shed_page(request: Request, person: Lead) -> Response:
    """Show the form for a new shed."""
    del person
    return _shed_page(request, "", {"timezone": "Europe/London"}, None)


@router.get("/places/shed/{shed_id}")
def shed_form_page(request: Request, shed_id: str, person: Lead) -> Response:
    """Show the form of a shed."""
    del person
    shed = _shed(context_of(request).records.setup(), shed_id)
    return _shed_page(request, shed_id, {"name": shed.name, "timezone": shed.timezone}, None)


@router.post("/places/shed")
@router.post("/places/shed/{shed_id}")
def save_shed(request: Request, form: Form, person: Lead, shed_id: str = "") -> Response:
    """Keep a shed."""
    del person
    records = context_of(request).records
    setup = records.setup()
    before = _shed(setup, shed_id) if shed_id else None
    try:
        name = text(form, "name", "name of the shed", needed=True)
        timezone = choice(form, "timezone", "time zone", timezones())
        shed = before or Shed(new_id(name, setup.sheds))
        records.save_shed(replace(shed, name=name, timezone=timezone))
    except UnderlidError as error:
        return _shed_page(request, shed_id, form, error)
    first = "/places/bin" if not setup.bins else "/places"
    return RedirectResponse(f"{first}?said=shed", 303)


@router.get("/places/bin")
def new_bin_page(request: Request, person: Lead) -> Response:
    """Show the form for a new bin."""
    del person
    setup = context_of(request).records.setup()
    if not setup.sheds:
        return RedirectResponse("/places/shed", 303)
    shed = request.query_params.get("shed", "")
    fields = _bin_fields(Bin("", shed), units_of(request))
    return _bin_page(request, setup, "", fields, None)


@router.get("/places/bin/{bin_id}")
def bin_form_page(request: Request, bin_id: str, person: Lead) -> Response:
    """Show the form of a bin."""
    del person
    setup = context_of(request).records.setup()
    fields = _bin_fields(_bin(setup, bin_id), units_of(request))
    return _bin_page(request, setup, bin_id, fields, None)


@router.post("/places/bin")
@router.post("/places/bin/{bin_id}")
def save_bin(request: Request, form: Form, person: Lead, bin_id: str = "") -> Response:
    """Keep a bin."""
    del person
    records = context_of(request).records
    setup = records.setup()
    before = _bin(setup, bin_id) if bin_id else None
    try:
        made = _bin_from(form, setup, before, _units(request, form))
        records.save_bin(made)
    except UnderlidError as error:
        return _bin_page(request, setup, bin_id, form, error)
    first = "/probes" if not setup.bins else f"/bin/{made.id}"
    return RedirectResponse(f"{first}?said=bin", 303)


def _bin_from(form: dict[str, str], setup: Setup, before: Bin | None, units: Units) -> Bin:
    """Return the bin that the form describes."""
    name = text(form, "name", "name of the bin", needed=True)
    sheds = {shed.id: shed.name or shed.id for shed in setup.sheds.values()}
    shed = choice(form, "shed", "shed", sheds)
    kind = BinKind(choice(form, "kind", "kind of bin", BIN_KINDS))
    species = tuple(one for one in Species if form.get(f"species_{one.value}"))
    if not species:
        raise FieldError(
            f"species_{Species.EISENIA_FETIDA.value}",
            "worms",
            value="",
            expected="at least one species",
            next_step="If you do not know, Eisenia fetida, the tiger worm, is the common one.",
        )
    values = numbers_from(form, before, units)
    bedding = choice(form, "bedding", "bedding at hand", BEDDINGS)
    start = before or Bin(new_id(name, setup.bins), shed)
    made = replace(
        start,
        shed=shed,
        name=name,
        kind=kind,
        species=species,
        herd_kg=values["herd_kg"],
        volume_l=values["volume_l"],
        bed_kg=values["bed_kg"],
        lid_area_m2=values["lid_area_m2"],
        target_moisture_pct=values["target_moisture_pct"],
        bedding=bedding,
    )
    return replace(made, limits=limits_from(form, made, before, units))


def _bin_fields(one: Bin, units: Units) -> dict[str, str]:
    """Return a bin as the form's fields."""
    fields = {
        "name": one.name,
        "shed": one.shed,
        "kind": one.kind.value,
        "bedding": one.bedding,
    }
    fields |= number_fields(one, units)
    return fields | {f"species_{species.value}": "yes" for species in one.species}


def _units(request: Request, form: Mapping[str, str]) -> Units:
    """Return the units in which the form was filled in: they may be changed in another tab meanwhile."""
    return units_named(form["units"]) if "units" in form else units_of(request)


def _shed(setup: Setup, shed_id: str) -> Shed:
    if shed_id not in setup.sheds:
        raise not_found("shed", shed_id)
    return setup.sheds[shed_id]


def _bin(setup: Setup, bin_id: str) -> Bin:
    if bin_id not in setup.bins:
        raise not_found("bin", bin_id)
    return setup.bins[bin_id]


def _shed_page(
    request: Request, shed_id: str, fields: dict[str, str], error: UnderlidError | None
) -> Response:
    values = {"shed_id": shed_id, "fields": fields, "error": error, "timezones": timezones()}
    return render(request, "shed_form.html", values, 422 if error else 200)


def _bin_page(
    request: Request,
    setup: Setup,
    bin_id: str,
    fields: dict[str, str],
    error: UnderlidError | None,
) -> Response:
    units = _units(request, fields)
    values = {
        "bin_id": bin_id,
        "fields": fields,
        "error": error,
        "sheds": {shed.id: shed.name or shed.id for shed in setup.sheds.values()},
        "kinds": BIN_KINDS,
        "species": SPECIES,
        "common_names": COMMON_NAMES,
        "beddings": BEDDINGS,
        "number_units": number_units(units),
        "limits": usual_limits(setup.bins.get(bin_id) or Bin("", ""), units),
        "has_limits": any(one.startswith("limit_") and fields[one] for one in fields),
        "units_asked": "us" if is_us(units) else "si",
    }
    return render(request, "bin_form.html", values, 422 if error else 200)
