"""Answers to InfluxQL: JSON, in pieces, each checked for an error inside the 200."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import msgspec
import numpy as np

from underlid.storage.influx.trouble import OperatorError
from underlid.storage.protocols import Floats

Cell = int | float | bool | str | None


class _Series(msgspec.Struct):
    columns: list[str]
    values: list[list[Cell]] = []
    tags: dict[str, str] = {}


class _Result(msgspec.Struct):
    statement_id: int = 0
    series: list[_Series] = []
    error: str = ""


class _Answer(msgspec.Struct):
    results: list[_Result] = []
    error: str = ""


_decode = msgspec.json.Decoder(_Answer).decode


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of one statement and one set of tags; a long one comes as several tables."""

    statement: int
    tags: dict[str, str]
    columns: list[str]
    rows: list[list[Cell]]

    def column(self, name: str) -> list[Cell]:
        """Return one column."""
        place = self.columns.index(name)
        return [row[place] for row in self.rows]

    def numbers(self) -> Floats:
        """Return all columns as numbers, n × columns, NaN where there is none.

        A text that another program put where we put numbers counts as none.
        """
        try:
            table = np.array(self.rows, dtype=np.float64)
        except ValueError:
            rows = [[None if isinstance(cell, str) else cell for cell in row] for row in self.rows]
            table = np.array(rows, dtype=np.float64)
        return table.reshape(-1, len(self.columns))


def tables_of(pieces: Iterable[bytes]) -> Iterator[Table]:
    """Yield the tables of an answer that comes in pieces, a JSON object a line.

    Raises `OperatorError` for an error inside the answer and for what is no answer of InfluxDB's.
    """
    for line in _lines(pieces):
        try:
            answer = _decode(line)
        except (msgspec.MsgspecError, UnicodeDecodeError) as error:
            raise OperatorError(f"an answer that is not InfluxDB's: {error}") from error
        if answer.error:
            raise OperatorError(answer.error)
        for result in answer.results:
            if result.error:
                raise OperatorError(result.error)
            for one in result.series:
                yield Table(result.statement_id, one.tags, one.columns, one.values)


def _lines(pieces: Iterable[bytes]) -> Iterator[bytes]:
    rest: list[bytes] = []
    for piece in pieces:
        *whole, last = piece.split(b"\n")
        for line in whole:
            rest.append(line)
            if joined := b"".join(rest):
                yield joined
            rest = []
        rest.append(last)
    if joined := b"".join(rest):
        yield joined
