"""`underlid simulate`: invented bins as files, with the truth beside what the probes said."""

from __future__ import annotations

from pathlib import Path

import click

from underlid.cli.sentence import MOMENT, counted, progress
from underlid.clock import SystemClock
from underlid.files.journal_csv import write_journal
from underlid.files.readings_csv import write_readings
from underlid.files.setup import setup_text
from underlid.simulate import scenario
from underlid.simulate.place import Stretch
from underlid.simulate.truth_csv import write_truth
from underlid.timeline import DAY_MS, MINUTE_MS, SECOND_MS


@click.command()
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
@click.option("--days", type=click.IntRange(1, 366), default=28, help="Days to simulate.")
@click.option(
    "--calm-days", type=click.IntRange(0, 366), help="Days before things go wrong; default 21."
)
@click.option("--calm", is_flag=True, help="Nothing goes wrong.")
@click.option("--bins", help="Some of the bins, separated by commas.")
@click.option("--every", type=click.IntRange(60, 3600), default=60, help="Seconds a reading.")
@click.option("--seed", type=int, default=1, help="Another number, other weather and noise.")
@click.option("--start", type=MOMENT, help="First reading; default: so that the last is now.")
@click.option(
    "--season", type=click.FloatRange(0, 25), default=0.0, help="Summer over yearly mean, kelvin."
)
def simulate(
    folder: Path,
    days: int,
    calm_days: int | None,
    calm: bool,
    bins: str | None,
    every: int,
    seed: int,
    start: int | None,
    season: float,
) -> None:
    """Write readings.csv, journal.csv, shed.toml and truth.csv into FOLDER.

    Five invented bins with heat, vapour, film and water coupled as in a real bin; the same options
    give the same files.

    Example: underlid simulate invented --days 28 --bins tansy,borage --seed 7
    """
    if start is None:
        start = SystemClock().now_ms() - days * DAY_MS
    start = start // MINUTE_MS * MINUTE_MS
    before = min(days, 21) if calm_days is None else calm_days
    place = scenario.place(
        start + before * DAY_MS,
        before,
        seed=seed,
        every_ms=every * SECOND_MS,
        bins=tuple(bins.split(",")) if bins else (),
        season_k=season,
        calm_only=calm,
    )
    whole = Stretch()
    with progress("Simulating", days) as reach:
        for day in range(1, days + 1):
            part = place.run(start + day * DAY_MS)
            whole.readings += part.readings
            whole.entries += part.entries
            whole.truths += part.truths
            reach(day)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "shed.toml").write_text(setup_text(place.setup), encoding="utf-8")
    with (folder / "readings.csv").open("w", encoding="utf-8", newline="") as file:
        rows = write_readings(file, whole.readings)
    with (folder / "journal.csv").open("w", encoding="utf-8", newline="") as file:
        entries = write_journal(file, whole.entries)
    with (folder / "truth.csv").open("w", encoding="utf-8", newline="") as file:
        write_truth(file, whole.truths)
    wrote = f"{counted(rows, 'value')} and {counted(entries, 'entry', 'entries')}"
    click.echo(f"Wrote {wrote} of {counted(days, 'day')} into {folder}.", err=True)
