"""SenML packs (RFC 8428), JSON or CBOR by the first byte: from bytes to resolved records.

Resolution as in RFC 8428 sections 4.1 to 4.6: base values, versions, and labels that must be
understood. Sums (`s`, `bs`) and update times (`ut`) are understood and not kept. What a resolved
record means to Underlid is in `senml_rows.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite
from typing import Any, Final, TypeAlias

from underlid.readings.admission import RECORDS_MOST, too_many_records
from underlid.readings.numbers import finite
from underlid.readings.payloads import TwiceNamed, read_cbor, read_json
from underlid.readings.refusal import Refusals, RefusedError
from underlid.readings.values import RejectReason

VERSION: Final = 10
"""The version RFC 8428 defines, and the default."""

BASE_LABELS: Final = frozenset({"bn", "bt", "bu", "bv", "bs", "bver"})
VALUE_LABELS: Final = ("v", "vb", "vs", "vd")
OTHER_VALUES: Final = frozenset(VALUE_LABELS[1:])
RARE_LABELS: Final = BASE_LABELS | OTHER_VALUES

CBOR_LABELS: Final = {
    -6: "bs",
    -5: "bv",
    -4: "bu",
    -3: "bt",
    -2: "bn",
    -1: "bver",
    0: "n",
    1: "u",
    2: "v",
    3: "vs",
    4: "vb",
    5: "s",
    6: "t",
    7: "ut",
    8: "vd",
}
"""RFC 8428 section 6, table 4."""

CBOR_FROM: Final = b"\x80"
"""The first byte of a CBOR array, map or tag; JSON begins with ASCII."""

BYTE_ORDER_MARK: Final = b"\xef"
"""The first byte of one in UTF-8: bad JSON, and no CBOR either."""

TEXT_MOST_CHARS: Final = 64
"""A longer name or unit is refused: none is registered, and they are kept in a cache."""

Resolved: TypeAlias = tuple[str, str, str | None, float, object]
"""Base name, name, unit, seconds (relative below 2^28) and value: a float with the base value
added, a bool, or the label of text and data, which are not kept, in brackets."""


class PackRefusedError(RefusedError):
    """Nothing of the pack may be used."""


def is_cbor(payload: bytes) -> bool:
    """Tell by the first byte whether *payload* is meant as CBOR."""
    return payload[:1] >= CBOR_FROM and payload[:1] != BYTE_ORDER_MARK


def read_pack(payload: bytes) -> list[Any]:
    """Return the pack's records, labelled as in JSON; raises when it must not be used."""
    if is_cbor(payload):
        document = read_cbor(payload)
        if type(document) is list:
            document = [_text_labels(record) for record in document]
        suspicious = True
    else:
        document = read_json(payload)
        suspicious = b'_"' in payload or b"\\" in payload
    if type(document) is not list:
        raise not_senml("pack", document, "an array of records")
    if len(document) > RECORDS_MOST:
        raise too_many_records(len(document))
    if suspicious:
        _refuse_unknown_demands(document)
    return document


def _text_labels(record: Any) -> Any:
    """Return a CBOR record with its labels as in JSON; what is no map stays as it is.

    Integers that are no label are dropped, as unknown labels are. Text labels are taken as they
    are: RFC 8428 wants integers, but a sender that wrote text left no doubt what it meant.
    """
    if type(record) is not dict:
        return record
    fields: dict[str, Any] = {}
    for label, value in record.items():
        text = CBOR_LABELS.get(label) if type(label) is int else label
        if type(text) is str:
            if text in fields:
                return TwiceNamed(text)
            fields[text] = value
    return fields


def _refuse_unknown_demands(records: list[Any]) -> None:
    """Raise if a label ends in "_": whoever sends it demands to be understood."""
    for record in records:
        if type(record) is dict:
            for label in record:
                if label.endswith("_"):
                    raise PackRefusedError(
                        RejectReason.NOT_UNDERSTOOD,
                        "SenML label",
                        value=label,
                        expected='no label ending in "_", as RFC 8428 defines none',
                        next_step="Send the pack without this extension.",
                    )


def resolve(records: list[Any], refusals: Refusals) -> Iterator[Resolved]:
    """Yield every record that carries a value, resolved; note those that cannot be used.

    Raises `PackRefusedError` as soon as a base value cannot be used, because all records after
    it would be wrong: use nothing of the pack then.
    """
    base = _Base()
    for record in records:
        try:
            resolved = base.resolve(record)
        except PackRefusedError:
            raise
        except RefusedError as refusal:
            refusals.note(refusal)
        else:
            if resolved is not None:
                yield resolved


class _Base:
    """The base values in force while a pack is read from its first record to its last."""

    __slots__ = ("name", "time_s", "unit", "value", "version")

    def __init__(self) -> None:
        self.name = ""
        self.time_s = 0.0
        self.unit: str | None = None
        self.value: float | None = None
        self.version: float | None = None

    def resolve(self, record: Any) -> Resolved | None:
        """Return *record* resolved, None when it has no value to keep."""
        if type(record) is not dict:
            raise _not_a_record(record)
        get = record.get
        value = get("v")
        if not RARE_LABELS.isdisjoint(record):
            self._update(record)
            value = self._rare_value(record)
        elif type(value) is not float or self.value is not None or not isfinite(value):
            value = self._number(value) if "v" in record else self._rare_value(record)
        if value is None:
            return None
        name = get("n", "")
        unit = get("u", self.unit)
        if (
            type(name) is not str
            or len(name) > TEXT_MOST_CHARS
            or not (unit is None or (type(unit) is str and len(unit) <= TEXT_MOST_CHARS))
        ):
            raise _bad_text((name, unit))
        time_s = self.time_s
        if "t" in record:
            offset_s = finite(record["t"])
            if offset_s is None or not isfinite(time_s := time_s + offset_s):
                raise _bad_time("t", record["t"])
        return self.name, name, unit, time_s, value

    def _number(self, value: object) -> float:
        number = finite(value)
        if number is None or not isfinite(number := number + (self.value or 0.0)):
            raise _bad_value(value, "a finite number")
        return number

    def _rare_value(self, record: dict[str, Any]) -> object:
        """Return the value of a record that may be more than a number; None for none to keep."""
        if OTHER_VALUES.isdisjoint(record):
            if "v" in record:
                return self._number(record["v"])
            if "n" not in record or "s" in record:
                return None
            if self.value is None:
                raise _bad_value(record, "one of v, vb, vs, vd and s")
            return self.value
        present = [label for label in VALUE_LABELS if label in record]
        if len(present) > 1:
            raise _bad_value(record, "exactly one of v, vb, vs and vd")
        label = present[0]
        is_boolean = label == "vb" and type(record[label]) is bool
        return record[label] if is_boolean else f"({label})"

    def _update(self, record: dict[str, Any]) -> None:
        """Take over the record's base fields; raises `PackRefusedError` for a bad one."""
        if "bver" in record:
            self._check_version(record["bver"])
        if "bn" in record:
            if type(record["bn"]) is not str:
                raise not_senml("base name (bn)", record["bn"], "a string")
            self.name = record["bn"]
        if "bu" in record:
            unit = record["bu"]
            if type(unit) is not str:
                raise not_senml("base unit (bu)", unit, "a string")
            self.unit = unit
        if "bt" in record:
            time_s = finite(record["bt"])
            if time_s is None:
                raise _bad_time("bt", record["bt"], PackRefusedError)
            self.time_s = time_s
        if "bv" in record:
            self.value = finite(record["bv"])
            if self.value is None:
                raise not_senml("base value (bv)", record["bv"], "a finite number")

    def _check_version(self, version: object) -> None:
        number = finite(version)
        if number is None or number < 1 or number != round(number):
            raise not_senml("version (bver)", version, "a positive whole number")
        if number > VERSION:
            raise PackRefusedError(
                RejectReason.NOT_UNDERSTOOD,
                "SenML version (bver)",
                value=version,
                expected=f"at most {VERSION}",
                next_step="Send packs as RFC 8428 defines them.",
            )
        if self.version not in (None, number):
            raise not_senml("version (bver)", version, f"{self.version} as before in this pack")
        self.version = number


def not_senml(what: str, value: object, expected: str) -> PackRefusedError:
    """Return the refusal of a pack that is not built as RFC 8428 says."""
    return PackRefusedError(
        RejectReason.NOT_SENML,
        what,
        value=value,
        expected=expected,
        next_step="See RFC 8428 sections 4 to 6, or send plain JSON to …/json.",
    )


def _not_a_record(record: object) -> RefusedError:
    if isinstance(record, TwiceNamed):
        return not_senml("record", record, "every label once")
    return RefusedError(
        RejectReason.NOT_SENML,
        "record",
        value=record,
        expected="an object (a map in CBOR)",
        next_step="See RFC 8428 section 5.",
    )


def _bad_text(value: object) -> RefusedError:
    return RefusedError(
        RejectReason.NOT_SENML,
        "name and unit",
        value=value,
        expected=f"strings of at most {TEXT_MOST_CHARS} characters",
        next_step="See RFC 8428 section 4.2.",
    )


def _bad_value(value: object, expected: str) -> RefusedError:
    return RefusedError(
        RejectReason.BAD_VALUE,
        "record or its value (v)",
        value=value,
        expected=expected,
        next_step="Leave out records whose sensor did not answer.",
    )


def _bad_time(
    label: str, value: object, refusal: type[RefusedError] = RefusedError
) -> RefusedError:
    return refusal(
        RejectReason.BAD_TIME,
        f"time ({label})",
        value=value,
        expected="seconds: since 1970, or relative to now below 2^28",
        next_step="Correct the firmware, or leave times out: then the time of receipt counts.",
    )
