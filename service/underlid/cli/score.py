"""`underlid score`: the judgement against simulated truth, in figures."""

from __future__ import annotations

import json
from pathlib import Path

import click

from underlid.cli.sentence import counted, progress, say_table
from underlid.score import tables
from underlid.score.case import Scored
from underlid.score.figures import as_object
from underlid.score.runs import families_of, numbers_of, run
from underlid.timeline import SECOND_MS


@click.command()
@click.option("--families", default="all", help="All, or some separated by commas; * is allowed.")
@click.option("--seeds", default="20", help="How many of each, or which: 7-9, or 4,11.")
@click.option("--jobs", type=click.IntRange(1, 256), default=1, help="Processes at a time.")
@click.option(
    "--json", "json_file", type=click.Path(dir_okay=False, path_type=Path),
    help="Write all figures to this file.",
)  # fmt: skip
@click.option(
    "--tick", type=click.IntRange(60, 3600), default=900,
    help="Seconds between judgements; 60 is what runs live, and takes about twice as long.",
)  # fmt: skip
@click.option("--per-family", is_flag=True, help="Add a table of families.")
@click.option("--detail", is_flag=True, help="Print every event and alert of every case.")
@click.option(
    "--keep", type=click.Path(file_okay=False, path_type=Path),
    help="Write the files of every case below this folder.",
)  # fmt: skip
def score(
    families: str,
    seeds: str,
    jobs: int,
    json_file: Path | None,
    tick: int,
    per_family: bool,
    detail: bool,
    keep: Path | None,
) -> None:
    """Judge simulated bins whose truth is known, and print how good the verdicts are.

    What counts as found, right, and in time is on the scoring page. The same options give the same
    figures.

    Example: underlid score --families wet-feeds,heat-wave --seeds 5 --jobs 2
    """
    chosen, left_out = families_of(families)
    for name in left_out:
        click.echo(f"Left out: {name} needs pvlib (install underlid[weather]).", err=True)
    todo = [
        (family, number, None if keep is None else keep / f"{family}-{number}", tick * SECOND_MS)
        for number in numbers_of(seeds)
        for family in chosen
    ]
    cases: list[Scored] = []
    with progress("Scoring", len(todo)) as reach:
        for case in run(todo, jobs):
            cases.append(case)
            reach(len(cases))
    order = {family: place for place, family in enumerate(chosen)}
    cases.sort(key=lambda case: (order[case.family], case.number))
    _say(cases, per_family=per_family, detail=detail)
    if json_file is not None:
        text = json.dumps(as_object(cases), indent=1, ensure_ascii=False)
        json_file.write_text(text + "\n", encoding="utf-8")
        click.echo(f"Wrote the figures of {counted(len(cases), 'case')} to {json_file}.", err=True)


def _say(cases: list[Scored], *, per_family: bool, detail: bool) -> None:
    if detail:
        for case in cases:
            for line in tables.detail(case):
                click.echo(line)
            click.echo()
    say_table(tables.condition_rows(cases), *tables.CONDITION_HEADER)
    if per_family or detail:
        click.echo()
        say_table(tables.family_rows(cases), *tables.FAMILY_HEADER)
    for rows, header in (
        (tables.band_rows(cases), tables.BAND_HEADER),
        (tables.dose_rows(cases), tables.DOSE_HEADER),
    ):
        if rows:
            click.echo()
            say_table(rows, *header)
    click.echo()
    for line in tables.sentences(cases):
        click.echo(line)
