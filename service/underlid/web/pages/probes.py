"""The probes: unclaimed ones to be given a place, claimed ones, and what could not be used."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from underlid.binmodel.bins import ProbePlace, Setup, Shed
from underlid.errors import UnderlidError, Words
from underlid.readings.channels import is_id
from underlid.readings.plausibility import doubt
from underlid.readings.values import ProbeStatus, Rejected
from underlid.storage.protocols import ProbeSeen
from underlid.web.context import Context, context_of
from underlid.web.forms import FieldError, choice, number
from underlid.web.problem import Problem, not_found
from underlid.web.series import calibrated_now
from underlid.web.templating import render
from underlid.web.visitor import AnyPerson, Form, Lead

REJECTS_SHOWN: Final = 30
DEAD_SHOWN: Final = 50
PREVIEW_CHARS: Final = 240
"""Enough of a payload to see what is wrong with it."""

DEPTH_MOST_CM: Final = 200.0
SOIL_MOST: Final = 65_535.0

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True)
class ProbeView:
    """One probe as the page shows it."""

    probe: str
    seen: ProbeSeen | None
    status: ProbeStatus | None
    place: ProbePlace | None
    values: dict[str, float]

    @property
    def doubted(self) -> set[str]:
        """Return the channels whose newest value a working sensor would not say."""
        raw = self.seen.last_values if self.seen else {}
        return {
            channel
            for values in (raw, self.values)
            for channel, value in values.items()
            if doubt(channel, value) is not None
        }


@router.get("/probes")
def probes_page(request: Request, person: AnyPerson) -> Response:
    """Show all probes, rejected messages and undelivered ones."""
    del person
    context = context_of(request)
    setup = context.records.setup()
    all_views = _views(request, setup)
    return render(
        request,
        "probes.html",
        {
            "unclaimed": [view for view in all_views if view.place is None],
            "claimed": [view for view in all_views if view.place is not None],
            "setup": setup,
            "names": {one.id: one.name or one.id for one in setup.bins.values()},
            "rejects": [_reject(one) for one in context.readings.recent_rejects(REJECTS_SHOWN)],
            "reject_counts": sorted(context.readings.reject_counts().items()),
            "backlog": context.readings.backlog(),
            "dead": context.records.dead_letters(DEAD_SHOWN),
            "gone": context.records.channels_of_the_gone(),
            "now_ms": context.clock.now_ms(),
            "door_port": _door_port(context),
        },
    )


def _door_port(context: Context) -> int:
    """Return the port that probes knock at, 0 when only a broker brings readings."""
    return context.settings.door_port if context.settings.door else 0


@router.get("/probes/{probe}")
def place_page(request: Request, probe: str, person: Lead) -> Response:
    """Show the form that gives a probe its place."""
    del person
    setup = context_of(request).records.setup()
    view = _view(request, setup, probe)
    return _place_page(request, setup, view, _fields(view.place), None)


@router.post("/probes/{probe}/place")
def place(request: Request, probe: str, form: Form, person: Lead) -> Response:
    """Give a probe its place."""
    del person
    context = context_of(request)
    setup = context.records.setup()
    view = _view(request, setup, probe)
    try:
        made = _place_from(form, setup, view)
        context.records.place_probe(made)
        if made.bin is None:
            shed = setup.sheds[made.shed]
            context.records.save_shed(replace(shed, air_probe=probe))
        elif (was := _air_of(setup, probe)) is not None:
            context.records.save_shed(replace(was, air_probe=None))
    except UnderlidError as error:
        return _place_page(request, setup, view, form, error)
    to = f"/bin/{made.bin}" if made.bin else "/probes"
    return RedirectResponse(f"{to}?said=placed", 303)


@router.post("/probes/{probe}/remove")
def remove(request: Request, probe: str, form: Form, person: Lead) -> Response:
    """Take a probe out of its place; its readings stay."""
    del form, person
    context = context_of(request)
    shed = _air_of(context.records.setup(), probe)
    if shed is not None:
        context.records.save_shed(replace(shed, air_probe=None))
    context.records.unplace_probe(probe)
    return RedirectResponse("/probes?said=unplaced", 303)


@router.post("/probes/secret")
def secret(request: Request, form: Form, person: Lead) -> Response:
    """Make a probe's secret for the door and show it this once."""
    del person
    context = context_of(request)
    probe = form.get("probe", "").strip()
    if not is_id(probe):
        raise FieldError(
            "probe",
            "name of the probe",
            value=probe,
            expected="a-z, 0-9, - and _, at most 64, such as tansy-1",
            next_step="Choose another name and set the same one in the probe.",
        )
    made = context.records.make_probe_secret(probe)
    values = {"probe": probe, "secret": made, "door_port": _door_port(context)}
    return render(request, "secret.html", values)


@router.post("/probes/{probe}/secret/end")
def end_secret(request: Request, probe: str, form: Form, person: Lead) -> Response:
    """End a probe's own secret: what knows it is sent away."""
    del form, person
    context_of(request).records.end_probe_secret(probe)
    return RedirectResponse("/probes?said=secret_ended", 303)


@router.post("/probes/undelivered/{delivery_id}")
def retry(request: Request, delivery_id: int, form: Form, person: Lead) -> Response:
    """Try to deliver a message again that was given up."""
    del form, person
    context = context_of(request)
    gone = context.records.channels_of_the_gone()
    dead = context.records.dead_letters(DEAD_SHOWN)
    if delivery_id not in {one.id for one in dead if one.channel not in gone}:
        raise Problem(404, "This message is no longer among the undelivered ones.")
    context.records.retry_dead(delivery_id, context.clock.now_ms())
    return RedirectResponse("/probes?said=retried", 303)


@router.post("/probes/undelivered/{delivery_id}/forget")
def forget(request: Request, delivery_id: int, form: Form, person: Lead) -> Response:
    """Forget a message for an address that is gone: it can never be delivered."""
    del form, person
    context_of(request).records.forget_dead(delivery_id)
    return RedirectResponse("/probes?said=forgotten", 303)


def _views(request: Request, setup: Setup) -> list[ProbeView]:
    """Return every probe that was ever heard of or placed, by name."""
    context = context_of(request)
    seen = {one.probe: one for one in context.readings.probes_seen()}
    statuses = context.records.probe_statuses()
    names = sorted({*seen, *setup.probes, *statuses})
    return [_made_view(name, seen.get(name), statuses.get(name), setup) for name in names]


def _made_view(
    probe: str, seen: ProbeSeen | None, status: ProbeStatus | None, setup: Setup
) -> ProbeView:
    own = setup.probes.get(probe)
    values = dict(seen.last_values) if seen else {}
    if seen and own:
        values |= calibrated_now(own, seen.last_taken_at_ms, seen.last_values)
    return ProbeView(probe, seen, status, own, values)


def _view(request: Request, setup: Setup, probe: str) -> ProbeView:
    for view in _views(request, setup):
        if view.probe == probe:
            return view
    raise not_found("probe", probe)


def _place_from(form: dict[str, str], setup: Setup, view: ProbeView) -> ProbePlace:
    """Return the place that the form describes."""
    where = choice(form, "where", "place", _wheres(setup))
    kind, _, id_ = where.partition(":")
    bin_id = id_ if kind == "bin" else None
    shed = setup.bins[id_].shed if kind == "bin" else id_
    dry = number(form, "soil_dry_raw", "count in dry air", 0, SOIL_MOST)
    wet = number(form, "soil_wet_raw", "count in water", 0, SOIL_MOST)
    if (dry is None) != (wet is None) or (dry is not None and dry == wet):
        raise FieldError(
            "soil_wet_raw" if wet is None else "soil_dry_raw",
            "count in dry air and in water",
            value=Words(f"{_count(dry)} and {_count(wet)}"),
            expected="both of them and not the same, or neither",
            next_step="Note the count in dry air and in a glass of water.",
        )
    start = view.place or ProbePlace(view.probe, shed, bin_id)
    return replace(
        start,
        shed=shed,
        bin=bin_id,
        depth_cm=number(form, "depth_cm", "depth, cm", 0, DEPTH_MOST_CM),
        soil_dry_raw=dry,
        soil_wet_raw=wet,
    )


def _wheres(setup: Setup) -> dict[str, str]:
    """Return the places a probe may have, as the form's values."""
    bins = {f"bin:{one.id}": one.name or one.id for one in setup.bins.values()}
    airs = {f"air:{shed.id}": f"Air of {shed.name or shed.id}" for shed in setup.sheds.values()}
    return bins | airs


def _air_of(setup: Setup, probe: str) -> Shed | None:
    """Return the shed whose air probe this is."""
    return next((shed for shed in setup.sheds.values() if shed.air_probe == probe), None)


def _fields(place: ProbePlace | None) -> dict[str, str]:
    if place is None:
        return {}
    fields = {"where": f"bin:{place.bin}" if place.bin else f"air:{place.shed}"}
    for name in ("depth_cm", "soil_dry_raw", "soil_wet_raw"):
        value = getattr(place, name)
        fields[name] = "" if value is None else f"{value:g}"
    return fields


def _reject(one: Rejected) -> dict[str, object]:
    """Return a rejected message as the page shows it."""
    text = one.message.payload[: PREVIEW_CHARS * 2].decode("utf-8", "backslashreplace")
    shown = "".join(letter if letter.isprintable() else "·" for letter in text)
    return {
        "at_ms": one.message.received_at_ms,
        "topic": one.message.topic,
        "reason": one.reason.value.replace("_", " "),
        "sentence": one.sentence,
        "payload": shown[:PREVIEW_CHARS] + ("…" if len(shown) > PREVIEW_CHARS else ""),
        "bytes": len(one.message.payload),
    }


def _place_page(
    request: Request,
    setup: Setup,
    view: ProbeView,
    fields: dict[str, str],
    error: UnderlidError | None,
) -> Response:
    values = {
        "view": view,
        "fields": fields,
        "error": error,
        "wheres": _wheres(setup),
        "sheds": setup.sheds,
        "has_secret": view.probe in context_of(request).records.door_secrets(),
        "now_ms": context_of(request).clock.now_ms(),
    }
    return render(request, "probe_form.html", values, 422 if error else 200)


def _count(value: float | None) -> str:
    return "nothing" if value is None else f"{value:g}"
