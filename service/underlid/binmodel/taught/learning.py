"""Fits a bin's lessons to its window, once a day; a pure function of the window and its journal.

One file a lesson is in `taught/`; what is used of them is in `thermal.py`, `lids/` and `water/drying.py`.
"""

from __future__ import annotations

from underlid.binmodel.bins import Bin
from underlid.binmodel.lids.cloud import Cloud
from underlid.binmodel.taught.appetite import appetite, self_heat_by_hour
from underlid.binmodel.taught.drying_rate import drying_rate
from underlid.binmodel.taught.headspace import head_share
from underlid.binmodel.taught.lessons import Lessons
from underlid.binmodel.taught.lid_factor import lid_factor
from underlid.binmodel.taught.moisture import moisture
from underlid.binmodel.taught.pace import paces
from underlid.binmodel.taught.past import Past
from underlid.binmodel.taught.time_constant import time_constant
from underlid.binmodel.window import BinWindow, nothing_known


def prior_lessons(bin_: Bin, at_ms: int) -> Lessons:
    """Return what is assumed of a bin of this kind before it has taught anything."""
    return _lessons(Past(nothing_known(bin_, at_ms)))


def learn(window: BinWindow, lid: Cloud | None = None) -> Lessons:
    """Return the lessons of the twelve days that end at `window.now_ms`.

    *lid* is the lid after these days, where it has been run through them already.
    """
    return _lessons(Past(window), lid)


def _lessons(past: Past, lid: Cloud | None = None) -> Lessons:
    bin_ = past.window.bin
    name = bin_.name or bin_.id.capitalize()
    factor, air = lid_factor(past, name, lid)
    tau = time_constant(past, name)
    dries = drying_rate(past, name)
    sd, shift = moisture(past, name)
    heat_k = self_heat_by_hour(past, tau.value)
    eaten = appetite(past, name)
    pace, times = paces(past, name, heat_k, tau.value, eaten.value)
    return Lessons(
        past.window.now_ms,
        time_constant_h=tau,
        head_share=head_share(past, name),
        lid_factor=factor,
        lid_air_m_h=air,
        drying_pct_d_kpa=dries.per_kpa,
        drying_pct_d=dries.rate,
        deficit_kpa=dries.deficit,
        eaten_g_d=eaten,
        herd_pace=pace,
        herd_times=times,
        moisture_sd_pct=sd,
        moisture_shift_pct=shift,
    )
