"""Resolved SenML records -> rows: whose probe, which channel, which instant.

Names: the base name may be empty (the topic names the probe) or end in the probe's id; without
a base name like that, name and base name together must read `…PROBE:CHANNEL` or `…PROBE/CHANNEL`.
"""

from __future__ import annotations

from math import isfinite
from typing import Final

from underlid.readings.admission import Row, empty
from underlid.readings.numbers import channel_value, message_number, milliseconds
from underlid.readings.refusal import Refusals, RefusedError
from underlid.readings.senml import Resolved, read_pack, resolve
from underlid.readings.senml_units import SOIL_INDEX_SPAN, target, why_not
from underlid.readings.values import RejectReason

ABSOLUTE_FROM_S: Final = 2**28
"""Smaller times are relative to now (RFC 8428 section 4.5.3)."""

SEPARATORS: Final = ":/._-"
"""What may stand between a probe's id and the name of a measurement."""

SEQ_NAME: Final = "seq"


def rows_from_senml(
    payload: bytes, probe: str, received_at_ms: int, refusals: Refusals
) -> list[Row]:
    """Return a row per instant of the pack; refused records are noted in *refusals*.

    Raises `RefusedError` when nothing of the pack may be used.
    """
    rows = _Rows(probe, received_at_ms)
    records = read_pack(payload)
    for resolved in resolve(records, refusals):
        try:
            rows.take(resolved)
        except RefusedError as refusal:
            refusals.note(refusal)
    finished = rows.finish()
    if not finished and not refusals:
        raise empty(records)
    return finished


class _Rows:
    """Rows under way: one per instant, a further one where an instant would be overwritten."""

    __slots__ = (
        "_base_name",
        "_base_names_probe",
        "_by_time",
        "_probe",
        "_received_at_ms",
        "_row",
        "_rows",
        "_seqs",
        "_time_s",
    )

    def __init__(self, probe: str, received_at_ms: int) -> None:
        self._probe = probe
        self._received_at_ms = received_at_ms
        self._base_name: str | None = None
        self._base_names_probe = True
        self._time_s: float | None = None
        self._row = Row({})
        self._rows: list[Row] = []
        self._by_time: dict[int, Row] = {}
        self._seqs: list[tuple[Row, int]] = []

    def take(self, record: Resolved) -> None:
        """Put *record*'s value into its row; raises `RefusedError`."""
        base_name, name, unit, time_s, value = record
        if base_name != self._base_name:
            self._base_name = base_name
            self._base_names_probe = not base_name or _ends_in(base_name, self._probe)
        if not self._base_names_probe or (not base_name and (":" in name or "/" in name)):
            name = self._name_after_probe(base_name + name)
        if time_s != self._time_s:
            self._move_to(time_s)
        if name == SEQ_NAME:
            self._seqs.append((self._row, message_number(value)))
            return
        goal = target(name, unit)
        if goal is None:
            raise why_not(name, unit)
        channel = goal.channel
        if type(value) is not float:
            value = channel_value(channel, value)
        elif not goal.exact and not isfinite(value := goal.scale * value + goal.offset):
            channel_value(channel, value)
        if goal.soil and SOIL_INDEX_SPAN[0] <= value <= SOIL_INDEX_SPAN[1]:
            channel = "soil_index"
        values = self._row.values
        if values.get(channel, value) != value:
            values = self._same_instant_again().values
        values[channel] = value

    def _name_after_probe(self, full_name: str) -> str:
        """Return what stands after the probe's id in *full_name*."""
        at = max(full_name.rfind(":"), full_name.rfind("/"))
        if at < 0 or not _ends_in(full_name[: at + 1], self._probe):
            raise RefusedError(
                RejectReason.WRONG_PROBE,
                "SenML name",
                value=full_name,
                expected=f"nothing before the measurement, or something ending in {self._probe}",
                next_step="Send it on the topic of the probe it belongs to.",
            )
        return full_name[at + 1 :]

    def _move_to(self, time_s: float) -> None:
        """Make the row of *time_s* the current one."""
        self._time_s = time_s
        by_receipt = time_s < ABSOLUTE_FROM_S
        at_ms = milliseconds(time_s) + (self._received_at_ms if by_receipt else 0)
        row = self._by_time.get(at_ms)
        if row is None:
            row = self._by_time[at_ms] = Row({}, at_ms, by_receipt)
            self._rows.append(row)
        self._row = row

    def _same_instant_again(self) -> Row:
        """Begin a further row at the current instant: a channel has said something else."""
        row = Row({}, self._row.taken_at_ms, self._row.by_receipt)
        self._rows.append(row)
        if row.taken_at_ms is not None:
            self._by_time[row.taken_at_ms] = row
        self._row = row
        return row

    def finish(self) -> list[Row]:
        """Return the rows that hold values, each with its message number."""
        rows = [row for row in self._rows if row.values]
        if len(self._seqs) == 1:
            for row in rows:
                row.seq = self._seqs[0][1]
        else:
            for row, seq in self._seqs:
                row.seq = seq
        return rows


def _ends_in(base_name: str, probe: str) -> bool:
    """Tell whether *base_name* ends in the probe's id, one separator after it allowed."""
    return base_name.endswith(probe) or (
        base_name[-1] in SEPARATORS and base_name[:-1].endswith(probe)
    )
