"""A film where a thermometer is not known, or in doubt: the headspace follows its bed on a line."""

from __future__ import annotations

from math import nan

import numpy as np
import pytest

from underlid.binmodel.bins import BinKind
from underlid.binmodel.lids.cloud import Cloud
from underlid.binmodel.lids.head_line import BED, HEAD, SHED, STRAIN_K, HeadLine
from underlid.binmodel.lids.hours import LidHour

LIMIT_G_M2 = 70.0
DAYS = 8


def days(
    hours: int,
    *,
    bed_k_d: float = 0.0,
    head_k_d: float = 0.0,
    shed_k_d: float = 0.0,
    own_k: float = 0.8,
) -> list[LidHour]:
    """Return hours of a bed over its shed, the headspace 0.6 of the way between; probes may drift.

    The humidity stays below its sensor's end.
    """
    over_k = own_k + 1.2 * np.sin(np.arange(hours) * np.pi / 12.0)
    return [
        LidHour(
            18.0 + k + bed_k_d * day,
            18.0 + 0.6 * k + head_k_d * day,
            min(96.0 + k, 99.0),
            18.0 + shed_k_d * day,
            60.0,
            nan,
        )
        for day, k in zip(np.arange(hours) / 24.0, over_k.tolist(), strict=True)
    ]


def after(*hours: LidHour) -> Cloud:
    cloud = Cloud(BinKind.PLASTIC_TOTE)
    for one in hours:
        cloud.step(one)
    return cloud


def without_bed(hours: list[LidHour]) -> list[LidHour]:
    return [
        LidHour(nan, one.head_c, one.rh_pct, one.shed_c, one.shed_rh_pct, one.lid_c)
        for one in hours
    ]


def test_a_bed_that_is_not_known_follows_from_the_headspace() -> None:
    good = days(24 * DAYS)
    known, unknown = after(*good, *days(72)), after(*good, *without_bed(days(72)))
    assert unknown.quantiles(0.5, 0.9) == pytest.approx(known.quantiles(0.5, 0.9), abs=3.0)
    assert known.quantiles(0.9)[0] > 0.0


@pytest.mark.parametrize(
    ("off", "culprit"),
    [
        ({"bed_k_d": 1.2}, BED),
        ({"bed_k_d": -1.2}, BED),
        ({"head_k_d": 1.2}, HEAD),
        ({"head_k_d": -1.2}, HEAD),
        ({"shed_k_d": 1.2}, SHED),
        ({"shed_k_d": -1.2}, SHED),
    ],
)
def test_one_thermometer_that_leaves_the_others_is_doubted_before_it_is_told(
    off: dict[str, float], culprit: int
) -> None:
    good = days(24 * DAYS)
    one, all_three = after(*good, *days(60, **off)), after(*good, *days(60, own_k=3.3))
    assert one.chance(LIMIT_G_M2) < all_three.chance(LIMIT_G_M2) - 0.15
    line = HeadLine()
    for each in [*good, *days(60, **off)]:
        line = line.learn(each.bed_c - each.shed_c, each.head_c - each.shed_c)
    assert int(np.argmax(line.odds)) == culprit
    assert min(line.odds) < -1.0


def test_a_strained_line_is_not_learnt_from_and_holds_again_when_the_fault_is_over() -> None:
    line = HeadLine()
    for hour in range(200):
        line = line.learn(1.0 + hour % 5, 0.6 * (1.0 + hour % 5))
    assert line.is_known
    assert abs(line.strain_k) < 0.01
    strained = line
    for hour in range(40):
        strained = strained.learn(3.0 + hour % 5, 0.6 * (1.0 + hour % 5))
    assert strained.strain_k < -2.0 * STRAIN_K
    assert strained.line()[0] == pytest.approx(line.line()[0], abs=0.03)
    for hour in range(60):
        strained = strained.learn(1.0 + hour % 5, 0.6 * (1.0 + hour % 5))
    assert abs(strained.strain_k) < STRAIN_K
