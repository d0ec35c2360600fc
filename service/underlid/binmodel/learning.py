"""Fits a bin's lessons to its window, once a day."""

from __future__ import annotations

from underlid.binmodel.bins import Bin
from underlid.binmodel.lessons import Lesson, Lessons
from underlid.binmodel.lid import LID_FACTOR
from underlid.binmodel.thermal import time_constant_h
from underlid.binmodel.window import BinWindow


def prior_lessons(bin_: Bin, at_ms: int) -> Lessons:
    """Return what is assumed of a bin of this kind."""
    factor, factor_sd = LID_FACTOR[bin_.kind]
    tau = time_constant_h(bin_)
    return Lessons(
        at_ms,
        time_constant_h=Lesson(tau, 0.35 * tau, "By its kind and size."),
        head_share=Lesson(0.5, 0.2, "As in most bins."),
        lid_factor=Lesson(factor, factor_sd, "By the kind of its lid."),
        drying_pct_d_kpa=Lesson(0.2, 0.2, "As in most bins."),
        eaten_g_d=Lesson(250.0 * bin_.herd_kg, 120.0 * bin_.herd_kg, "By the mass of its herd."),
        moisture_sd_pct=Lesson(8.0, 0.0, "No weighed sample yet."),
    )


def learn(window: BinWindow) -> Lessons:
    """Return the lessons of the window that ends at `window.now_ms`."""
    return prior_lessons(window.bin, window.now_ms)
