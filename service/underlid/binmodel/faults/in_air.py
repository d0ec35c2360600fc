"""In the air: a bed probe that has the whole daily swing of the air beside it, and had not before.

A bed of 60 kJ/K that loses a few watts per kelvin follows the air hours late and damped, so bed and air
never keep the same distance for a day in which the air moves: of the air's swing at least a tenth is left
in their difference. Of a probe that lies in that air only its noise is left.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.faults.scene import Scene
from underlid.binmodel.faults.table import LOOKBACK_H
from underlid.science.numeric import Floats

DAY_H: Final = 24
GAPS_MOST_H: Final = 6

LEFT_MOST: Final = 0.09
"""Standard deviation of bed − air over a day, as a share of the air's, both without their trend: beds of
all makes leave 0.1 and more (our judgement)."""

MOVES_K: Final = 0.3
"""Standard deviation of the air over a day, at the least: in quieter air noise is all that is left."""

TIMES_BEFORE: Final = 2.2
USUAL_LEAST: Final = 0.15
"""In all days before, so much more was left, and so much in most: thin walls have beds that follow."""

AS_MUCH: Final = 0.5
"""Days in which the air moved by so large a share of what it moves now can be compared."""

COMPARED_H: Final = 24
LATELY_H: Final = 3
STILL_K: Final = 0.2
"""In the last hours the difference is what it was all day: the probe was not put back since."""

BESIDE_K: Final = 1.5
"""Mean difference of two sensors in the same air, at the most."""


def has_the_airs_swing(scene: Scene, row: int, air: int, hour: int, *, fell_dry: bool) -> bool:
    """Tell whether the bed probe of *row* has had the whole swing of an air for a day.

    *fell_dry* tells that its soil probe left the bed: then no comparison with earlier days is asked.
    """
    mean = scene.table.mean
    left, moves = shares(mean[row], mean[air])
    if not left[hour] <= LEFT_MOST or not moves[hour] >= MOVES_K:
        return False
    beside = mean[row, hour + 1 - DAY_H : hour + 1] - mean[air, hour + 1 - DAY_H : hour + 1]
    usual, now = float(np.nanmean(beside)), beside[-LATELY_H:]
    if abs(usual) > BESIDE_K or not np.fmax.reduce(np.abs(now - usual)) <= STILL_K:
        return False
    if fell_dry:
        return True
    past = slice(max(0, hour - LOOKBACK_H), max(0, hour - DAY_H - GAPS_MOST_H))
    before = left[past][moves[past] >= AS_MUCH * moves[hour]]
    if len(before) < COMPARED_H:
        return False
    least = TIMES_BEFORE * float(left[hour])
    return float(before.min()) >= least and float(np.median(before)) >= USUAL_LEAST


def shares(bed: Floats, air: Floats) -> tuple[Floats, Floats]:
    """Return, for the day up to each hour, the share of the air's swing left in bed − air, and that swing.

    >>> hours = np.arange(48.0)
    >>> air = np.sin(hours * np.pi / 12.0)
    >>> damped = np.sin((hours - 3.0) * np.pi / 12.0) * 0.7
    >>> [round(float(shares(bed, air)[0][-1]), 2) for bed in (air + 0.3, damped)]
    [0.0, 0.87]
    """
    known = ~np.isnan(bed + air)
    apart, moves = np.full(len(bed), np.nan), np.full(len(bed), np.nan)
    if len(bed) < DAY_H or np.count_nonzero(known) < DAY_H - GAPS_MOST_H:
        return apart, moves
    hours = np.arange(len(bed))
    gaps = np.convolve(~known, np.ones(DAY_H), "valid")
    usable = gaps <= GAPS_MOST_H
    filled = [np.interp(hours, hours[known], one[known]) for one in (bed - air, air)]
    off, swing = (_spread(one) for one in filled)
    apart[DAY_H - 1 :] = np.where(usable, off / np.maximum(swing, 1e-3), np.nan)
    moves[DAY_H - 1 :] = np.where(usable, swing, np.nan)
    return apart, moves


def _spread(values: Floats) -> Floats:
    """Return the standard deviation of each day of hours without its trend."""
    days = np.lib.stride_tricks.sliding_window_view(values, DAY_H)
    at = np.arange(DAY_H) - (DAY_H - 1) / 2.0
    around = days - days.mean(axis=1, keepdims=True)
    slope = around @ at / (at @ at)
    rest = (around**2).mean(axis=1) - slope**2 * (at @ at) / DAY_H
    result: Floats = np.sqrt(np.maximum(rest, 0.0))
    return result
