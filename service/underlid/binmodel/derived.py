"""The 5-minute series of one bin for its page: what was measured, and what is computed from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from underlid.binmodel.lids.film import LidFilm, lid_temps
from underlid.binmodel.probes.hot import BUCKET_MS, WINDOW_BUCKETS
from underlid.binmodel.thermal import self_heat_series
from underlid.binmodel.window import BinWindow
from underlid.science.numeric import Floats
from underlid.science.psychrometrics import dew_point_c


@dataclass(frozen=True, slots=True)
class Derived:
    """5-minute series of one bin, measured and computed: n starts, n values each, NaN unknown."""

    start_ms: npt.NDArray[np.int64]
    series: dict[str, Floats]


def derive(window: BinWindow, film: LidFilm) -> Derived:
    """Return the whole window as 5-minute series, computed ones included."""
    starts = np.arange(window.end - WINDOW_BUCKETS, window.end, dtype=np.int64) * BUCKET_MS
    names = (
        "bed_temp_c", "headspace_temp_c", "headspace_rh_pct", "shed_temp_c", "moisture_pct",
    )  # fmt: skip
    series = {name: window.means(name, WINDOW_BUCKETS) for name in names}
    series["lid_temp_c"] = lid_temps(window, WINDOW_BUCKETS)
    humid = np.minimum(series["headspace_rh_pct"], 100.0)
    series["dew_point_c"] = dew_point_c(series["headspace_temp_c"], humid)
    series["lid_margin_k"] = series["lid_temp_c"] - series["dew_point_c"]
    series["self_heat_k"] = self_heat_series(window, WINDOW_BUCKETS)
    held = film.last(WINDOW_BUCKETS)
    known = np.where(np.isnan(film.last_flux(WINDOW_BUCKETS)), np.nan, held)
    unknown = np.full(WINDOW_BUCKETS - len(held), np.nan)
    series["lid_film_g_m2"] = np.concatenate([unknown, known])
    return Derived(starts, series)
