"""Dew points against two measured years of weather, bundled with pvlib.

The stations noted temperature and dew point to 0.1 K, humidity to 1 %: what is left is rounding.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pvlib

from underlid.science.psychrometrics import dew_point_c

FILES = Path(pvlib.__file__).parent / "data"


def test_a_year_in_miami() -> None:
    # computed with the TMY2 file of Miami: RMSE 0.084, p99 0.209, most 0.337 K
    year, _ = pvlib.iotools.read_tmy2(str(FILES / "12839.tm2"))
    temp_c, rh_pct = year.DryBulb.to_numpy(float) / 10.0, year.RHum.to_numpy(float)
    off_k = np.abs(dew_point_c(temp_c, rh_pct) - year.DewPoint.to_numpy(float) / 10.0)
    assert len(off_k) == 8760
    assert np.sqrt(np.mean(off_k**2)) <= 0.09
    assert np.percentile(off_k, 99) <= 0.25
    assert off_k.max() <= 0.4


def test_a_year_in_greensboro() -> None:
    # computed with the TMY3 file of Greensboro; no most, because rows where months join contradict
    year, _ = pvlib.iotools.read_tmy3(str(FILES / "723170TYA.CSV"), map_variables=False)
    temp_c, rh_pct = year["Dry-bulb (C)"].to_numpy(float), year["RHum (%)"].to_numpy(float)
    use = (temp_c >= 5.0) & (rh_pct >= 50.0)
    stated_c = year["Dew-point (C)"].to_numpy(float)[use]
    off_k = np.abs(dew_point_c(temp_c[use], rh_pct[use]) - stated_c)
    assert len(off_k) > 5000
    assert np.median(off_k) <= 0.06
    assert np.percentile(off_k, 95) <= 0.20
