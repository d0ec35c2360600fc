"""The air under a simulated lid: layers, walls and cloth do what the books say."""

from __future__ import annotations

from dataclasses import replace

import pytest

from underlid.binmodel.bins import BinKind
from underlid.simulate import build as b
from underlid.simulate.headspace import Around, Headspace, Under, saturated_kg_m3
from underlid.simulate.sketch import sketch

BAG = b.BUILDS[BinKind.FLOW_THROUGH_BAG]
TOTE = b.BUILDS[BinKind.PLASTIC_TOTE]
DIFFUSION_M2_S = 2.5e-5
"""Of vapour in air at 20 °C (EN ISO 12572, from memory: 2.4e-5 to 2.6e-5)."""


def under(bed_c: float, *, wet: float = 1.0, walls: float = 0.8, vent_m_s: float = 1e-4) -> Under:
    return Under(bed_c, 1.0, 1.0, vent_m_s, wet, wet, walls)


def settled(
    build: b.Build, traits: b.Traits, state: Under, shed_c: float
) -> tuple[Headspace, float]:
    head = Headspace(shed_c, shed_c, shed_c)
    around = Around(shed_c, 0.6 * saturated_kg_m3(shed_c))
    for _ in range(20):
        flows = head.settle(build, traits, state, around)
    return head, 3.6e6 * flows.lid


def test_under_a_lid_warmer_than_the_bed_the_air_lies_still() -> None:
    """Over a warm bed it turns over; under a warm lid only the drawn share is left."""
    head = Headspace(lid_c=22.0)
    assert head.stirred(24.0, b.TYPICAL) == 1.0
    assert head.stirred(20.0, b.TYPICAL) == b.TYPICAL.still_share


def test_a_wet_lid_warmer_than_the_bed_dries_the_slower_for_it() -> None:
    still, turned = replace(b.TYPICAL, still_share=0.3), replace(b.TYPICAL, still_share=1.0)
    slow, fast = (
        settled(TOTE, traits, under(16.0, walls=0.0), 20.0)[1] for traits in (still, turned)
    )
    assert fast < slow < 0.0
    assert 2.0 < fast / slow < 4.0


def test_walls_colder_than_the_headspace_take_water_that_the_lid_would_have() -> None:
    (bare, all_of_it), (walled, less) = (
        settled(TOTE, b.TYPICAL, under(22.0, wet=0.0, walls=walls), 16.0) for walls in (0.0, 1.2)
    )
    assert 0.3 * all_of_it < less < 0.9 * all_of_it
    assert 16.0 < walled.wall_c < walled.head_c < bare.head_c


@pytest.mark.parametrize("bed_c", [17.0, 22.0])
def test_a_dry_lid_gives_no_water_to_colder_walls(bed_c: float) -> None:
    for vent_m_s in (1e-4, 1e-3):
        state = under(bed_c, wet=0.0, walls=3.0, vent_m_s=vent_m_s)
        head, onto_lid = settled(TOTE, b.TYPICAL, state, 16.0)
        assert head.wall_c < head.lid_c
        assert onto_lid >= 0.0


def test_walls_stand_between_headspace_and_shed() -> None:
    head, _ = settled(TOTE, b.TYPICAL, under(22.0), 16.0)
    assert 16.0 < head.wall_c < head.lid_c < head.head_c < 22.0


@pytest.mark.parametrize("thickness_m", [0.01, 0.05, 0.3])
def test_cloth_loses_what_its_thickness_of_still_air_lets_through(thickness_m: float) -> None:
    """Flux = D/s_d times the difference of vapour (definition of s_d, EN ISO 12572)."""
    breath = DIFFUSION_M2_S / thickness_m
    tight = replace(BAG, breath_m_s=0.0)
    head, drying = settled(replace(BAG, breath_m_s=breath), b.TYPICAL, under(18.0), 18.0)
    through = 3.6e6 * breath * (saturated_kg_m3(head.lid_c) - 0.6 * saturated_kg_m3(18.0))
    onto = (
        3.6e6 * b.TYPICAL.lid_vapour_m_s * head.stirred(head.surface_c(18.0, b.TYPICAL), b.TYPICAL)
    )
    onto *= head.vapour_kg_m3 - saturated_kg_m3(head.lid_c)
    assert drying == pytest.approx(onto - through, rel=1e-3)
    assert drying < settled(tight, b.TYPICAL, under(18.0), 18.0)[1]


def test_bags_are_drawn_from_coated_to_open_cloth_and_totes_are_tight() -> None:
    kind = BinKind.FLOW_THROUGH_BAG
    breaths = sorted(
        3600 * sketch("quiet-month", n, 1.0, kind=kind).build.breath_m_s for n in range(60)
    )
    assert breaths[0] < 0.4
    assert 0.6 < breaths[30] < 1.7
    assert 2.5 < breaths[-1] <= 3600 * DIFFUSION_M2_S / 0.01
    assert sketch("quiet-month", 1, 1.0, kind=BinKind.PLASTIC_TOTE).build.breath_m_s == 0.0
