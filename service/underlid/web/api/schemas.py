"""The shapes of the interface's answers: SI units in the field names, RFC 3339 times."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from underlid.alerts.alert import Alert
from underlid.alerts.show import advice_as_json
from underlid.binmodel.bins import Bin, ProbePlace
from underlid.journal.entries import Entry
from underlid.journal.parse import fields_from_entry
from underlid.journal.photos import EntryPhoto
from underlid.journal.summary import summary
from underlid.storage.records.out_of_service import OutOfService
from underlid.timeline import rfc3339
from underlid.web.api.service_schema import ServiceBody


class ProblemBody(BaseModel):
    """Problem details, RFC 9457."""

    type: str = "about:blank"
    title: str
    status: int
    detail: str


class Taken(BaseModel):
    """What became of posted readings, once they were on disk."""

    accepted: int = Field(description="Readings stored, or stored before.")
    rejected: list[dict[str, str]] = Field(description="Reason and sentence of each refusal.")


class BinBody(BaseModel):
    """One bin."""

    id: str
    shed: str
    name: str
    kind: str
    species: list[str]
    herd_kg: float
    volume_l: float
    bed_kg: float
    dry_density_kg_l: float
    lid_area_m2: float
    target_moisture_pct: float
    bedding: str
    out_of_service: ServiceBody | None = Field(description="Null while people are told of it.")

    @classmethod
    def of(cls, one: Bin, out: OutOfService | None) -> BinBody:
        """Return a bin as the interface shows it."""
        made = ("species", "out_of_service")
        return cls(
            **{name: getattr(one, name) for name in cls.model_fields if name not in made},
            species=[species.value for species in one.species],
            out_of_service=None if out is None else ServiceBody.of(out),
        )


class LessonBody(BaseModel):
    """One thing that a bin has taught, or what is assumed until it does."""

    model_config = ConfigDict(populate_by_name=True)

    value: float
    sd: float = Field(description="Standard deviation.")
    unit: str
    learnt: bool = Field(description="False: the value is what bins of its kind are like.")
    count: int = Field(description="Hours, days, looks or samples behind it.")
    start: str | None = Field(alias="from")
    until: str | None
    text: str


class ProbeBody(BaseModel):
    """One probe: where it sits and what it last said (raw, uncalibrated)."""

    id: str
    shed: str
    bin: str | None
    claimed: bool
    depth_cm: float | None
    last_at: str | None
    last_received_at: str | None
    last_values: dict[str, float]
    online: bool | None = Field(description="What the probe last said of itself, if it did.")


class PlaceFields(BaseModel):
    """Where a probe sits: in a bin, or without one as its shed's air probe."""

    model_config = ConfigDict(extra="forbid")

    shed: str
    bin: str | None = None
    depth_cm: float | None = Field(None, ge=0, le=200)
    soil_dry_raw: float | None = Field(None, ge=0, le=65535)
    soil_wet_raw: float | None = Field(None, ge=0, le=65535)

    def place(self, probe: str, before: ProbePlace | None) -> ProbePlace:
        """Return the place, keeping the calibrations there were."""
        return ProbePlace(
            probe,
            self.shed,
            self.bin,
            self.depth_cm,
            self.soil_dry_raw,
            self.soil_wet_raw,
            before.soil_points if before else (),
            before.calibrations if before else (),
        )


class EntryFields(BaseModel):
    """A journal entry as it is written: the columns of the journal page, as its kind has them."""

    model_config = ConfigDict(extra="allow")

    bin: str
    kind: str = Field(examples=["feed"])
    time: str | None = Field(None, examples=["2026-05-01T18:30:00+01:00"])
    ingredient: str | dict[str, float] | None = Field(None, examples=["melon:1200+bread:300"])
    mass_g: float | None = None
    text: str | None = None


class EntryBody(BaseModel):
    """A journal entry as it is kept."""

    model_config = ConfigDict(extra="allow")

    id: str
    version: int
    withdrawn: bool
    bin: str
    kind: str
    time: str
    summary: str
    photos: int | None = Field(None, description="How many it shows; where entries are read.")

    @classmethod
    def of(cls, entry: Entry, photos: int | None = None) -> EntryBody:
        """Return an entry as the interface shows it."""
        return cls(
            photos=photos,
            id=entry.id,
            version=entry.version,
            withdrawn=entry.withdrawn,
            summary=summary(entry),
            **fields_from_entry(entry),  # type: ignore[arg-type]  # the kind's own fields are extra
        )


class EntryPage(BaseModel):
    """Some entries, newest first; `next` is the `before` of the following page."""

    entries: list[EntryBody]
    next: str | None


class PhotoBody(BaseModel):
    """A photo of an entry; its pictures are at the two addresses."""

    id: str
    entry: str
    version: int
    state: str = Field(description="shown, removed or erased")
    words: str
    by: str
    time: str = Field(description="When this version became known.")
    width_px: int
    height_px: int
    size_bytes: int
    full: str
    small: str

    @classmethod
    def of(cls, photo: EntryPhoto) -> PhotoBody:
        """Return a photo as the interface shows it."""
        at = f"/api/v1/entries/{photo.entry}/photos/{photo.id}"
        return cls(
            id=photo.id,
            entry=photo.entry,
            version=photo.version,
            state=photo.state.value,
            words=photo.words,
            by=photo.by,
            time=rfc3339(photo.known_at_ms),
            width_px=photo.width_px,
            height_px=photo.height_px,
            size_bytes=photo.size_bytes,
            full=f"{at}/full.jpg",
            small=f"{at}/small.jpg",
        )


class PhotoFields(BaseModel):
    """What a photo shows."""

    model_config = ConfigDict(extra="forbid")

    words: str


class AlertBody(BaseModel):
    """One alert: what, how urgent, since when, what to do."""

    id: str
    bin: str
    shed: str
    condition: str
    subject: str
    state: str
    priority: str
    since: str
    raised_at: str | None
    returned_at: str | None
    acknowledged_at: str | None
    acknowledged_by: str
    shelved_until: str | None
    forecast_for: str | None
    cause: str
    grade: str
    certainty: float
    evidence: dict[str, float | str]
    advice: list[dict[str, Any]]
    text: str

    @classmethod
    def of(cls, alert: Alert) -> AlertBody:
        """Return an alert as the interface shows it."""
        return cls(
            id=alert.id,
            bin=alert.bin,
            shed=alert.shed,
            condition=alert.condition.value,
            subject=alert.subject,
            state=alert.state.value,
            priority=alert.priority.value,
            since=rfc3339(alert.since_ms),
            raised_at=when(alert.raised_at_ms),
            returned_at=when(alert.returned_at_ms),
            acknowledged_at=when(alert.acknowledged_at_ms),
            acknowledged_by=alert.acknowledged_by,
            shelved_until=when(alert.shelved_until_ms),
            forecast_for=when(alert.forecast_for_ms),
            cause=alert.cause,
            grade=alert.grade,
            certainty=alert.certainty,
            evidence=alert.evidence,
            advice=[advice_as_json(one) for one in alert.advice],
            text=alert.text,
        )


class AlertPage(BaseModel):
    """Some alerts, newest first; `next` is the `before` of the following page."""

    alerts: list[AlertBody]
    next: str | None


class ShelveFields(BaseModel):
    """Until when an alert is to be quiet."""

    model_config = ConfigDict(extra="forbid")

    until: str = Field(examples=["2026-05-02T08:00:00Z"])


class SeriesBody(BaseModel):
    """Curves over common steps: point n begins at start + n · step."""

    bin: str
    start: str
    step_s: float
    points: int
    channels: dict[str, dict[str, list[float | None]]] = Field(
        description="channel -> low, mean, high per step; null where nothing was measured"
    )
    marks: list[dict[str, Any]]
    spans: list[dict[str, Any]]
    forecast: dict[str, Any] | None = Field(
        default=None, description="start_ms, step_ms, points, channels: what is foreseen now"
    )


def when(at_ms: int | None) -> str | None:
    """Return a time for an answer."""
    return None if at_ms is None else rfc3339(at_ms)
