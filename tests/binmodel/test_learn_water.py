"""Drying, appetite and moisture: known ones are found; without data the prior stays."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from binmodel.learning_series import (
    BUCKETS,
    HOURS,
    NOW_MS,
    Floats,
    entry,
    fed,
    lagged,
    seen,
    weather,
    window,
)
from underlid.binmodel.bins import BinKind, ProbePlace
from underlid.binmodel.food.rotting import ROTS_PER_D
from underlid.binmodel.food.used_up import HERD_SETS_PACE
from underlid.binmodel.taught.appetite import EATEN_G_KG_D
from underlid.binmodel.taught.learning import learn, prior_lessons
from underlid.binmodel.taught.lessons import Lessons
from underlid.binmodel.water.drying import loses_pct_d
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import Entry, LiquidAdded, Squeeze
from underlid.science.heat import decay_rate_factor

ANCHORS = {"soil_dry_raw": 2750.0, "soil_wet_raw": 1150.0}
BOX = BinKind.WOODEN_BOX


def air_of(rng: np.random.Generator) -> tuple[Floats, Floats, Floats]:
    """Return shed temperature, humidity and vapour pressure deficit (kPa, Magnus written out)."""
    temp = weather(rng, mean_c=19.0, swing_k=1.5)
    rh = 55.0 + np.interp(HOURS, np.arange(0, 400, 24), rng.uniform(-20, 20, 17))
    deficit = 0.6112 * np.exp(17.62 * temp / (243.12 + temp)) * (1.0 - rh / 100.0)
    return temp, rh, deficit


def drying_bin(
    rng: np.random.Generator, base_pct_d: float, per_kpa: float
) -> tuple[dict[str, Floats], float]:
    """Return what the probes say, and the true mean loss a day."""
    temp, rh, deficit = air_of(rng)
    loss = base_pct_d + per_kpa * deficit
    bed = lagged(temp, 6.0)
    moisture = 78.0 - np.cumsum(loss) / 288.0 + 0.08 * (bed - bed.mean())
    said = {
        "moisture_pct": moisture + rng.normal(0, 0.3, BUCKETS),
        "bed_temp_c": bed,
        "shed_temp_c": temp,
        "shed_rh_pct": rh,
    }
    return said, float(loss[288:].mean())


@pytest.mark.parametrize(("base", "per_kpa"), [(0.0, 0.15), (0.1, 0.4), (0.3, 0.3)])
def test_a_known_drying_rate_is_found(base: float, per_kpa: float) -> None:
    said, rate = drying_bin(np.random.default_rng(1), base, per_kpa)
    found = learn(window(said, kind=BOX)).drying_pct_d
    assert found.count >= 10
    assert found.value == pytest.approx(rate, abs=0.06)
    assert "learnt from 11 days" in found.text


def test_the_band_of_the_drying_rate_holds_as_often_as_it_says() -> None:
    rng = np.random.default_rng(2)
    held = closer = 0
    prior = prior_lessons(window({}, kind=BOX).bin, NOW_MS).drying_pct_d
    for _ in range(40):
        said, rate = drying_bin(rng, rng.uniform(0, 0.15), rng.uniform(0.05, 0.5))
        found = learn(window(said, kind=BOX)).drying_pct_d
        held += abs(found.value - rate) <= 1.2816 * found.sd
        closer += abs(found.value - rate) <= abs(prior.value - rate)
    assert held >= 30
    assert closer >= 32


def test_a_bed_that_dries_by_the_air_is_known_to_do_so() -> None:
    said, _ = drying_bin(np.random.default_rng(3), 0.0, 0.8)
    found = learn(window(said, kind=BOX)).drying_pct_d_kpa
    prior = prior_lessons(window({}, kind=BOX).bin, NOW_MS).drying_pct_d_kpa
    assert abs(found.value - 0.8) < 0.6 * abs(prior.value - 0.8)
    assert found.sd < prior.sd


def test_drier_air_than_usual_dries_faster() -> None:
    said, _ = drying_bin(np.random.default_rng(4), 0.0, 0.6)
    said["shed_rh_pct"] = said["shed_rh_pct"].copy()
    usual = window(said, kind=BOX)
    lessons = learn(usual)
    said["shed_rh_pct"][-288:] = 25.0
    drier = window(said, kind=BOX)
    rates = [
        loses_pct_d(_with(one, lessons))  # the last day's air, the same lessons
        for one in (usual, drier)
    ]
    assert rates[0] is not None
    assert rates[1] is not None
    assert rates[1][0] > rates[0][0]


def test_waterings_and_feeds_do_not_hide_the_drying() -> None:
    said, rate = drying_bin(np.random.default_rng(5), 0.1, 0.3)
    raised = np.where(HOURS > 100, 2.5, 0.0)
    juice_pct = 1000 * (0.85 - 0.75) / 22_000 * 100
    raised = raised + juice_pct * np.where(HOURS > 200, 1 - np.exp(-(HOURS - 200) / 24), 0.0)
    said["moisture_pct"] = said["moisture_pct"] + raised
    written = [entry(100, LiquidAdded(2200.0)), fed(200, 1000)]
    assert learn(window(said, written, BOX)).drying_pct_d.value == pytest.approx(rate, abs=0.08)
    unwritten = learn(window(said, [], BOX)).drying_pct_d
    assert unwritten.value == pytest.approx(rate, abs=0.15)


def with_feed_watched(eaten_g_d: float, rng: np.random.Generator) -> list[Entry]:
    """Return a feed every five days and two looks a day, by a keeper who sees the last tenth go."""
    made: list[Entry] = []
    for start in (30.0, 150.0):
        made.append(fed(start, 800))
        for half in range(1, 9):
            hour = start + 12 * half + rng.uniform(-3, 3)
            left = 800.0
            for _ in range(round(10 * (hour - start))):
                left -= (eaten_g_d + ROTS_PER_D * decay_rate_factor(25.0) * left) / 240.0
            made.append(seen(hour, used_up=left < 80))
    return made


@pytest.mark.parametrize("times", [0.6, 1.0, 1.8])
def test_what_was_seen_of_feeds_tells_the_appetite(times: float) -> None:
    usual = EATEN_G_KG_D * window({}).bin.herd_kg
    rng = np.random.default_rng(6)
    written = with_feed_watched(times * usual, rng)
    bed = np.full(BUCKETS, 25.0)  # the best temperature: every day counts in full
    found = learn(window({"bed_temp_c": bed}, written)).eaten_g_d
    assert found.learnt
    assert found.value == pytest.approx(times * usual, rel=0.25)
    assert "looks" in found.text


def test_warmth_that_ends_in_days_tells_that_the_herd_sets_the_pace() -> None:
    air = weather(np.random.default_rng(7), mean_c=20.0, swing_k=1.0)
    written = [fed(hour, 500) for hour in (60, 140, 220)]
    chances, times = [], []
    for days in (2.0, 3.5, None):
        heat = np.zeros(BUCKETS)
        for hour in (60, 140, 220):
            after = np.maximum(0.0, HOURS - hour) / 24.0
            heat += (
                2.0 * (np.exp(-0.35 * after) - np.exp(-after))
                if days is None
                else eaten(after, days)
            )
        found = learn(window({"bed_temp_c": lagged(air, 4.5) + heat, "shed_temp_c": air}, written))
        chances.append(found.herd_pace.value)
        times.append(found.herd_times.value)
    assert min(chances[:2]) > 0.8
    assert chances[2] < 0.2
    assert times[0] < 0.9 * times[1]


def eaten(after: Floats, days: float) -> Floats:
    """Return the warmth, K, of a feed that softens and is eaten within so many days."""
    warm: Floats = 1.5 * np.sin(np.pi * np.minimum(after / days, 1.0)) ** 2
    return warm


def test_without_feeds_nobody_knows_what_sets_the_pace() -> None:
    found = learn(
        window({"bed_temp_c": np.full(BUCKETS, 20.0), "shed_temp_c": np.full(BUCKETS, 19.0)})
    )
    assert (found.herd_pace.value, found.herd_pace.learnt) == (HERD_SETS_PACE, False)
    assert found.herd_times.value == 1.0


def test_a_bin_without_worms_eats_nothing() -> None:
    one = window({})
    empty = prior_lessons(type(one.bin)("b", "s", herd_kg=0.0), NOW_MS)
    assert empty.eaten_g_d.value == 0.0


def probe(points: tuple[tuple[float, float], ...] = ()) -> ProbePlace:
    return ProbePlace("tansy-1", "potting", "tansy", soil_points=points, **ANCHORS)


def soil(moisture_pct: float) -> dict[str, Floats]:
    """Return counts of a probe that reads 5 points too dry by the usual line."""
    index = (moisture_pct - 5.0 - 33.0) / 72.0
    return {"soil_raw": np.full(BUCKETS, 2750.0 - 1600.0 * index)}


def test_a_sample_in_the_journal_moves_the_level_and_makes_it_surer() -> None:
    weighed = seen(200, moisture_pct=77.0)
    before, after = (learn(window(soil(77.0), told, place=probe())) for told in ([], [weighed]))
    assert not before.moisture_shift_pct.learnt
    assert before.moisture_sd_pct.value == pytest.approx(8.0, abs=0.2)
    assert after.moisture_shift_pct.value == pytest.approx(5.0, abs=0.5)
    assert after.moisture_sd_pct.value < 3.5
    assert "[0.54, 77]" in after.moisture_shift_pct.text
    one = _with(window(soil(77.0), [weighed], place=probe()), after)
    assert one.present("moisture_pct") == pytest.approx(77.0, abs=0.5)
    assert one.moisture_sd_pct() == after.moisture_sd_pct.value


def test_a_sample_counts_less_where_the_probe_has_met_samples_before() -> None:
    weighed = seen(200, moisture_pct=77.0)
    points = ((0.40, 61.8), (0.62, 77.6))  # the usual line
    met = learn(window(soil(77.0), [weighed], place=probe(points)))
    assert 0.5 < met.moisture_shift_pct.value < 3.0


def test_a_reading_far_from_the_samples_is_less_sure() -> None:
    points = ((0.58, 75.0), (0.62, 78.0))
    near, far = (learn(window(soil(level), place=probe(points))) for level in (80.0, 65.0))
    assert near.moisture_sd_pct.value < far.moisture_sd_pct.value


def _with(one: BinWindow, lessons: Lessons) -> BinWindow:
    return replace(one, lessons=lessons)


@pytest.mark.parametrize(
    ("word", "low", "high"),
    [(Squeeze.CRUMBLES, 55.0, 68.0), (Squeeze.DAMP, 68.0, 78.0), (Squeeze.TRICKLE, 75.0, 90.0)],
)
def test_a_squeezed_handful_moves_a_probe_that_met_no_sample(
    word: Squeeze, low: float, high: float
) -> None:
    squeezed = [seen(200, squeeze=word), seen(230, squeeze=word)]
    found = learn(window(soil(74.0), squeezed, place=probe()))
    assert low < 72.0 + found.moisture_shift_pct.value < high
    assert found.moisture_sd_pct.value < 8.5
    assert "handful" in found.moisture_shift_pct.text
    assert "no sample has been weighed" in found.moisture_sd_pct.text


def test_handfuls_say_little_beside_weighed_samples_of_the_probe() -> None:
    points = ((0.40, 62.0), (0.62, 78.0))
    many = [seen(20.0 * at, squeeze=Squeeze.DAMP) for at in range(1, 13)]
    found = learn(window(soil(72.0), many, place=probe(points)))
    assert abs(found.moisture_shift_pct.value) < 0.7
