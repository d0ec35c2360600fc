"""Rows of a file that cannot be used: refused at the first one, or counted and skipped.

Every reader of rows takes one `RefusedRows`; whoever gave the file decides which of the two it is.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from underlid.errors import UnderlidError

SENTENCES_MOST: Final = 20
"""Refusals that are kept in words; the others are only counted."""


@dataclass(slots=True)
class RefusedRows:
    """`skip` False: the first bad row ends the reading with `UnderlidError`."""

    skip: bool = False
    count: int = 0
    sentences: list[str] = field(default_factory=list)

    def refuse(self, file: str, line: int, trouble: UnderlidError) -> None:
        """Raise *trouble* with file and line before it, or count it."""
        if not self.skip:
            raise UnderlidError(
                f"{file} line {line}: {trouble.what}",
                value=trouble.value,
                expected=trouble.expected,
                next_step=f"{trouble.next_step} Or skip bad rows with --skip-bad.",
            )
        self.count += 1
        if len(self.sentences) < SENTENCES_MOST:
            self.sentences.append(f"{file} line {line}: {trouble}")
