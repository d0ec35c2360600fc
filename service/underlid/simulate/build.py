"""How a simulated bin is made: its sizes, and how heat, vapour and water get through its walls.

These are the simulator's own figures, chosen apart from what the judge assumes, so that a bin which
is judged well has not been judged by its own model. All are our judgement unless said otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from underlid.binmodel.bins import BinKind


@dataclass(frozen=True, slots=True)
class Build:
    """The make of a bin, for a bed of some 60 L; bigger beds scale with their surface."""

    wall_w_k: float
    """Heat through walls and floor, from the bed to the shed, W/K."""
    lid_w_m2k: float
    """From the lid to the shed air, W/m²K."""
    breath_m_s: float
    """Vapour out through lid and walls above the bed, m/s: a wet one gives its film, a dry one lets through
    what the headspace holds."""
    vent_l_s: float
    """Air exchanged between headspace and shed, L/s."""
    wall_vapour_m3_s: float
    """Vapour through breathing walls: transfer velocity times their area, m³/s."""
    drains: bool
    """Water that the bed cannot hold runs out; otherwise it stays."""
    holds_kg_kg: float
    """Water that a kilogram of dry bed holds against gravity, kg."""
    film_most_g_m2: float = 310.0
    """Water the lid holds; more drips back on the bed."""


BUILDS: Final[dict[BinKind, Build]] = {
    BinKind.FLOW_THROUGH_BAG: Build(4.6, 6.5, 2.8e-4, 0.020, 4.0e-5, True, 4.2),
    BinKind.TRAY_STACK: Build(4.0, 7.0, 0.0, 0.035, 1.0e-5, True, 4.4),
    BinKind.WOODEN_BOX: Build(3.4, 3.6, 7.0e-5, 0.160, 2.0e-4, True, 4.0),
    BinKind.PLASTIC_TOTE: Build(4.1, 7.5, 0.0, 0.012, 0.0, False, 4.6),
    BinKind.TROUGH: Build(6.8, 4.5, 3.0e-5, 0.050, 2.0e-5, True, 4.2),
}

BREATH_SPREAD: Final = {BinKind.FLOW_THROUGH_BAG: 1.0, BinKind.WOODEN_BOX: 0.5, BinKind.TROUGH: 0.5}
BREATH_MOST: Final = 1.5
"""How much `breath_m_s` differs, of its logarithm, and the most. It is D/s_d: the diffusion of vapour in
air (2.5e-5 m²/s) over the thickness of still air that stops as much (EN ISO 12572), with some 10 m/h of
the air outside in series. Cloth has an s_d of 0.01 to 0.3 m, open to coated; wood of 15 mm, 20 to 50
times as tight as air, 0.3 to 0.75 m (EN ISO 10456, from memory); plastic 100 m, so nothing."""

BUILD_VOLUME_L: Final = 60.0

WATER_J_KG_K: Final = 4186.0
DRY_J_KG_K: Final = 1480.0
"""Dry organic matter, upper half of the 1.2..1.5 kJ/kgK in use."""

VAPOUR_J_KG: Final = 2.45e6
"""Heat of evaporation at 20 °C (common practice)."""

AIR_J_M3_K: Final = 1210.0
"""Heat capacity of a cubic metre of air at 20 °C (common practice)."""

WATER_MADE_KG_KG_VS: Final = 0.556
"""A kilogram of carbohydrate burns to 0.556 kg of water (stoichiometry: 5·18/162)."""

VOLATILE_SHARE: Final = 0.92
"""Of a feed's dry matter, what is organic."""

AIRLESS_BELOW: Final = 0.06
AIRY_ABOVE: Final = 0.30
"""Air-filled share of the bed between which decay goes from a standstill to full rate."""


@dataclass(frozen=True, slots=True)
class Traits:
    """What differs from bin to bin beside its make; the defaults are those of a typical one."""

    bed_to_head_w_m2k: float = 3.6
    head_to_lid_w_m2k: float = 3.3
    bed_to_lid_radiant_w_m2k: float = 4.6
    """Still air, and two wet surfaces near 20 °C that face each other (common practice)."""
    bed_vapour_m_s: float = 2.3e-3
    lid_vapour_m_s: float = 2.6e-3
    """Transfer velocities of vapour between a surface and still air (Lewis relation, our figures)."""
    still_share: float = 0.45
    """What is left of both, and of the heat that air carries, under a lid warmer than the bed: the air lies
    in layers. Diffusion alone through 10 cm (0.9 m/h) leaves a fifth; vents and leaks stir."""
    head_height_m: float = 0.09
    """From bed to lid: how much wall the headspace has."""
    bed_to_wall_w_m2k: float = 1.8
    """The walls above the bed see it from the side, and stand with their foot in it."""
    wall_most_g_m2: float = 35.0
    """Water that stays on an upright wall; more runs down."""
    surface_share: float = 0.25
    """The bed's surface lies this share of the way from the bed to the headspace."""
    cover_at_kg_m2: float = 1.2
    """So much dry bedding on top halves the vapour that gets through."""
    patchy_g_m2: float = 8.0
    """A thinner film is drops with dry lid between them (our judgement)."""
    cover_lasts_h: float = 160.0
    """Cover gets wet and sinks in."""
    drip_h: float = 0.2
    drain_h: float = 14.0
    """Time constants: a lid that drips, a bed that drains."""
    hydrolysis_per_d: float = 1.3
    decay_per_d: float = 0.42
    """First-order rates at 20 °C: soft scraps fall apart, then burn (science page gives 1 and 0.35)."""
    juice_per_d: float = 0.9
    """Water leaves the cells of what was fed."""
    heat_j_kg_vs: float = 18.6e6
    """Between the 17 and 20 MJ/kg of the science page."""
    soft_share: float = 0.78
    """Of a feed's organic matter, what decays within weeks."""
    breath_w_m2: float = 480.0
    """Heat that the oxygen reaching a square metre of bed can make: diffusion through some 7 cm of bed
    with a third of air (0.27 kg/m³ of oxygen, 14 MJ per kg of it), doubled for the sides."""
    feed_wetter_pct: float = 0.0
    """% points by which this keeper's food is wetter than the feedstock table says."""


TYPICAL: Final = Traits()
