"""Every rule, in the order in which findings are shown. A new rule is one file and one line here."""

from __future__ import annotations

from collections.abc import Mapping

from underlid.binmodel.known import Known
from underlid.binmodel.window import BinWindow
from underlid.rules import (
    condensation,
    drying_out,
    hungry,
    overheating,
    probe_fault,
    sour,
    too_cold,
    too_wet,
)
from underlid.rules.finding import Condition, Finding, Priority


def findings(
    window: BinWindow,
    known: Known,
    open_priorities: Mapping[Condition, Priority],
) -> list[Finding]:
    """Return what each rule says of the bin and of its probes."""
    of = open_priorities.get
    return [
        condensation.evaluate(window, known, of(Condition.CONDENSATION)),
        overheating.evaluate(window, known, of(Condition.OVERHEATING)),
        drying_out.evaluate(window, known.drying, of(Condition.DRYING_OUT)),
        too_wet.evaluate(window, known.drying, of(Condition.TOO_WET)),
        too_cold.evaluate(window, known, of(Condition.TOO_COLD)),
        sour.evaluate(window, known, of(Condition.SOUR)),
        hungry.evaluate(window, known.food, of(Condition.HUNGRY)),
        *probe_fault.evaluate(window),
    ]
