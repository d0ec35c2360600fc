"""What is carried from one judgement of a bin to the next.

`judge` holds one for each bin, `pipeline.evaluate` brings it up to its moment.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TypeVar

from underlid.alerts.alert import Alert, Spell
from underlid.alerts.together import Told
from underlid.binmodel.lids.film import LidFilm
from underlid.binmodel.outlook.hourly import Outlook
from underlid.binmodel.probes.hot import BUCKET_MS
from underlid.binmodel.probes.weighed import Read
from underlid.binmodel.taught.lessons import Lessons
from underlid.binmodel.trust import Trust
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import Entry
from underlid.rules.finding import Condition, Finding

Answer = TypeVar("Answer")


@dataclass(slots=True)
class BinMemory:
    """What is carried from one judgement of a bin to the next; the rest is in the window.

    All of it can be had again: film and trust from the window, the alerts and spells from the records.
    """

    film: LidFilm
    trust: Trust
    alerts: dict[tuple[Condition, str], Alert] = field(default_factory=dict)
    spells: dict[Condition, Spell] = field(default_factory=dict)
    told_at_ms: list[int] = field(default_factory=list)
    entries: tuple[Entry, ...] = ()
    outlook: Outlook = field(default_factory=Outlook)
    lessons: Lessons | None = None
    reads: dict[int, tuple[Read, ...]] = field(default_factory=dict)
    """What soil probes said when samples were weighed, also before the window."""
    moved_ms: dict[str, int] = field(default_factory=dict)
    shed_told: Told = field(default_factory=Told)
    """What people know of the silence of the whole shed; its bins share it."""
    day: int = -1
    """The bin's day since 1970 at whose beginning it was learnt from."""
    judged_at_ms: int = -1
    findings: tuple[Finding, ...] = ()

    def look_again(self, bucket: int) -> None:
        """Note that the past has changed from *bucket* on: what rests on it is found out anew."""
        self.film.rewind(bucket)
        self.outlook.forget(bucket * BUCKET_MS)
        if self.lessons is None or bucket * BUCKET_MS < self.lessons.at_ms:
            self.day = -1

    @classmethod
    def at(cls, now_ms: int, bin_id: str) -> BinMemory:
        """Return the memory of a bin of which nothing is known yet."""
        return cls(LidFilm(now_ms, bin_id), Trust(now_ms, bin_id))

    def begun_anew(self, now_ms: int, bin_id: str) -> BinMemory:
        """Return a memory with the alerts and spells as they are, that finds all else out again."""
        return replace(
            BinMemory.at(now_ms, bin_id),
            alerts=self.alerts,
            spells=self.spells,
            told_at_ms=self.told_at_ms,
            reads=self.reads,
            moved_ms=self.moved_ms,
            shed_told=self.shed_told,
            judged_at_ms=self.judged_at_ms,
            findings=self.findings,
        )


Question = Callable[[BinWindow, BinMemory], Answer]
"""What may be asked of a bin as last judged; it changes neither."""
