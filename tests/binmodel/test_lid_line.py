"""A lid probe that is off: the line of lid over headspace tells by how much."""

from __future__ import annotations

from math import nan, pi, sin

import pytest

from underlid.binmodel.bins import BinKind
from underlid.binmodel.lids.cloud import Cloud
from underlid.binmodel.lids.hours import LidHour
from underlid.binmodel.lids.lid_line import LidLine

FACTOR = 0.7


def hour_of(hour: int, off_k: float) -> LidHour:
    """A bed that is up to 2.5 K warmer than its shed, a headspace half way, a lid after that."""
    over_k = 1.0 + 1.5 * sin(2.0 * pi * hour / 24.0)
    head_k = 0.6 * over_k
    return LidHour(
        bed_c=20.0 + over_k,
        head_c=20.0 + head_k,
        rh_pct=nan,
        shed_c=20.0,
        shed_rh_pct=60.0,
        lid_c=20.0 + FACTOR * head_k + off_k,
    )


def film_after(days: int, off_k: float) -> float:
    cloud = Cloud(BinKind.PLASTIC_TOTE)
    for hour in range(24 * days):
        cloud.step(hour_of(hour, off_k))
    return cloud.quantiles(0.5)[0]


@pytest.mark.parametrize("off_k", [-0.4, 0.4])
def test_the_offset_of_a_lid_probe_is_learnt_within_a_week(off_k: float) -> None:
    line = LidLine.of(BinKind.PLASTIC_TOTE)
    for hour in range(7 * 24):
        one = hour_of(hour, off_k)
        line = line.learn(one.head_c - one.shed_c, one.lid_c - one.shed_c)
    factor, offset, sd = line.factor_and_offset()
    assert factor == pytest.approx(FACTOR, abs=0.03)
    assert offset == pytest.approx(off_k, abs=0.1)
    assert sd < 0.1


def test_a_lid_probe_that_is_off_makes_little_film() -> None:
    true, low, high = (film_after(6, off_k) for off_k in (0.0, -0.3, 0.3))
    # Believed as they read, the two would make 268 g/m² and nothing of 88.
    assert true - 30.0 < high <= true <= low < true + 30.0
