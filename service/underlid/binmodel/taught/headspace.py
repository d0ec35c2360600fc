"""How far the headspace follows the bed: a robust line through (bed − shed, headspace − shed).

A constant difference between the sensors goes into the line's intercept. Hours about an opened lid
are left out.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.taught.lessons import Lesson
from underlid.binmodel.taught.past import Past
from underlid.binmodel.taught.posterior import counted, worth
from underlid.science.numeric import Flags, Floats

SHARE: Final = 0.5
SHARE_SD: Final = 0.2
"""Half way, as still air between two like surfaces stands (our judgement)."""

OFFSET_SD_K: Final = 0.4
"""Of two cheap sensors against a third (data sheets)."""

NOISE_LEAST_K: Final = 0.1
SD_LEAST: Final = 0.02
"""No headspace follows its bed by one number for better than this (our judgement)."""

HUBER: Final = 1.5
ROUNDS: Final = 3
HOURS_LEAST: Final = 12


def head_share(past: Past, name: str) -> Lesson:
    """Return the share, 0 (as the shed) .. 1 (as the bed)."""
    shed = past.hourly("shed_temp_c")
    over = past.hourly("bed_temp_c") - shed
    head = past.hourly("headspace_temp_c") - shed
    opened = past.opened()
    use = np.flatnonzero(~np.isnan(over) & ~np.isnan(head) & ~opened)
    if len(use) < HOURS_LEAST:
        return Lesson(
            SHARE,
            SHARE_SD,
            f"The air under the lid is taken to be half way between shed and bed, as in most bins: bed,"
            f" headspace and shed of {name} have not been measured together for"
            f" {HOURS_LEAST} hours.",
        )
    share, sd = robust_share(over[use], head[use], np.diff(use, prepend=-2) == 1)
    text = (
        f"The air under the lid of {name} is {100 * share:.0f} % (± {100 * sd:.0f}) of the way from the"
        f" shed's temperature to the bed's, learnt from {counted(len(use), 'hour')}."
    )
    return Lesson(
        round(share, 3),
        round(sd, 3),
        text,
        len(use),
        past.at_ms(int(use[0])),
        past.at_ms(int(use[-1]) + 1),
    )


def robust_share(over: Floats, head: Floats, follows: Flags) -> tuple[float, float]:
    """Return slope and sd of head = slope · over + offset, outliers given little weight."""
    columns = np.stack([over, np.ones_like(over)], axis=1)
    prior = np.diag([1.0 / SHARE_SD**2, 1.0 / OFFSET_SD_K**2])
    believed = prior @ np.array([SHARE, 0.0])
    weight, noise, value = np.ones_like(over), 0.3, 1.0
    for _ in range(ROUNDS):
        each = weight * value / noise**2
        precision = prior + (columns.T * each) @ columns
        fit = np.linalg.solve(precision, believed + columns.T @ (each * head))
        left = head - columns @ fit
        noise = max(NOISE_LEAST_K, 1.4826 * float(np.median(np.abs(left))))
        weight = np.minimum(1.0, HUBER * noise / np.maximum(np.abs(left), 1e-9))
        value = worth(np.clip(left, -HUBER * noise, HUBER * noise), follows)
    sd = float(np.sqrt(np.linalg.inv(precision)[0, 0]))
    return float(np.clip(fit[0], 0.0, 1.2)), max(SD_LEAST, sd)
