"""Whole cases: the same again for the same number, found and told apart; files that replay reads."""

from __future__ import annotations

import json
from pathlib import Path

from click.testing import CliRunner

from underlid.cli import underlid
from underlid.rules.finding import Condition
from underlid.score.case import score
from underlid.score.doses import doses
from underlid.simulate.families.catalogue import FAMILIES
from underlid.simulate.sketch import BIN
from underlid.timeline import DAY_MS


def test_the_heat_of_a_wave_is_found_and_its_files_are_kept(tmp_path: Path) -> None:
    once = score("heat-wave", 3, tmp_path / "kept")
    heat = [one for one in once.found if one.event.condition is Condition.OVERHEATING]
    assert heat
    assert all(one.alert is not None for one in heat)
    assert {path.name for path in (tmp_path / "kept").iterdir()} == {
        "shed.toml", "readings.csv", "journal.csv", "truth.csv", "verdicts.jsonl",
    }  # fmt: skip


def test_the_command_prints_tables_and_writes_figures(tmp_path: Path) -> None:
    figures = tmp_path / "figures.json"
    result = CliRunner().invoke(
        underlid,
        ["score", "--families", "fault-silent", "--seeds", "1", "--detail", "--json", str(figures)],
    )
    assert result.exit_code == 0, result.output
    assert "probe_fault" in result.output
    assert "false alerts a bin-month" in result.output
    written = json.loads(figures.read_text(encoding="utf-8"))
    assert written["cases"] == 1
    assert written["conditions"]["probe_fault"]["recall"] == 1.0


def test_unknown_families_and_numbers_are_refused() -> None:
    for options in (["--families", "hurricane"], ["--seeds", "many"]):
        result = CliRunner().invoke(underlid, ["score", *options])
        assert result.exit_code == 1
        assert "Choose among" in result.output or "Write it like" in result.output


def test_every_family_gives_the_same_case_for_its_number_and_another_for_the_next() -> None:
    for name, family in FAMILIES.items():
        if name.endswith("-weather"):
            continue
        once, again, other = family(4), family(4), family(5)
        assert once.bin == again.bin, name
        assert once.acts == again.acts, name
        assert once.faults == again.faults, name
        assert once.bin != other.bin, name


def test_water_as_advised_is_given_on_as_many_days_as_the_advice_says() -> None:
    from underlid.rules.finding import Advice

    from .test_matching import alert

    sketch = FAMILIES["slow-drying"](1)
    place = sketch.place()
    bed = place.bins[BIN]
    before = bed.moisture_pct
    raised = alert(0.0, condition=Condition.DRYING_OUT)
    raised.advice = (
        Advice("add-water", "Give about 1 L of water, 500 mL a day for 2 days.", amount_ml=1000.0),
    )
    (dose,) = doses(
        raised, bed, 75.0, (), lambda at_ms: place.around("shed", at_ms), sketch.start_ms
    )
    assert before < dose.end_pct < before + 5.0
    assert bed.moisture_pct == before
    assert place.now_ms + 3 * DAY_MS < sketch.end_ms
