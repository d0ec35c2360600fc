"""The shape of a bin's being out of service in the interface."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from underlid.storage.records.out_of_service import OutOfService
from underlid.timeline import rfc3339


class ServiceFields(BaseModel):
    """That a bin is out of service: until when (null: until it is put back), and why."""

    model_config = ConfigDict(extra="forbid")

    until: str | None = Field(None, examples=["2026-05-02T08:00:00Z"])
    why: str = ""


class ServiceBody(ServiceFields):
    """That a bin is out of service, since when and by whom."""

    since: str
    by: str

    @classmethod
    def of(cls, out: OutOfService) -> ServiceBody:
        """Return it as the interface shows it."""
        return cls(
            until=None if out.until_ms is None else rfc3339(out.until_ms),
            why=out.why,
            since=rfc3339(out.since_ms),
            by=out.by,
        )
