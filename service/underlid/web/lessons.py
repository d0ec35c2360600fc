"""What a bin has taught, as a page says it: in the units of who reads it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from underlid.journal.units import SI, Units, mass_text


def lessons_in(state: Mapping[str, Any], units: Units) -> dict[str, dict[str, Any]]:
    """Return the lessons of a bin's state by name; of their sentences only the appetite's has a unit.

    >>> from underlid.journal.units import US
    >>> ate = {"value": 498.4, "sd": 80.1, "text": "It eats about 498 g a day (± 80)."}
    >>> lessons_in({"lessons": {"eaten_g_d": ate}}, US)["eaten_g_d"]["text"]
    'It eats about 1.1 lb a day (± 2.8 oz).'
    """
    lessons: dict[str, dict[str, Any]] = dict(state.get("lessons") or {})
    eaten = lessons.get("eaten_g_d")
    if eaten is not None and units.mass is not SI.mass:
        text = str(eaten["text"])
        text = text.replace(
            f"{eaten['value']:.0f} g a day", f"{mass_text(eaten['value'], units)} a day"
        )
        text = text.replace(f"± {eaten['sd']:.0f}", f"± {mass_text(eaten['sd'], units)}")
        lessons["eaten_g_d"] = eaten | {"text": text}
    return lessons
