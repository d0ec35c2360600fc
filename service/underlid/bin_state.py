"""What programs and pages are given of a bin as last judged: its state, its food, what is foreseen.

`judge` answers with it; `alerts.state` has the greater part.
"""

from __future__ import annotations

from underlid.advice.capacity import feeding
from underlid.advice.days import waits_for
from underlid.alerts.forecast_json import forecast_as_json
from underlid.alerts.state import state_of
from underlid.binmodel.lids.film import FILM_KNOWN_H, lid_now
from underlid.binmodel.settling import unsettled
from underlid.binmodel.window import BinWindow
from underlid.journal.units import Units
from underlid.memory import BinMemory


def bin_state(window: BinWindow, memory: BinMemory, units: Units) -> dict[str, object]:
    """Return the verdicts and open alerts of a bin, ready for JSON."""
    film = memory.film
    state = state_of(
        window,
        lid_now(window),
        float(film.last(1)[0]) if film.known_lately(FILM_KNOWN_H) else None,
        memory.outlook.drying,
        memory.findings,
        tuple(memory.alerts.values()),
    )
    return state | {
        "feeding": feeding(
            memory.outlook.food,
            window.now_ms,
            careful=unsettled(window) is not None,
            waits=waits_for(memory.alerts.values()),
            units=units,
        ),
        "forecast": forecast_as_json(memory.outlook.forecast),
    }
