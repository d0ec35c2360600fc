"""The lid: a known temperature factor is found from a probe and from what a keeper saw."""

from __future__ import annotations

import numpy as np
import pytest

from binmodel.learning_series import BUCKETS, HOURS, Floats, seen, weather, window
from underlid.binmodel.bins import BinKind
from underlid.binmodel.lids.guesses import LID_FACTOR
from underlid.binmodel.taught.learning import learn
from underlid.binmodel.taught.lessons import Lessons
from underlid.journal.entries import Entry, LidLook

PRIOR, PRIOR_SD = LID_FACTOR[BinKind.PLASTIC_TOTE]


def vapour_g_m3(temp_c: Floats) -> Floats:
    """Return the vapour in saturated air (Magnus, gas law), written out here on purpose."""
    result: Floats = (
        611.2 * np.exp(17.62 * temp_c / (243.12 + temp_c)) / (461.5 * (temp_c + 273.15))
    )
    return 1000.0 * result


def film(head: Floats, rh_pct: Floats, lid: Floats, loss_g_m2_h: float) -> Floats:
    """Return the true film, g/m², bucket by bucket."""
    gain = 10.44 * (vapour_g_m3(head) * rh_pct / 100.0 - vapour_g_m3(lid)) - loss_g_m2_h
    out, held = np.empty(BUCKETS), 0.0
    for place, each in enumerate((gain / 12.0).tolist()):
        held = min(300.0, max(0.0, held + each))
        out[place] = held
    return out


def word(film_g_m2: float) -> LidLook:
    if film_g_m2 < 3.0:
        return LidLook.DRY
    if film_g_m2 < 30.0:
        return LidLook.MIST
    return LidLook.DROPS if film_g_m2 < 240.0 else LidLook.DRIPPING


def lid_bin(
    rng: np.random.Generator, factor: float, loss_g_m2_h: float = 0.0, rh_off_pct: float = 0.0
) -> tuple[dict[str, Floats], Floats]:
    """Return what the probes say of a warm bin in a cool shed that is wet by spells, and its film."""
    air = weather(rng, mean_c=12.0)
    head = air + 5.0 + 2.0 * np.sin(2 * np.pi * HOURS / 97 + rng.uniform(0, 6))
    rh = np.clip(91.0 + 4.0 * np.sin(2 * np.pi * HOURS / 61 + rng.uniform(0, 6)), 0.0, 98.0)
    truth = film(head, rh, air + factor * (head - air), loss_g_m2_h)
    said = {
        "headspace_temp_c": head + rng.normal(0, 0.1, BUCKETS),
        "headspace_rh_pct": rh + rh_off_pct + rng.normal(0, 0.4, BUCKETS),
        "shed_temp_c": air + rng.normal(0, 0.1, BUCKETS),
    }
    return said, truth


def looks(rng: np.random.Generator, truth: Floats, count: int) -> list[Entry]:
    hours = np.sort(rng.uniform(30.0, 305.0, count))
    return [seen(float(hour), lid=word(float(truth[int(hour * 12)]))) for hour in hours]


def learnt_from_looks(rng: np.random.Generator, factor: float, count: int = 10) -> Lessons:
    said, truth = lid_bin(rng, factor, rng.normal(0, 1.5), rng.normal(0, 0.5))
    return learn(window(said, looks(rng, truth, count)))


@pytest.mark.parametrize("factor", [0.45, 0.9])
def test_what_a_keeper_saw_moves_the_factor_towards_the_truth(factor: float) -> None:
    found = [learnt_from_looks(np.random.default_rng(seed), factor).lid_factor for seed in range(6)]
    assert all(one.learnt for one in found)
    off = np.mean([abs(one.value - factor) for one in found])
    assert off < 0.6 * abs(PRIOR - factor)
    assert np.mean([one.sd for one in found]) < 0.8 * PRIOR_SD
    assert "9 looks" in found[0].text


def test_the_band_of_the_factor_holds_as_often_as_it_says() -> None:
    """40 lids drawn as by the prior; at least three quarters inside the 80 % band."""
    rng = np.random.default_rng(11)
    held = closer = 0
    for _ in range(40):
        factor = float(np.clip(rng.normal(PRIOR, PRIOR_SD), 0.32, 0.98))
        found = learnt_from_looks(rng, factor).lid_factor
        held += abs(found.value - factor) <= 1.2816 * found.sd
        closer += abs(found.value - factor) < abs(PRIOR - factor)
    assert held >= 30
    assert closer >= 22


@pytest.mark.parametrize("factor", [0.5, 0.73, 0.92])
def test_a_lid_probe_tells_the_factor_directly(factor: float) -> None:
    rng = np.random.default_rng(12)
    said, _ = lid_bin(rng, factor)
    air, head = said["shed_temp_c"], said["headspace_temp_c"]
    said["lid_temp_c"] = air + factor * (head - air) + 0.2 + rng.normal(0, 0.15, BUCKETS)
    found = learn(window(said)).lid_factor
    assert found.value == pytest.approx(factor, abs=0.06)
    assert found.sd < 0.08
    assert "hours of its probe" in found.text


def test_a_lid_probe_without_a_difference_between_the_airs_tells_nothing() -> None:
    said, _ = lid_bin(np.random.default_rng(13), 0.7)
    said["headspace_temp_c"] = said["shed_temp_c"] + 0.5
    said["lid_temp_c"] = said["shed_temp_c"] + 0.3
    found = learn(window(said)).lid_factor
    assert (found.value, found.sd, found.learnt) == (PRIOR, PRIOR_SD, False)


def test_a_single_look_teaches_nothing() -> None:
    said, truth = lid_bin(np.random.default_rng(14), 0.5)
    found = learn(window(said, looks(np.random.default_rng(1), truth, 1)))
    assert not found.lid_factor.learnt
    assert not found.lid_air_m_h.learnt


def test_one_slip_of_the_pen_does_not_carry_the_factor_away() -> None:
    rng = np.random.default_rng(16)
    said, truth = lid_bin(rng, 0.7)
    told = looks(rng, truth, 10)
    right = learn(window(said, told)).lid_factor
    wrong = [seen((told[4].at_ms - told[0].at_ms) / 3_600_000 + 30.0, lid=LidLook.DRIPPING)]
    spoilt = learn(window(said, sorted(told + wrong, key=lambda one: one.at_ms))).lid_factor
    assert abs(spoilt.value - right.value) < 0.12
