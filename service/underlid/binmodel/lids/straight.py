"""A straight line through hourly values, kept as sums: what is taken at first, and each hour since.

Nothing here knows a lid; `head_line.py` and `lid_line.py` say what lies on a line and why.
"""

from __future__ import annotations

Sums = tuple[float, float, float, float, float]
"""Weight, its products with x and x², with y and with x·y."""


def expected(slope: float, slope_sd: float, offset_sd: float) -> Sums:
    """Return a line that nothing has been measured of; its offset is taken to be 0."""
    return 1.0 / offset_sd**2, 0.0, 1.0 / slope_sd**2, 0.0, slope / slope_sd**2


def with_point(sums: Sums, x: float, y: float, variance: float) -> Sums:
    """Return the line with one more point, y known to *variance*."""
    one = 1.0 / variance
    a, b, c, d, e = sums
    return a + one, b + one * x, c + one * x * x, d + one * y, e + one * x * y


def fitted(sums: Sums) -> tuple[float, float, float, float]:
    """Return slope and offset, and their sd.

    >>> line = with_point(with_point(expected(0.5, 1.0, 1.0), 0.0, 1.0, 1e-6), 2.0, 2.0, 1e-6)
    >>> [round(one, 3) for one in fitted(line)]
    [0.5, 1.0, 0.001, 0.001]
    """
    a, b, c, d, e = sums
    both = a * c - b * b
    return (a * e - b * d) / both, (c * d - b * e) / both, (a / both) ** 0.5, (c / both) ** 0.5
