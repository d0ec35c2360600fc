"""How fast the bed follows the shed, from quiet stretches: a grid over τ, everything else fitted.

The bed of a quiet bin is the shed's air, delayed and damped by τ, on top of its own slow warmth. For
every τ the delayed air is made, the slow part (a parabola over at most three days, and what the start
left) is taken out of both, and what is left over tells how well this τ explains the bed. A bin that is
not simply a lump answers a little stronger or weaker than 1, so the strength is fitted as well.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np

from underlid.binmodel.taught.lessons import Lesson
from underlid.binmodel.taught.past import Past, with_short_gaps_closed
from underlid.binmodel.taught.posterior import counted, mean_and_sd, normal, worth
from underlid.binmodel.thermal import time_constant_h
from underlid.journal.entries import BeddingAdded, Feed, Harvest, LiquidAdded, Turned
from underlid.science.numeric import Flags, Floats

TAU_H: Final = np.geomspace(1.5, 48.0, 56)

PRIOR_SD: Final = 0.35
"""Of ln τ by kind and size: masses and losses are given roughly (our judgement)."""

STRENGTH_SD: Final = 0.15
"""Decay goes faster in a warm bed, evaporation cools it: both bend the answer (our judgement)."""

NOISE_LEAST_K: Final = 0.06
"""Hourly means are steadier than this, but no bed is a lump (our judgement)."""

AFTER_FEED_H: Final = 30.0
AFTER_WORK_H: Final = 10.0
"""A feed's heat rises for a day; bedding and water have other temperatures (our judgement)."""

STRETCH_LEAST_H: Final = 22
STRETCH_MOST_H: Final = 72
"""No stretch shorter than nearly a day, whose swing it is about; none longer than a parabola follows."""

MODEL_SD: Final = 0.05
"""Of ln τ beside what the fit says: τ itself moves a little with water and lid (our judgement)."""

LEARNT_BELOW: Final = 0.8
"""A posterior as wide as this share of the prior has taught nothing worth telling (our judgement)."""


def time_constant(past: Past, name: str) -> Lesson:
    """Return τ of the bed, hours."""
    prior = time_constant_h(past.window.bin)
    guess = Lesson(prior, PRIOR_SD * prior, "")
    bed = with_short_gaps_closed(past.hourly("bed_temp_c"))
    air = with_short_gaps_closed(past.hourly("shed_temp_c"))
    stretches = quiet_stretches(past, ~(np.isnan(bed) | np.isnan(air)))
    if not stretches:
        return _unlearnt(guess, f"{name} has had no quiet day with bed and shed measured yet")
    log_weight = _log_likelihood([(bed[part], air[part]) for part in stretches])
    log_weight += normal(np.log(TAU_H), float(np.log(prior)), PRIOR_SD)
    log_mean, log_sd = mean_and_sd(np.log(TAU_H), log_weight)
    log_sd = float(np.hypot(log_sd, MODEL_SD))
    if log_sd > LEARNT_BELOW * PRIOR_SD:
        return _unlearnt(guess, f"the air around {name} swings too little to tell")
    tau, sd = float(np.exp(log_mean)), float(np.exp(log_mean) * log_sd)
    hours = sum(part.stop - part.start for part in stretches)
    text = (
        f"The bed of {name} follows the warmth of the shed about {tau:.1f} h (± {sd:.1f}) late, learnt from"
        f" {counted(round(hours / 24.0), 'quiet day')}."
    )
    return Lesson(
        round(tau, 2),
        round(sd, 2),
        text,
        hours,
        past.at_ms(stretches[0].start),
        past.at_ms(stretches[-1].stop),
    )


def quiet_stretches(past: Past, known: Flags) -> list[slice]:
    """Return the runs of known hours in which nothing was put in or turned, none too long."""
    quiet = known & ~past.near((Feed,), 0.0, AFTER_FEED_H)
    quiet &= ~past.near((BeddingAdded, LiquidAdded, Harvest, Turned), 0.0, AFTER_WORK_H)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], quiet, [False]]).astype(np.int8)))
    stretches = []
    for start, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        parts = -(-(stop - start) // STRETCH_MOST_H)
        cuts = np.linspace(start, stop, parts + 1).round().astype(int).tolist()
        stretches += [
            slice(begin, end) for begin, end in pairwise(cuts) if end - begin >= STRETCH_LEAST_H
        ]
    return stretches


def _log_likelihood(stretches: list[tuple[Floats, Floats]]) -> Floats:
    """Return how well each τ explains the stretches, (bed, air) each."""
    most = max(len(bed) for bed, _ in stretches)
    together = np.stack([np.pad(air, (0, most - len(air)), "edge") for _, air in stretches])
    delayed = delayed_air(together, TAU_H)
    parts = [
        _without_slow_part(bed, delayed[:, place, : len(bed)])
        for place, (bed, _) in enumerate(stretches)
    ]
    beds = np.concatenate([bed for bed, _ in parts], axis=1)
    airs = np.concatenate([air for _, air in parts], axis=1)
    follows = np.concatenate([np.arange(bed.shape[1]) > 0 for bed, _ in parts])
    lost = 4 * len(parts) + 1
    both, own = np.sum(beds * airs, axis=1), np.sum(airs**2, axis=1)
    variance = NOISE_LEAST_K**2
    for _ in range(2):
        trust = variance / STRENGTH_SD**2
        strength = (both + trust) / (own + trust)
        left = beds - strength[:, None] * airs
        square = np.sum(left**2, axis=1) + trust * (strength - 1.0) ** 2
        best = int(np.argmin(square))
        variance = max(NOISE_LEAST_K**2, float(square[best]) / max(1, beds.shape[1] - lost))
    result: Floats = -0.5 * square / variance * worth(left[best], follows)
    return result


def _without_slow_part(bed: Floats, delayed: Floats) -> tuple[Floats, Floats]:
    """Return bed and delayed air for each τ, (τ, hours), with the slow part taken out of both."""
    hours = np.arange(len(bed), dtype=np.float64)
    slow, _ = np.linalg.qr(np.vander(hours / len(bed) - 0.5, 3))
    start = np.exp(-hours / TAU_H[:, None])
    start -= (start @ slow) @ slow.T
    delayed = delayed - (delayed @ slow) @ slow.T
    flat = bed - slow @ (slow.T @ bed)
    weight = np.sum(start**2, axis=1)
    delayed -= (np.sum(start * delayed, axis=1) / weight)[:, None] * start
    return flat - ((start @ flat) / weight)[:, None] * start, delayed


def delayed_air(air: Floats, tau_h: Floats) -> Floats:
    """Return what a lump without own heat would read, exact for air that is straight between hours.

    Parameters
    ----------
    air
        Stretches of hourly air temperatures, (stretches, hours).
    tau_h
        Time constants, h.

    Returns temperatures for each τ, (τ, stretches, hours).

    >>> delayed_air(np.array([[0.0, 1.0, 1.0, 1.0]]), np.array([2.0])).round(3).tolist()
    [[[0.0, 0.213, 0.523, 0.711]]]
    """
    per_hour = 1.0 / tau_h[:, None]
    keeps = np.exp(-per_hour)
    new = 1.0 - (1.0 - keeps) / per_hour
    old = 1.0 - keeps - new
    gains = old[..., None] * air[:, :-1] + new[..., None] * air[:, 1:]
    result = np.empty((air.shape[1], len(tau_h), air.shape[0]))
    result[0] = held = np.broadcast_to(air[:, 0], result.shape[1:])
    for hour in range(1, air.shape[1]):
        held = keeps * held + gains[..., hour - 1]
        result[hour] = held
    return np.ascontiguousarray(np.moveaxis(result, 0, 2))


def _unlearnt(guess: Lesson, why: str) -> Lesson:
    text = (
        f"A bed of this kind and size follows the warmth of its shed about {guess.value:.1f} h"
        f" (± {guess.sd:.1f}) late, which is assumed: {why}."
    )
    return Lesson(guess.value, guess.sd, text)
