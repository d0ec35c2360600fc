"""A verdict in a word, and why it is so: "yes", "foreseen", "no sign of it", of a probe "works".

What it rests on is in `evidence.py`; other labels are in `wording.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from underlid.timeline import parse_time_ms
from underlid.web.wording import channel_label, clock_text

VERDICTS: Final = {"holds": "yes", "clear": "no sign of it", "unknown": "cannot tell"}
PROBE_VERDICTS: Final = {"holds": "look at it", "clear": "works"}
PROBE_CAUSES: Final = {
    "silent": "it is silent",
    "wrong_clock": "its clock is wrong",
    "power_on_value": "it sends the value of a sensor that has just been switched on",
    "no_sensor": "its sensor does not answer",
    "adc_rail": "it is at its end: a wire is open or shorted",
    "below_range": "it is below what a sensor can say",
    "above_range": "it is above what a sensor can say",
    "not_finite": "it sends no number",
    "nonsense": "most of its values are impossible",
    "spike": "single values are far off",
    "stuck": "it stands still while others move",
    "noise": "it scatters",
    "drift": "it drifts",
    "moved": "it made a step",
    "pulled_out": "it lies in the air",
    "dropout": "it loses most of its readings",
}
"""Why a channel is not believed, in the words of a page; the alert has the whole sentence."""


def verdict_word(one: Mapping[str, Any]) -> str:
    """Return a verdict in a word: what is only foreseen is not there yet, and a probe works or not.

    >>> verdict_word({"verdict": "holds"}), verdict_word({"verdict": "holds", "forecast_for": "2026"})
    ('yes', 'foreseen')
    >>> verdict_word({"verdict": "clear", "condition": "probe_fault"}), verdict_word({})
    ('works', 'cannot tell')
    """
    verdict = str(one.get("verdict", "unknown"))
    if one.get("condition") == "probe_fault" and verdict in PROBE_VERDICTS:
        return PROBE_VERDICTS[verdict]
    return "foreseen" if verdict == "holds" and one.get("forecast_for") else VERDICTS[verdict]


def reason_text(one: Mapping[str, Any]) -> str:
    """Return why a verdict is what it is; of a probe also which sensor.

    >>> reason_text({"cause": "drift", "reason": "drift", "condition": "probe_fault",
    ...              "evidence": {"channel": "bed_temp_c"}})
    'Bed: it drifts'
    """
    reason = str(one.get("reason") or "")
    if one.get("condition") != "probe_fault" or one.get("cause") not in PROBE_CAUSES:
        return reason
    channel = (one.get("evidence") or {}).get("channel")
    said = PROBE_CAUSES[str(one["cause"])]
    return f"{channel_label(str(channel))}: {said}" if channel else said


def distrust_text(one: Mapping[str, Any], timezone: str) -> str:
    """Return which sensor is not believed, why and since when.

    >>> distrust_text({"channel": "bed_temp_c", "cause": "noise", "until": None,
    ...                "since": "2026-06-21T00:00:00Z"}, "UTC")
    'Bed: it scatters, since Sun 21 Jun, 00:00'
    """
    cause = str(one.get("cause"))
    said = PROBE_CAUSES.get(cause, cause)
    if channel := str(one.get("channel") or ""):
        said = f"{channel_label(channel)}: {said}"
    times = (
        f"{word} {clock_text(parse_time_ms(str(one[word])), timezone)}"
        for word in ("since", "until")
        if one.get(word)
    )
    return ", ".join((said, *times))


FILTERS: Final[dict[str, Callable[..., str]]] = {
    "verdict_word": verdict_word,
    "reason_text": reason_text,
    "distrust_text": distrust_text,
}
