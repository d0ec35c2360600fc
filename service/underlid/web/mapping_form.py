"""Between a mapping and the form in which a keeper writes it: fields in, fields out, and the try-out.

The words for places are JSON Pointers; `all` stands for the whole payload where an empty field means
that there is none. What a mapping may say is in `readings/mapping.py`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from underlid.errors import UnderlidError
from underlid.readings.mapping import (
    VALUES_MOST,
    WHOLE,
    MappingError,
    PayloadMapping,
    mapping_from,
)
from underlid.readings.try_out import numbers_in
from underlid.web.forms import FieldError

WHOLE_WORD: Final = "all"
ROWS_FREE: Final = 2
ROWS_LEAST: Final = 4

PROBE_BY: Final = {
    "probe_level": "a level of the topic, the first is 1",
    "probe_at": "a place in the message",
    "probe": "always the same one, by its id",
}

TIME_AS: Final = {
    "s": "seconds since 1970",
    "ms": "milliseconds since 1970",
    "rfc3339": "a date and time, as RFC 3339",
}

TIMES: Final = {"s": (1.6e9, 4e9), "ms": (1.6e12, 4e12)}
"""From 2020 to 2096: what a clock says in these years, and no sensor does (our judgement)."""

_ROW_FIELD: Final = re.compile(r"values\.(\d+)\.(at|channel|unit|times)")
_PROBE_FIELD: Final = re.compile(r"probe|probe_at|probe_level")


@dataclass(frozen=True, slots=True)
class ValueRow:
    """One line of the form: where a number stands and what becomes of it."""

    number: int
    found: float | None
    """What stands there in the example."""


class MappingFieldError(FieldError):
    """What is wrong with a mapping, with the form's name of the field."""

    def __init__(self, field: str, error: UnderlidError) -> None:
        super().__init__(
            field,
            error.what,
            value=error.value,
            expected=str(error).partition(", expected ")[2].removesuffix(f". {error.next_step}"),
            next_step=error.next_step,
        )


def mapping_of(form: Mapping[str, str]) -> tuple[str, PayloadMapping]:
    """Return name and mapping that a form describes, or raise `FieldError`."""
    name = form.get("name", "").strip()
    rows = [
        number for number in range(1, VALUES_MOST + 1) if form.get(f"channel_{number}", "").strip()
    ]
    fields: dict[str, Any] = {
        "filter": form.get("filter", "").strip(),
        "shed": form.get("shed", ""),
        "time_as": form.get("time_as") or "s",
        "values": [_value(form, number) for number in rows],
        "example_topic": form.get("example_topic", "").strip(),
        "example": form.get("example", "").replace("\r\n", "\n").strip(),
    }
    for pointer in ("each_at", "time_at", "seq_at"):
        fields[pointer] = _pointer(form.get(pointer, ""))
    by, which = form.get("probe_by", ""), form.get("probe_which", "").strip()
    if by in PROBE_BY and which:
        fields[by] = _pointer(which) if by == "probe_at" else which
    if not rows:
        raise FieldError(
            "channel_1",
            "channel",
            value="",
            expected="at least one number with its channel",
            next_step="Name the channel of each number to be kept.",
        )
    try:
        return name, mapping_from(name, fields)
    except MappingError as error:
        raise MappingFieldError(_form_field(error.field, rows), error) from None


def _value(form: Mapping[str, str], number: int) -> dict[str, Any]:
    at, factor = _pointer(form.get(f"at_{number}", "")), form.get(f"times_{number}", "").strip()
    value: dict[str, Any] = {
        "at": at or WHOLE,
        "channel": form[f"channel_{number}"].strip(),
        "unit": form.get(f"unit_{number}", "").strip(),
    }
    return value | ({"times": factor.replace(",", ".")} if factor else {})


def _pointer(given: str) -> str | None:
    """Return a field as a pointer, None for none."""
    given = given.strip()
    return WHOLE if given == WHOLE_WORD else given or None


def _form_field(field: str, rows: list[int]) -> str:
    """Return what the form calls a field of the mapping."""
    found = _ROW_FIELD.fullmatch(field)
    if found is not None:
        return f"{found[2]}_{rows[int(found[1])]}"
    return "probe_which" if _PROBE_FIELD.fullmatch(field) else field or "probe_which"


def fields_of(name: str, mapping: PayloadMapping) -> dict[str, str]:
    """Return a mapping as the form's fields."""
    fields = {
        "name": name,
        "was": name,
        "filter": mapping.filter,
        "shed": mapping.shed,
        "time_as": mapping.time_as,
        "example_topic": mapping.example_topic,
        "example": mapping.example,
    }
    for pointer in ("each_at", "time_at", "seq_at"):
        fields[pointer] = _word(getattr(mapping, pointer))
    for by in PROBE_BY:
        if (which := getattr(mapping, by)) is not None:
            fields |= {"probe_by": by, "probe_which": _word(which)}
    for number, value in enumerate(mapping.values, 1):
        factor = "" if value.times == 1.0 else f"{value.times:g}"
        fields |= {f"at_{number}": _word(value.at), f"channel_{number}": value.channel}
        fields |= {f"unit_{number}": value.unit, f"times_{number}": factor}
    return fields


def _word(value: object) -> str:
    return "" if value is None else WHOLE_WORD if value == WHOLE else str(value)


def fields_from(topic: str, payload: bytes) -> dict[str, str]:
    """Return the fields of a new mapping made for one message: its topic, its numbers' places."""
    example = payload.decode("utf-8", "replace").replace("\0", "")
    fields = {"filter": topic, "example_topic": topic, "example": example}
    levels = topic.split("/")
    if len(levels) > 1:
        fields |= {"probe_by": "probe_level", "probe_which": str(len(levels) - 1)}
    places = numbers_in(payload)
    clock = next((one for one in places if _time_of(one[1])), None)
    if clock is not None:
        fields |= {"time_at": clock[0], "time_as": _time_of(clock[1])}
    rows = [at for at, _ in places if clock is None or at != clock[0]]
    for number, at in enumerate(rows[: VALUES_MOST - ROWS_FREE], 1):
        fields[f"at_{number}"] = _word(at)
    return fields


def _time_of(number: float) -> str:
    """Return how a number that can only be a present time is written, "" for any other."""
    return next((how for how, (low, high) in TIMES.items() if low <= number < high), "")


def value_rows(fields: Mapping[str, str]) -> list[ValueRow]:
    """Return the lines that the form has, some of them free."""
    found = {_word(at): value for at, value in numbers_in(fields.get("example", "").encode())}
    used = [
        number
        for number in range(1, VALUES_MOST + 1)
        if fields.get(f"at_{number}") or fields.get(f"channel_{number}")
    ]
    count = min(VALUES_MOST, max(ROWS_LEAST, max(used, default=0) + ROWS_FREE))
    return [
        ValueRow(number, found.get(fields.get(f"at_{number}", "").strip()))
        for number in range(1, count + 1)
    ]
