"""One bin as coupled balances of heat, vapour and water, moved on in small steps.

Bed temperature, bed water, the films on lid and walls, food and worms are states; headspace, lid and
walls have so little mass that they are in balance at every step, and are solved for (`headspace.py`).
Water and dry matter are accounted for to the gram: `Account` says where they went. `weather.py` gives
the surrounding air, `sensors.py` what a probe makes of all this.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import exp
from typing import Final

from underlid.binmodel.bins import Bin
from underlid.science.heat import worm_activity
from underlid.science.moisture import SOLID_DENSITY_KG_L
from underlid.simulate import build as b
from underlid.simulate.headspace import (
    Around,
    Flows,
    Headspace,
    Under,
    saturated_kg_m3,
    walls_over_lid,
)

DAY_S: Final = 86_400.0
HOUR_S: Final = 3600.0

HERD_GROWS_PER_D: Final = 0.012
HERD_DIES_PER_D_K: Final = 0.08
"""Growth of a fed herd at its best, and death per kelvin above what it stands (our judgement)."""

HERD_STANDS_C: Final = 34.0

OPEN_L_S: Final = 15.0
"""Air that passes over the bed while the lid is off, L/s: the headspace is then shed air."""


@dataclass(slots=True)
class Account:
    """Where water and dry matter went since the start, kg. Films and herd are states, not here."""

    water_in_kg: float = 0.0
    water_made_kg: float = 0.0
    water_out_as_vapour_kg: float = 0.0
    water_drained_kg: float = 0.0
    water_taken_kg: float = 0.0
    dry_in_kg: float = 0.0
    dry_burnt_kg: float = 0.0
    dry_taken_kg: float = 0.0
    heat_made_j: float = 0.0


@dataclass(slots=True)
class PhysicalBin:
    """A bin's state. `step` moves it on; `deeds.apply` does to it what the keeper did."""

    bin: Bin
    build: b.Build
    bed_c: float
    water_kg: float
    dry_kg: float
    """Bed without food."""
    scraps_kg: float = 0.0
    """Volatile solids still whole, kg."""
    pulp_kg: float = 0.0
    """Volatile solids fallen apart, kg."""
    juice_kg: float = 0.0
    """Water still in the cells of the food, kg."""
    meal_kg: float = 0.0
    """Volatile solids in the bed just after the last feed, kg."""
    cover_kg: float = 0.0
    film_g_m2: float = 0.0
    wall_film_g_m2: float = 0.0
    """On the walls between bed and lid, per m² of them."""
    herd_kg: float = 1.0
    head: Headspace = field(default_factory=Headspace)
    flux_g_m2_h: float = 0.0
    heat_w: float = 0.0
    open_s: float = 0.0
    """The lid stays off for so long from now."""
    traits: b.Traits = b.TYPICAL
    account: Account = field(default_factory=Account)

    def copy(self) -> PhysicalBin:
        """Return the bin as it is now, to be moved on by itself."""
        return replace(self, account=replace(self.account), head=replace(self.head))

    @classmethod
    def of(cls, bin_: Bin, moisture_pct: float, temp_c: float) -> PhysicalBin:
        """Return a bin at rest, at the temperature of its shed."""
        water = bin_.bed_kg * moisture_pct / 100.0
        return cls(
            bin_,
            b.BUILDS[bin_.kind],
            temp_c,
            water,
            bin_.bed_kg - water,
            herd_kg=bin_.herd_kg,
            head=Headspace(temp_c, temp_c, temp_c),
        )

    @property
    def solids_kg(self) -> float:
        """Return all dry matter in the bed, food included."""
        return self.dry_kg + self.scraps_kg + self.pulp_kg

    @property
    def moisture_pct(self) -> float:
        """Return what a sample of the bed would weigh out to, % wet basis."""
        return 100.0 * self.water_kg / (self.water_kg + self.dry_kg + self.pulp_kg)

    @property
    def rh_pct(self) -> float:
        """Return the humidity of the headspace, %RH."""
        return min(100.0, 100.0 * self.head.vapour_kg_m3 / saturated_kg_m3(self.head.head_c))

    @property
    def heat_capacity_j_k(self) -> float:
        """Return the heat that warms the bed by a kelvin."""
        water = self.water_kg + self.juice_kg
        return water * b.WATER_J_KG_K + self.solids_kg * b.DRY_J_KG_K

    @property
    def food_kg(self) -> float:
        """Return the food that can still decay, kg of volatile solids."""
        return self.scraps_kg + self.pulp_kg

    @property
    def air_share(self) -> float:
        """Return the share of the bed that is air."""
        litres = (self.dry_kg + self.pulp_kg) / self.bin.dry_density_kg_l
        return 1.0 - self.bin.dry_density_kg_l / SOLID_DENSITY_KG_L - self.water_kg / litres

    @property
    def head_walls_m2(self) -> float:
        """Return the area of the walls between bed and lid."""
        area = self.bin.lid_area_m2
        return area * walls_over_lid(area, self.traits.head_height_m)

    @property
    def wall_scale(self) -> float:
        """Return the wall's area over that of the bin its build is given for."""
        scale: float = (self.bin.volume_l / b.BUILD_VOLUME_L) ** (2.0 / 3.0)
        return scale

    def step(self, seconds: float, around: Around) -> None:
        """Move on by *seconds*; right to first order, so halve the step to halve its error."""
        area, head, traits = self.bin.lid_area_m2, self.head, self.traits
        flows = self._flows(around)
        evaporated = area * flows.off_bed * seconds
        through_walls = (
            self.build.wall_vapour_m3_s
            * self.wall_scale
            * max(0.0, saturated_kg_m3(self.bed_c) * self._activity() - around.vapour_kg_m3)
            * seconds
        )
        burnt, fallen = self._decay(seconds)
        surface = head.surface_c(self.bed_c, traits)
        to_head = head.stirred(surface, traits) * traits.bed_to_head_w_m2k
        heat_out_w = (
            self.build.wall_w_k * self.wall_scale * (self.bed_c - around.temp_c)
            + area * to_head * (self.bed_c - head.head_c)
            + area * traits.bed_to_lid_radiant_w_m2k * (surface - head.lid_c)
            + self.head_walls_m2 * traits.bed_to_wall_w_m2k * (surface - head.wall_c)
        )
        self.heat_w = burnt * traits.heat_j_kg_vs / seconds
        latent_w = (evaporated + through_walls) * b.VAPOUR_J_KG / seconds
        rise = (self.heat_w - heat_out_w - latent_w) * seconds / self.heat_capacity_j_k
        self._move_water(seconds, evaporated + through_walls, burnt)
        self._move_films(seconds, flows)
        self._move_solids(seconds, burnt, fallen)
        self.bed_c += rise
        self.flux_g_m2_h = 1000.0 * flows.lid * HOUR_S
        self.account.heat_made_j += burnt * traits.heat_j_kg_vs
        self.account.water_out_as_vapour_kg += evaporated + through_walls
        self.open_s = max(0.0, self.open_s - seconds)

    def _flows(self, around: Around) -> Flows:
        area, traits = self.bin.lid_area_m2, self.traits
        vent_l_s = self.build.vent_l_s + (OPEN_L_S if self.open_s > 0.0 else 0.0)
        under = Under(
            self.bed_c,
            self._activity(),
            1.0 + self.cover_kg / area / traits.cover_at_kg_m2,
            vent_l_s / 1000.0 / area,
            min(1.0, self.film_g_m2 / traits.patchy_g_m2),
            min(1.0, self.wall_film_g_m2 / traits.patchy_g_m2),
            self.head_walls_m2 / area,
        )
        return self.head.settle(self.build, traits, under, around)

    def _activity(self) -> float:
        """Return the humidity of air in balance with the bed, 0..1: near 1 unless it is parched."""
        return 1.0 / (1.0 + exp(-(self.moisture_pct - 38.0) / 5.0))

    def _decay(self, seconds: float) -> tuple[float, float]:
        """Return kg of pulp burnt and of scraps fallen apart in this step."""
        traits, days = self.traits, seconds / DAY_S
        warm = max(0.0, 1.066 ** (self.bed_c - 20.0) - 1.21 ** (self.bed_c - 60.0))
        airy = (self.air_share - b.AIRLESS_BELOW) / (b.AIRY_ABOVE - b.AIRLESS_BELOW)
        air = min(1.0, max(0.0, airy))
        fallen = self.scraps_kg * (1.0 - exp(-traits.hydrolysis_per_d * warm * days))
        wanted = traits.decay_per_d / DAY_S * warm * air * self.pulp_kg
        supplied = traits.breath_w_m2 * self.bin.lid_area_m2 * max(air, 1e-3) / traits.heat_j_kg_vs
        rate = wanted / (1.0 + wanted / supplied)
        return min(rate * seconds, self.pulp_kg), fallen

    def _move_water(self, seconds: float, lost: float, burnt: float) -> None:
        """Move bed water and juice on."""
        account, traits = self.account, self.traits
        juice = self.juice_kg * (1.0 - exp(-traits.juice_per_d * seconds / DAY_S))
        made = burnt * b.WATER_MADE_KG_KG_VS
        drained = 0.0
        over = self.water_kg - self.build.holds_kg_kg * (self.dry_kg + self.pulp_kg)
        if self.build.drains and over > 0.0:
            drained = over * (1.0 - exp(-seconds / HOUR_S / traits.drain_h))
        self.juice_kg -= juice
        self.water_kg += juice + made - lost - drained
        account.water_made_kg += made
        account.water_drained_kg += drained

    def _move_films(self, seconds: float, flows: Flows) -> None:
        """Move the films of lid and walls on; what they cannot hold drips or runs back to the bed."""
        area, walls_m2, traits = self.bin.lid_area_m2, self.head_walls_m2, self.traits
        gone = 1.0 - exp(-seconds / HOUR_S / traits.drip_h)
        condensed = (area * flows.lid + walls_m2 * flows.walls) * seconds
        self.account.water_out_as_vapour_kg -= condensed
        self.film_g_m2 += 1000.0 * flows.lid * seconds
        self.wall_film_g_m2 += 1000.0 * flows.walls * seconds
        dripped = gone * max(0.0, self.film_g_m2 - self.build.film_most_g_m2)
        ran = gone * max(0.0, self.wall_film_g_m2 - traits.wall_most_g_m2)
        self.film_g_m2 -= dripped
        self.wall_film_g_m2 -= ran
        self.water_kg += (dripped * area + ran * walls_m2) / 1000.0

    def _move_solids(self, seconds: float, burnt: float, fallen: float) -> None:
        days = seconds / DAY_S
        self.scraps_kg -= fallen
        self.pulp_kg += fallen - burnt
        self.account.dry_burnt_kg += burnt
        self.cover_kg *= exp(-seconds / HOUR_S / self.traits.cover_lasts_h)
        fed = self.pulp_kg / (self.pulp_kg + 0.2)
        grows = HERD_GROWS_PER_D * worm_activity(self.bed_c) * fed
        dies = HERD_DIES_PER_D_K * max(0.0, self.bed_c - HERD_STANDS_C)
        self.herd_kg *= exp((grows - dies) * days)
