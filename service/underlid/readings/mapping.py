"""How messages of other firmware are read: one `PayloadMapping` for a topic filter, checked whole.

A mapping says which topics it is for, where in topic or payload the probe's id, the time and the
message's number stand, and which place of the payload goes into which channel. Places are JSON
Pointers (RFC 6901), read by the library jsonpointer. The reading itself is done in `mapped.py`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import partial
from typing import Annotated, Any, Final, Literal, Self

from jsonpointer import JsonPointer, JsonPointerException
from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)

from underlid.errors import UnderlidError, Words
from underlid.readings.channels import CHANNELS, is_channel_name, is_id
from underlid.readings.senml_units import CELSIUS, MASS, UNITS, UnitTable
from underlid.readings.topic_filter import is_filter, matches, overlap

MAPPINGS_MOST: Final = 100
VALUES_MOST: Final = 32
FILTER_MOST_CHARS: Final = 200
POINTER_MOST_CHARS: Final = 200
LEVELS_MOST: Final = 32
EXAMPLE_MOST_BYTES: Final = 4096
"""Bounds of what a keeper may set up: far above any firmware, small enough to be read anew with every
look into the records (our judgement). An example is as long as a refused message is kept."""

OWN_TOPICS: Final = "underlid/v1/#"

WHOLE: Final = ""
"""The pointer to all of a payload (RFC 6901 section 5): a bare number is such a one."""

ADDED: Final[tuple[tuple[UnitTable, UnitTable], ...]] = (
    (CELSIUS, {"degF": (5 / 9, -160 / 9)}),
    (MASS, {"lb": (0.45359237, 0.0)}),
)
"""What SenML has no unit for and other firmware sends: degrees Fahrenheit, and pounds (exactly
0.45359237 kg). By SenML table, unit -> (scale, offset)."""

_OF_A_VALUE: Final = re.compile(r"values\.(\d+)\.(\w+)")

PROBE_FIELDS: Final = ("probe_level", "probe_at", "probe")
POINTERS: Final = ("probe_at", "each_at", "time_at", "seq_at")
"""Fields in which an empty text says something: the whole payload."""


def units_of(channel: str) -> UnitTable:
    """Return the units that a value of *channel* may come in; none for a channel without judgement.

    >>> sorted(units_of("bed_temp_c")), units_of("co2_ppm")
    (['Cel', 'K', 'degF'], {})
    """
    own = UNITS.get(channel, {})
    return own | next((more for table, more in ADDED if table is own), {})


def _id(value: str) -> str:
    if not is_id(value):
        raise ValueError("a-z, 0-9, - and _, at most 64, a letter or digit first")
    return value


def _filter(value: str) -> str:
    if not is_filter(value) or value.startswith("$"):
        raise ValueError("a topic in which + stands for one level and # for all at the end")
    if overlap(value, OWN_TOPICS):
        raise ValueError(f"a filter that matches no topic of {OWN_TOPICS}: those are read anyway")
    return value


def _pointer(value: str) -> str:
    try:
        JsonPointer(value)
    except JsonPointerException:
        raise ValueError("a JSON Pointer like /soil/temp, or nothing for the whole") from None
    return value


def _channel(value: str) -> str:
    if not is_channel_name(value):
        raise ValueError("a channel like bed_temp_c: a-z, 0-9 and _, at most 32, a letter first")
    return value


def _example(value: str) -> str:
    if len(value.encode()) > EXAMPLE_MOST_BYTES:
        raise ValueError(f"at most {EXAMPLE_MOST_BYTES} bytes")
    return value


def _factor(value: float) -> float:
    if not 1e-9 <= abs(value) <= 1e9:
        raise ValueError("a factor other than 0, at most 1e9")
    return value


Id = Annotated[str, AfterValidator(_id)]
Pointer = Annotated[str, Field(max_length=POINTER_MOST_CHARS), AfterValidator(_pointer)]


class MappedValue(BaseModel):
    """One number of a payload, and the channel it goes into."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    at: Pointer = Field(WHOLE, description="JSON Pointer; empty for a payload that is the number.")
    channel: Annotated[str, AfterValidator(_channel)]
    unit: str = Field(
        "", max_length=16, description="Unit of the payload; empty for the channel's."
    )
    times: Annotated[float, AfterValidator(_factor)] = Field(
        1.0, description="What the number is multiplied by, before its unit."
    )

    @field_validator("unit")
    @classmethod
    def _measures_the_channel(cls, value: str, given: ValidationInfo) -> str:
        channel = given.data.get("channel", "")
        known = units_of(channel)
        if value and channel in CHANNELS and value not in known:
            raise ValueError(f"one of the units of {channel}: {', '.join(known)}")
        return value


class PayloadMapping(BaseModel):
    """How the messages on the topics of one filter are read."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    filter: Annotated[str, Field(max_length=FILTER_MOST_CHARS), AfterValidator(_filter)] = Field(
        description="MQTT topic filter; + and # are wildcards."
    )
    shed: Id = Field(description="The shed its probes belong to.")
    probe_level: Annotated[int, Field(ge=1, le=LEVELS_MOST)] | None = Field(
        None, description="The level of the topic that names the probe, the first is 1."
    )
    probe_at: Pointer | None = Field(None, description="JSON Pointer to what names the probe.")
    probe: Id | None = Field(None, description="The probe, where all messages are of one.")
    each_at: Pointer | None = Field(
        None, description="JSON Pointer to a list with a reading in each item; others start there."
    )
    time_at: Pointer | None = Field(None, description="JSON Pointer to the time of measurement.")
    time_as: Literal["s", "ms", "rfc3339"] = Field("s", description="How the time is written.")
    seq_at: Pointer | None = Field(None, description="JSON Pointer to the message's number.")
    values: tuple[MappedValue, ...] = Field(min_length=1, max_length=VALUES_MOST)
    example_topic: str = Field("", max_length=4 * FILTER_MOST_CHARS)
    example: Annotated[str, AfterValidator(_example)] = Field(
        "", description="A payload to try the mapping on."
    )

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if sum(getattr(self, name) is not None for name in PROBE_FIELDS) != 1:
            raise ValueError("one way to find the probe: probe_level, probe_at or probe")
        levels = self.filter.split("/")
        if self.probe_level is not None and levels[-1] != "#" and self.probe_level > len(levels):
            raise ValueError(f"a level that the filter has: 1 to {len(levels)}")
        channels = [one.channel for one in self.values]
        if len(set(channels)) < len(channels):
            raise ValueError("every channel once")
        if self.example_topic and not matches(self.filter, self.example_topic):
            raise ValueError("an example whose topic the filter matches")
        return self


class MappingError(UnderlidError):
    """What is wrong with a mapping, and in which field: `values.1.unit` is the second value's unit."""

    def __init__(self, field: str, what: str, *, value: object, expected: str) -> None:
        self.field = field
        super().__init__(what, value=value, expected=expected, next_step="Correct the mapping.")


def mapping_from(name: str, fields: Mapping[str, Any]) -> PayloadMapping:
    """Return the mapping that *fields* describe; raises `MappingError` for the first that is wrong."""
    check_name(name)
    try:
        return PayloadMapping.model_validate(fields)
    except ValidationError as error:
        raise _trouble(name, error) from None


def check_name(name: str) -> None:
    """Refuse a name that a mapping cannot have."""
    if not is_id(name):
        expected = "a-z, 0-9, - and _, at most 64, a letter or digit first"
        raise MappingError("name", "name of the mapping", value=name, expected=expected)


def _trouble(name: str, error: ValidationError) -> MappingError:
    first = error.errors()[0]
    field = ".".join(str(part) for part in first["loc"])
    said = _OF_A_VALUE.sub(lambda found: f"{found[2]} of value {int(found[1]) + 1}", field)
    what = f"{said} of mapping {name}" if field else f"mapping {name}"
    wrong = partial(MappingError, field, what)
    if first["type"] == "missing":
        return wrong(value="", expected="a value")
    expected = str(first["msg"]).removeprefix("Value error, ").removeprefix("Input should be ")
    given = first["input"]
    if isinstance(given, dict | BaseModel):
        return wrong(value=Words("not whole"), expected=expected)
    return wrong(value=given, expected=expected)


def check_together(mappings: Mapping[str, PayloadMapping]) -> None:
    """Refuse mappings that a broker could send one message twice for.

    Several may have the same filter: it is subscribed once, and each takes what it finds.
    """
    if len(mappings) > MAPPINGS_MOST:
        many, most = len(mappings), f"at most {MAPPINGS_MOST}"
        raise MappingError("name", "number of mappings", value=many, expected=most)
    known: dict[str, str] = {}
    for name, one in mappings.items():
        for other, before in known.items():
            if other != one.filter and overlap(other, one.filter):
                raise MappingError(
                    "filter",
                    f"filter of mapping {name}",
                    value=one.filter,
                    expected=f"the filter of {before}, {other}, or one without a topic in common",
                )
        known.setdefault(one.filter, name)
