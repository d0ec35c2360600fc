"""Heat of a bed against its analytic solution, decay and worm activity against their models."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from underlid.science import heat

PULSE = {"volatile_kg": 0.17, "rate_per_d": 0.35, "heat_capacity_j_k": 82e3, "loss_w_k": 4.5}


def test_the_heat_a_bed_holds() -> None:
    # computed with 4.18 M + 1.2 (1 − M) kJ/kgK, common practice: 22 kg at 75, 80 and 85 % water
    held = [heat.bed_heat_capacity_j_k(22.0, moisture) / 1e3 for moisture in (75.0, 80.0, 85.0)]
    assert held == pytest.approx([75.57, 78.85, 82.13], abs=0.01)
    # so about 82 kJ/K is a wet bed; with UA 4.5 W/K τ is some 5 h, insulated with 2 W/K 11 h
    assert held[2] * 1e3 / 4.5 / 3600.0 == pytest.approx(5.0, abs=0.1)
    assert held[2] * 1e3 / 2.0 / 3600.0 == pytest.approx(11.4, abs=0.1)


@given(st.floats(-5.0, 40.0), st.floats(1.0, 30.0), st.floats(0.0, 40.0), st.floats(0.5, 200.0))
def test_self_heat_is_found_again_at_any_moment_of_a_warming_bed(
    ambient_c: float, time_constant_h: float, source_k: float, after_h: float
) -> None:
    # computed: the bed nears T_amb + Q/UA exponentially; the balance must give Q/UA all the way
    grown = 1.0 - np.exp(-after_h / time_constant_h)
    bed_c = ambient_c + source_k * grown
    rate_k_h = source_k * (1.0 - grown) / time_constant_h
    found = heat.self_heat_k(bed_c, rate_k_h, ambient_c, time_constant_h)
    assert found == pytest.approx(source_k, abs=1e-9)


@pytest.mark.parametrize(
    ("temp_c", "factor"),
    [(20.0, 0.9995), (40.0, 3.568), (60.0, 11.891)],  # Haug 1993, from memory; values computed
)
def test_decay_rates(temp_c: float, factor: float) -> None:
    assert heat.decay_rate_factor(temp_c) == pytest.approx(factor, rel=2e-4)


def test_decay_peaks_and_ends() -> None:
    temps_c = np.linspace(0.0, 100.0, 10001)  # computed with the formula: peak 17.93 at 71.55 °C
    factors = heat.decay_rate_factor(temps_c)
    assert factors.max() == pytest.approx(17.93, abs=0.005)
    assert temps_c[factors.argmax()] == pytest.approx(71.55, abs=0.01)
    assert (factors >= 0.0).all()
    assert factors[-1] == 0.0
    assert heat.decay_rate_factor(81.0) == 0.0
    assert heat.decay_rate_factor(5000.0) == 0.0
    # Q10 1.895 is that of its first term; the second takes 0.1 % off at 30 °C
    tenfold = heat.decay_rate_factor(30.0) / heat.decay_rate_factor(20.0)
    assert tenfold == pytest.approx(1.895, rel=2e-3)


def test_a_pulse_of_food_peaks_where_the_analytic_solution_does() -> None:
    # computed: peak 2.11 K at 14.2 h; all heat, 0.17 kg of 17 MJ/kg, leaves through the walls
    hours = np.linspace(0.0, 60 * 24.0, 100_001)
    rise_k = heat.first_order_pulse_k(hours, **PULSE)
    assert rise_k.max() == pytest.approx(2.11, rel=0.01)
    assert hours[rise_k.argmax()] == pytest.approx(14.2, rel=0.01)
    lost_mj = 4.5 * np.trapezoid(rise_k, hours * 3600.0) / 1e6
    assert lost_mj == pytest.approx(2.89, rel=5e-3)


@pytest.mark.parametrize("loss_w_k", [0.5, 2.0, 4.5, 12.0])
def test_a_pulse_solves_the_balance_it_is_derived_from(loss_w_k: float) -> None:
    def slopes(second: float, state: np.ndarray) -> list[float]:
        food_kg, rise_k = state
        burnt_kg_s = 0.35 / 86400.0 * food_kg
        return [-burnt_kg_s, (17e6 * burnt_kg_s - loss_w_k * rise_k) / 82e3]

    hours = np.linspace(0.0, 120.0, 25)  # computed with scipy
    solved = solve_ivp(slopes, (0.0, 432e3), [0.17, 0.0], t_eval=hours * 3600.0, rtol=1e-8)
    ours = heat.first_order_pulse_k(hours, 0.17, 0.35, 82e3, loss_w_k)
    assert ours.tolist() == pytest.approx(solved.y[1].tolist(), abs=1e-4)


def test_a_pulse_that_decays_as_fast_as_the_bed_cools_is_finite() -> None:
    loss_w_k = 0.35 / 86400.0 * 82e3
    equal = heat.first_order_pulse_k(24.0, 0.17, 0.35, 82e3, loss_w_k)
    nearly = heat.first_order_pulse_k(24.0, 0.17, 0.35, 82e3, loss_w_k * 1.000001)
    assert equal == pytest.approx(nearly, rel=1e-5)


DEGRADABLE = 0.6
"""Share of dry matter that decays within weeks (our judgement)."""

KEPT = 0.65
"""Some 35 % of the heat leaves as vapour (common practice)."""

FEEDS_PCT = {"melon": 92.0, "vegetable scraps": 85.0, "coffee grounds": 60.0, "bread": 36.0}


def fed_peak_k(
    feed_kg: float, moisture_pct: float, degradable: float = DEGRADABLE
) -> tuple[float, float]:
    """Return rise, K, and day of the peak after a feed at 22 °C: two pools, warmed by themselves."""
    whole_kg, pulp_kg, rise_k = feed_kg * (1.0 - moisture_pct / 100.0) * degradable, 0.0, 0.0
    peak, step_d = (0.0, 0.0), 1.0 / 288.0
    for step in range(288 * 8):
        factor = float(heat.decay_rate_factor(22.0 + rise_k))
        fallen_kg, burnt_kg = factor * whole_kg * step_d, 0.35 * factor * pulp_kg * step_d
        whole_kg, pulp_kg = whole_kg - fallen_kg, pulp_kg + fallen_kg - burnt_kg
        kept_j = KEPT * heat.HEAT_MJ_KG_VS * 1e6 * burnt_kg
        rise_k += (kept_j - 4.5 * rise_k * step_d * 86400.0) / 82e3
        peak = max(peak, (rise_k, step * step_d))
    return peak


def test_dry_matter_drives_heat() -> None:
    # computed here; with 60 % of the dry matter degradable and 35 % of the heat gone as vapour
    # (our judgement): melon +0.6 K, scraps +1.1 K, coffee +3.3 K, bread +6.3 K for 1.8 kg
    peaks = {feed: fed_peak_k(1.8, moisture) for feed, moisture in FEEDS_PCT.items()}
    rises = [rise for rise, _ in peaks.values()]
    assert rises == sorted(rises)
    assert rises[0] == pytest.approx(0.6, abs=0.2)
    assert rises[1] == pytest.approx(1.2, abs=0.3)
    assert 2.0 < rises[2] < 5.0
    assert 5.0 < rises[3] < 10.0
    assert all(1.4 <= day <= 2.1 for _, day in peaks.values())


@pytest.mark.parametrize(
    ("degradable", "rises_k"),
    [  # computed here: the table of the science page, in the order of FEEDS_PCT
        (0.4, [0.4, 0.7, 2.1, 3.6]),
        (0.6, [0.6, 1.1, 3.3, 6.3]),
        (0.7, [0.7, 1.3, 4.1, 8.1]),
    ],
)
def test_how_much_decays_sets_the_height(degradable: float, rises_k: list[float]) -> None:
    peaks = [fed_peak_k(1.8, moisture, degradable) for moisture in FEEDS_PCT.values()]
    assert [rise for rise, _ in peaks] == pytest.approx(rises_k, abs=0.06)
    assert all(1.5 <= day <= 1.7 for _, day in peaks)


@pytest.mark.parametrize(
    ("temp_c", "activity"),
    [  # computed with the model of Rosso 1993; cardinal temperatures 4, 25, 35 common practice
        (10.0, 0.191),
        (15.0, 0.524),
        (20.0, 0.851),
        (25.0, 1.0),
        (30.0, 0.785),
        (33.0, 0.397),
        (35.0, 0.0),
        (4.0, 0.0),
        (-10.0, 0.0),
        (60.0, 0.0),
    ],
)
def test_worms_are_as_active_as_the_model_says(temp_c: float, activity: float) -> None:
    assert heat.worm_activity(temp_c) == pytest.approx(activity, abs=6e-4)


@given(st.floats(-50.0, 80.0))
def test_worm_activity_is_a_share(temp_c: float) -> None:
    assert 0.0 <= heat.worm_activity(temp_c) <= 1.0
