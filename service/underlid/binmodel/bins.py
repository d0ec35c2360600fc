"""A shed, its bins and the probes in them: what the keeper told us about the set-up.

Values only. Built from `underlid.toml`-style setup files by `files.setup`, from the database by
`storage.records`, from forms by `web`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from underlid.readings.mapping import PayloadMapping


class BinKind(StrEnum):
    """How the bin is built."""

    FLOW_THROUGH_BAG = "flow-through-bag"
    TRAY_STACK = "tray-stack"
    WOODEN_BOX = "wooden-box"
    PLASTIC_TOTE = "plastic-tote"
    TROUGH = "trough"


class Species(StrEnum):
    """The worms kept, by their scientific names."""

    EISENIA_FETIDA = "eisenia-fetida"
    EISENIA_ANDREI = "eisenia-andrei"
    EISENIA_HORTENSIS = "eisenia-hortensis"
    PERIONYX_EXCAVATUS = "perionyx-excavatus"
    EUDRILUS_EUGENIAE = "eudrilus-eugeniae"


@dataclass(frozen=True, slots=True)
class Shed:
    """One place whose bins share the same surrounding air."""

    id: str
    name: str = ""
    air_probe: str | None = None
    timezone: str = "UTC"


@dataclass(frozen=True, slots=True)
class Bin:
    """One bin. `limits` overrides single herd limits by name (see `binmodel.herd`)."""

    id: str
    shed: str
    name: str = ""
    kind: BinKind = BinKind.PLASTIC_TOTE
    species: tuple[Species, ...] = (Species.EISENIA_FETIDA,)
    herd_kg: float = 1.0
    volume_l: float = 60.0
    bed_kg: float = 22.0
    dry_density_kg_l: float = 0.15
    lid_area_m2: float = 0.18
    target_moisture_pct: float = 75.0
    bedding: str = "newspaper"
    """The bedding the keeper has at hand; advice is given in it."""
    limits: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Calibration:
    """calibrated = gain · raw + offset, for readings taken in [from_ms, until_ms)."""

    channel: str
    gain: float
    offset: float
    from_ms: int = 0
    until_ms: int | None = None
    how: str = ""
    """For the keeper: "ice point", "two salts", "weighed samples"."""


@dataclass(frozen=True, slots=True)
class ProbePlace:
    """Where a probe sits: in a bin, or (bin None) as the shed's air probe."""

    probe: str
    shed: str
    bin: str | None
    depth_cm: float | None = None
    soil_dry_raw: float | None = None
    soil_wet_raw: float | None = None
    soil_points: tuple[tuple[float, float], ...] = ()
    """(index 0..1, % wet basis by weighed sample)."""
    calibrations: tuple[Calibration, ...] = ()


@dataclass(frozen=True, slots=True)
class Setup:
    """Everything about the place: sheds, bins and where each probe sits, by id."""

    sheds: dict[str, Shed]
    bins: dict[str, Bin]
    probes: dict[str, ProbePlace]
    mappings: dict[str, PayloadMapping] = field(default_factory=dict)
    """How messages of other firmware are read; no judgement depends on it."""
