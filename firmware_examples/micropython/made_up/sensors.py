"""Stands in for `sensors.py` on a computer: a bed that warms slowly, values that are made up."""

_taken = [0]


def read_sensors():
    """Return made-up channels."""
    _taken[0] += 1
    return {"bed_temp_c": 20 + _taken[0] / 100, "headspace_rh_pct": 91.5, "soil_raw": 1843}
