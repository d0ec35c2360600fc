"""Sheds and bins: adding and changing them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Final
from zoneinfo import available_timezones

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from underlid.binmodel.bins import Bin, BinKind, Setup, Shed, Species
from underlid.errors import UnderlidError
from underlid.journal.feedstocks import FEEDSTOCKS, Group
from underlid.web.context import context_of
from underlid.web.forms import FieldError, choice, needed_number, new_id, text
from underlid.web.problem import not_found
from underlid.web.templating import render
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

NUMBERS: Final = {
    "herd_kg": ("worms, kg", 0.05, 5000.0),
    "volume_l": ("volume, litres", 1.0, 100_000.0),
    "bed_kg": ("bed, kg", 0.5, 50_000.0),
    "lid_area_m2": ("lid area, m²", 0.01, 500.0),
    "target_moisture_pct": ("moisture to keep, %", 50.0, 90.0),
}
"""Field -> label and believable range: from a bucket to a farm's windrow (our judgement)."""

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
    return _bin_page(request, setup, "", _bin_fields(Bin("", shed)), None)


@router.get("/places/bin/{bin_id}")
def bin_form_page(request: Request, bin_id: str, person: Lead) -> Response:
    """Show the form of a bin."""
    del person
    setup = context_of(request).records.setup()
    return _bin_page(request, setup, bin_id, _bin_fields(_bin(setup, bin_id)), None)


@router.post("/places/bin")
@router.post("/places/bin/{bin_id}")
def save_bin(request: Request, form: Form, person: Lead, bin_id: str = "") -> Response:
    """Keep a bin."""
    del person
    records = context_of(request).records
    setup = records.setup()
    before = _bin(setup, bin_id) if bin_id else None
    try:
        made = _bin_from(form, setup, before)
        records.save_bin(made)
    except UnderlidError as error:
        return _bin_page(request, setup, bin_id, form, error)
    first = "/probes" if not setup.bins else f"/bin/{made.id}"
    return RedirectResponse(f"{first}?said=bin", 303)


def _bin_from(form: dict[str, str], setup: Setup, before: Bin | None) -> Bin:
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
    values = {
        name_: needed_number(form, name_, label, low, high)
        for name_, (label, low, high) in NUMBERS.items()
    }
    bedding = choice(form, "bedding", "bedding at hand", BEDDINGS)
    start = before or Bin(new_id(name, setup.bins), shed)
    return replace(
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


def _bin_fields(one: Bin) -> dict[str, str]:
    """Return a bin as the form's fields."""
    fields = {
        "name": one.name,
        "shed": one.shed,
        "kind": one.kind.value,
        "bedding": one.bedding,
    }
    fields |= {name: f"{getattr(one, name):g}" for name in NUMBERS}
    return fields | {f"species_{species.value}": "yes" for species in one.species}


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
    values = {
        "bin_id": bin_id,
        "fields": fields,
        "error": error,
        "sheds": {shed.id: shed.name or shed.id for shed in setup.sheds.values()},
        "kinds": BIN_KINDS,
        "species": SPECIES,
        "common_names": COMMON_NAMES,
        "beddings": BEDDINGS,
        "numbers": NUMBERS,
    }
    return render(request, "bin_form.html", values, 422 if error else 200)
