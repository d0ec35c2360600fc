"""`underlid replay`: a history through the code that runs live, with a clock of its own."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import click

from underlid.binmodel.bins import Setup
from underlid.binmodel.outlook.weather import Weather
from underlid.cli.folder import data_option, readings_in, records_in
from underlid.cli.replay_summary import Summary
from underlid.cli.sentence import MOMENT, counted, progress
from underlid.config import load
from underlid.files import parquet, readings_csv
from underlid.files.journal_csv import read_journal
from underlid.files.refused_rows import RefusedRows
from underlid.files.setup import read_setup
from underlid.files.verdicts import encoded, lines_of
from underlid.files.weather_csv import read_weather
from underlid.journal.entries import Entry
from underlid.journal.units import Units, units_named
from underlid.judge import Judge
from underlid.readings.values import Reading
from underlid.replay import replay as judge_history
from underlid.replay import stored_entries
from underlid.storage.history import stored_readings
from underlid.storage.protocols import ReadingStore
from underlid.storage.records import Records
from underlid.timeline import SECOND_MS

FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


@dataclass(slots=True)
class History:
    """What is judged, and the span of its readings."""

    setup: Setup
    readings: Iterable[Reading]
    entries: Sequence[Entry]
    first_ms: int
    last_ms: int
    weather: dict[str, Weather]
    """Outside each shed, where it is supplied."""


@click.command()
@click.option("--setup", type=FILE, help="Set-up file; otherwise that of the data folder.")
@click.option("--readings", type=FILE, help="Readings, CSV or Parquet; otherwise the store's.")
@click.option("--journal", type=FILE, help="Journal, CSV or Parquet.")
@click.option(
    "--weather", type=FILE, help="Weather outside, CSV, of every shed; otherwise the store's."
)
@click.option(
    "--out",
    type=click.Path(dir_okay=False, allow_dash=True, path_type=Path),
    help="Verdicts as JSON lines; - for standard output.",
)
@click.option("--since", type=MOMENT, help="First reading of the store to use.")
@click.option("--until", type=MOMENT, help="Last moment to judge.")
@click.option(
    "--tick",
    type=click.IntRange(1, 3600),
    default=60,
    help="Seconds between looks at what is due; a bin is judged every five minutes"
    " or when something changed.",
)
@click.option("--limits", multiple=True, metavar="KEY=VALUE", help="Other limits, for every bin.")
@click.option("--summary", is_flag=True, help="Print a table of what came out.")
@click.option("--skip-bad", is_flag=True, help="Count bad rows instead of stopping at the first.")
@data_option
@click.argument("more_limits", nargs=-1, metavar="[KEY=VALUE]...")
def replay(
    setup: Path | None,
    readings: Path | None,
    journal: Path | None,
    weather: Path | None,
    out: Path | None,
    since: int | None,
    until: int | None,
    tick: int,
    limits: tuple[str, ...],
    summary: bool,
    skip_bad: bool,
    data: Path | None,
    more_limits: tuple[str, ...],
) -> None:
    """Judge a history again, from files or from the service's own store.

    What would I have been told? Exactly the code that runs live answers, moved by the data's time:
    nothing is known before it was received. Verdicts are JSON lines (see the files page); their
    sentences come in the units of the setting units, as live.

    Example: underlid replay --setup shed.toml --readings readings.csv --journal journal.csv --summary
    """
    if readings is not None and setup is None:
        raise click.UsageError("--readings needs --setup: which probe sits where?")
    if more_limits and not limits:
        raise click.UsageError(f"Unexpected argument {more_limits[0]!r}.")
    wanted = _limits((*limits, *more_limits))
    refused = RefusedRows(skip=skip_bad)
    with ExitStack() as stack:
        history = (
            _stored(stack, data, setup, journal, since, until, refused)
            if readings is None
            else _from_files(setup or readings, readings, journal, refused)
        )
        if weather is not None:
            outside = Weather.of(read_weather(weather))
            history.weather = dict.fromkeys(history.setup.sheds, outside)
        told = Summary(history.setup)
        units = units_named(load(data=data).units)
        lines = _judged(history, until, tick, wanted, units, told)
        if out is None and summary:
            for _ in lines:
                pass
        else:
            with click.open_file(str(out or "-"), "wb") as file:
                for line in lines:
                    file.write(line)
    for sentence in refused.sentences:
        click.echo(f"Skipped: {sentence}", err=True)
    if refused.count:
        click.echo(f"Skipped {counted(refused.count, 'bad row')}.", err=True)
    if summary:
        told.say()


def _judged(
    history: History,
    until: int | None,
    tick: int,
    limits: dict[str, float],
    units: Units,
    told: Summary,
) -> Iterator[bytes]:
    """Yield the verdicts of a history as lines, and add them up in *told*."""
    with progress("Judging", history.last_ms - history.first_ms) as reach:
        for judgement in judge_history(
            history.setup,
            history.readings,
            history.entries,
            until_ms=until,
            tick_ms=tick * SECOND_MS,
            limits=limits,
            units=units,
            progress=lambda now_ms: reach(now_ms - history.first_ms),
            judge_made=lambda judge: _give_weather(judge, history.weather),
        ):
            told.add(judgement)
            if judgement.transitions or judgement.messages:
                yield encoded(lines_of(judgement))


def _give_weather(judge: Judge, weather: dict[str, Weather]) -> None:
    for shed, outside in weather.items():
        judge.set_weather(shed, outside)


def _from_files(setup: Path, readings: Path, journal: Path | None, refused: RefusedRows) -> History:
    where = read_setup(setup)
    sheds = {place.probe: place.shed for place in where.probes.values()}
    read = parquet.read_readings if _is_parquet(readings) else readings_csv.read_readings
    found = read(readings, sheds, refused).readings
    ends = (found[0].received_at_ms, found[-1].received_at_ms) if found else (0, 0)
    return History(where, found, _journal(journal, refused), *ends, {})


def _stored(
    stack: ExitStack,
    data: Path | None,
    setup: Path | None,
    journal: Path | None,
    since: int | None,
    until: int | None,
    refused: RefusedRows,
) -> History:
    records: Records = stack.enter_context(records_in(data))
    store: ReadingStore = stack.enter_context(readings_in(load(data=data)))
    where = records.setup() if setup is None else read_setup(setup)
    sheds = {place.probe: place.shed for place in where.probes.values()}
    seen = [one for one in store.probes_seen(sure=True) if one.probe in sheds]
    first = min((one.first_taken_at_ms for one in seen), default=0)
    last = max((one.last_taken_at_ms for one in seen), default=0)
    first = first if since is None else max(first, since)
    last = last if until is None else min(last, until)
    entries = (
        stored_entries(records, where.bins, 0) if journal is None else _journal(journal, refused)
    )
    outside = {shed: found for shed in where.sheds if (found := records.weather(shed)) is not None}
    rows = stored_readings(store, sheds, first, last + 1)
    return History(where, rows, entries, first, last, outside)


def _journal(path: Path | None, refused: RefusedRows) -> list[Entry]:
    if path is None:
        return []
    read = parquet.read_journal if _is_parquet(path) else read_journal
    return read(path, refused)


def _is_parquet(path: Path) -> bool:
    return path.suffix.lower() == ".parquet"


def _limits(words: Sequence[str]) -> dict[str, float]:
    """Return KEY=VALUE words as limits."""
    limits = {}
    for word in words:
        name, equals, text = word.partition("=")
        try:
            limits[name.strip()] = float(text)
        except ValueError:
            equals = ""
        if not equals:
            raise click.BadParameter(
                f"{word!r} is not KEY=VALUE, such as hot_warn_c=26.", param_hint="--limits"
            )
    return limits
