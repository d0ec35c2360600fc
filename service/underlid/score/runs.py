"""Many cases on several cores: each in a process that starts fresh, results as they come."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fnmatch import fnmatchcase
from multiprocessing import get_context
from pathlib import Path

from underlid.errors import UnderlidError
from underlid.score.case import Scored, score
from underlid.simulate.families.catalogue import FAMILIES, NEED_RECORDS
from underlid.simulate.weather_files import have_records

Job = tuple[str, int, Path | None, int]
"""Family, number, where to keep its files, ms between judgements."""


def families_of(words: str) -> tuple[list[str], list[str]]:
    """Return the families that *words* name, and those left out because a package is missing.

    >>> families_of("wet-feeds, fault-sent*")[0]
    ['wet-feeds', 'fault-sentinel', 'fault-sentinel-in-event']
    """
    patterns = [word.strip() for word in words.split(",") if word.strip()]
    chosen = []
    for pattern in patterns:
        named = [name for name in FAMILIES if pattern == "all" or fnmatchcase(name, pattern)]
        if not named:
            raise UnderlidError(
                "family of cases",
                value=pattern,
                expected="all, or some of " + ", ".join(FAMILIES),
                next_step="Choose among these; * stands for anything.",
            )
        chosen += [name for name in named if name not in chosen]
    left_out = [name for name in chosen if name in NEED_RECORDS and not have_records()]
    return [name for name in chosen if name not in left_out], left_out


def numbers_of(words: str) -> list[int]:
    """Return the numbers that *words* name: a count, or single ones and ranges.

    >>> numbers_of("3"), numbers_of("7-9"), numbers_of("4,11")
    ([1, 2, 3], [7, 8, 9], [4, 11])
    """
    numbers: list[int] = []
    try:
        if words.isdecimal():
            return list(range(1, int(words) + 1))
        for word in words.split(","):
            first, _, last = word.partition("-")
            numbers += range(int(first), int(last or first) + 1)
    except ValueError:
        numbers = []
    if not numbers:
        raise UnderlidError(
            "numbers of cases",
            value=words,
            expected="a count such as 20, a range such as 7-9, or numbers such as 4,11",
            next_step="Write it like one of these.",
        )
    return numbers


def run(jobs: Sequence[Job], workers: int) -> Iterator[Scored]:
    """Yield each case's result as it is done."""
    if workers <= 1 or len(jobs) <= 1:
        for job in jobs:
            yield _run(job)
        return
    with get_context("spawn").Pool(min(workers, len(jobs))) as pool:
        yield from pool.imap_unordered(_run, jobs)


def _run(job: Job) -> Scored:
    return score(*job)
