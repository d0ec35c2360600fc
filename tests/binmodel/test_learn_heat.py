"""Time constant and headspace share: known ones are found, and held by the bands as often as said."""

from __future__ import annotations

import numpy as np
import pytest

from binmodel.learning_series import BUCKETS, HOURS, entry, fed, lagged, weather, window
from underlid.binmodel.taught.learning import learn, prior_lessons
from underlid.binmodel.taught.lessons import Lesson
from underlid.binmodel.taught.past import Past
from underlid.binmodel.taught.time_constant import time_constant
from underlid.binmodel.thermal import time_constant_h
from underlid.journal.entries import Moved

Z80 = 1.2816


def tau_of(
    rng: np.random.Generator, tau_h: float, swing_k: float = 2.0, noise_k: float = 0.05
) -> Lesson:
    air = weather(rng, swing_k=swing_k)
    own = 1.5 + 0.8 * np.sin(2 * np.pi * HOURS / 24 / rng.uniform(6, 14) + rng.uniform(0, 6))
    bed = lagged(air, tau_h) + own
    noisy = window(
        {
            "bed_temp_c": bed + rng.normal(0, noise_k, BUCKETS),
            "shed_temp_c": air + rng.normal(0, noise_k, BUCKETS),
        },
        [fed(60, 400), fed(200, 400)],
    )
    return time_constant(Past(noisy), "Tansy")


@pytest.mark.parametrize("tau_h", [2.5, 5.0, 8.0, 14.0])
def test_a_known_time_constant_is_found(tau_h: float) -> None:
    found = tau_of(np.random.default_rng(1), tau_h)
    assert found.learnt
    assert found.value == pytest.approx(tau_h, rel=0.12)
    assert found.sd < 0.2 * tau_h
    assert f"{found.value:.1f} h" in found.text
    assert "quiet days" in found.text
    assert found.from_ms is not None
    assert found.until_ms is not None
    assert found.from_ms < found.until_ms


def test_the_band_holds_the_time_constant_as_often_as_it_says() -> None:
    """40 bins with τ drawn as by the prior; 80 % bands."""
    rng = np.random.default_rng(2)
    prior = time_constant_h(window({}).bin)
    held = learnt = 0
    closer = 0
    for _ in range(40):
        true = float(prior * np.exp(rng.normal(0, 0.35)))
        found = tau_of(rng, true, swing_k=rng.uniform(0.8, 3.0))
        if found.learnt:
            learnt += 1
            held += abs(found.value - true) <= Z80 * found.sd
            closer += abs(found.value - true) < abs(prior - true)
    assert learnt >= 36
    assert held / learnt >= 0.75
    assert closer / learnt >= 0.8


def test_a_cellar_teaches_no_time_constant_and_says_so() -> None:
    rng = np.random.default_rng(3)
    air = np.full(BUCKETS, 12.0) + rng.normal(0, 0.03, BUCKETS)
    bed = 13.0 + 0.2 * np.sin(HOURS / 40) + rng.normal(0, 0.05, BUCKETS)
    found = time_constant(Past(window({"bed_temp_c": bed, "shed_temp_c": air})), "Tansy")
    assert not found.learnt
    assert found.value == pytest.approx(time_constant_h(window({}).bin))
    assert "swings too little" in found.text


def test_hours_after_a_feed_do_not_count() -> None:
    """A feed every day leaves no quiet stretch: the prior stays."""
    rng = np.random.default_rng(4)
    air = weather(rng)
    series = {"bed_temp_c": lagged(air, 3.0), "shed_temp_c": air}
    daily = [fed(24 * day + 9.0, 300) for day in range(13)]
    found = time_constant(Past(window(series, daily)), "Tansy")
    assert not found.learnt
    assert "no quiet day" in found.text


def test_what_was_before_a_move_is_forgotten() -> None:
    rng = np.random.default_rng(5)
    air = weather(rng)
    bed = np.where(HOURS < 160, lagged(air, 12.0), lagged(air, 4.0))
    moved = entry(161, Moved())
    found = time_constant(Past(window({"bed_temp_c": bed, "shed_temp_c": air}, [moved])), "Tansy")
    assert found.value == pytest.approx(4.0, rel=0.12)
    assert found.from_ms is not None
    assert found.from_ms >= moved.at_ms


def test_gaps_and_late_hours_leave_the_time_constant_as_it_is() -> None:
    rng = np.random.default_rng(6)
    air = weather(rng)
    bed = lagged(air, 6.0) + rng.normal(0, 0.05, BUCKETS)
    for start in (500, 1300, 2500):
        bed[start : start + 80] = np.nan
    bed[rng.random(BUCKETS) < 0.3] = np.nan
    found = time_constant(Past(window({"bed_temp_c": bed, "shed_temp_c": air})), "Tansy")
    assert found.value == pytest.approx(6.0, rel=0.12)


@pytest.mark.parametrize("share", [0.3, 0.6, 0.85])
def test_a_known_headspace_share_is_found_through_offsets_and_outliers(share: float) -> None:
    rng = np.random.default_rng(7)
    air = weather(rng)
    bed = lagged(air, 6.0) + 2.0 + 1.5 * np.sin(2 * np.pi * HOURS / 150)
    head = air + share * (bed - air) + 0.25 + rng.normal(0, 0.2, BUCKETS)
    head[rng.random(BUCKETS) < 0.03] += 6.0
    series = {"bed_temp_c": bed, "shed_temp_c": air, "headspace_temp_c": head}
    found = learn(window(series)).head_share
    assert found.learnt
    assert found.value == pytest.approx(share, abs=0.05)
    assert abs(found.value - share) <= 2.5 * found.sd


def test_without_data_everything_is_the_prior_and_says_why() -> None:
    lessons = learn(window({}))
    assert lessons == prior_lessons(window({}).bin, lessons.at_ms)
    names = [name for name, _, _ in lessons.each()]
    assert len(names) == 12
    for name, _, one in lessons.each():
        assert not one.learnt, name
        assert one.text.endswith("."), name
        assert "Tansy" in one.text, name
        assert np.isfinite(one.value), name
        assert one.sd >= 0.0, name
