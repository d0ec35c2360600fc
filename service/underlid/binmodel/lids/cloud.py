"""The film of one lid under every guess at once, hour by hour, and how well each guess fits.

The headspace holds so little vapour that it is in balance at every moment: what leaves the bed goes onto
the lid or out to the shed. So each guess foretells a humidity and grows a film. Guesses that foretell
the humidity that is read, and a film that the keeper's words fit, count more.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import exp, isnan, nan
from typing import Final

import numpy as np
import numpy.typing as npt

from underlid.binmodel.bins import BinKind
from underlid.binmodel.lids.foretold import AT_END_H, OPEN_PCT, blame_pct, left_pct, log_fit
from underlid.binmodel.lids.guesses import GUESSES, LID_OFF_SD_K, Guesses, guesses_of
from underlid.binmodel.lids.head_line import SHARE_LEAST, SHARE_MOST, HeadLine
from underlid.binmodel.lids.hours import LidHour
from underlid.binmodel.lids.humidity import SATURATED_PCT
from underlid.binmodel.lids.lid_line import LidLine
from underlid.binmodel.lids.looks import FILM_MOST_G_M2, likelihood, seen
from underlid.binmodel.lids.vapour import full_of_each_g_m3, settled
from underlid.journal.entries import LidLook
from underlid.science.numeric import Floats

PATCHY_G_M2: Final = 6.0
"""A thinner film covers only a part of the lid, which dries the slower (our judgement)."""

WALL_PATCHY_G_M2: Final = 12.0
WALL_MOST_G_M2: Final = 30.0
"""The same of walls, where it gathers into drops, and what stays before it runs down (our judgement)."""

COVER_FADES_H: Final = 168.0
"""Bedding on top gets wet and is pulled under (our judgement)."""

DRIER_H: Final = 8.0
AS_BEFORE_H: Final = 2.0
"""In so many hours an air that is drier than a guess foretells is thought to stay so, and to be gone (our
judgement)."""

Places = npt.NDArray[np.int64]
ALL: Final[Places] = np.arange(GUESSES)
AS_FORETOLD: Final[Floats] = np.ones(GUESSES)


class Cloud:
    """All guesses at the end of one hour."""

    __slots__ = (
        "_asked",
        "_at_end_h",
        "_count",
        "_cover",
        "_lid",
        "_line",
        "_off",
        "_seen",
        "_square",
        "_wall",
        "blind",
        "drier",
        "film",
        "flux",
        "guesses",
        "weight",
    )  # fmt: skip

    def __init__(self, kind: BinKind) -> None:
        self.guesses: Guesses = guesses_of(kind)
        self.film: Floats = self.guesses.start_g_m2.copy()
        count = len(self.film)
        self.flux: Floats = np.full(count, nan)
        self.weight: Floats = np.full(count, 1.0 / count)
        self.blind = False
        """The last hour's shed air was not measured."""
        self.drier: Floats = AS_FORETOLD
        """Vapour under the lid over what each guess foretells, lately: below 1 where air comes in."""
        self._wall: Floats = np.zeros(count)  # g for each m² of wall
        self._cover = 0.0
        self._count = self._asked = self._at_end_h = 0
        self._off: Floats = np.zeros(count)
        self._square: Floats = np.zeros(count)
        self._seen: Floats = np.zeros(count)
        self._line = HeadLine()
        self._lid = LidLine.of(kind)

    def copy(self) -> Cloud:
        """Return this moment, to come back to; arrays are never changed in place."""
        other = object.__new__(Cloud)
        for name in self.__slots__:
            setattr(other, name, getattr(self, name))
        return other

    @property
    def share(self) -> float:
        """Return how far the headspace follows the bed, as learnt so far."""
        return min(1.0, max(0.0, self._line.line()[0]))

    @property
    def cover_kg_m2(self) -> float:
        """Return the bedding on top."""
        return self._cover

    def step(self, hour: LidHour) -> None:
        """Move on by one hour."""
        self.see(hour.looks)
        self._cover = self._cover * exp(-1.0 / COVER_FADES_H) + hour.cover_kg_m2
        self.flux = self._flux(hour)
        if not isnan(float(self.flux[0])):
            film = self.film + self.flux
            self.film = np.minimum(np.maximum(film, 0.0), FILM_MOST_G_M2)
        if not isnan(hour.rh_pct) or any(self._line.odds):
            self._weigh()

    def go_on(self, hours: float) -> None:
        """Let the film go on for a part of an hour as it did in the last."""
        if not isnan(float(self.flux[0])):
            film = self.film + hours * self.flux
            self.film = np.minimum(np.maximum(film, 0.0), FILM_MOST_G_M2)

    def see(self, looks: Iterable[LidLook]) -> None:
        """Take in what the keeper saw, in the order of time."""
        for look in looks:
            self._seen = self._seen + np.log(likelihood(self.film, look))
            self.film = seen(self.film, look)
            self._weigh()

    @property
    def humid_h(self) -> int:
        """Return in how many hours the humidity has told something, below its sensor's end."""
        return self._count

    def unseen_over_k(self, bed_over_head_k: Floats, chosen: Places) -> tuple[Floats, Floats]:
        """Return bed and headspace over a shed that is not measured, K, for the *chosen* guesses."""
        share, offset, share_sd, offset_sd = self._line.line()
        follows = np.clip(share + share_sd * self.guesses.share_z[chosen], SHARE_LEAST, SHARE_MOST)
        error = offset + offset_sd * self.guesses.head_z[chosen]
        if bed_over_head_k.ndim > 1:
            follows, error = follows[:, None], error[:, None]
        over = (bed_over_head_k + error) / (1.0 - follows)
        return over, follows * over

    def chance(self, limit_g_m2: float) -> float:
        """Return the chance that the film is at a limit or beyond."""
        return float(self.weight[self.film >= limit_g_m2].sum())

    def quantiles(self, *shares: float) -> list[float]:
        """Return the films below which these shares of the chance lie."""
        order = self.film.argsort(kind="stable")
        at = self.weight[order].cumsum().searchsorted(shares)
        found: list[float] = self.film[order[np.minimum(at, len(order) - 1)]].tolist()
        return found

    def mean_flux(self) -> float:
        """Return the likely condensing flux of the hour, g/m²h; NaN where it is not known."""
        return float((self.weight * self.flux).sum())

    def _flux(self, hour: LidHour) -> Floats:
        """Return what condenses in the hour, g/m²; NaN where temperatures are not known."""
        guesses = self.guesses
        temps = self._temps(hour)
        if temps is None:
            return np.full(len(self.film), nan)
        shed_c, head_c, surface_c, lid_c = temps
        walls_c = shed_c + guesses.walls_factor * (head_c - shed_c)
        rh = guesses.shed_rh_pct if isnan(hour.shed_rh_pct) else hour.shed_rh_pct
        full = full_of_each_g_m3(shed_c, head_c, surface_c, lid_c, walls_c)
        at_shed, at_head, at_bed, at_lid, at_walls = full
        outside = at_shed * rh / 100.0
        patch = np.minimum(1.0, self.film / PATCHY_G_M2)
        if isnan(float(surface_c[0])):
            inside = at_head * np.minimum(hour.rh_pct - guesses.rh_off_pct, 100.0) / 100.0
            flux = guesses.lid_m_h * np.where(inside > at_lid, 1.0, patch) * (inside - at_lid)
        else:
            moving = np.where(lid_c > surface_c, guesses.still_share, 1.0)
            off_bed = moving * guesses.bed_m_h / (1.0 + self._cover / guesses.cover_kg_m2)
            inside, onto, onto_walls = settled(
                off_bed * at_bed + guesses.out_m_h * outside,
                off_bed + guesses.out_m_h,
                (moving * guesses.lid_m_h, at_lid, patch),
                (guesses.walls_m_h, at_walls, np.minimum(1.0, self._wall / WALL_PATCHY_G_M2)),
            )
            flux = onto * (inside - at_lid)
            wall = self._wall + onto_walls * (inside - at_walls) / guesses.walls
            self._wall = np.minimum(np.maximum(wall, 0.0), WALL_MOST_G_M2)
            flux = self._compare(hour, inside, at_head, at_lid, flux, patch)
        to_shed = guesses.through_m_h * patch + hour.open_h * guesses.lid_m_h
        result: Floats = flux - to_shed * np.maximum(0.0, at_lid - outside)
        return result

    def _compare(
        self,
        hour: LidHour,
        inside: Floats,
        at_head: Floats,
        at_lid: Floats,
        flux: Floats,
        patch: Floats,
    ) -> Floats:
        """Note how far the humidity is from what each guess foretells; return the believed flux."""
        measured = hour.rh_pct / 100.0 * at_head
        if isnan(hour.rh_pct):
            self._note_drier(AS_FORETOLD)
            return flux
        left = left_pct(hour.rh_pct, 100.0 * inside / at_head)
        if not hour.upset:
            self._blame(hour.rh_pct, left)
        is_open = left < -OPEN_PCT
        if not is_open.any():
            if not hour.upset:
                self._note_drier(AS_FORETOLD)
            return flux
        if not hour.upset:
            self._note_drier(np.where(is_open, np.minimum(measured / inside, 1.0), 1.0))
        onto = self.guesses.lid_m_h * np.where(measured > at_lid, 1.0, patch)
        result: Floats = np.where(is_open, onto * (measured - at_lid), flux)
        return result

    def _blame(self, rh_pct: float, left: Floats) -> None:
        """Note what each guess is blamed for in this hour."""
        at_end = rh_pct >= SATURATED_PCT
        self._at_end_h = self._at_end_h + 1 if at_end else 0
        if self._at_end_h > AT_END_H:
            return
        self._asked += 1
        self._count += not at_end
        blame = blame_pct(rh_pct, left)
        self._off = self._off + blame
        self._square = self._square + blame * blame

    def _note_drier(self, now: Floats) -> None:
        """Note vapour over what is foretold; of most bins it is 1 in every guess and hour."""
        if self.drier is AS_FORETOLD and (now is AS_FORETOLD or (now == 1.0).all()):
            return
        fade_h = np.where(now < 1.0, DRIER_H, AS_BEFORE_H)
        self.drier = (self.drier + (now - self.drier) / fade_h).astype(np.float32)

    def _weigh(self) -> None:
        """Weigh the guesses anew, by what was seen, read and doubted."""
        log_weight = self._seen + log_fit(self._asked, self._off, self._square)
        doubts = self._line.chances()
        if doubts is not None:
            log_weight = log_weight + doubts
        weight = np.exp(log_weight - log_weight.max())
        self.weight = weight / weight.sum()

    def _temps(self, hour: LidHour) -> tuple[Floats, Floats, Floats, Floats] | None:
        """Return shed, headspace, bed's surface and lid of each guess, °C; None where not known."""
        guesses = self.guesses
        share, offset, _, _ = self._line.line()
        bed_c, head_c, shed_c = hour.bed_c, hour.head_c, hour.shed_c
        count = len(self.film)
        self.blind = isnan(shed_c)
        if self.blind:
            if isnan(bed_c) or isnan(head_c):
                return None
            over, head_over = self.unseen_over_k(np.full(count, bed_c - head_c), ALL)
            shed = bed_c - over
        elif isnan(bed_c):
            if isnan(head_c) or (isnan(hour.rh_pct) and not self._line.is_known):
                return None
            shed, head_over = np.full(count, shed_c), np.full(count, head_c - shed_c)
            over = np.full(count, nan)
            if self._line.is_known:
                head_over = head_over - offset - share * guesses.bed_off_k
                over = head_over / max(share, SHARE_LEAST)
        else:
            shed, over = np.array([shed_c]), bed_c - guesses.bed_off_k - shed_c
            if isnan(head_c):
                if isnan(hour.rh_pct) and not self._count:
                    return None  # nothing has ever been measured under the lid
                head_over = share * over
            else:
                if not hour.upset:
                    self._line = self._line.learn(bed_c - shed_c, head_c - shed_c)
                head_over = head_c - shed_c - offset - share * guesses.bed_off_k
                shed, over, head_over = self._line.doubting(shed, over, head_over)
        lid = shed + guesses.factor * head_over
        if not isnan(hour.lid_c):
            lid = self._measured_lid(hour, head_over)
        return shed, shed + head_over, shed + over + guesses.surface * (head_over - over), lid

    def _measured_lid(self, hour: LidHour, head_over_k: Floats) -> Floats:
        """Return the lid as its probe has it, each guess with what it takes the probe to be off."""
        guesses = self.guesses
        if isnan(hour.shed_c):
            return hour.lid_c - LID_OFF_SD_K * guesses.lid_z
        likely_k = float((self.weight * head_over_k).sum())
        if not hour.upset and not self._line.is_strained:
            self._lid = self._lid.learn(likely_k, hour.lid_c - hour.shed_c)
        factor, offset, offset_sd = self._lid.factor_and_offset()
        off = offset + factor * (likely_k - head_over_k) + offset_sd * guesses.lid_z
        result: Floats = hour.lid_c - off
        return result
