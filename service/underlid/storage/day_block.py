"""One probe's day in one compressed block: about a tenth of the bytes of plain rows.

Columns are packed one by one: presence as a bit mask where a channel has gaps, values as scaled
integers where that is exact (22.4 as 224) and as doubles where it is not, differences in byte
planes, then zlib. `pack` and `unpack` are inverse to the bit; cadence and gaps do not matter.
`rollups.py` sums a day up; `sqlite_readings.py` keeps the blocks.
"""

from __future__ import annotations

import zlib
from collections.abc import Collection
from typing import Final

import msgspec
import numpy as np

from underlid.storage.protocols import Floats, Integers, RawSeries
from underlid.storage.trouble import damaged

FORMAT: Final = 1
"""First byte of a block; a newer layout gets a new number."""

ZLIB_LEVEL: Final = 6
"""Measured here: level 9 saves 2 % and costs three times the time."""

SCALES: Final = (1.0, 10.0, 100.0, 1000.0, 10000.0)
"""Decimal places that sensors report; anything finer stays a double."""

EXACT_LIMIT: Final = 2.0**53
"""Largest whole number below which a double counts without gaps."""


class _Column(msgspec.Struct, array_like=True):
    name: str
    scale: float
    """0 for doubles."""
    mask: bytes
    """Empty when every row has a value."""
    width: int
    body: bytes


class _Block(msgspec.Struct, array_like=True):
    rows: int
    taken: _Column
    delay: _Column
    source: _Column
    values: list[_Column]


_encode = msgspec.msgpack.Encoder().encode
_decode = msgspec.msgpack.Decoder(_Block).decode


def pack(series: RawSeries) -> bytes:
    """Return *series* (n ≥ 1 rows in time order) as one block."""
    delay_ms = series.received_at_ms - series.taken_at_ms
    block = _Block(
        rows=len(series.taken_at_ms),
        taken=_pack_integers("taken", series.taken_at_ms, twice=True),
        delay=_pack_integers("delay", delay_ms, twice=False),
        source=_pack_integers("source", series.time_source, twice=False),
        values=[
            _pack_values(name, column)
            for name, column in series.values.items()
            if not np.isnan(column).all()
        ],
    )
    return bytes([FORMAT]) + zlib.compress(_encode(block), ZLIB_LEVEL)


def unpack(block: bytes, channels: Collection[str] | None = None) -> RawSeries:
    """Return the rows of a block; raises `StoreError` for bytes that are not one.

    *channels* leaves all others out; rows that then have no value stay.
    """
    try:
        if block[:1] != bytes([FORMAT]):
            message = f"format {block[:1]!r}, this Underlid reads {FORMAT}"
            raise ValueError(message)
        day = _decode(zlib.decompress(block[1:]))
        taken_at_ms = _unpack_integers(day.taken, day.rows, twice=True)
        return RawSeries(
            taken_at_ms=taken_at_ms,
            received_at_ms=taken_at_ms + _unpack_integers(day.delay, day.rows, twice=False),
            values={
                column.name: _unpack_values(column, day.rows)
                for column in day.values
                if channels is None or column.name in channels
            },
            time_source=_unpack_integers(day.source, day.rows, twice=False),
        )
    except (ValueError, zlib.error, msgspec.MsgspecError) as error:
        raise damaged("a packed day", error) from error


def _planes(values: Integers) -> tuple[int, bytes]:
    """Return the fewest bytes a value needs, and the values as planes of equal bytes."""
    largest = int(np.max(np.abs(values))) if len(values) else 0
    width = next(width for width in (1, 2, 4, 8) if largest < 1 << (8 * width - 1) or width == 8)
    narrow = values.astype(f"<i{width}")
    return width, narrow.view(np.uint8).reshape(-1, width).T.tobytes()


def _from_planes(body: bytes, width: int) -> Integers:
    if width == 1:
        return np.frombuffer(body, np.int8).astype(np.int64)
    planes = np.frombuffer(body, np.uint8).reshape(width, -1)
    return np.ascontiguousarray(planes.T).view(f"<i{width}").ravel().astype(np.int64)


def _steps(values: Integers) -> Integers:
    """Return the first value and then the differences, so that a cumulative sum undoes it."""
    steps = values.copy()
    steps[1:] -= values[:-1]
    return steps


def _pack_integers(name: str, values: Integers, *, twice: bool) -> _Column:
    steps = _steps(values)
    if twice:
        steps = _steps(steps)
    width, body = _planes(steps)
    return _Column(name, 1.0, b"", width, body)


def _unpack_integers(column: _Column, rows: int, *, twice: bool) -> Integers:
    steps = _from_planes(column.body, column.width)[:rows]
    if twice:
        steps = np.cumsum(steps)
    return np.cumsum(steps)


def _scale_of(values: Floats) -> float:
    """Return the decimal scale at which all *values* are whole and come back equal, or 0."""
    for scale in SCALES:
        with np.errstate(over="ignore"):
            scaled = np.rint(values * scale)
        if np.all(np.abs(scaled) < EXACT_LIMIT) and np.array_equal(scaled / scale, values):
            return scale
    return 0.0


def _pack_values(name: str, values: Floats) -> _Column:
    present = ~np.isnan(values)
    mask = b"" if bool(present.all()) else np.packbits(present).tobytes()
    kept = values[present]
    negative_zero = bool(np.any((kept == 0) & np.signbit(kept)))
    scale = 0.0 if negative_zero else _scale_of(kept)
    if scale:
        whole: Integers = np.rint(kept * scale).astype(np.int64)
        width, body = _planes(_steps(whole))
        return _Column(name, scale, mask, width, body)
    planes = kept.astype("<f8").view(np.uint8).reshape(-1, 8).T.tobytes()
    return _Column(name, 0.0, mask, 8, planes)


def _unpack_values(column: _Column, rows: int) -> Floats:
    if column.scale:
        kept = np.cumsum(_from_planes(column.body, column.width)) / column.scale
    else:
        planes = np.frombuffer(column.body, np.uint8).reshape(8, -1)
        kept = np.ascontiguousarray(planes.T).view("<f8").ravel()
    if not column.mask:
        return kept
    present = np.unpackbits(np.frombuffer(column.mask, np.uint8), count=rows).astype(bool)
    values = np.full(rows, np.nan)
    values[present] = kept
    return values
