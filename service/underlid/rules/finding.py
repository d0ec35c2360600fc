"""What a rule says of a bin at one moment: a verdict, with its evidence and its certainty.

`catalogue.py` lists the rules; `alerts.life` turns findings over time into alerts.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum


class Condition(StrEnum):
    """What can be wrong with a bin, or with a probe."""

    CONDENSATION = "condensation"
    OVERHEATING = "overheating"
    DRYING_OUT = "drying_out"
    TOO_WET = "too_wet"
    TOO_COLD = "too_cold"
    HUNGRY = "hungry"
    SOUR = "sour"
    PROBE_FAULT = "probe_fault"


class Verdict(StrEnum):
    """UNKNOWN is a verdict: data that is missing or distrusted neither raises nor clears."""

    HOLDS = "holds"
    CLEAR = "clear"
    UNKNOWN = "unknown"


class Priority(StrEnum):
    """How soon the keeper should act, after IEC 62682."""

    LOW = "low"
    MEDIUM = "medium"
    HIGH = "high"
    CRITICAL = "critical"

    @property
    def rank(self) -> int:
        """Return 0 for low up to 3 for critical."""
        return ("low", "medium", "high", "critical").index(self.value)


@dataclass(frozen=True, slots=True)
class Advice:
    """One thing to do: `act` is a word a program can read, `text` a sentence for the keeper.

    At most one amount is set; `values` has what else the sentence says in numbers, units in the keys, and
    `advice.wording` makes the sentence of them. `working` shows inputs, formula and source.
    """

    act: str
    text: str = ""
    amount_g: float | None = None
    amount_ml: float | None = None
    days: float | None = None
    working: str = ""
    values: dict[str, float | str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Finding:
    """One rule's word on one bin (or probe) at one time.

    `subject` is empty for the bin itself, or the probe's id for a probe fault. Evidence keys carry
    units (`lid_margin_k`); wording, API, page and tests read the same evidence.
    """

    condition: Condition
    verdict: Verdict
    priority: Priority = Priority.LOW
    certainty: float = 1.0
    """0..1: how sure, for the sentence's "probably"."""
    evidence: dict[str, float | str] = field(default_factory=dict)
    advice: tuple[Advice, ...] = ()
    cause: str = ""
    grade: str = ""
    reason: str = ""
    """Why UNKNOWN, or why it holds, as a short clause."""
    forecast_for_ms: int | None = None
    feed_at_ms: int | None = None
    """The feed this is put down to."""
    subject: str = ""
