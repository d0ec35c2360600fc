"""What the bed weighs: the keeper's figure holds at the moisture of the oldest day that is known."""

from __future__ import annotations

import numpy as np
import pytest

from binmodel.learning_series import BUCKETS, HOURS, window
from underlid.binmodel.day_means import day_means
from underlid.binmodel.water.bed import SINCE_DAYS, USUAL_SD_PCT, bed_of

GAPS = {
    "none": np.zeros(BUCKETS, dtype=np.bool_),
    "it began late": HOURS < 100.3,
    "one message an hour": np.arange(BUCKETS) % 12 != 5,
    "most of its first days is missing": (HOURS < 60) & (HOURS % 4 < 3),
    "it spoke once, and a week later": (HOURS > 1) & (HOURS < 170),
    "never": np.ones(BUCKETS, dtype=np.bool_),
}


@pytest.mark.parametrize("gaps", GAPS.values(), ids=GAPS)
def test_the_oldest_day_is_that_of_all_day_means(
    gaps: np.ndarray[tuple[int], np.dtype[np.bool_]],
) -> None:
    moisture = 78.0 - HOURS / 40.0 + np.sin(HOURS / 5.0)
    seen = window({"moisture_pct": np.where(gaps, np.nan, moisture)})
    means = day_means(seen.means("moisture_pct", SINCE_DAYS * 288))
    means = means[~np.isnan(means)]
    target_pct = seen.bin.target_moisture_pct
    trust = USUAL_SD_PCT**2 / (USUAL_SD_PCT**2 + seen.moisture_sd_pct() ** 2)
    told_pct = target_pct + trust * (means[0] - target_pct) if len(means) else target_pct
    assert bed_of(seen).dry_kg == pytest.approx(
        seen.bin.bed_kg * (1.0 - told_pct / 100.0), rel=1e-12
    )


def test_nothing_is_looked_for_before_the_first_mean() -> None:
    seen = window({"moisture_pct": np.where(HOURS < 24.0, np.nan, 70.0)})
    assert seen.empty_before("moisture_pct", SINCE_DAYS * 288) == 2 * 288
    assert seen.empty_before("moisture_pct", 288) == 0
    assert seen.empty_before("lid_temp_c", 288) == 288
