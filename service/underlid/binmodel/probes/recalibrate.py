"""A probe's place with one calibration or weighed sample more, or less, by what the keeper read.

The fits are in `readings.calibration`; how a place's calibrations are applied is in `calibrated.py`. A
calibration counts from a time on, and for all that the probe ever said when that is 0.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from hashlib import blake2b
from typing import Final

from underlid.binmodel.bins import Calibration, ProbePlace
from underlid.binmodel.probes.calibrated import index_curve
from underlid.errors import UnderlidError, Words
from underlid.readings.calibration import (
    SALT_RH_PCT,
    Line,
    one_point,
    soil_index_line,
    two_point,
)
from underlid.readings.channels import CHANNELS

CALIBRATIONS_MOST: Final = 24
SAMPLES_MOST: Final = 40
"""Of one probe: some a year, as long as it lasts."""

ICE_MOST_K: Final = 5.0
REFERENCE_MOST: Final = {"_c": 10.0, "_pct": 20.0}
"""A sensor further off is broken, or the wrong one was read (our judgement)."""

INDEX_SPAN: Final = (-0.2, 1.2)
MOISTURE_SPAN_PCT: Final = (1.0, 99.0)


def by_salts(
    channel: str, first: tuple[str, float], second: tuple[str, float], from_ms: int = 0
) -> Calibration:
    """Return a humidity sensor's calibration by what it read over two salts.

    >>> made = by_salts("headspace_rh_pct", ("MgCl2", 36.1), ("NaCl", 73.0))
    >>> round(made.gain, 3), round(made.offset, 2), made.how
    (1.152, -8.78, 'salts: MgCl2 36.1, NaCl 73')
    """
    _require_kind(channel, "_rh_pct", "a humidity sensor's channel")
    for salt, _ in (first, second):
        if salt not in SALT_RH_PCT:
            raise UnderlidError(
                "salt",
                value=salt,
                expected="one of " + ", ".join(SALT_RH_PCT),
                next_step="Use one of these.",
            )
    line = two_point((first[1], second[1]), (SALT_RH_PCT[first[0]], SALT_RH_PCT[second[0]]))
    for salt, read in (first, second):
        _require_near(f"difference of the reading over {salt}", read, SALT_RH_PCT[salt], "_pct")
    how = f"salts: {first[0]} {first[1]:g}, {second[0]} {second[1]:g}"
    return _made(channel, line, from_ms, how)


def by_ice(channel: str, read_c: float, from_ms: int = 0) -> Calibration:
    """Return a thermometer's calibration by what it read in melting ice, °C.

    >>> by_ice("bed_temp_c", 0.4).offset
    -0.4
    """
    _require_kind(channel, "_temp_c", "a thermometer's channel")
    if not abs(read_c) <= ICE_MOST_K:
        raise UnderlidError(
            "reading in ice",
            value=read_c,
            expected=f"−{ICE_MOST_K:g} to {ICE_MOST_K:g} °C",
            next_step="Stir, wait until it stands still, and read again.",
        )
    return _made(channel, one_point(read_c, 0.0), from_ms, f"ice point: {read_c:g}")


def by_reference(channel: str, read: float, true: float, from_ms: int = 0) -> Calibration:
    """Return the calibration by a reference beside it, that said *true* when the sensor said *read*.

    >>> by_reference("shed_rh_pct", 58.0, 61.5).how
    'reference: 61.5 where it read 58'
    """
    kind = "_pct" if channel.endswith("_rh_pct") else "_c" if channel.endswith("_temp_c") else ""
    if not kind:
        raise _wrong_channel(channel, "a thermometer's or a humidity sensor's channel")
    _require_near("difference to the reference", read, true, kind)
    how = f"reference: {true:g} where it read {read:g}"
    return _made(channel, one_point(read, true), from_ms, how)


def by_readings(
    channel: str,
    salts: Mapping[str, float] | None,
    ice_c: float | None,
    reference: tuple[float, float] | None,
    from_ms: int = 0,
) -> Calibration:
    """Return the calibration by what was read in one of three ways; *reference*: read, and true.

    >>> by_readings("bed_temp_c", None, None, (22.8, 22.1)).offset
    -0.7
    """
    given = [one is not None for one in (salts, ice_c, reference)]
    if sum(given) != 1 or (salts is not None and len(salts) != 2):
        raise UnderlidError(
            "way of calibrating",
            value=Words("not one"),
            expected="two salts, or the ice point, or a reference",
            next_step="Give what was read in one of these ways.",
        )
    if salts is not None:
        first, second = salts.items()
        return by_salts(channel, first, second, from_ms)
    if ice_c is not None:
        return by_ice(channel, ice_c, from_ms)
    assert reference is not None
    return by_reference(channel, *reference, from_ms)


def with_calibration(place: ProbePlace, one: Calibration) -> ProbePlace:
    """Return *place* with a calibration more; those of its channel that it hides are gone."""
    kept = [
        before
        for before in place.calibrations
        if before.channel != one.channel or before.from_ms < one.from_ms
    ]
    if len(kept) >= CALIBRATIONS_MOST:
        raise _too_many("calibrations", CALIBRATIONS_MOST)
    return replace(place, calibrations=(*kept, one))


def with_sample(
    place: ProbePlace,
    moisture_pct: float,
    *,
    index: float | None = None,
    raw: float | None = None,
) -> ProbePlace:
    """Return *place* with a weighed sample more, taken when the probe had this index, or these counts.

    >>> place = ProbePlace("p", "s", "b", soil_dry_raw=2750.0, soil_wet_raw=1150.0)
    >>> with_sample(place, 77.0, raw=1950.0).soil_points
    ((0.5, 77.0),)
    """
    if raw is not None:
        if place.soil_dry_raw is None or place.soil_wet_raw is None:
            raise UnderlidError(
                "count in dry air and in water",
                value="",
                expected="both of them, to know what this count means",
                next_step="Set them with the probe's place first.",
            )
        index = round(soil_index_line(place.soil_dry_raw, place.soil_wet_raw).apply(raw), 4)
    if index is None or not INDEX_SPAN[0] <= index <= INDEX_SPAN[1]:
        raise UnderlidError(
            "soil index" if raw is None else f"soil index of {raw:g} counts",
            value="" if index is None else index,
            expected="about 0 (in air) to 1 (in water)",
            next_step="Note what the probe said when the sample was taken.",
        )
    if not MOISTURE_SPAN_PCT[0] <= moisture_pct <= MOISTURE_SPAN_PCT[1]:
        raise UnderlidError(
            "moisture of the sample, %",
            value=moisture_pct,
            expected="1 to 99, wet basis",
            next_step="Work it out as (wet − dry) / wet × 100.",
        )
    if len(place.soil_points) >= SAMPLES_MOST:
        raise _too_many("weighed samples", SAMPLES_MOST)
    made = replace(place, soil_points=(*place.soil_points, (index, moisture_pct)))
    if index_curve(made) is None:
        raise UnderlidError(
            "weighed samples",
            value=Words(", ".join(f"{at:g}: {pct:g} %" for at, pct in made.soil_points)),
            expected="a wetter bed where the index is higher",
            next_step="Weigh once more, or remove the one that is wrong.",
        )
    return made


def mark_of(one: Calibration | tuple[float, float]) -> str:
    """Return what names a calibration or a sample, as long as it stays the same."""
    return blake2b(repr(one).encode(), digest_size=4).hexdigest()


def without(place: ProbePlace, mark: str) -> ProbePlace:
    """Return *place* without the calibration or the sample of this mark."""
    made = replace(
        place,
        calibrations=tuple(one for one in place.calibrations if mark_of(one) != mark),
        soil_points=tuple(one for one in place.soil_points if mark_of(one) != mark),
    )
    if made == place:
        raise UnderlidError(
            "calibration",
            value=mark,
            expected="one that the probe has",
            next_step="List those it has.",
        )
    return made


def _made(channel: str, line: Line, from_ms: int, how: str) -> Calibration:
    return Calibration(channel, round(line.gain, 6), round(line.offset, 6), from_ms, None, how)


def _require_near(what: str, read: float, true: float, kind: str) -> None:
    most, unit = REFERENCE_MOST[kind], "°C" if kind == "_c" else "%"
    if not abs(true - read) <= most:  # so that what is no number is refused, too
        raise UnderlidError(
            what,
            value=round(true - read, 3),
            expected=f"at most {most:g} {unit}",
            next_step="See that both were read at the same time and place, and in the same unit.",
        )


def _require_kind(channel: str, ending: str, expected: str) -> None:
    if channel not in CHANNELS or not channel.endswith(ending):
        raise _wrong_channel(channel, expected)


def _wrong_channel(channel: str, expected: str) -> UnderlidError:
    return UnderlidError(
        "channel", value=channel, expected=expected, next_step="Name the sensor that was read."
    )


def _too_many(what: str, most: int) -> UnderlidError:
    return UnderlidError(
        f"number of {what}",
        value=most + 1,
        expected=f"at most {most}",
        next_step="Remove those that are too old to count.",
    )
