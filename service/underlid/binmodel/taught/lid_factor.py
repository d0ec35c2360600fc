"""The lid's temperature factor and what it loses beside: from lid probes and from what was seen.

A lid probe gives the factor directly wherever headspace and shed differ. Without one, films of all
guesses are compared with the keeper's words (`lid_grid.py`). Both start from what lids of this kind
are like; the humidity sensor's error, vents and vapour through the lid come out as the loss.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.lessons import Lesson
from underlid.binmodel.lid import BREATHING_G_M2_H, LID_FACTOR
from underlid.binmodel.taught.lid_grid import (
    FACTORS,
    LOSSES_G_M2_H,
    SCALE_WEIGHT,
    Air,
    Look,
    log_likelihood,
)
from underlid.binmodel.taught.past import Past
from underlid.binmodel.taught.posterior import (
    counted,
    likeliest_and_sd,
    mean_and_sd,
    normal,
    worth,
)
from underlid.journal.entries import BeddingAdded, Feed, Harvest, LiquidAdded, Sighting, Turned
from underlid.science.numeric import Floats

LOSS_SD_G_M2_H: Final = 2.0
"""1 % of humidity makes 1.8 g/m²h at 20 °C. Common sensors are wrong by two, but near saturation, where
it matters, the readings are cut off (our judgement)."""

SPAN_LEAST_K: Final = 1.0
"""Headspace and shed must differ by this for six hours; the hours in which they do not tell by how much
the sensors differ."""

PROBE_NOISE_K: Final = 0.25
PROBE_OFFSET_SD_K: Final = 0.35
"""Of hourly means, and of two sensors against a third (data sheets)."""

PROBE_SD_LEAST: Final = 0.03
HOURS_LEAST: Final = 6
OPEN_H: Final = 2.0


def lid_factor(past: Past, name: str) -> tuple[Lesson, Lesson]:
    """Return the temperature factor, 0 (as the shed) .. 1 (as the headspace), and the loss, g/m²h."""
    kind = past.window.bin.kind
    factor, factor_sd = LID_FACTOR[kind]
    loss = BREATHING_G_M2_H.get(kind, 0.0)
    prior = normal(FACTORS, factor, factor_sd)[:, None] + normal(LOSSES_G_M2_H, 0.0, LOSS_SD_G_M2_H)
    air = Air(
        past.hourly("headspace_temp_c"),
        past.hourly("headspace_rh_pct"),
        past.hourly("shed_temp_c"),
        past.hourly("lid_temp_c"),
        past.hourly("bed_temp_c"),
    )
    measured = _by_probe(past, air)
    weight = prior if measured is None else prior + measured[0][:, None]
    looks = _looks(past)
    told = max(0, len(looks) - 1)
    if told:
        seen = log_likelihood(air, looks, loss) + SCALE_WEIGHT
        top = seen.max()
        weight = weight + top + np.log(np.exp(seen - top).sum(axis=2))
    value, sd = mean_and_sd(FACTORS, np.logaddexp.reduce(weight, axis=1))
    more, more_sd = likeliest_and_sd(LOSSES_G_M2_H, np.logaddexp.reduce(weight, axis=0))
    hours = 0 if measured is None else measured[1]
    if not told and not hours:
        return _unlearnt(name, factor, factor_sd, loss)
    from_ms = past.at_ms(looks[0].hour) if told else past.start_ms
    until_ms = past.at_ms(looks[-1].hour) if told and not hours else past.until_ms
    sources = [f"{counted(told, 'look')} at it"] * bool(told)
    sources += [f"{counted(hours, 'hour')} of its probe"] * bool(hours)
    text = (
        f"The lid of {name} is {100 * value:.0f} % (± {100 * sd:.0f}) of the way from the shed's"
        f" temperature to that of the air under it, learnt from {' and '.join(sources)}."
    )
    found = Lesson(round(value, 2), round(sd, 3), text, told + hours, from_ms, until_ms)
    return found, _loss(name, loss + more, more_sd, told, from_ms, until_ms)


def _by_probe(past: Past, air: Air) -> tuple[Floats, int] | None:
    """Return how well each factor fits the lid probe, and from how many hours; None without one."""
    span, lid = air.head_c - air.shed_c, air.lid_c - air.shed_c
    opened = past.near((Feed, BeddingAdded, LiquidAdded, Sighting, Turned, Harvest), 0.0, OPEN_H)
    use = np.flatnonzero(~np.isnan(span) & ~np.isnan(lid) & ~opened)
    if np.count_nonzero(np.abs(span[use]) > SPAN_LEAST_K) < HOURS_LEAST:
        return None
    span, lid, follows = span[use], lid[use], np.diff(use, prepend=-2) == 1
    precision = PROBE_NOISE_K**2 / PROBE_OFFSET_SD_K**2
    left = lid - FACTORS[:, None] * span
    offset = left.sum(axis=1) / (len(use) + precision)
    left -= offset[:, None]
    square = np.sum(np.minimum(left**2, (4.0 * PROBE_NOISE_K) ** 2), axis=1)
    best = int(np.argmin(square + precision * offset**2))
    alike = worth(np.clip(left[best], -1.0, 1.0), follows)
    fit = -0.5 * (square / PROBE_NOISE_K**2 * alike + (offset / PROBE_OFFSET_SD_K) ** 2)
    least = -0.5 * ((FACTORS - FACTORS[best]) / PROBE_SD_LEAST) ** 2
    return np.maximum(fit - fit.max(), least), len(use)


def _looks(past: Past) -> list[Look]:
    """Return what was seen of the lid, oldest first."""
    return [
        Look(past.hour_of(entry.at_ms), entry.what.lid)
        for entry in past.entries
        if isinstance(entry.what, Sighting) and entry.what.lid is not None
    ]


def _loss(name: str, value: float, sd: float, told: int, from_ms: int, until_ms: int) -> Lesson:
    value = round(value, 1) + 0.0
    way = "faster" if value >= 0.0 else "slower"
    text = f"The lid of {name} dries {abs(value):.1f} g/m² an hour {way} than its sensors explain"
    if not value:
        text = f"The lid of {name} dries as its sensors explain"
    text += f" (± {sd:.1f}{'' if value else ' g/m² an hour'})"
    if not told:
        return Lesson(
            round(value, 1), round(sd, 2), text + ", by its kind: nobody has looked twice."
        )
    text += f", learnt from {counted(told, 'look')} at it."
    return Lesson(value, round(sd, 2), text, told, from_ms, until_ms)


def _unlearnt(name: str, factor: float, sd: float, loss: float) -> tuple[Lesson, Lesson]:
    text = (
        f"The lid of {name} is taken to be {100 * factor:.0f} % (± {100 * sd:.0f}) of the way from the"
        " shed's temperature to that of the air under it, by its kind: nobody has looked at it twice in"
        " twelve days, and no probe measures it."
    )
    return Lesson(factor, sd, text), _loss(name, loss, LOSS_SD_G_M2_H, 0, 0, 0)
