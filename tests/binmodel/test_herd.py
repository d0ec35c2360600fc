"""Herd limits against the table of the science page, section 4."""

from __future__ import annotations

import pytest

from underlid.binmodel.bins import Bin, Species
from underlid.binmodel.herd import LIMIT_NAMES, SPECIES_LIMITS, Limits, limits_of
from underlid.errors import UnderlidError

TABLE = {
    # cold alarm, cold warn, hot warn, alarm, critical, moisture low alarm, low warn, high warn, alarm
    Species.EISENIA_FETIDA: (4, 10, 27, 30, 33, 60, 65, 85, 90),
    Species.EISENIA_ANDREI: (4, 10, 27, 30, 33, 60, 65, 85, 90),
    Species.EISENIA_HORTENSIS: (4, 10, 25, 28, 32, 60, 65, 85, 90),
    Species.PERIONYX_EXCAVATUS: (10, 15, 29, 30, 32, 65, 70, 85, 90),
    Species.EUDRILUS_EUGENIAE: (10, 15, 29, 30, 33, 65, 70, 85, 90),
}


@pytest.mark.parametrize("species", list(Species))
def test_each_species_has_the_limits_of_the_table(species: Species) -> None:
    limits = limits_of(Bin("b", "s", species=(species,)))
    assert limits == SPECIES_LIMITS[species]
    got = tuple(getattr(limits, name) for name in LIMIT_NAMES[: len(TABLE[species])])
    assert got == TABLE[species]


def test_a_mixed_herd_gets_the_tighter_limit_of_each() -> None:
    limits = limits_of(Bin("b", "s", species=tuple(Species)))
    assert (limits.cold_alarm_c, limits.cold_warn_c) == (10, 15)
    assert (limits.hot_warn_c, limits.hot_alarm_c, limits.hot_critical_c) == (25, 28, 32)
    assert (limits.moisture_low_alarm_pct, limits.moisture_low_warn_pct) == (65, 70)


def test_a_bin_overrides_single_limits() -> None:
    limits = limits_of(Bin("b", "s", limits={"hot_warn_c": 24.0}))
    assert limits.hot_warn_c == 24.0
    assert limits.hot_alarm_c == Limits().hot_alarm_c


def test_a_limit_that_does_not_exist_is_refused_with_the_names_there_are() -> None:
    with pytest.raises(UnderlidError, match=r"hot_warm_c.*hot_warn_c.*Correct"):
        limits_of(Bin("b", "s", limits={"hot_warm_c": 24.0}))


def test_a_bin_without_named_worms_gets_the_common_limits() -> None:
    assert limits_of(Bin("b", "s", species=())) == Limits()
