"""The air under the lid, between bed, lid, walls and shed: temperatures and flows of vapour in balance.

It holds so little heat and vapour that it is in balance at every step (a minute or less), as lid and
walls nearly are. `physics.py` says what the flows do to bed and films; `build.py` has the figures.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, sqrt
from typing import Final

from underlid.simulate import build as b

BALANCE_ROUNDS: Final = 3
"""Newton steps on lid and walls each time; they start from where they were, so three are plenty."""

OBLONG: Final = 1.03
"""Perimeter of a lid half as long again as wide, over that of a square one."""


@dataclass(slots=True)
class Around:
    """The air outside the bin at one moment."""

    temp_c: float
    vapour_kg_m3: float


@dataclass(frozen=True, slots=True)
class Under:
    """What the headspace is in balance with in one step."""

    bed_c: float
    activity: float
    """Humidity of air in balance with the bed, 0..1."""
    covered: float
    """How many times less vapour leaves a covered bed."""
    vent_m_s: float
    """Air exchanged with the shed, over the lid's area."""
    wet_lid: float
    wet_walls: float
    """Share of each that a film covers."""
    walls: float
    """Wall area over the lid's area."""


@dataclass(frozen=True, slots=True)
class Flows:
    """Vapour, kg/m²s, off the bed (of the lid's area), and onto lid and walls (of their own).

    Less what goes from their films out through them; negative while they dry.
    """

    off_bed: float
    lid: float
    walls: float


@dataclass(slots=True)
class Headspace:
    """Its state, and that of lid and walls."""

    head_c: float = 20.0
    lid_c: float = 19.0
    wall_c: float = 19.0
    vapour_kg_m3: float = 0.015

    def surface_c(self, bed_c: float, traits: b.Traits) -> float:
        """Return the temperature of the bed's surface."""
        return bed_c + traits.surface_share * (self.head_c - bed_c)

    def stirred(self, surface_c: float, traits: b.Traits) -> float:
        """Return how far the air turns over, as a share of what it does over a bed warmer than its lid."""
        unstable = min(1.0, max(0.0, 0.5 + surface_c - self.lid_c))
        return traits.still_share + (1.0 - traits.still_share) * unstable

    def settle(self, build: b.Build, traits: b.Traits, under: Under, around: Around) -> Flows:
        """Find temperatures and vapour in balance; return what flows."""
        surface = self.surface_c(under.bed_c, traits)
        at_bed = saturated_kg_m3(surface) * under.activity
        shed = around.vapour_kg_m3
        breath, walls = build.breath_m_s, under.walls
        flows = Flows(0.0, 0.0, 0.0)
        for _ in range(BALANCE_ROUNDS):
            stirred = self.stirred(surface, traits)
            off_bed = stirred * traits.bed_vapour_m_s / under.covered
            most_lid, most_wall = stirred * traits.lid_vapour_m_s, traits.lid_vapour_m_s
            at_lid, at_wall = saturated_kg_m3(self.lid_c), saturated_kg_m3(self.wall_c)
            # What is wet gives its film to the shed, what is dry lets vapour of the headspace through.
            out = under.vent_m_s + (1.0 - under.wet_lid) * _in_series(breath, most_lid)
            out += walls * (1.0 - under.wet_walls) * _in_series(breath, most_wall)
            supply, ways = off_bed * at_bed + out * shed, off_bed + out
            # Colder walls take before the lid does; a lid that is dry gives nothing.
            before = walls * most_wall * (1.0 if at_wall < at_lid else under.wet_walls)
            is_full = supply + before * at_wall > (ways + before) * at_lid
            onto_lid = most_lid * (1.0 if is_full else under.wet_lid)
            supply, ways = supply + onto_lid * at_lid, ways + onto_lid
            onto_wall = most_wall * (1.0 if supply > ways * at_wall else under.wet_walls)
            vapour = (supply + walls * onto_wall * at_wall) / (ways + walls * onto_wall)
            self.vapour_kg_m3 = vapour
            through = breath * (at_lid - shed), breath * (at_wall - shed)
            flows = Flows(
                off_bed * (at_bed - vapour),
                onto_lid * (vapour - at_lid) - under.wet_lid * through[0],
                onto_wall * (vapour - at_wall) - under.wet_walls * through[1],
            )
            self._warm_air(traits, under, around, surface, stirred)
            self._warm_lid(build, traits, around, surface, flows.lid, stirred, onto_lid + breath)
            self._warm_walls(build, traits, around, surface, flows.walls, onto_wall + breath)
        return flows

    def _warm_air(
        self, traits: b.Traits, under: Under, around: Around, surface: float, stirred: float
    ) -> None:
        from_bed = stirred * traits.bed_to_head_w_m2k
        to_lid = stirred * traits.head_to_lid_w_m2k
        to_walls = under.walls * traits.head_to_lid_w_m2k
        vent = under.vent_m_s * b.AIR_J_M3_K
        self.head_c = (
            from_bed * surface + to_lid * self.lid_c + to_walls * self.wall_c + vent * around.temp_c
        ) / (from_bed + to_lid + to_walls + vent)

    def _warm_lid(
        self,
        build: b.Build,
        traits: b.Traits,
        around: Around,
        surface: float,
        vapour: float,
        stirred: float,
        onto: float,
    ) -> None:
        """Take the lid one Newton step towards its balance of heat."""
        still = stirred * traits.head_to_lid_w_m2k
        radiant = traits.bed_to_lid_radiant_w_m2k
        gain = still * (self.head_c - self.lid_c) + radiant * (surface - self.lid_c)
        gain += build.lid_w_m2k * (around.temp_c - self.lid_c) + vapour * b.VAPOUR_J_KG
        self.lid_c += gain / (still + radiant + build.lid_w_m2k + _latent(self.lid_c, onto))

    def _warm_walls(
        self,
        build: b.Build,
        traits: b.Traits,
        around: Around,
        surface: float,
        vapour: float,
        onto: float,
    ) -> None:
        """The same for the walls: cold air runs down them, so they are never still."""
        air, bed = traits.head_to_lid_w_m2k, traits.bed_to_wall_w_m2k
        gain = air * (self.head_c - self.wall_c) + bed * (surface - self.wall_c)
        gain += build.lid_w_m2k * (around.temp_c - self.wall_c) + vapour * b.VAPOUR_J_KG
        self.wall_c += gain / (air + bed + build.lid_w_m2k + _latent(self.wall_c, onto))


def walls_over_lid(lid_area_m2: float, height_m: float) -> float:
    """Return the area of the walls between bed and lid over the lid's.

    >>> round(walls_over_lid(0.25, 0.1), 2)
    0.82
    """
    return 4.0 * OBLONG * height_m / sqrt(lid_area_m2)


def _in_series(one: float, other: float) -> float:
    return one * other / (one + other)


def _latent(temp_c: float, onto_m_s: float) -> float:
    """Return the heat of evaporation for each kelvin that a wet surface is warmer, W/m²K."""
    return onto_m_s * b.VAPOUR_J_KG * 0.062 * saturated_kg_m3(temp_c)


def saturated_kg_m3(temp_c: float) -> float:
    """Return the vapour in saturated air, kg/m³ (Magnus and the gas law, as in `science`).

    Written out for plain floats: it is asked six times a step.

    >>> print(round(1000 * saturated_kg_m3(25.0), 2))
    22.98
    """
    pressure_pa = 610.94 * exp(17.625 * temp_c / (temp_c + 243.04))
    return pressure_pa / (461.5 * (temp_c + 273.15))
